"""Which recordings are played, from which label on, and how long? From the take log alone."""

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from stagectl.model.errors import RefusedError
from stagectl.model.timecode import Label, Rate, frame_number, seconds, span_frames
from stagectl.shoot.playback.verbs import PlayTake
from stagectl.shoot.take import Lane, Take

SEE: Final = "See what is known: stagectl take {number}"


@dataclass(frozen=True, slots=True)
class Passage:
    """A piece of a take.

    Attributes:
        take: its number.
        recorders: whose clips are played; the station gets what comes off the first of them.
        label: where all of them are cued to.
        frames: from there to the end; None: the end is not known.
        rate: of the labels; None: not known.
        slots: recorder -> the medium that holds its clip, where that is known.
    """

    take: int
    recorders: tuple[str, ...]
    label: str
    frames: int | None
    rate: Rate | None
    slots: Mapping[str, int]

    @property
    def lasts_s(self) -> float | None:
        """From the label to the end; None: not known."""
        if self.frames is None or self.rate is None:
            return None
        return float(seconds(self.frames, self.rate))


def passage(takes: OrderedDict[int, Take], verb: PlayTake, outlets: Sequence[str]) -> Passage:
    """What a press means.

    Args:
        takes: by number, oldest first.
        verb: what was asked; its recorder is a device's id, or empty.
        outlets: recorders whose picture or sound the site knows, the one people want to see first.

    Raises:
        RefusedError: code "take": there is none such, or it does not hold that place; "argument".
    """
    take = _take(takes, verb)
    first = verb.recorder or next((name for name in (*outlets, *take.lanes) if name in take.lanes), "")
    if first not in take.lanes:
        has = " and ".join(lanes[-1].called for lanes in take.lanes.values()) or "no recorder"
        raise RefusedError(f"Take {take.number} is not on {first or 'any recorder'}, but on {has}.", code="take")
    names = (first, *(name for name in take.lanes if name != first)) if verb.every else (first,)
    label = _wanted(take, verb)
    if not label and len(names) > 1:
        common = take.common()
        if common is None:
            raise RefusedError(
                f"What the recorders of take {take.number} share is not known, so they can't be played in step.",
                remedy="Play one of them: --recorder",
                code="take",
            )
        label = str(common["first"])
    label = label or take.lanes[first][0].start
    if not label:
        raise RefusedError(
            f"Where take {take.number} begins is not known yet.", remedy=SEE.format(number=take.number), code="take"
        )
    lanes = [_holding(takes, take, name, label) for name in names]
    lefts = [_left(lane, label) for lane in lanes]
    known = [left for left in lefts if left is not None]
    return Passage(
        take.number,
        names,
        label,
        min(known) if len(known) == len(lefts) else None,
        lanes[0].rate,
        {lane.device: lane.slot for lane in lanes if lane.slot},
    )


def _take(takes: OrderedDict[int, Take], verb: PlayTake) -> Take:
    if verb.mark and verb.label:
        raise RefusedError("From a mark or from a label, one of the two.", remedy="Leave one out.", code="argument")
    closed = [take for take in takes.values() if take.closed is not None and take.lanes]
    if not verb.take:
        if closed:
            return closed[-1]
        if not takes:
            raise RefusedError("There is no take yet to play.", code="take")
        number = next(reversed(takes))
        raise RefusedError(
            f"Take {number} runs, and there is none before it.",
            remedy=f"Cut it first: stagectl cut {number}",
            code="take",
        )
    found = takes.get(verb.take)
    if found is None:
        raise RefusedError(f"There is no take {verb.take}.", remedy="See: stagectl takes", code="take")
    return found


def _wanted(take: Take, verb: PlayTake) -> str:
    """The label that was asked for, by itself or by a mark; empty: the beginning."""
    if verb.mark:
        if not 0 < verb.mark <= len(take.marks):
            has = f"{len(take.marks)} mark{'' if len(take.marks) == 1 else 's'}" if take.marks else "no mark"
            raise RefusedError(f"Take {take.number} has {has}.", remedy=SEE.format(number=take.number), code="take")
        label = take.marks[verb.mark - 1].label
        if not label:
            raise RefusedError(
                f"Mark {verb.mark} of take {take.number} has no timecode: nothing rolled when it was written.",
                remedy="Say a label: --from",
                code="take",
            )
        return label
    if verb.label:
        try:
            return str(Label.parse(verb.label))
        except ValueError as error:
            raise RefusedError(str(error), remedy="Write it like 10:00:00:00.", code="argument") from None
    return ""


def _holding(takes: Mapping[int, Take], take: Take, device: str, label: str) -> Lane:
    """The recording of a take on one recorder that holds a label.

    Raises:
        RefusedError: none does; or a recording of another take on the same medium does too, so that a recorder that is
            cued by label may play either.
    """
    found = next((lane for lane in take.lanes[device] if _left(lane, label) != 0), None)
    called = take.lanes[device][0].called
    if found is None:
        raise RefusedError(
            f"Take {take.number} on {called} does not hold {label}.",
            remedy=SEE.format(number=take.number),
            code="take",
        )
    for other in takes.values():
        for lane in other.lanes.get(device, ()):
            if lane is not found and lane.slot == found.slot and lane.length and _left(lane, label):
                raise RefusedError(
                    f"{called} holds {label} twice, in take {take.number} and in take {other.number}: "
                    "a cue by label may find either.",
                    remedy='Cue it by its clip: stagectl takes, and the verb "cue" with its number.',
                    code="take",
                )
    return found


def _left(lane: Lane, label: str) -> int | None:
    """Frames of a recording from a label to its end; 0: it does not hold it; None: that can't be told."""
    rate, first, frames = lane.rate, lane.label, lane.frames()
    if rate is None or first is None:
        return None if label == lane.start else 0
    try:
        at = Label.parse(label).with_drop(rate.drop)
        frame_number(at, rate)
    except ValueError:
        return 0
    gone = span_frames(first, at, rate)
    if gone < 0:
        return 0
    return None if frames is None else max(frames - gone, 0)
