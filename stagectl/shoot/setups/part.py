"""How is the house brought into a set-up, kept in it, and brought back? A house part, named "setups".

An apply is one group in stages, like every press; each value has its verdict from points. What was so just before is
kept, in the journal too, so that it can be put back also after a restart.
"""

from collections import OrderedDict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stagectl.control.access import Person
from stagectl.control.groups import Group
from stagectl.model.conditions import NO, UNKNOWN, YES
from stagectl.model.errors import RefusedError
from stagectl.model.points import NEVER
from stagectl.model.verbs import Ask, Ended, Set, Verb
from stagectl.shoot.clock.cameras import refuse_swimming
from stagectl.shoot.keeper import Keeper, Kept
from stagectl.shoot.order import together
from stagectl.shoot.paths import shows
from stagectl.shoot.routes.words import Route
from stagectl.shoot.setups import wording
from stagectl.shoot.setups.chosen import Chosen
from stagectl.shoot.setups.hold import Drift, Hold
from stagectl.shoot.setups.plan import Plan, Planner, Row, plan, seen
from stagectl.shoot.setups.scribe import Scribe
from stagectl.shoot.setups.setup import Pair, Setup, Wanted
from stagectl.shoot.setups.shelf import Shelf
from stagectl.shoot.setups.telling import Telling
from stagectl.shoot.setups.verbs import DIFFERS, DRIFT, HELD, SETUPS, STATE, Apply, State, Undo
from stagectl.shoot.setups.verbs import UNKNOWN as NOT_TOLD
from stagectl.shoot.setups.ways import picture_of
from stagectl.shoot.vocabulary import words_of

if TYPE_CHECKING:
    from stagectl.shoot.house import House

OUTCOMES: Final = 50  # sentences of applies that are remembered
VALUES: Final = 200  # of one line of the journal; own choice, 100 kB if each is as long as it may be
NOTHING: Final = "No set-up was applied that could be undone."
_NOBODY: Final = Ask("", "", "", "setups", Undo())


class Setups:
    """The set-ups of a house, and the one it is held in."""

    name = "setups"
    capability = SETUPS

    def __init__(self, house: "House") -> None:
        self._house = house
        self.shelf = Shelf()
        self.tell = Telling(house)
        self.scribe = Scribe(house)
        self._folder = Path()
        self._held: Setup | None = None
        self._only = ""
        self._before = ""  # the set-up that was held when the last apply began
        self._keeper: Keeper | None = None
        self._plan: tuple[Ask, Plan | None] | None = None  # what the newest expand came to; None: an undo
        self._running = ""  # id of the newest apply or undo
        self._made: dict[str, Plan] = {}  # plans of applies that have no verdict yet
        self._undo: list[list[Pair]] = []  # what each value came to that the newest undo puts back
        self._undone_of = ""
        self._outcomes: OrderedDict[str, str] = OrderedDict()
        self._applying = False
        self._hold: Hold | None = None
        self._soon = False
        self._writer = house.board.writer(self.name)
        self._writer.age_of = lambda spec: float("inf")
        self._writer.declare(*SETUPS.points)
        self._put("", "")
        house.commands.judge.on_end.append(self._ended)

    def load(self, folder: Path) -> None:
        """Read every set-up file of a folder anew."""
        self._folder = folder
        self.shelf.load(folder, words_of(self._house))

    def reload(self) -> None:
        """Read them again; what is held is held as its file now says."""
        self.load(self._folder)
        if self._held is not None and not self._applying:
            self._held = self.shelf.setups.get(self._held.name, self._held)
            self._watch()

    # -- to be read -----------------------------------------------------------------------------------------------

    def plan(self, name: str, *, only: str = "", person: Person | None = None) -> Plan:
        """What differs from a set-up now, and in which order it would be put right. Raises RefusedError."""
        setup, chosen = self.shelf.find(name), Chosen(self._house, only)
        return plan(self._house, setup, _NOBODY, chosen=chosen, person=person)

    @property
    def held(self) -> Setup | None:
        """The set-up that was applied last."""
        return self._held

    @property
    def drifts(self) -> list[Drift]:
        """What was as wanted and is not any more, oldest first."""
        return list(self._hold.drifts.values()) if self._hold is not None else []

    def compared(self, setup: Setup) -> tuple[int, int]:
        """How many values of a set-up differ, and how many can't be told."""
        truths = [seen(self._house, wanted).truth for wanted in setup.wants.values()]
        return truths.count(NO), truths.count(UNKNOWN)

    def back(self) -> tuple[str, list[Kept], list[str]]:
        """What an undo would put back: the set-up it undoes, each value, and what is left alone.

        Raises:
            RefusedError: nothing was applied.
        """
        if self._keeper is None:
            raise RefusedError(NOTHING, remedy="See: stagectl setup list", code="setup")
        back, left = self._keeper.back(self._house.commands.rises.now())
        return self._called, back, left

    # -- asked of it ----------------------------------------------------------------------------------------------

    def expand(self, ask: Ask) -> list[Ask]:
        """The ask itself, judged by `held`, and what brings the house there, already spread to boxes and in stages."""
        match ask.verb:
            case Apply(setup=name, only=only):
                setup, chosen = self.shelf.find(name), Chosen(self._house, only)
                showing = (one.value for one in setup.wants.values() if one.device in ("paths", "stations"))
                refuse_swimming(self._house.site.cameras, setup.called, showing)
                made = plan(self._house, setup, ask, chosen=chosen)
                own = Apply(setup.name, chosen.text)
                itself = replace(ask, verb=own)
                self._plan = itself, made
                return [itself, *made.asks(self._house.parts)]
            case Undo():
                return self._expand_undo(ask)
        raise RefusedError(f"setups can't {ask.verb.spec.name}.", remedy="Say apply or undo.", code="verb")

    def _expand_undo(self, ask: Ask) -> list[Ask]:
        _, back, _ = self.back()
        self._plan = ask, None
        found = Planner(self._house, ask).all_of([(one.target, Set(one.spec, one.before)) for one in back])
        self._undo = [[(one.target, name) for one in some for name in one.verb.touches()] for some in found]
        asks = [one for some in found for one in some]
        return [replace(ask, verb=Undo(self._before)), *together(asks, self._house.parts)]

    def act(self, verb: Verb) -> None:
        """Keep what is so just before, and be held in the set-up from now on. Nothing was sent yet."""
        assert self._plan is not None, "it is expanded just before it acts"
        ask, made = self._plan
        self._running = ask.id
        if made is None:
            self._undone(ask.who)
        elif isinstance(verb, Apply):
            self._made[ask.id] = made
            self._apply(verb, ask.who, made)

    def _apply(self, verb: Apply, who: str, made: Plan) -> None:
        to_do = made.to_do
        before = self._held.name if self._held is not None else ""
        if to_do or self._keeper is None:
            self._keeper = Keeper(self._house.board)
            for row in to_do:
                self._keeper.keep(
                    _kept_of(row, picture_of(self._house, row.wanted.device, row.verb)), self._house.parts
                )
            self._before = before
        self._log("before", who, setup=verb.setup, only=verb.only, before=self._before)
        kept = self._kept()
        for first in range(0, len(kept), VALUES):  # a line of the journal has its bound
            self._log("kept", who, values=kept[first : first + VALUES])
        self._let_go()
        self._held, self._only, self._applying = made.setup, verb.only, True
        self._put(verb.setup, "")

    def _undone(self, who: str) -> None:
        _, _, left = self.back()
        name = self._held.name if self._held is not None else ""
        self._undone_of = self._called
        self._log("undone", who, setup=name, before=self._before, left=left)
        self._let_go()
        self._held = self._named(self._before)
        self._only, self._keeper, self._applying = "", None, True
        self._put(self._before, "")

    def _ended(self, group: Group) -> None:
        """An apply or undo has its last verdict: from now on its values are watched."""
        own = next((one for one in group.commands if one.ask.target == self.name), None)
        if own is None or own.verdict is None or own.verdict.refused:
            return
        self._outcomes[group.id] = self._outcome(own.ask.verb, group)
        while len(self._outcomes) > OUTCOMES:
            self._outcomes.popitem(last=False)
        name = self._held.name if self._held is not None else ""
        self._log("after", group.who, setup=name, id=group.id, ended=str(group.worst), count=group.count)
        if group.id == self._running:  # another may have begun since
            self._applying = False
            self._watch()

    def _outcome(self, verb: Verb, group: Group) -> str:
        """How an apply or undo ended, value by value: a way through two tie-lines is one value."""
        well = (Ended.VERIFIED, Ended.SENT)
        bad = {
            (one.ask.target, name)
            for one in group.commands
            if one.verdict is None or one.verdict.ended not in well
            for name in one.ask.verb.touches()
        }
        if isinstance(verb, Undo):
            right = sum(not any(pair in bad for pair in pairs) for pairs in self._undo)
            return wording.undone(called=self._undone_of, right=right, of=len(self._undo))
        made = self._made.pop(group.id, None)
        if made is None:
            return ""
        to_do = made.to_do
        boxes = self._house.boxes
        right = 0
        for row in to_do:  # a part shows what its boxes show, and may speak of other rows too
            asks = [ask for ask in row.asks if ask.target in boxes] or row.asks
            right += not any((ask.target, name) in bad for ask in asks for name in ask.verb.touches())
        by_hand = sum(row.by_hand for row in made.rows)
        before = len(made.of(YES))
        return wording.applied(called=made.setup.called, right=right, of=len(to_do), before=before, by_hand=by_hand)

    def outcome(self, group: Group) -> str:
        """How a group of this part ended, in a sentence; empty: it has not, or is forgotten."""
        return self._outcomes.get(group.id, "")

    # -- the watch ------------------------------------------------------------------------------------------------

    def restore(self, records: Iterable[Mapping[str, Any]]) -> None:
        """From the journal's records of kind "setup", oldest first: held as it was, and its apply can be undone."""
        last: Mapping[str, Any] | None = None
        values: list[Any] = []
        for data in records:
            if data.get("what") in ("before", "undone"):
                last, values = data, []
            elif data.get("what") == "kept":
                values.extend(data.get("values", ()))
        if last is None:
            return
        applied = last["what"] == "before"
        self._held = self._named(str(last.get("setup" if applied else "before", "")))
        if applied:
            self._only, self._before = str(last.get("only", "")), str(last.get("before", ""))
            self._keeper = self._read_back(values)
        self._put(self._held.name if self._held is not None else "", "")
        self._watch()

    def _named(self, name: str) -> Setup | None:
        """A set-up or a version by its whole name; None: its file is gone, or it was none."""
        try:
            found = self.shelf.find(name) if name else None
        except RefusedError:
            return None
        return found if found is not None and found.name == name else None

    @property
    def _called(self) -> str:
        """What was applied last, for sentences; its file may be gone."""
        return self._held.called if self._held is not None else "the last set-up"

    def _read_back(self, values: Iterable[Any]) -> Keeper:
        keeper = Keeper(self._house.board)
        for target, name, before, known, ours in values:
            capability = self._house.capability(str(target))
            spec = capability.point(str(name)) if capability is not None else None
            try:
                if spec is not None:
                    was = spec.check(before) if known else None
                    keeper.kept[str(target), str(name)] = Kept(str(target), spec, was, bool(known), spec.check(ours))
            except RefusedError:
                continue  # the box is another kind by now: its value is none of this point
        return keeper

    def _kept(self) -> list[list[Any]]:
        kept = self._keeper.kept.values() if self._keeper is not None else ()
        return [[one.target, one.spec.name, one.before, one.known, one.ours] for one in kept]

    def _watch(self) -> None:
        self._let_go()
        if self._held is not None:
            chosen = Chosen(self._house, self._only)
            wants = [one for one in self._held.watched() if chosen(one.pair)]
            self._hold = Hold(
                self._house.board, wants, self._author, changed=self._tell_soon, drifted=self._drifted, back=self._right
            )
        self._tell()

    def _let_go(self) -> None:
        if self._hold is not None:
            self._hold.end()
            self._hold = None

    def _author(self, wanted: Wanted) -> tuple[str, float]:
        """Whose act the last change was; of a part's point: of whatever it is made of that changed last."""
        house, reading = self._house, self._house.board.reading(wanted.device, wanted.spec)
        if wanted.device in house.boxes:
            return reading.by, reading.changed_at
        try:
            asks = house.spread(Ask("", "", "", wanted.device, Set(wanted.spec, wanted.value)))
        except RefusedError:
            return "", NEVER
        below = [
            house.board.reading(ask.target, ask.verb.point)
            for ask in asks
            if ask.target in house.boxes and isinstance(ask.verb, Set)
        ]
        newest = max(below, key=lambda one: one.changed_at, default=reading)
        return newest.by, newest.changed_at

    def _drifted(self, drift: Drift) -> None:
        wanted = drift.wanted
        said = self.tell.drift(drift)
        name = wanted.spec.name
        self._log("drift", drift.by, device=wanted.device, point=name, was=drift.was, now=drift.now, say=said)
        self._put(str(self._house.board.get(self.name, HELD).value or ""), said)

    def _right(self, wanted: Wanted) -> None:
        self._log("right-again", "", device=wanted.device, point=wanted.spec.name, now=wanted.value)
        last = self.drifts[-1] if self.drifts else None
        held = str(self._house.board.get(self.name, HELD).value or "")
        self._put(held, self.tell.drift(last) if last is not None else "")

    # -- told -----------------------------------------------------------------------------------------------------

    def say(self) -> str:
        """How the house stands to the set-up it is held in."""
        board = self._house.board
        return wording.held(
            called=self._held.called if self._held is not None else "",
            state=str(board.get(self.name, STATE).value),
            differ=int(board.get(self.name, DIFFERS).value or 0),
            unknown=int(board.get(self.name, NOT_TOLD).value or 0),
        )

    def _tell_soon(self) -> None:
        if not self._soon:
            self._soon = True
            self._house.board.clock.later(self._house.board.clock.now(), self._tell)

    def _tell(self) -> None:
        self._soon = False
        drift = str(self._house.board.get(self.name, DRIFT).value or "") if self.drifts else ""
        self._put(str(self._house.board.get(self.name, HELD).value or ""), drift)

    def _put(self, held: str, drift: str) -> None:
        """Write the part's points. They are its own doing, so they are always good and young."""
        differ, unknown = (self._hold.count(NO), self._hold.count(UNKNOWN)) if self._hold is not None else (0, 0)
        now = self._house.board.clock.now()
        for spec, value in (
            (HELD, held),
            (STATE, self._state(differ, unknown)),
            (DIFFERS, differ),
            (NOT_TOLD, unknown),
            (DRIFT, drift),
        ):
            self._writer.compute(spec.name, value, asked_at=now)

    def _state(self, differ: int, unknown: int) -> State:
        if self._applying:
            return State.APPLYING
        if self._hold is None:
            return State.NONE
        return State.DIFFERS if differ else State.UNSURE if unknown else State.HOLDS

    def _log(self, what: str, who: str, **data: Any) -> None:
        self._house.chronicle.write("setup", who, what=what, **data)


def _kept_of(row: Row, picture: Route | None) -> list[Ask]:
    """What is kept of a row for an undo: a picture by its destination, all else by what it comes to."""
    if picture is None:
        return row.asks
    return [replace(row.asks[0], target="paths", verb=Set(shows(picture.place), picture.source))]
