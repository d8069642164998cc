"""What is a take: one number over all recorders that rolled together, a lane for each."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from math import ceil, isfinite
from typing import Any, Self

from stagectl.control.chronicle import stamp
from stagectl.model.timecode import Label, Rate, common_range, frame_number, label_at, rate_of_format, span_frames


def counting(rate: Rate, drop: bool) -> Rate:
    """The rate as a label's mark says it counts, where there is such counting: some recorders write `;` at any rate."""
    try:
        return rate.with_drop(drop)
    except ValueError:
        return rate


@dataclass(slots=True)
class Lane:
    """One recording of one recorder within a take.

    Attributes:
        device, called: the recorder.
        wall: when it was seen to record, UTC.
        seen_at: the same on the monotonic clock; -inf after a restart.
        give_s: how much earlier it may have begun.
        start, start_exact: its first label; exact when the recorder's own clip list says so.
        clip: its real clip name; empty until the recorder tells.
        slot: the medium it began on; 0: not known.
        format: of its input, for the frame rate.
        length: duration as a label, by the clip list; empty until told.
        ended, end: when it was seen to have ended, and the label then.
        ended_by: whose act that was: a name, "box", or "" not known.
        note: what is special: "adopted", "not seen", "lost from view", "ended while stagectl was away".
    """

    device: str
    called: str
    wall: datetime
    seen_at: float
    give_s: float = 0.0
    start: str = ""
    start_exact: bool = False
    clip: str = ""
    slot: int = 0
    format: str = ""
    length: str = ""
    ended: datetime | None = None
    end: str = ""
    ended_by: str = ""
    note: str = ""

    @property
    def rate(self) -> Rate | None:
        """Frame rate of its labels; None if its format is not known."""
        rate = rate_of_format(self.format) if self.format else None
        return counting(rate, ";" in self.start) if rate is not None else None

    @property
    def label(self) -> Label | None:
        """Its first label, marked as its rate counts; None: not known, or no label that exists at its rate."""
        rate = self.rate
        if rate is None or not self.start:
            return None
        try:
            label = Label.parse(self.start).with_drop(rate.drop)
            frame_number(label, rate)
        except ValueError:
            return None
        return label

    def frame(self) -> int | None:
        """Its first label as a frame number of the day."""
        rate, label = self.rate, self.label
        return frame_number(label, rate) if rate is not None and label is not None else None

    def frames(self) -> int | None:
        """How many frames it holds, by the clip list."""
        rate = self.rate
        if rate is None or not self.length:
            return None
        try:
            return frame_number(Label.parse(self.length), rate.with_drop(False))
        except ValueError:
            return None

    def plain(self) -> dict[str, Any]:
        """As JSON and the journal hold it."""
        return {
            "device": self.device,
            "called": self.called,
            "rolled": stamp(self.wall),
            "give_s": round(self.give_s, 3),
            "start": self.start,
            "start_exact": self.start_exact,
            "clip": self.clip,
            "slot": self.slot,
            "format": self.format,
            "length": self.length,
            "ended": stamp(self.ended) if self.ended else None,
            "end": self.end,
            "ended_by": self.ended_by,
            "note": self.note,
        }

    @classmethod
    def read(cls, plain: dict[str, Any]) -> Self:
        """From a journal record; the monotonic time is gone with its process.

        What a newer version added is left out, what an older one did not write is not known.

        Raises:
            KeyError, TypeError, ValueError, OverflowError: it is no lane.
        """
        give_s = float(plain.get("give_s", 0.0))
        if not isfinite(give_s):
            raise ValueError(f"{give_s} is no time")
        words = ("called", "start", "clip", "format", "length", "end", "ended_by", "note")
        return cls(
            device=str(plain["device"]),
            wall=moment(plain["rolled"]),
            seen_at=float("-inf"),
            give_s=give_s,
            start_exact=bool(plain.get("start_exact")),
            slot=int(plain.get("slot", 0)),
            ended=moment(plain["ended"]) if plain.get("ended") else None,
            **{name: str(plain.get(name, "")) for name in words},
        )


def moment(text: str) -> datetime:
    """A time as `stamp` writes it. Raises TypeError or ValueError: it is none, or says no time zone."""
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError(f"{text!r} has no time zone")
    return found


class MarkKind(StrEnum):
    """What a mark says of its place in the take."""

    GOOD = "good"
    PROBLEM = "problem"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in a take that somebody marked.

    Attributes:
        text: what was said of it; may be empty, but not in a note.
        struck: somebody struck it out: it counts no more, and is kept.
        wall: when it was written, UTC.
        label: timecode at that moment, of the recorder `device`; empty: nothing rolled, or no recorder told of any.
    """

    kind: MarkKind
    text: str
    who: str
    wall: datetime
    label: str = ""
    device: str = ""
    struck: bool = False

    def plain(self) -> dict[str, Any]:
        """As JSON and the journal hold it."""
        return {
            "kind": self.kind.value,
            "text": self.text,
            "who": self.who,
            "at": stamp(self.wall),
            "label": self.label,
            "device": self.device,
            **({"struck": True} if self.struck else {}),
        }

    @classmethod
    def read(cls, plain: Mapping[str, Any]) -> Self:
        """From a journal record. Raises KeyError, TypeError, ValueError: it is no mark."""
        words = {name: str(plain.get(name, "")) for name in ("text", "who", "label", "device")}
        struck = plain.get("struck") is True
        return cls(kind=MarkKind(plain["kind"]), wall=moment(plain["at"]), struck=struck, **words)

    @classmethod
    def read_note(cls, note: str) -> Self:
        """From a note as earlier versions kept it: "<stamp> <who>: <text>". Raises ValueError: it is none."""
        at, _, rest = note.partition(" ")
        who, _, text = rest.partition(": ")
        return cls(MarkKind.NOTE, text, who, moment(at))


@dataclass(frozen=True, slots=True)
class Change:
    """A correction of a take: what of it ("slate", "good", "mark 2"), how that was and is, who, and when, UTC."""

    what: str
    was: str
    now: str
    who: str
    wall: datetime

    def plain(self) -> dict[str, Any]:
        """As JSON and the journal hold it."""
        return {"what": self.what, "was": self.was, "now": self.now, "who": self.who, "at": stamp(self.wall)}

    @classmethod
    def read(cls, plain: Mapping[str, Any]) -> Self:
        """From a journal record. Raises KeyError, TypeError, ValueError: it is no change."""
        words = {name: str(plain[name]) for name in ("what", "was", "now", "who")}
        return cls(wall=moment(plain["at"]), **words)


def _one_rate(lanes: Iterable[Lane]) -> Rate | None:
    """The rate of all these lanes; None: they have none, or not the same. Most houses have one format."""
    alike = {(lane.format, ";" in lane.start): lane for lane in lanes}
    rates = {lane.rate for lane in alike.values()}
    return next(iter(rates)) if len(rates) == 1 else None


@dataclass(frozen=True, slots=True)
class Spread:
    """How far apart the recorders began: `frames`, give or take `give` frames; `of` of them are counted.

    `exact`: from the recorders' own first labels, else from when we were told.
    """

    frames: int
    give: int
    of: int
    exact: bool


@dataclass(slots=True)
class Take:
    """One take. `lanes` holds a list a recorder: a second one begins when it spills or rolls again.

    `unseen`: recorders whose part in it is not known whole: they were out of sight when it ended, or were wanted, have
    no lane, and were out of sight at some time. `slate_take`: its number within its slate or day; 0: none.
    `changes`: how it was before it was corrected, oldest first.
    """

    number: int
    name: str
    opened: datetime
    opened_at: float
    by: str = ""
    wanted: tuple[str, ...] = ()
    lanes: dict[str, list[Lane]] = field(default_factory=dict)
    closed: datetime | None = None
    good: bool = False
    marks: list[Mark] = field(default_factory=list)
    unseen: tuple[str, ...] = ()
    slate_take: int = 0
    changes: list[Change] = field(default_factory=list)

    @property
    def notes(self) -> list[str]:
        """What was said in its marks, a line each: "<stamp> <who>: <text>"."""
        return [f"{stamp(mark.wall)} {mark.who}: {mark.text}" for mark in self.marks if mark.text and not mark.struck]

    def all_lanes(self) -> Iterable[Lane]:
        """Every lane, recorder by recorder."""
        for lanes in self.lanes.values():
            yield from lanes

    def open_lane(self, device: str) -> Lane | None:
        """The lane of a recorder that has not been seen to end."""
        lanes = self.lanes.get(device)
        return lanes[-1] if lanes and lanes[-1].ended is None else None

    @property
    def rolls(self) -> bool:
        """Does any recorder roll? Asked at every end of a lane, so from the one that probably ends last."""
        return any(self.open_lane(device) is not None for device in reversed(self.lanes))

    @property
    def rolling(self) -> list[str]:
        """Recorders whose lane is open."""
        return [device for device in self.lanes if self.open_lane(device) is not None]

    def spread(self) -> Spread | None:
        """From the first lane of each recorder; None with fewer than two that can be compared."""
        firsts = [lanes[0] for lanes in self.lanes.values() if lanes]
        rate = _one_rate(firsts)
        if rate is None or len(firsts) < 2:
            return None
        exact = [label for lane in firsts if lane.start_exact and (label := lane.label) is not None]
        if len(exact) == len(firsts):
            offsets = [span_frames(exact[0], label, rate) for label in exact]
            return Spread(max(offsets) - min(offsets), 0, len(firsts), True)
        times = [lane.seen_at for lane in firsts if lane.seen_at > float("-inf")]
        if len(times) < len(firsts):
            return None
        per_s = rate.frames / rate.seconds
        give = ceil(max(lane.give_s for lane in firsts) * per_s)
        return Spread(round((max(times) - min(times)) * per_s), give, len(firsts), False)

    def offsets(self) -> dict[str, int]:
        """Frames of each recorder after the earliest one, by exact labels; empty if they can't be compared."""
        firsts = {name: lanes[0] for name, lanes in self.lanes.items() if lanes}
        if not all(lane.start_exact for lane in firsts.values()):
            return {}
        rate = _one_rate(firsts.values())
        labels = {name: label for name, lane in firsts.items() if (label := lane.label) is not None}
        if rate is None or len(labels) != len(firsts):
            return {}
        any_one = next(iter(labels.values()))
        spans = {name: span_frames(any_one, label, rate) for name, label in labels.items()}
        earliest = min(spans.values())
        return {name: span - earliest for name, span in spans.items()}

    def common(self) -> dict[str, str | int] | None:
        """The range all recorders share, by labels: first, last label and frames; None if any is not known whole."""
        lanes = [own[0] for own in self.lanes.values() if len(own) == 1]
        rate = _one_rate(lanes)
        if not lanes or rate is None or len(lanes) != len(self.lanes):
            return None
        ranges = [(label, frames) for lane in lanes if (label := lane.label) is not None and (frames := lane.frames())]
        if len(ranges) != len(lanes):
            return None
        found = common_range(ranges, rate)
        if not found.frames:
            return None
        return {
            "first": str(found.start),
            "last": str(label_at(frame_number(found.start, rate) + found.frames - 1, rate)),
            "frames": found.frames,
        }

    def plain(self, now: float | None = None) -> dict[str, Any]:
        """As REST, MQTT and the terminal show it."""
        spread, offsets = self.spread(), self.offsets()
        return {
            "take": self.number,
            "name": self.name,
            "slate_take": self.slate_take,
            "by": self.by,
            "opened": stamp(self.opened),
            "closed": stamp(self.closed) if self.closed else None,
            "running": self.closed is None,
            "for_s": round(now - self.opened_at, 1) if now is not None and self.closed is None else None,
            "wanted": list(self.wanted),
            "rolling": self.rolling,
            "good": self.good,
            "notes": self.notes,
            "marks": [mark.plain() | {"n": n} for n, mark in enumerate(self.marks, 1) if not mark.struck],
            "struck": [mark.plain() | {"n": n} for n, mark in enumerate(self.marks, 1) if mark.struck],
            "changes": [change.plain() for change in self.changes],
            "unseen": list(self.unseen),
            "spread": None
            if spread is None
            else {"frames": spread.frames, "give": spread.give, "of": spread.of, "exact": spread.exact},
            "common": self.common(),
            "lanes": [
                lane.plain() | {"offset": offsets.get(lane.device) if number == 0 else None}
                for lanes in self.lanes.values()
                for number, lane in enumerate(lanes)
            ],
        }
