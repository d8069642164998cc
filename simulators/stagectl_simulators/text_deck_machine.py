"""What does a recorder do, whoever asks? Rolling, stopping, spilling, playing: the machine behind a text deck's wire.

Times are seconds since the start. An act that cannot be done raises `Refusal`. `step` carries out one thing that falls
due, at its own time, so that a long wait gives the same history as many short ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from stagectl_simulators.house_clock import HouseClock, frames_in, label_of
from stagectl_simulators.model import History
from stagectl_simulators.text_deck_faults import TextDeckFaults
from stagectl_simulators.text_deck_media import Clip, Slot, clip_name
from stagectl_simulators.text_deck_playback import Playback, clip_number, start_of, total
from stagectl_simulators.text_deck_setup import Setup
from stagectl_simulators.text_deck_words import Refusal, bytes_per_second

IDLE: Final = ("preview", "stopped")


@dataclass(slots=True)
class Pending:
    """Something accepted that has not happened yet."""

    at_s: float
    cause: str
    name: str = ""


@dataclass(slots=True)
class Rolling:
    """The clip that grows. `take_s` is when the take began, also after a spill."""

    clip: Clip
    slot: Slot
    since_s: float
    first: int  # the deck's frame number when it began
    take_s: float
    full_at_s: float


class Deck:
    """The machine. `faults` is the set as it stands now; the model replaces it when a switch was turned."""

    def __init__(self, setup: Setup, house: HouseClock) -> None:
        self.setup = setup
        self.faults = TextDeckFaults()
        self.history = History()
        self.slots = setup.slots
        self.active = next((slot for slot in self.slots if slot.status == "mounted"), self.slots[0])
        self.status = "preview"
        self.since_s = 0.0
        self.booted_s = 0.0
        self.remote_enabled = True
        self.override = False
        self.rolling: Rolling | None = None
        self.roll: Pending | None = None
        self.stopping: Pending | None = None
        self.playback = Playback()
        self.dropped = 0
        self._house = house
        self._clips_named = 0
        self._frozen: int | None = None
        self._next_drop_s: float | None = None

    # --- timecode -----------------------------------------------------------------------------------------------------

    def frame(self, now_s: float) -> int:
        """The deck's own count of frames, not wrapped at midnight."""
        setup = self.setup
        ppm = setup.free_run_ppm if setup.configuration["timecode input"] == "internal" else 0.0
        gone = frames_in(now_s * (1 + ppm / 1e6), setup.rate)
        return self._house.start_at(setup.rate) + gone + setup.offset_frames

    def label(self, now_s: float) -> str:
        """The timecode as the deck shows it: of the clip under the head, or what comes in."""
        if self.status in {"preview", "record"} or not self.active.clips:
            if self.faults.no_input:
                return "--:--:--:--"
            return label_of(self.frame(now_s) if self._frozen is None else self._frozen, self.setup.rate)
        at = self.playback.where(now_s, self.setup.rate, self.active.clips)
        number = clip_number(at, self.active.clips)
        assert number is not None
        clip = self.active.clips[number - 1]
        return label_of(clip.start + at - start_of(number, self.active.clips), clip.rate)

    def length(self, clip: Clip, now_s: float) -> int:
        """Frames of a clip so far."""
        if self.rolling is None or self.rolling.clip is not clip:
            return clip.frames
        return self.frame(now_s) - self.rolling.first

    # --- media --------------------------------------------------------------------------------------------------------

    def room_bytes(self, slot: Slot, now_s: float) -> float:
        """What is free on a medium now."""
        if self.faults.medium_full or slot.status != "mounted":
            return 0.0
        if self.rolling is None or self.rolling.slot is not slot:
            return slot.room_bytes
        return max(0.0, slot.room_bytes - (now_s - self.rolling.since_s) * self.rolling.clip.bytes_per_s)

    def bytes_per_s(self) -> float:
        """What a recording takes of its medium a second."""
        return self.setup.bytes_per_s or bytes_per_second(self.setup.codec, self.setup.video)

    def listed(self, slot: Slot) -> list[Clip]:
        """The clips a list shows: some firmware leaves out the one that grows."""
        growing = self.rolling.clip if self.rolling is not None and self.setup.lists_late else None
        return [clip for clip in slot.clips if clip is not growing]

    def clip_id(self, now_s: float) -> int | None:
        """The number of the clip that grows, or under the head."""
        if self.rolling is not None:
            return len(self.active.clips)
        if self.active.status != "mounted":
            return None
        return clip_number(self.playback.where(now_s, self.setup.rate, self.active.clips), self.active.clips)

    def _recordable(self, slot: Slot) -> bool:
        """Less than a second of room is a full medium; own choice, as the wire counts whole seconds."""
        return slot.status == "mounted" and slot.room_bytes >= self.bytes_per_s() and not self.faults.medium_full

    def _other(self) -> Slot | None:
        return next((slot for slot in self.slots if slot is not self.active and self._recordable(slot)), None)

    def require_medium(self, slot: Slot) -> None:
        """Raises Refusal: 105 if the slot holds nothing ready, 106 if its medium is bad."""
        if slot.status == "error":
            raise Refusal(106)
        if slot.status != "mounted":
            raise Refusal(105)

    # --- recording ----------------------------------------------------------------------------------------------------

    @property
    def busy(self) -> bool:
        """It rolls, or is about to."""
        return self.rolling is not None or self.roll is not None

    def record(self, name: str, now_s: float, cause: str) -> None:
        """Accept a roll. It happens later, or, with a fault, never."""
        if self.busy or self.status not in IDLE:
            raise Refusal(150)
        if self.faults.no_input:
            raise Refusal(110)
        self.require_medium(self.active)
        if not self._recordable(self.active) and self._other() is None:
            raise Refusal(104)
        if name:
            try:
                clip_name(name, ())
            except ValueError:
                raise Refusal(102) from None
        self.history.note(now_s, "roll accepted", cause, name=name)
        if not self.faults.never_roll:
            delay_s = 0.0 if self.faults.early_notices else self.faults.roll_late or self.setup.roll_delay_s
            self.roll = Pending(now_s + delay_s, cause, name)

    def _begin(self, wanted: str, now_s: float, take_s: float) -> Rolling:
        """Open the next clip on the active medium."""
        setup, first = self.setup, self.frame(now_s)
        if not wanted:
            self._clips_named += 1
            wanted = f"{setup.configuration['record prefix']}_{self._clips_named:04}"
            if setup.configuration["append timestamp"] == "true":
                wanted += "_" + label_of(first, setup.rate).replace(":", "").replace(";", "")
        name = clip_name(wanted, [clip.name for clip in self.active.clips])
        clip = Clip(name, first, setup.rate, setup.codec, setup.video_format, now_s, self.bytes_per_s())
        full_at_s = now_s + self.active.room_bytes / clip.bytes_per_s
        self.active.clips.append(clip)
        return Rolling(clip, self.active, now_s, first, take_s, full_at_s)

    def _roll_now(self, roll: Pending, now_s: float) -> None:
        self.roll = None
        if not self._recordable(self.active):
            other = self._other()
            if other is None:
                self.history.note(now_s, "did not roll", "self", reason="no room")
                return
            self.active = other
        self.rolling = self._begin(roll.name, now_s, now_s)
        self._show("record", now_s)
        self._next_drop_s = None
        clip = self.rolling.clip
        self.history.note(
            now_s,
            "rolling",
            roll.cause,
            clip=clip.name,
            slot=self.active.number,
            start=label_of(clip.start, clip.rate),
            asked=roll.name,
        )

    def _close_clip(self, now_s: float) -> None:
        assert self.rolling is not None
        rolling, self.rolling = self.rolling, None
        rolling.clip.frames = max(1, self.frame(now_s) - rolling.first)
        self.playback = Playback(start_of(len(rolling.slot.clips), rolling.slot.clips), now_s)

    def end_take(self, now_s: float, cause: str, **why: str) -> None:
        """Stop recording now."""
        assert self.rolling is not None
        clip = self.rolling.clip
        self._close_clip(now_s)
        self.stopping = None
        self._show("preview", now_s)
        self.history.note(now_s, "stopped", cause, clip=clip.name, frames=clip.frames, **why)

    def spill(self, now_s: float, cause: str, to: Slot | None = None) -> None:
        """Go on with the take on the other medium."""
        if self.rolling is None or self.stopping is not None:
            raise Refusal(150)
        target = to or next(slot for slot in self.slots if slot is not self.active)
        if target is self.active:
            raise Refusal(150)
        self.require_medium(target)
        if not self._recordable(target):
            raise Refusal(104)
        take_s, name = self.rolling.take_s, self.rolling.clip.name
        self._close_clip(now_s)
        self.active = target
        self.rolling = self._begin(name, now_s, take_s)
        self.history.note(now_s, "spilled", cause, clip=self.rolling.clip.name, slot=target.number)

    def stop(self, now_s: float, cause: str) -> None:
        """Accept a stop of whatever moves."""
        if self.roll is not None and not self.faults.ignore_stop:
            self.roll = None
            self.history.note(now_s, "roll called off", cause)
        elif self.rolling is not None:
            if self.stopping is None and not self.faults.ignore_stop:
                self.stopping = Pending(now_s + self.setup.stop_delay_s, cause)
        elif self.status not in IDLE:
            self._move(0, "stopped", now_s, cause)

    # --- playback -----------------------------------------------------------------------------------------------------

    def _require_clips(self) -> None:
        if self.busy:
            raise Refusal(150)
        self.require_medium(self.active)
        if not self.active.clips:
            raise Refusal(107)

    def _move(self, speed: int, status: str, now_s: float, cause: str) -> None:
        self.playback.anchor(now_s, self.setup.rate, self.active.clips)
        self.playback.speed = speed
        self._show(status, now_s)
        self.history.note(now_s, status, cause, clip_id=self.clip_id(now_s), speed=speed)

    def play(self, speed: int, loop: bool, single: bool, now_s: float, cause: str) -> None:
        """Play from where the head is; at the very end, from the start."""
        if self.rolling is not None and self.faults.play_stops:
            self.end_take(now_s, cause, reason="play")
        self._require_clips()
        clips = self.active.clips
        if speed > 0 and self.playback.where(now_s, self.setup.rate, clips) >= total(clips) - 1:
            self.playback = Playback(0, now_s)
        self.playback.loop, self.playback.single = loop, single
        self._move(speed, "play" if 0 <= speed <= 100 else "forward" if speed > 0 else "rewind", now_s, cause)

    def shuttle(self, speed: int, now_s: float, cause: str) -> None:
        """Move at a speed in percent, either way."""
        self._require_clips()
        self.playback.loop = self.playback.single = False
        self._move(speed, "shuttle", now_s, cause)

    def go_to(self, position: int, now_s: float, cause: str, status: str = "stopped") -> None:
        """Put the head somewhere on the active medium, and stand there."""
        self._require_clips()
        if not 0 <= position < total(self.active.clips):
            raise Refusal(109)
        self.playback = Playback(position, now_s, 0, self.playback.loop, self.playback.single)
        self._move(0, status, now_s, cause)

    # --- the box ------------------------------------------------------------------------------------------------------

    def select(self, slot: Slot, now_s: float, cause: str) -> None:
        """Make a slot the active one."""
        if self.busy:
            raise Refusal(150)
        self.require_medium(slot)
        if slot is not self.active:
            self.active, self.playback = slot, Playback(0, now_s)
            self._show("preview", now_s)
            self.history.note(now_s, "slot selected", cause, slot=slot.number)

    def eject(self, slot: Slot, now_s: float, cause: str, status: str = "empty") -> None:
        """Take the medium out, or break it (`status` "error"); a take on it ends there."""
        if self.rolling is not None and self.rolling.slot is slot:
            self.end_take(now_s, cause, reason=f"medium {status}")
        if slot is self.active:
            self.playback = Playback(0, now_s)
            self._show("preview", now_s)
        slot.status, slot.mounted_at_s = status, None
        self.history.note(now_s, f"slot {status}", cause, slot=slot.number)

    def mount(self, slot: Slot, now_s: float, cause: str, what: str = "inserted") -> None:
        """Begin to mount the medium in a slot."""
        slot.status, slot.mounted_at_s = "mounting", now_s + self.setup.mount_s
        self.history.note(now_s, what, cause, slot=slot.number)

    def erase(self, slot: Slot, now_s: float, cause: str) -> None:
        """Format: everything on the medium is gone."""
        slot.clips, slot.foreign_bytes = [], 0.0
        if slot is self.active:
            self.playback = Playback(0, now_s)
            self._show("preview", now_s)
        self.mount(slot, now_s, cause, "formatted")

    def power_cycle(self, now_s: float) -> None:
        """The power went: a take ends where it was, media mount again."""
        if self.rolling is not None:
            self.end_take(now_s, "self", reason="power")
        self.roll, self.override, self.playback = None, False, Playback(0, now_s)
        self._show("preview", now_s)
        self.booted_s = now_s
        self.history.note(now_s, "rebooted", "self")
        for slot in self.slots:
            if slot.status != "empty":
                self.mount(slot, now_s, "self", "mounting")

    def _show(self, status: str, now_s: float) -> None:
        self.status, self.since_s = status, now_s

    # --- time ---------------------------------------------------------------------------------------------------------

    def adopt(self, faults: TextDeckFaults, now_s: float) -> None:
        """The switches stand otherwise from now on."""
        if faults.freeze_timecode and self._frozen is None:
            self._frozen = self.frame(now_s)
        elif not faults.freeze_timecode:
            self._frozen = None
        self._next_drop_s = None
        self.faults = faults

    def due_s(self) -> float | None:
        """When `step` next has something to do."""
        times = [pending.at_s for pending in (self.roll, self.stopping) if pending is not None]
        times += [slot.mounted_at_s for slot in self.slots if slot.mounted_at_s is not None]
        if self.rolling is not None:
            times.append(self._out_of_room_s(self.rolling))
            if self.faults.stops_by_itself:
                times.append(self.rolling.take_s + self.faults.stops_by_itself)
            if self.faults.dropped_frames:
                times.append(self._next_drop_s or self.rolling.since_s)
        elif (edge_s := self.playback.due_s(self.setup.rate, self.active.clips)) is not None:
            times.append(edge_s)
        return min(times, default=None)

    def _out_of_room_s(self, rolling: Rolling) -> float:
        return rolling.since_s if self.faults.medium_full else rolling.full_at_s

    def step(self, now_s: float) -> None:
        """Carry out the first thing that is due at `now_s`, in the order in which things matter."""
        rolling = self.rolling
        mounting = next(
            (each for each in self.slots if each.mounted_at_s is not None and each.mounted_at_s <= now_s), None
        )
        if self.stopping is not None and self.stopping.at_s <= now_s:
            self.end_take(now_s, self.stopping.cause)
        elif self.roll is not None and self.roll.at_s <= now_s:
            self._roll_now(self.roll, now_s)
        elif mounting is not None:
            mounting.status, mounting.mounted_at_s = "mounted", None
            self.history.note(now_s, "mounted", "self", slot=mounting.number)
        elif rolling is None:
            self._cross_edge(now_s)
        elif self.faults.stops_by_itself and rolling.take_s + self.faults.stops_by_itself <= now_s:
            self.end_take(now_s, "self", reason="medium too slow")
        elif self._out_of_room_s(rolling) <= now_s:
            other = self._other() if self.stopping is None else None  # a take that is being stopped goes nowhere else
            if other is None:
                self.end_take(now_s, "self", reason="medium full")
            else:
                self.spill(now_s, "self", other)
        elif self.faults.dropped_frames:
            if self._next_drop_s is not None:
                self.dropped += 1
                rolling.clip.dropped += 1
            self._next_drop_s = now_s + 1 / self.faults.dropped_frames

    def _cross_edge(self, now_s: float) -> None:
        if not self.playback.cross(now_s, self.active.clips):
            self._move(0, "stopped", now_s, "self")
