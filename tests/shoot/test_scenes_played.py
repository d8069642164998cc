"""Do the shipped scenes work on the demo hall? Simulators in a process of their own, the real daemon's parts here."""

import asyncio
import json
import subprocess
import sys
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from stagectl.control.access import Person, Role
from stagectl.daemon import PARTS, Daemon, Settings
from stagectl.driverkit.driver import BoxKind
from stagectl.driverkit.kinds import find_kinds
from stagectl.model.capabilities.mixer import SEND_LEVEL
from stagectl.model.capabilities.recorder import TIMECODE
from stagectl.model.verbs import Ended
from stagectl.shoot.paths import SHOWS
from stagectl.shoot.scenerun import Run, Stand
from stagectl.site import Site, load_site
from stagectl.site.simfile import load_sim, sim_path
from stagectl_simulators import client
from tests.shoot.hall import DEMO

pytestmark = pytest.mark.slow
COMMAND = [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"]
INES = Person("ines", Role.OPERATOR)


class Hall:
    """The demo hall: simulators, and a daemon without doors."""

    def __init__(self, daemon: Daemon, door: str) -> None:
        self.daemon = daemon
        self.house = daemon.house
        self.door = door

    async def play(self, scene: str, **args: str) -> Run:
        run = self.daemon.scenes.start(scene, INES, args)
        assert await run.wait(50)
        return run

    def shows(self, destination: str) -> Any:
        return self.house.board.get("paths", SHOWS.at(destination)).value

    def seconds(self, recorder: str) -> int:
        """Its timecode in whole seconds of the day."""
        hours, minutes, seconds, _ = str(self.house.board.get(recorder, TIMECODE).value).split(":")
        return int(hours) * 3600 + int(minutes) * 60 + int(seconds)

    async def until(self, true: Callable[[], bool]) -> None:
        """Wait for the board to say so."""
        news = asyncio.Event()
        view = self.house.board.view(news.set)
        async with asyncio.timeout(20):
            while not true():
                await news.wait()
                news.clear()
                view.take()
        self.house.board.drop_view(view)


@pytest.fixture
def kinds() -> Mapping[str, BoxKind]:
    return find_kinds()[0]


@pytest.fixture
def demo(kinds: Mapping[str, BoxKind]) -> Site:
    return load_site(DEMO / "tidewater-hall.yaml", kinds, PARTS)


@pytest.fixture
def ready(demo: Site) -> Iterator[dict[str, Any]]:
    """Where the simulators listen, in a process of their own."""
    options = load_sim(sim_path(demo.path), demo)
    boxes = [{"id": name, "kind": one.box, "options": options[name]} for name, one in demo.devices.items()]
    with subprocess.Popen(COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(json.dumps({"door": "127.0.0.1:0", "seed": 7, "boxes": boxes}) + "\n")
        process.stdin.flush()
        yield json.loads(process.stdout.readline())


@pytest.fixture
async def hall(tmp_path: Path, demo: Site, kinds: Mapping[str, BoxKind], ready: dict[str, Any]) -> AsyncIterator[Hall]:
    places = {name: address.rsplit(":", 1) for name, address in ready["boxes"].items()}
    devices = {
        name: replace(one, host=places[name][0], port=int(places[name][1])) for name, one in demo.devices.items()
    }
    daemon = await Daemon.start(replace(demo, devices=devices), kinds, Settings(tmp_path, http=None, mqtt=False))
    hall = Hall(daemon, ready["door"])
    try:
        await hall.until(lambda: all(box.adopted for box in daemon.house.boxes.values()))
        yield hall
    finally:
        await daemon.stop()


async def test_an_evening_of_scenes(hall: Hall) -> None:
    assert hall.daemon.scenes.errors == []
    assert (await hall.play("route-isos")).ended is Ended.VERIFIED
    run = await hall.play("roll-all", name="Warm-up")
    assert (run.ended, run.why) == (Ended.VERIFIED, "")
    assert hall.house.takes.open is not None
    assert len(hall.house.takes.open.rolling) == 5
    begun = hall.seconds("mix-rec")
    await hall.until(lambda: hall.seconds("mix-rec") >= begun + 5)  # a clip long enough to be seen to play
    assert hall.daemon.scenes.dry_run("cut").ends == [1]
    assert (await hall.play("cut")).ended is Ended.VERIFIED
    assert hall.house.takes.open is None
    truth = client.truth(hall.door, "mix-rec")
    assert truth["transport"] in ("stopped", "preview")

    director = hall.shows("director")
    run = hall.daemon.scenes.start("play-last-take", INES)
    await hall.until(lambda: run.ended is not None or run.results["2"].stand is Stand.UNDER_WAY)
    assert run.ended is None, (run.why, run.remedy)
    assert hall.shows("director") == "play-5"
    assert hall.house.board.get("mixer", SEND_LEVEL.at(15, 4)).value == pytest.approx(0, abs=0.3)
    assert await run.wait(50)
    assert (run.ended, run.why) == (Ended.VERIFIED, "")
    assert hall.shows("director") == director


async def test_program_only_on_the_demo_hall(hall: Hall) -> None:
    run = await hall.play("program-only", picture="wide", name="Encore")
    assert (run.ended, run.why) == (Ended.VERIFIED, "")
    assert [hall.shows(name) for name in ("program", "mix-rec", "director")] == ["wide"] * 3
    assert hall.house.takes.open is not None
    assert hall.house.takes.open.rolling == ["mix-rec"]
    assert (await hall.play("cut")).ended is Ended.VERIFIED


async def test_one_deck_that_never_rolls_is_named_and_the_rest_roll_on(hall: Hall) -> None:
    client.set_fault(hall.door, "iso-3", "never_roll", True)
    run = await hall.play("roll-all")
    assert run.ended is Ended.FAILED
    assert run.why.startswith("4 of 5; Rec 3: ")
    assert hall.house.takes.open is not None
    assert sorted(hall.house.takes.open.rolling) == ["iso-1", "iso-2", "iso-4", "mix-rec"]
