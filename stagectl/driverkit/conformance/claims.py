"""What does every driver promise while it drives? One function a claim; its docstring is the claim.

A claim returns what was seen, in a clause. It raises ClaimError if it does not hold, and NotAskedError if there is
nothing to try it on.
"""

from dataclasses import dataclass, fields, replace
from typing import Any, ClassVar, Final

from stagectl.driverkit.conformance.bench import Bench, Fault, call
from stagectl.driverkit.conformance.report import ClaimError, NotAskedError
from stagectl.driverkit.conformance.session import LOOK_S, NAME, SLACK_S, Session, sentence
from stagectl.model.conditions import ALWAYS, YES, Condition, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality, Reading
from stagectl.model.verbs import Ended, Set, Verb, VerbSpec

SLOW_S: Final = 6.0  # a first full look over the slow wire takes about so much longer
SLOWEST_S: Final = 0.3  # one answer over it
GATHER_S: Final = 0.15
LOOKED_AT: Final = 20  # points of the look that must be answered at the end
BEYOND: Final = 9999  # an index that no box has
LINE_ENDS: Final = ("\r\n", "\n", "\r")


@dataclass(frozen=True, slots=True)
class Unheard(Verb):
    """An act that no driver knows."""

    spec: ClassVar[VerbSpec] = VerbSpec("conformance-unheard", 1, "done")

    def effect(self) -> Condition:
        return ALWAYS


async def connects_reading_only(bench: Bench) -> str:
    """Until the box is adopted, only requests declared as reads are sent, and on the wire are their bytes alone."""
    session = await bench.session()
    talk, wire = session.talk, bench.proxy.connections[-1]
    before = talk.requests[: talk.adopted_after]
    for request, _ in before:
        if not session.talk.driver.reads(request):
            raise ClaimError(f"before adoption it sent {request!r}, which is no read")
    encoded = b"".join(data for _, data in talk.requests)
    if not encoded.startswith(bytes(wire.sent)):
        at = next(i for i, (a, b) in enumerate(zip(wire.sent, encoded + b"\0", strict=False)) if a != b)
        raise ClaimError(f"the wire carried {bytes(wire.sent[at : at + 40])!r}, which no request encodes to")
    bench.seen, bench.stream = before, bytes(wire.heard)
    return f"{len(before)} requests, {len(wire.sent)} bytes"


async def looks_are_reads(bench: Bench) -> str:
    """Every request of a look at any declared point, of the first full look and of the beat is declared as a read."""
    session = await bench.session()
    driver: Any = session.talk.driver
    names = [*session.readings()]
    asked = [*driver.look(None), *driver.look(tuple(names))]
    for name in names:
        asked += driver.look((name,))
    if driver.beat_s:
        asked += driver.beat(session.clock.now())
    for request in asked:
        if not driver.reads(request):
            raise ClaimError(f"a look or beat is {request!r}, which is no read")
    return f"{len(names)} points, {len(asked)} requests"


async def points_keep_their_specs(bench: Bench) -> str:
    """Every value has its point's type, word and range; every point belongs to the kind; the driver is of its kind."""
    session = await bench.session()
    if session.talk.driver.capability is not bench.kind.capability:
        raise ClaimError("the driver's capability is another one than its BoxKind's")
    readings = session.readings()
    for name, reading in readings.items():
        spec = bench.kind.capability.point(name)
        if spec is None:
            raise ClaimError(f'it declares "{name}", which its kind "{bench.kind.capability.kind}" does not have')
        misfit(reading, exact=True)
    good = sum(reading.quality is Quality.GOOD for reading in readings.values())
    if not good and not all(reading.blind for reading in readings.values()):
        raise ClaimError("not one of its points was read")
    return f"{good} of {len(readings)} points read"


def misfit(reading: Reading[Any], *, exact: bool) -> None:
    """Complain of a value that its spec does not allow; `exact`: of its range too. Raises ClaimError."""
    value, spec = reading.value, reading.spec
    if reading.quality is not Quality.GOOD:
        return
    number = spec.type in (int, float)
    wrong = isinstance(value, bool) or not isinstance(value, int if spec.type is int else (int, float))
    if wrong if number and value not in spec.words else not (isinstance(value, spec.type) or value in spec.words):
        raise ClaimError(f"{reading.name} is {value!r}, it should be of type {spec.type.__name__}")
    if exact and spec.type is not str:
        try:
            spec.check(value)
        except RefusedError as refused:
            raise ClaimError(str(refused)) from refused


async def acts_are_seen(bench: Bench) -> str:
    """The effect of each act is seen in points that were asked for after its bytes had left, and so is its undoing."""
    acts = bench.changing()
    session = await bench.session()
    told: list[str] = []
    for act in acts:
        if judge(session.board, act.verb.effect(), NAME) is YES:
            raise ClaimError(f'"{act.verb.say()}" changes nothing, it is so already: give an act that shows')
        told.append(await bench.carry_out(session, act))
    return "; ".join(told)


async def acts_are_no_reads(bench: Bench) -> str:
    """No request of an act is declared as a read: what may be sent before adoption must change nothing."""
    acts = bench.changing()
    session = await bench.session()
    for act in acts:
        for request in session.box.prepare([act.verb]).requests:
            if session.talk.driver.reads(request):
                raise ClaimError(f'"{act.verb.say()}" is {request!r}, which is declared as a read')
    return f"{len(acts)} acts"


async def refusals_are_sentences(bench: Bench) -> str:
    """What can't be done is refused in a sentence: an unknown verb, a point the box lacks, what the author names."""
    session = await bench.session()
    refused = [_refusal(session, Unheard())]
    for reading in _one_of_each(session):
        if "{" in reading.spec.template and reading.value is not None:
            name = reading.spec.template
            spec = bench.kind.capability.point(name.replace(name[name.index("{") : name.index("}") + 1], str(BEYOND)))
            if spec is not None and "{" not in spec.name:
                refused.append(await _no(session, Set(spec, reading.value)))
    refused += [await _no(session, act.verb) for act in bench.acts if act.refused]
    return f'{len(refused)} refused, such as: "{refused[-1]}"'


def _refusal(session: Session, verb: Verb) -> str:
    try:
        session.box.prepare([verb])
    except RefusedError as refused:
        if refused.code == "driver":
            raise ClaimError(f'"{verb.say()}" made the driver raise instead of refuse: {refused}') from refused
        return sentence(refused)
    raise ClaimError(f'"{verb.say()}" was not refused')


async def _no(session: Session, verb: Verb) -> str:
    """Ours before a byte leaves, or the box's."""
    try:
        session.box.prepare([verb])
    except RefusedError:
        return _refusal(session, verb)
    ended, why = await session.carry_out(verb, slack_s=0, needed=False)
    if ended is not Ended.FAILED or why.startswith("seen:"):
        raise ClaimError(f'"{verb.say()}" was not refused: it ended {ended}, {why or "seen"}')
    return sentence(RefusedError(why))


def _one_of_each(session: Session) -> list[Reading[Any]]:
    """One settable reading of each template."""
    found: dict[str, Reading[Any]] = {}
    for reading in session.readings().values():
        if reading.spec.settable:
            found.setdefault(reading.spec.template or reading.name, reading)
    return list(found.values())


async def line_ends_are_refused(bench: Bench) -> str:
    """A line end in any text argument is refused before a byte is sent: it would smuggle in a second command."""
    session = await bench.session()
    tried: list[Verb] = []
    for end in LINE_ENDS:
        text = f"a{end}smuggled"
        tried += [Set(one.spec, text) for one in _one_of_each(session) if one.spec.type is str]
        for act in bench.acts:
            tried += _with_text(act.verb, text)
        for verb in bench.kind.capability.verbs:
            tried += _with_text(_made(verb), text)
    if not tried:
        raise NotAskedError("no act of it takes a text")
    sent = session.box.counts.requests
    for one in tried:
        try:
            data = b"".join(session.box.prepare([one]).data)
        except RefusedError as refused:
            if refused.code == "driver":
                raise ClaimError(f"{one.say()!r} made the driver raise instead of refuse: {refused}") from refused
            sentence(refused)
            continue
        if b"\nsmuggled" in data or b"\rsmuggled" in data:
            raise ClaimError(f"{one.say()!r} was let through as {data!r}")
    if session.box.counts.requests != sent:  # nothing was awaited since, so no poll came between
        raise ClaimError("a byte was sent")
    return f"{len(tried)} texts"


def _made(verb: type[Verb]) -> Verb:
    """One such verb, with any arguments of the right types."""
    values = {"str": "a", "int": 1, "float": 1.0, "bool": True}
    made: Any = verb
    known = [one for one in fields(made) if one.init]
    return made(**{one.name: values.get(getattr(one.type, "__name__", str(one.type))) for one in known})  # type: ignore[no-any-return]


def _with_text(verb: Verb, text: str) -> list[Verb]:
    """The verb with `text` in each of its text fields, one at a time."""
    if isinstance(verb, Set):
        return [Set(verb.point, text)] if isinstance(verb.value, str) and verb.point.type is str else []
    changed: list[Verb] = []
    made: Any = verb
    for name, value in verb.arguments().items():
        if isinstance(value, str):
            changed.append(replace(made, **{name: text}))
    return changed


async def a_hand_is_seen(bench: Bench) -> str:
    """What somebody does at the box is seen within two polls, or with the notice."""
    hand = bench.hand
    if hand is None:
        raise NotAskedError("no hand was given")
    session = await bench.session()
    driver: Any = session.talk.driver
    names = {name for leaf in hand.shows.leaves() for name in (leaf.spec.name, leaf.spec.template)}
    polls = [look.every_s for look in driver.looks if names & set(look.names)]
    within_s = max([2 * every_s for every_s in polls], default=2.0) + 1.0
    if judge(session.board, hand.shows, NAME) is YES:
        raise ClaimError(f'"{hand.shows.say()}" is so before the hand did anything')
    try:
        await call(hand.do, "what the hand does")
        seen = lambda: judge(session.board, hand.shows, NAME) is YES  # noqa: E731 - said once, used once
        await session.until(seen, within_s, lambda: f'"{hand.shows.say()}" was not seen')
    finally:
        if hand.undo is not None:
            await call(hand.undo, "taking back what the hand did")
    bench.unasked(1)
    return f"{hand.shows.say()}, within {within_s:g} s"


async def a_lost_link_comes_back(bench: Bench) -> str:
    """A cut turns every point stale and keeps its value; on return all is read again and nothing else is sent."""
    session = await bench.session()
    before = {name: slot.value for name, slot in session.readings().items() if slot.quality is Quality.GOOD}
    act = next((act for act in bench.acts if not act.refused and act.undo is not None), None)
    if act is not None:  # on its way when the wire breaks: never said twice
        bench.proxy.delay_s = 1.0
        prepared = session.box.prepare([act.verb])
        session.box.enqueue(prepared)
        await bench.proxy.passed(prepared.data[-1], bench.patience_s)
    bench.proxy.refuse = True
    bench.proxy.cut()
    counts, losses, wires = session.box.counts, session.box.counts.losses, len(bench.proxy.connections)
    try:
        await session.until(lambda: counts.losses > losses, bench.patience_s, lambda: "the cut was not noticed")
        for name, value in before.items():
            slot = session.readings()[name]
            if slot.quality is not Quality.STALE or slot.value != value:
                raise ClaimError(f"{name} is {slot.value!r} and {slot.quality} without a link, it was {value!r}")
    finally:
        bench.proxy.heal()
    await session.adopted(bench.patience_s)
    for name in before:
        if session.readings()[name].quality is not Quality.GOOD:
            raise ClaimError(f"{name} was not read again after the return")
    for request, _ in session.talk.requests:
        if not session.talk.driver.reads(request):
            raise ClaimError(f"after the return it sent {request!r}, which is no read")
    encoded = b"".join(data for _, data in session.talk.requests)
    if not all(encoded.startswith(bytes(wire.sent)) for wire in bench.proxy.connections[wires:]):
        raise ClaimError("after the return the wire carried bytes that no request encodes to")
    if act is not None and act.undo is not None:
        await _undo_late(session, act.verb, act.undo)
    return f"{len(before)} points kept, {await bench.agree(session)}"


async def _undo_late(session: Session, verb: Verb, undo: Verb) -> None:
    """Take back an act that was on its way when the wire broke: it may have arrived, and show late, or not."""
    try:
        shows = lambda: judge(session.board, verb.moot(), NAME) is YES  # noqa: E731 - said once, used once
        await session.until(shows, verb.deadline_s() + 1, lambda: "lost with the wire")
    except ClaimError:
        if session.slip:
            raise
        return
    ended, why = await session.carry_out(undo)
    if ended not in (Ended.VERIFIED, Ended.SENT):
        raise ClaimError(f'after the return "{undo.say()}" ended {ended}, {why}')


async def slow_answers_meet_their_questions(bench: Bench) -> str:
    """Slow answers are late and never crossed: values and effects are as over a good wire."""
    requests = max(len(bench.seen), 1)
    bench.proxy.delay_s = min(SLOWEST_S, SLOW_S / requests, (await bench.session()).talk.driver.reply_s / 4)
    return await _over_the_wire(bench, slack_s=SLACK_S + 6 * bench.proxy.delay_s)


async def single_bytes_make_whole_answers(bench: Bench) -> str:
    """An answer that comes one byte at a time is understood as one."""
    bench.proxy.slice_bytes = 1
    return await _over_the_wire(bench)


async def answers_in_one_piece_are_taken_apart(bench: Bench) -> str:
    """Answers and notices that come in one piece are understood one by one."""
    bench.proxy.gather_s = min(GATHER_S, SLOW_S / max(len(bench.seen), 1))
    return await _over_the_wire(bench, slack_s=SLACK_S + 6 * bench.proxy.gather_s, glued=True)


async def _over_the_wire(bench: Bench, *, slack_s: float = SLACK_S, glued: bool = False) -> str:
    """Read all, do the acts and look once more, without losing the link; then compare."""
    try:
        session = await bench.anew()
        losses = session.box.counts.losses
        acts = [act for act in bench.acts if not act.refused]
        for act in acts:
            await bench.carry_out(session, act, slack_s=slack_s + 2 * LOOK_S)
        if glued:
            await bench.say(b"".join(bench.unasked(3) * 2))
        # What was glued is old by now, and a driver believes a notice until it hears another: all is asked once more.
        names = None if glued else tuple(session.readings())[:LOOKED_AT]
        answered: list[bool] = []
        if session.box.look_now(names, lambda: answered.append(True)) is not None:
            counts = session.box.counts
            over = lambda: bool(answered) or counts.losses > losses  # noqa: E731 - said once, used once
            await session.until(over, bench.patience_s, lambda: "a look is unanswered")
        if session.box.counts.losses > losses:
            raise ClaimError(f"the link was lost: {session.lost_for}")
        return f"{len(acts)} acts, {await bench.agree(session)}"
    finally:
        bench.proxy.heal()


async def a_fault_passes(bench: Bench, fault: Fault) -> str:
    """While the box misbehaves nothing but its link may be lost; when it is well again, all is as it says."""
    session = await bench.session()
    try:
        await call(fault.on, f"switching {fault.name} on")
        session.box.look_now(None)
        for act in bench.acts:
            if not act.refused and session.box.adopted and judge(session.board, act.verb.needs(), NAME) is YES:
                try:
                    await session.carry_out(act.verb, slack_s=0)
                except (RefusedError, ClaimError) as no:
                    if session.slip:
                        raise ClaimError(f"the driver raised {session.slip}") from no
    finally:
        await call(fault.off, f"switching {fault.name} off")
    await bench.settle(session)
    for act in bench.acts:
        if not act.refused and act.undo is not None and judge(session.board, act.undo.needs(), NAME) is YES:
            await session.carry_out(act.undo)
    return await bench.agree(session)
