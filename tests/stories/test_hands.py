"""Is what a hand does at a box on every door, within two polls, and said to be done there?

Real processes: simulators, daemon, mosquitto and its client, `stagectl watch`. Source of the bound: a value shown as
good is at most two polls old; whose act a change was stands beside it. Both are own promises.
"""

import asyncio
import json
import sys
from collections.abc import AsyncIterator, Callable, Coroutine, Iterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from typing import Any

import aiohttp
import pytest

from stagectl.driverkit.kinds import find_kinds
from stagectl.inlets.http.live import PROTOCOL
from tests.inlets.mosquitto import SITE, program
from tests.stories.studio import Studio, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]

# Beside the polls: `watch` looks twice a second, a tick gathers for 0.05 s, and six processes share two cores.
MARGIN_S = 3.0
READY_S = 15.0
LOOK_S = 0.05  # REST has no news of its own: it is asked again and again


@dataclass(frozen=True)
class Hand:
    """What somebody does at a box, and what shows it.

    Attributes:
        before, act: act at the front, its arguments, and the value that shows it.
        template: the point's name in the driver's own poll plan.
        mute: the fault that keeps the box from telling anybody, so that only polls show it.
        said: how `watch` tells it.
    """

    box: str
    kind: str
    before: tuple[str, dict[str, Any], Any]
    act: tuple[str, dict[str, Any], Any]
    point: str
    template: str
    mute: str
    said: str

    @property
    def value(self) -> Any:
        """What the point becomes."""
        return self.act[2]

    @property
    def within_s(self) -> float:
        """Two polls, read from the driver, and a margin."""
        looks = find_kinds()[0][self.kind].make({}).looks
        (poll_s,) = [look.every_s for look in looks if self.template in look.names]
        return 2 * poll_s + MARGIN_S

    @property
    def topic(self) -> tuple[str, str]:
        """The state topic that holds the point, and its key there."""
        part, _, key = self.point.rpartition(".")
        return f"{SITE}/state/{self.box}/{part or key}", key


HANDS = [
    Hand(
        box="iso-2",
        kind="text-deck",
        before=("record", {}, "recording"),
        act=("stop", {}, "preview"),
        point="transport",
        template="transport",
        mute="no_notices",
        said="Rec 2: transport became preview at the box.",
    ),
    Hand(
        box="hall",
        kind="block-router",
        before=("route", {"output": 9, "input": 3}, 3),
        act=("route", {"output": 9, "input": 4}, 4),
        point="output.9.source",
        template="output.{output}.source",
        mute="no_status",
        said="Hall router: output 9 source became 4 at the box.",
    ),
    Hand(
        box="mixer",
        kind="mixer-text",
        before=("fader", {"strip": 8, "db": -20.0}, -20.0),
        act=("fader", {"strip": 8, "db": -31.0}, -31.0),
        point="strip.8.level",
        template="strip.{strip}.level",
        mute="no_notify",
        said="Mixer: strip 8 level became -31.0 at the box.",
    ),
]


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    with Studio(tmp_path_factory.mktemp("hands"), mqtt=True) as made:
        made.start()
        yield made


Seen = Callable[[], Coroutine[Any, Any, str]]


@asynccontextmanager
async def rest(studio: Studio, hand: Hand) -> AsyncIterator[Seen]:
    """GET of the point until it shows the act; gives its `by`."""
    async with aiohttp.ClientSession(studio.url) as session:

        async def seen() -> str:
            while True:
                async with session.get(f"/api/v1/points/{hand.box}/{hand.point}") as answer:
                    point = await answer.json()
                if point["value"] == hand.value:
                    return str(point["by"])
                await asyncio.sleep(LOOK_S)

        yield seen


def shown(message: dict[str, Any], hand: Hand) -> str | None:
    """The author of the change in one message of a feed; None: it is not in it."""
    for point in message["points"]:
        if (point["device"], point["name"], point["value"]) == (hand.box, hand.point, hand.value):
            return str(point["by"])
    return None


@asynccontextmanager
async def websocket(studio: Studio, hand: Hand) -> AsyncIterator[Seen]:
    """The live socket; gives the `by` of the change that it tells."""
    async with (
        aiohttp.ClientSession(studio.url) as session,
        session.ws_connect("/api/v1/live", protocols=(PROTOCOL,)) as socket,
    ):
        first = await socket.receive_json(timeout=READY_S)
        assert (first["is"], shown(first, hand)) == ("snapshot", None)

        async def seen() -> str:
            while (by := shown(await socket.receive_json(), hand)) is None:
                pass
            return by

        yield seen


@asynccontextmanager
async def events(studio: Studio, hand: Hand) -> AsyncIterator[Seen]:
    """The stream of events; gives the `by` of the change that it tells."""
    async with (
        aiohttp.ClientSession(studio.url, read_bufsize=1 << 20) as session,
        session.get("/api/v1/events") as stream,
    ):

        async def told() -> dict[str, Any]:
            while not (line := await stream.content.readline()).startswith(b"data: "):
                assert line, "the stream ended"
            return dict(json.loads(line.removeprefix(b"data: ")))

        first = await told()
        assert (first["is"], shown(first, hand)) == ("snapshot", None)

        async def seen() -> str:
            while (by := shown(await told(), hand)) is None:
                pass
            return by

        yield seen


@asynccontextmanager
async def lines(*command: str, **env: str) -> AsyncIterator[asyncio.StreamReader]:
    """What a program prints."""
    process = await asyncio.create_subprocess_exec(
        *command, stdout=asyncio.subprocess.PIPE, env={"PATH": "/usr/bin:/bin", **env}
    )
    assert process.stdout is not None
    try:
        yield process.stdout
    finally:
        process.kill()
        await process.wait()


@asynccontextmanager
async def mqtt(studio: Studio, hand: Hand) -> AsyncIterator[Seen]:
    """The retained state topic by mosquitto's own client; gives its `by`."""
    topic, key = hand.topic
    command = (program("mosquitto_sub"), "-V", "5", "-p", str(studio.mqtt_port), "-q", "1", "-t", topic)
    async with lines(*command) as output:

        async def told() -> dict[str, Any]:
            return dict(json.loads(await output.readline()))

        while (await told())["data"][key] == hand.value:
            """What was retained from before the box was made ready."""

        async def seen() -> str:
            while (state := await told())["data"][key] != hand.value:
                pass
            return str(state["by"])

        yield seen


@asynccontextmanager
async def watch(studio: Studio, hand: Hand) -> AsyncIterator[Seen]:
    """The terminal's live view; gives the line that tells it."""
    command = (sys.executable, "-m", "stagectl", "--plain", "watch")
    async with lines(*command, STAGECTL_URL=studio.url) as output:
        assert await output.readline()

        async def seen() -> str:
            while hand.said not in (line := (await output.readline()).decode()):
                assert line, "watch ended"
            return "box"

        yield seen


DOORS = (rest, websocket, events, mqtt, watch)


async def leave(task: asyncio.Task[str]) -> None:
    """End a wait for what may never come."""
    task.cancel()
    await asyncio.wait([task])


def make_ready(studio: Studio, hand: Hand, *, told: bool) -> None:
    """Bring the box to where the act is a change; then it tells nobody of it, if that is asked for."""
    act, args, value = hand.before
    studio.hand(hand.box, act, **args)
    until(lambda: studio.point(hand.box, hand.point)["value"] == value, READY_S, f"{hand.box} is made ready")
    studio.fault(hand.box, hand.mute, not told)


@pytest.mark.parametrize("told", [True, False], ids=["the box tells", "only polls show it"])
@pytest.mark.parametrize("hand", HANDS, ids=lambda hand: hand.act[0])
async def test_a_hand_at_a_box_is_on_every_door_within_two_polls(studio: Studio, hand: Hand, told: bool) -> None:
    await asyncio.to_thread(make_ready, studio, hand, told=told)
    act, args, value = hand.act
    try:
        async with AsyncExitStack() as stack:
            doors: dict[asyncio.Task[str], str] = {}
            for door in DOORS:
                async with asyncio.timeout(READY_S):
                    seen = await stack.enter_async_context(door(studio, hand))
                task = asyncio.create_task(seen())
                stack.push_async_callback(leave, task)
                doors[task] = door.__name__
            await asyncio.to_thread(studio.hand, hand.box, act, **args)
            ended, late = await asyncio.wait(doors, timeout=hand.within_s)
            assert [doors[task] for task in late] == [], f"not within {hand.within_s:g} s"
            assert {doors[task]: task.result() for task in ended} == {door.__name__: "box" for door in DOORS}
    finally:
        await asyncio.to_thread(studio.fault, hand.box, hand.mute, False)
    entries = await asyncio.to_thread(studio.get, "journal?count=200")
    acts = [entry["data"] for entry in entries["entries"] if entry["kind"] == "hand"]
    assert {"device": hand.box, "point": hand.point, "value": value} in acts
