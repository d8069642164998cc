"""What does the page show of the house beside its points? Sections, each in plain values with its words.

It looks when asked and keeps nothing; the live feed sends a section when it became another one.
"""

from collections.abc import Callable, Generator
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from stagectl.control.access import PRIVATE
from stagectl.control.chronicle import stamp
from stagectl.model.capabilities.base import HEALTH, Health
from stagectl.model.capabilities.mixer import STRIP_MUTED, STRIPS
from stagectl.model.points import Quality
from stagectl.model.verbs import Ended
from stagectl.shoot import deskwords
from stagectl.shoot.alarms import last_lane
from stagectl.shoot.lineup.part import FAILED, OPEN, READY
from stagectl.shoot.paths import SHOWS
from stagectl.shoot.setups.verbs import DIFFERS, HELD
from stagectl.shoot.take import Take
from stagectl.shoot.teller import Teller

if TYPE_CHECKING:
    from stagectl.shoot.house import House

SLICE: Final = 64  # recorders looked at in one turn of the loop
SPREADS: Final = 40  # newest takes in the picture of spreads
LEFT_STEP_S: Final = 10.0
_MISSING: Final = ("failed", "unconfirmed")


class DeskView:
    """Sections about one house, in the words of its teller."""

    def __init__(self, house: "House", teller: Teller) -> None:
        self._house = house
        self._teller = teller

    def sections(self) -> Generator[None, None, dict[str, Any]]:
        """Make all sections by name; between the steps of it the loop may do what else waits.

        `take` is the running one without its running time, `each` a row a recorder, `acts` the labels and questions
        of roll and end, `answers` a line for each view, `desk` who holds it,
        `pictures` the sentence above each picture, `rises` levels on their way up.
        """
        house, teller = self._house, self._teller
        take = house.takes.open
        each = []
        for number, name in enumerate(house.takes.recorders, 1):
            each.append(self._recorder(name, take))
            if number % SLICE == 0:
                yield
        made: dict[str, Callable[[], Any]] = {
            "say": teller.state,
            "take": lambda: take.plain() if take is not None else None,
            "each": lambda: each,
            "acts": lambda: self._acts(take, each),
            "last": teller.last,
            "next": lambda: {"take": house.takes.next_number, "name": house.takes.slate},
            "wrong": lambda: [row.plain() for row in teller.wrong()],
            "back": lambda: [row.plain() for row in teller.back()],
            "desk": lambda: house.desk.plain() | {"say": house.desk.say()},
            "answers": self._answers,
            "pictures": lambda: self._pictures(take),
            "rises": self.rises,
        }
        told = {}
        for name, make in made.items():
            told[name] = make()
            if len(each) >= SLICE:
                yield
        return told

    # -- recorders ------------------------------------------------------------------------------------------------

    def _recorder(self, name: str, take: Take | None) -> dict[str, Any]:
        state, why, for_s = self._stands(name, take)
        return {
            "device": name,
            "called": self._house.called(name),
            "state": state,
            "say": deskwords.recorder(state=state, why=why, for_s=for_s),
            "left_s": _steps(self._teller.left(name)),
        }

    def _stands(self, name: str, take: Take | None) -> tuple[str, str, float]:
        """State, clause and age of one recorder, as `deskwords.recorder` takes them."""
        teller = self._teller
        if take is None:
            return self._rests(name)
        if take.open_lane(name) is not None:
            if not teller.proven(name):
                return "stale", "", teller.unseen_s(name)
            doubtful = self._house.board.get(name, HEALTH).value is Health.DOUBTFUL
            return ("doubtful" if doubtful else "proven"), "", 0.0
        if last_lane(take, name) is None and name not in take.wanted:
            return "apart", "", 0.0
        number, verdict = self._house.alarms.rolls.get(name, (0, None))
        if last_lane(take, name) is None and (number != take.number or verdict is None):
            return "asked", "", 0.0
        if last_lane(take, name) is None and verdict is not None and verdict.ended is Ended.UNCONFIRMED:
            return "unconfirmed", "", 0.0
        return "failed", teller.why_missing(take, name), 0.0

    def _rests(self, name: str) -> tuple[str, str, float]:
        lack = self._teller.lacks(name)
        reading = self._house.board.get(name, HEALTH)
        if reading.value is Health.FAILED or reading.quality is not Quality.GOOD:
            return "unknown", lack or "", 0.0
        return ("failed" if lack else "ready"), lack or "", 0.0

    # -- acts -----------------------------------------------------------------------------------------------------

    def _acts(self, take: Take | None, each: list[dict[str, Any]]) -> dict[str, Any]:
        return {"roll": self._roll(take), "join": self._join(take, each), "end": self._end(take)}

    def _roll(self, take: Take | None) -> dict[str, Any] | None:
        takes = self._house.takes
        if take is not None or not takes.recorders:
            return None
        lacks = {name: lack for name in takes.recorders if (lack := self._teller.lacks(name)) is not None}
        of, number = len(takes.recorders), takes.upcoming("")[0]
        first = next(iter(lacks), next(iter(takes.recorders)))
        called = takes.recorders[first]
        label = deskwords.act_roll(can=of - len(lacks), of=of, take=number, called=called, has=lacks.get(first, ""))
        return {"label": label, "can": of - len(lacks), "of": of}

    def _join(self, take: Take | None, each: list[dict[str, Any]]) -> list[dict[str, str]]:
        if take is None:
            return []
        return [
            {"device": one["device"], "label": deskwords.act_join(called=one["called"], take=take.number)}
            for one in each
            if one["state"] in _MISSING
        ]

    def _end(self, take: Take | None) -> dict[str, Any] | None:
        if take is None:
            return None
        recorders, for_s = len(take.rolling), self._house.world.clock.now() - take.opened_at
        return {
            "take": take.number,
            "rolling": take.rolling,
            "label": deskwords.act_end(take=take.number),
            "ask": deskwords.ask_end(take=take.number, recorders=recorders, for_s=for_s),
            "do": deskwords.do_end(take=take.number, recorders=recorders),
        }

    # -- the answers of the contents ------------------------------------------------------------------------------

    def _answers(self) -> dict[str, str]:
        house = self._house
        takes = house.takes
        healths = [house.board.get(name, HEALTH).value for name in house.boxes]
        told = {
            "sheet": deskwords.answer_sheet(takes=len(takes.takes), rolls=takes.open is not None),
            "kit": deskwords.answer_kit(
                boxes=len(house.boxes), doubtful=sum(one is not Health.WELL for one in healths)
            ),
        }
        told |= self._readiness()
        if house.site.pictures.destinations:
            shown = [house.board.get("paths", SHOWS.at(name)) for name in house.site.pictures.destinations]
            told["paths"] = deskwords.answer_paths(
                destinations=len(shown), unknown=sum(one.quality is not Quality.GOOD for one in shown)
            )
        mixers = [name for name, box in house.boxes.items() if box.capability.kind == "mixer"]
        if mixers:
            told["sound"] = self._sound(mixers)
        told |= {view: tell() for view, tell in house.answers.items()}
        last = next((one for one in reversed(house.chronicle.recent) if one.kind != PRIVATE), None)
        if last is not None:
            told["journal"] = deskwords.answer_journal(at=self._teller.at(last.wall), who=last.who)
        return told

    def _readiness(self) -> dict[str, str]:
        """Of line-up and set-ups, where the house has them."""
        board, parts, told = self._house.board, self._house.parts, {}
        if "lineup" in parts:
            failed, unknown = (int(board.get("lineup", spec).value or 0) for spec in (FAILED, OPEN))
            ready = board.get("lineup", READY).value is True
            rolls = self._house.takes.open is not None
            told["lineup"] = deskwords.answer_lineup(failed=failed, unknown=unknown, ready=ready, rolls=rolls)
        if self._house.setups.shelf.setups:
            held = str(board.get("setups", HELD).value or "")
            differs = int(board.get("setups", DIFFERS).value or 0)
            told["setups"] = deskwords.answer_setups(held=held, differs=differs)
        return told

    def _sound(self, mixers: list[str]) -> str:
        board = self._house.board
        strips = [
            board.get(name, STRIP_MUTED.at(strip))
            for name in mixers
            for strip in range(1, int(board.get(name, STRIPS).value or 0) + 1)
        ]
        return deskwords.answer_sound(
            strips=len(strips),
            muted=sum(one.value is True for one in strips),
            unknown=sum(one.quality is not Quality.GOOD for one in strips),
            rising=len(self._house.commands.rises.now()),
        )

    def _pictures(self, take: Take | None) -> dict[str, str]:
        """The sentence of each picture, by its name; both are drawn from the same figures."""
        lefts = [(left, name) for name in self._house.takes.recorders if (left := self._teller.left(name)) is not None]
        told = {}
        if lefts:
            left, name = min(lefts)
            at = self._teller.at(self._house.world.clock.wall() + timedelta(seconds=left)) if take is not None else ""
            told["left"] = deskwords.picture_left(called=self._house.called(name), for_s=left, at=at[:5])
        takes = list(self._house.takes.takes.values())[-SPREADS:]
        spreads = [(spread.frames, one.number) for one in takes if (spread := one.spread()) is not None]
        if spreads:
            frames, number = max(spreads)
            told["spread"] = deskwords.picture_spread(takes=len(spreads), frames=frames, take=number)
        return told

    def rises(self) -> list[dict[str, Any]]:
        """Levels on their way up: device, point, `to` in its unit, `who` asked, `say`."""
        return [
            {
                "device": one.device,
                "point": one.point.name,
                "to": one.to,
                "who": one.who,
                "say": deskwords.rise(
                    called=self._house.called(one.device),
                    point=one.point.name.replace(".", " "),
                    to=one.point.say(one.to),
                    who=one.who,
                ),
            }
            for one in self._house.commands.rises.now()
        ]

    def moment(self) -> dict[str, Any]:
        """The daemon's clocks: `at`, its own, in seconds, for acts to say when they last saw it; wall time and zone."""
        clock = self._house.world.clock
        wall = clock.wall()
        return {"at": round(clock.now(), 3), "wall": stamp(wall), "zone_min": self._teller.zone_min(wall)}


def _steps(seconds: float | None) -> float | None:
    """In steps of ten seconds: a medium that fills must not be news every second."""
    return None if seconds is None else seconds // LEFT_STEP_S * LEFT_STEP_S
