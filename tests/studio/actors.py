"""Who acts in a run? Operators with ids of their own and patience, hands at the boxes, and pages that are looked at."""

import asyncio
from collections.abc import Callable
from typing import Any, Final

from stagectl.control.access import Person
from stagectl.daemon import Daemon
from stagectl.model.errors import RefusedError
from stagectl.model.secret import Secret
from stagectl.shoot.house import Wish
from tests.studio.histories import Answer, Asked, Point, Seen
from tests.studio.plan import Op
from tests.studio.stage import PEOPLE, Stage, boxes_of

TRIES: Final = 5  # of an act that nobody answers
AGAIN_S: Final = 1.0
PATIENCE_S: Final = 8.0  # for one try's answer
LOOK_S: Final = 0.5  # a page is looked at this often
SURE_S, LATE_S = 1.5, 12.0  # until they ask again who were shown what a cut ends: in its time, and after it
WRONG: Final = "AAAAA"  # a word that was never shown
OUTPUT: Final = 3  # of the router, the one that people route
_BASE32: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

Said = tuple[str, Any]


async def act(stage: Stage, op: Op) -> None:
    """Carry one act of the plan out, from the client's side."""
    if op.who == "hand":
        stage.panel(op.dev, op.verb)
        return
    if op.verb in ("scene", "halt"):
        await _play(stage, op)
        return
    asked = _ask(stage, op)
    if asked is None:
        return
    stage.run.asked[op.id] = asked
    again, confirm = op.again, ""
    for _ in range(TRIES):
        # the same wish may come through another door the next time
        door = "mqtt" if len(asked.tries) % 2 and int(op.id[1:]) % 2 else "http"
        answer = Answer(stage.now(), stage.life, confirm=confirm, door=door)
        asked.tries.append(answer)
        await _try(stage, lambda person, door=door, word=confirm: _wish(op, asked, person, door, word), answer, op.who)
        _note_doors(stage, asked)
        judged = answer.told == "refused" or bool(answer.boxes)
        if answer.code == "confirm":
            stage.reached("O02")
            if op.sure == "no" or confirm not in ("", WRONG):
                return  # what was shown is over, or is another picture now
            confirm = WRONG if op.sure == "wrong" and not confirm else answer.word
            await asyncio.sleep(LATE_S if op.sure == "late" else SURE_S)
            continue
        if judged and again:
            again -= 1  # the answer got lost on its way to the page, say
        elif judged:
            return
        await asyncio.sleep(AGAIN_S)


def _note_doors(stage: Stage, asked: Asked) -> None:
    """One act with one id came through two doors, and both answered."""
    if {answer.door for answer in asked.tries if answer.boxes} == {"http", "mqtt"}:
        stage.reached("duplicate over both doors")
        stage.reached("B05")


async def _play(stage: Stage, op: Op) -> None:
    """Start a scene, or stop the newest one; the same id is sent again if nobody answers."""
    for _ in range(1 + op.again + 2):
        said: asyncio.Queue[Said] = asyncio.Queue()
        if stage.ask_daemon(lambda daemon, said=said: _serve_scene(stage, daemon, op, said)):
            try:
                async with asyncio.timeout(PATIENCE_S):
                    await said.get()
                if not op.again:
                    return
            except TimeoutError:
                pass
        await asyncio.sleep(AGAIN_S)


async def _serve_scene(stage: Stage, daemon: Daemon, op: Op, said: "asyncio.Queue[Said]") -> None:
    try:
        person = await _who(stage, daemon, op.who)
        if op.verb == "halt":
            for run in daemon.scenes.running[-1:]:
                daemon.scenes.stop(run.id, person)
                stage.reached("scene stopped by a person")
        else:
            daemon.scenes.start(op.name, person, {}, _born(stage, op))
    except (RefusedError, OSError) as refused:
        stage.run.texts.append((f"an answer to {op.id}", str(refused)))
    said.put_nowait(("done", None))


async def _who(stage: Stage, daemon: Daemon, who: str) -> Person:
    """Whom a door takes them for: with accounts they log in first, and again when their token is not known any more.

    Raises:
        RefusedError: their password was wrong, or too many were tried.
    """
    gate = daemon.house.gate
    if not gate.guarded:
        return Person(who, PEOPLE[who])
    try:
        return gate.bearer(stage.tokens.get(who, ""))[0]
    except RefusedError:
        pass
    if stage.now() < 6.0 and who == "ben":
        wrong = f"{stage.password(who)} mistyped"
        stage.run.secrets[wrong] = "a mistyped password"
        try:
            await gate.login(who, Secret(wrong), "10.0.5.99 http")
        except RefusedError as refused:
            stage.run.texts.append(("a refused login", f"{refused} {refused.remedy}"))
    token, secret = await gate.login(who, Secret(stage.password(who)), "10.0.5.99 http")
    stage.tokens[who] = secret.reveal()
    stage.run.secrets[secret.reveal()] = f"{who}'s token"
    return gate.person(token)


def _ask(stage: Stage, op: Op) -> Asked | None:
    decks = tuple(name for name in stage.devices if name.startswith("iso-"))
    devices = (op.dev,) if op.dev else decks
    asked = Asked(op.id, op.who, op.verb, devices, stage.now(), id=_born(stage, op), name=op.id, arg=op.arg)
    if op.verb == "identify":
        asked.devices = (op.dev,)
    if op.again:
        stage.reached("O01")
    if op.verb == "cut":
        if op.take == "old":
            stage.reached("O06")
        seen = stage.takes_seen()
        if not seen:
            return None
        asked.take = seen[-2] if op.take == "old" and len(seen) > 1 else seen[-1]
    return asked


def _born(stage: Stage, op: Op) -> str:
    """An id as clients make them: when it was born, by their own clock, then its own number."""
    number = (int(stage.wall_of(op.who).timestamp() * 1000) << 80) | (stage.plan.seed % 10_000) << 20 | int(op.id[1:])
    return "".join(_BASE32[number >> shift & 31] for shift in range(125, -1, -5))


def _wish(op: Op, asked: Asked, person: Person, door: str, confirm: str) -> Wish:
    if op.verb == "set":
        args: dict[str, Any] = {"point": f"output.{OUTPUT}.source", "value": op.arg}
        return Wish(person, door, op.dev, "set", args, asked.id)
    if op.verb == "identify":
        return Wish(person, door, op.dev, "identify", {"on": True}, asked.id)
    args = {"name": op.id} if op.verb == "roll" else {"take": asked.take}
    if op.dev:
        args["on"] = op.dev
    return Wish(person, door, "takes", op.verb, args, asked.id, confirm)


async def _try(stage: Stage, make: Callable[[Person], Wish], answer: Answer, who: str) -> None:
    """Ask once and wait for the verdict as long as patience lasts."""
    replies: asyncio.Queue[Said] = asyncio.Queue()
    if not stage.ask_daemon(lambda daemon: _serve(stage, daemon, answer, (who, make), replies)):
        answer.told = ""
        return
    try:
        async with asyncio.timeout(PATIENCE_S):
            while True:
                what, more = await replies.get()
                if what == "refused":
                    answer.told, answer.ends = what, stage.now()
                    answer.code, answer.why, answer.word = more
                    return
                if what == "accepted":
                    answer.told, answer.accepted_at = what, stage.now()
                    answer.number, answer.durable = more
                else:
                    answer.boxes, answer.ends = more, stage.now()
                    return
    except TimeoutError:
        return


async def _serve(
    stage: Stage,
    daemon: Daemon,
    answer: Answer,
    wish: tuple[str, Callable[[Person], Wish]],
    replies: "asyncio.Queue[Said]",
) -> None:
    """What the web door does with one request, inside the daemon."""
    who, make = wish
    try:
        person = await _who(stage, daemon, who)
        answer.served = stage.now()
        group = await daemon.house.submit(make(person))
    except RefusedError as refused:
        replies.put_nowait(("refused", (refused.code, f"{refused} {refused.remedy}".strip(), refused.word)))
        return
    except OSError as error:  # a login whose token the disk does not keep
        replies.put_nowait(("refused", ("disk", str(error), "")))
        return
    await daemon.house.commands.durable(group)
    replies.put_nowait(("accepted", (group.number, group.durable)))
    longest = max((one.ask.verb.deadline_s() + one.ask.verb.hold_s() for one in group.commands), default=0.0)
    if await group.wait(longest + 2.0):
        replies.put_nowait(("judged", boxes_of(group)))


async def watch(stage: Stage) -> None:
    """Look at the page every half second until the run ends."""
    while True:
        await asyncio.sleep(LOOK_S)
        daemon = stage.answering()
        if daemon is not None:
            stage.run.seen.append(look(stage, daemon))


def look(stage: Stage, daemon: Daemon) -> Seen:
    """What a page shows now, and the daemon's own gauges."""
    house = daemon.house
    points: dict[tuple[str, str], Point] = {}
    for device in stage.devices:
        for name in ("transport", f"output.{OUTPUT}.source"):
            reading = house.board.find(device, name)
            if reading is not None:
                points[device, name] = Point(reading.value, str(reading.quality), reading.rev)
    take = house.takes.open
    number = take.number if take is not None else house.takes.next_number - 1
    trouble = tuple(f"{part}: {text}" for part, text in sorted(house.trouble.items()))
    return Seen(
        stage.now(),
        stage.life,
        house.board.epoch,
        house.board.rev,
        number,
        take is not None,
        points,
        _gauges(stage, daemon),
        trouble,
        tuple(name for name, alarm in house.alarms._standing.items() if not alarm.gone),
    )


def _gauges(stage: Stage, daemon: Daemon) -> dict[str, int]:
    house, commands = daemon.house, daemon.house.commands
    gauges = {
        "tasks": stage.tasks(),
        "ring": len(daemon.journal._ring),
        "waiters": len(daemon.journal._waiters),
        "ids": len(commands.groups),
        "views": len(house.board._views),
        "followers": sum(len(one.entries) for one in house.chronicle._followers),
        "open": len(commands.judge._open) + len(commands.judge._inflight),
    }
    for name, box in house.boxes.items():
        gauges[f"line:{name}"] = len(box._commands) + len(box._reads)
        gauges[f"inflight:{name}"] = len(box._inflight)
        gauges[f"rate:{name}"] = stage.rate(name, box.counts.requests, LOOK_S)
        gauges[f"adopted:{name}"] = int(box.adopted)
    return gauges
