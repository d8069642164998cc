"""What is played back now, and what was there before? As the journal keeps it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Self

from stagectl.control.access import Person
from stagectl.model.board import Board
from stagectl.model.capabilities.recorder import TIMECODE
from stagectl.model.conditions import same
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec, Quality, Reading
from stagectl.model.timecode import Label, seconds, span_frames
from stagectl.model.verbs import Ask
from stagectl.model.world import Handle
from stagectl.shoot.keeper import Keeper, Kept
from stagectl.shoot.playback.passage import Passage

PointOf = Callable[[str, str], PointSpec[Any] | None]
_WORDS: Final = ("station", "picture", "sound", "sees", "hears")


@dataclass(slots=True)
class Session:
    """A playback from its press until what was there is put back.

    Attributes:
        id: of the press; empty after a restart.
        station: its name; empty: nothing is routed.
        picture, sound: what the station gets; empty: nothing.
        sees, hears: what it got before, in words; empty: not known, or not touched.
        keeper: the settings before, and what of them is ours.
        who: asked for it; None after a restart.
        asked: the press has no verdict yet.
        ending: its end was asked for, by the press `end`.
        back: what that puts back, with the asks of each.
        left: what that leaves alone, in words.
        until: at the end of what is played.
    """

    id: str
    what: Passage
    station: str
    picture: str
    sound: str
    sees: str
    hears: str
    keeper: Keeper
    who: Person | None = None
    asked: bool = True
    ending: bool = False
    end: str = ""
    back: list[tuple[Kept, list[Ask]]] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    until: Handle | None = None

    def owed(self, board: Board) -> tuple[list[Kept], list[str]]:
        """What is to be put back, last first, and in words what is left alone.

        While its press goes on, a level on its way up is neither what it was nor what it will be; it is ours.
        """
        if not self.asked:
            return self.keeper.back()
        kept = list(reversed(self.keeper.kept.values()))
        back = [one for one in kept if one.known and not _is(board, one)]
        return back, [f"{one.say} was not known before and stays" for one in kept if not one.known]

    def returning(self, board: Board) -> list[Reading[Any]]:
        """What its end brings back."""
        return [board.reading(one.target, one.spec) for one, _ in self.back]

    def is_back(self, board: Board) -> bool:
        """Is all of that as it was before?"""
        return all(_is(board, one) for one, _ in self.back)

    def left_s(self, board: Board, now: float) -> float | None:
        """Seconds until the end of what is played, by the label seen last; None: the end is not known."""
        what = self.what
        if what.frames is None or what.rate is None:
            return None
        gone, read_at = 0, now
        reading = board.get(what.recorders[0], TIMECODE)
        if reading.quality is Quality.GOOD:
            try:
                first, at = (Label.parse(text).with_drop(what.rate.drop) for text in (what.label, str(reading.value)))
                gone, read_at = span_frames(first, at, what.rate), reading.read_at
            except ValueError:
                gone, read_at = 0, now
        return max(0.0, float(seconds(what.frames - gone, what.rate)) - (now - read_at))

    def plain(self) -> dict[str, Any]:
        """For the journal. A line has its bound; a station has a destination and the sends of one bus."""
        kept = [[one.target, one.spec.name, one.before, one.known, one.ours] for one in self.keeper.kept.values()]
        told = {name: getattr(self, name) for name in _WORDS}
        return {"take": self.what.take, "recorders": list(self.what.recorders), "label": self.what.label, **told} | {
            "values": kept
        }

    @classmethod
    def read(cls, data: Mapping[str, Any], board: Board, point: PointOf) -> Self:
        """From a journal record; `point` finds a point of a device or part. Raises KeyError, TypeError, ValueError."""
        keeper = Keeper(board)
        for target, name, before, known, ours in data["values"]:
            spec = point(str(target), str(name))
            try:
                if spec is not None:
                    was = spec.check(before) if known else None
                    keeper.kept[str(target), str(name)] = Kept(str(target), spec, was, bool(known), spec.check(ours))
            except RefusedError:
                continue  # the box is another kind by now: its value is none of this point
        recorders = tuple(str(one) for one in data["recorders"])
        what = Passage(int(data["take"]), recorders, str(data["label"]), None, None, {})
        station, picture, sound, sees, hears = (str(data[name]) for name in _WORDS)
        return cls("", what, station, picture, sound, sees, hears, keeper, asked=False)


def _is(board: Board, one: Kept) -> bool:
    """Is it already what it was before?"""
    reading = board.reading(one.target, one.spec)
    return reading.quality is Quality.GOOD and same(one.spec, reading.value, one.before)
