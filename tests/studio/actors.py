"""Who acts in a run? Operators with ids of their own and patience, hands at the boxes, and pages that are looked at."""

import asyncio
from typing import Any, Final

from stagectl.control.access import Person, Role
from stagectl.control.groups import Group
from stagectl.daemon import Daemon
from stagectl.model.errors import RefusedError
from stagectl.shoot.house import Wish
from tests.studio.histories import Answer, Asked, Point, Seen
from tests.studio.plan import Op
from tests.studio.stage import Stage

PEOPLE: Final = {"ines": Role.OPERATOR, "ben": Role.OPERATOR, "guest": Role.VIEWER}
TRIES: Final = 5  # of an act that nobody answers
AGAIN_S: Final = 1.0
PATIENCE_S: Final = 8.0  # for one try's answer
LOOK_S: Final = 0.5  # a page is looked at this often
OUTPUT: Final = 3  # of the router, the one that people route
_BASE32: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

Said = tuple[str, Any]


async def act(stage: Stage, op: Op) -> None:
    """Carry one act of the plan out, from the client's side."""
    if op.who == "hand":
        stage.panel(op.dev, op.verb)
        return
    asked = _ask(stage, op)
    if asked is None:
        return
    stage.run.asked[op.id] = asked
    wish = _wish(op, asked)
    tries, again = 0, op.again
    while tries < TRIES:
        tries += 1
        answer = Answer(stage.now(), stage.life)
        asked.tries.append(answer)
        await _try(stage, wish, answer)
        judged = answer.told == "refused" or bool(answer.boxes)
        if judged and again:
            again -= 1  # the answer got lost on its way to the page, say
        elif judged:
            return
        await asyncio.sleep(AGAIN_S)


def _ask(stage: Stage, op: Op) -> Asked | None:
    decks = tuple(name for name in stage.devices if name.startswith("iso-"))
    devices = (op.dev,) if op.dev else decks
    asked = Asked(op.id, op.who, op.verb, devices, stage.now(), id=_born(stage, op), name=op.id, arg=op.arg)
    if op.verb == "cut":
        seen = stage.takes_seen()
        if not seen:
            return None
        asked.take = seen[-2] if op.take == "old" and len(seen) > 1 else seen[-1]
    return asked


def _born(stage: Stage, op: Op) -> str:
    """An id as clients make them: when it was born, by their own clock, then its own number."""
    number = (int(stage.wall_of(op.who).timestamp() * 1000) << 80) | (stage.plan.seed % 10_000) << 20 | int(op.id[1:])
    return "".join(_BASE32[number >> shift & 31] for shift in range(125, -1, -5))


def _wish(op: Op, asked: Asked) -> Wish:
    person = Person(op.who, PEOPLE[op.who])
    if op.verb == "set":
        args: dict[str, Any] = {"point": f"output.{OUTPUT}.source", "value": op.arg}
        return Wish(person, "http", op.dev, "set", args, asked.id)
    args = {"name": op.id} if op.verb == "roll" else {"take": asked.take}
    if op.dev:
        args["on"] = op.dev
    return Wish(person, "http", "takes", op.verb, args, asked.id)


async def _try(stage: Stage, wish: Wish, answer: Answer) -> None:
    """Ask once and wait for the verdict as long as patience lasts."""
    replies: asyncio.Queue[Said] = asyncio.Queue()
    if not stage.ask_daemon(lambda daemon: _serve(daemon, wish, replies)):
        answer.told = ""
        return
    try:
        async with asyncio.timeout(PATIENCE_S):
            while True:
                what, more = await replies.get()
                if what == "refused":
                    answer.told, answer.ends = what, stage.now()
                    answer.code, answer.why = more
                    return
                if what == "accepted":
                    answer.told, answer.accepted_at = what, stage.now()
                    answer.number, answer.durable = more
                else:
                    answer.boxes, answer.ends = more, stage.now()
                    return
    except TimeoutError:
        return


async def _serve(daemon: Daemon, wish: Wish, replies: "asyncio.Queue[Said]") -> None:
    """What the web door does with one request, inside the daemon."""
    try:
        group = await daemon.house.submit(wish)
    except RefusedError as refused:
        replies.put_nowait(("refused", (refused.code, str(refused))))
        return
    await daemon.house.commands.durable(group)
    replies.put_nowait(("accepted", (group.number, group.durable)))
    longest = max((one.ask.verb.deadline_s() + one.ask.verb.hold_s() for one in group.commands), default=0.0)
    if await group.wait(longest + 2.0):
        replies.put_nowait(("judged", _boxes(group)))


def _boxes(group: Group) -> dict[str, tuple[str, bool, str, str]]:
    return {
        command.ask.target: (str(verdict.ended), verdict.refused, verdict.code, verdict.why)
        for command in group.commands
        if (verdict := command.verdict) is not None
    }


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
