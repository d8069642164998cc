"""Does the bench's far end speak well enough to be driven, and is what it measures what it says?

Source of all rows: own construction.
"""

import asyncio
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench import roll
from bench.farend import FarEnd, FarEndError, build
from bench.process import write_site
from bench.rows import Row, table
from stagectl.control.access import Person, Role
from stagectl.daemon import PARTS, Daemon, Settings
from stagectl.driverkit.kinds import find_kinds
from stagectl.model.capabilities.base import HEALTH, Health
from stagectl.model.conditions import YES, Truth
from stagectl.shoot.house import Wish
from stagectl.site import load_site
from tests.news import until

DECKS = 3
DESK = Person("desk", Role.OPERATOR)


@pytest.fixture
def far(tmp_path: Path) -> Iterator[FarEnd | None]:
    """Three decks; None on a machine without a compiler, where the bench can't run and says so."""
    if shutil.which("gcc") is None:
        yield None
        return
    with FarEnd(build(tmp_path), DECKS) as one:
        yield one


async def healthy(daemon: Daemon) -> None:
    """Every deck is followed and well."""
    for device in daemon.house.boxes:
        well = asyncio.Event()

        def tell(truth: Truth, well: asyncio.Event = well) -> None:
            if truth is YES:
                well.set()

        watch = daemon.house.board.watch(HEALTH.is_(Health.WELL), tell, device=device)
        async with asyncio.timeout(10):
            await well.wait()
        watch.detach()


async def test_decks_of_the_far_end_are_adopted_rolled_and_cut_with_proof(far: FarEnd | None, tmp_path: Path) -> None:
    if far is None:
        with pytest.raises(FarEndError, match="apt-get install gcc"):
            build(tmp_path)
        return
    kinds, _ = find_kinds()
    site = load_site(write_site(tmp_path / "site.yaml", far), kinds, PARTS)
    daemon = await Daemon.start(site, kinds, Settings(tmp_path / "data", None, mqtt=False))
    try:
        await healthy(daemon)
        before = time.time_ns()
        rolled = await daemon.house.submit(Wish(DESK, "http", "takes", "roll"))
        assert await rolled.wait(10)
        after = time.time_ns()
        assert (rolled.count, rolled.worst) == ("3 of 3", "verified")
        stamps = far.stamps()
        assert stamps.count == DECKS
        assert before <= stamps.first <= stamps.last <= after
        cut = await daemon.house.submit(Wish(DESK, "http", "takes", "cut", {"take": rolled.take}))
        assert await cut.wait(10)
        assert (cut.count, cut.worst) == ("3 of 3", "verified")
    finally:
        await daemon.stop()


async def test_a_deck_that_refuses_is_named_by_the_verdict_and_not_counted(far: FarEnd | None, tmp_path: Path) -> None:
    if far is None:
        return
    kinds, _ = find_kinds()
    site = load_site(write_site(tmp_path / "site.yaml", far), kinds, PARTS)
    daemon = await Daemon.start(site, kinds, Settings(tmp_path / "data", None, mqtt=False))
    try:
        await healthy(daemon)
        far.fault(1, "refuses")
        rolled = await daemon.house.submit(Wish(DESK, "http", "takes", "roll"))
        assert await rolled.wait(10)
        assert rolled.count == "2 of 3"
        assert [one.ask.target for one in rolled.commands if one.verdict and one.verdict.why] == ["deck-2"]
        assert far.stamps().count == DECKS - 1
    finally:
        await daemon.stop()


async def test_a_deck_that_floods_says_whole_notices_and_keeps_its_link(far: FarEnd | None, tmp_path: Path) -> None:
    if far is None:
        return
    kinds, _ = find_kinds()
    site = load_site(write_site(tmp_path / "site.yaml", far), kinds, PARTS)
    daemon = await Daemon.start(site, kinds, Settings(tmp_path / "data", None, mqtt=False))
    try:
        await healthy(daemon)
        box = daemon.house.boxes["deck-1"]
        events, replies = box.counts.events, box.counts.replies
        far.flood(0, 2e6)
        # polls are answered between the notices
        await until(daemon.house, lambda: far.flooded() >= 200_000 and box.counts.replies >= replies + 3, 20)
        assert box.counts.events - events > 1000
        assert (box.counts.losses, daemon.house.boxes["deck-2"].counts.losses) == (0, 0)
        far.flood(0, 0)
    finally:
        await daemon.stop()


async def test_attackers_count_what_they_were_answered_and_open_again_what_was_cut(tmp_path: Path) -> None:
    if shutil.which("gcc") is None:
        return
    program = build(tmp_path, "attack")
    heads: list[bytes] = []
    enough = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answers the first request of a connection with 401, the second with 429, and ends it at the third."""
        for said in (b"401 No", b"429 Late", b""):
            try:
                head = await reader.readuntil(b"\r\n\r\n")
            except (asyncio.IncompleteReadError, OSError) as error:
                head = getattr(error, "partial", b"")
            heads.append(head)
            if len(heads) >= 8:
                enough.set()
            if not said or not head.endswith(b"\r\n\r\n"):
                break
            length = int(head.lower().partition(b"content-length:")[2].split(b"\r\n")[0] or 0)
            await reader.readexactly(length)
            writer.write(b"HTTP/1.1 " + said + b"\r\nContent-Length: 2\r\n\r\n{}")
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    async with server:
        for how in ("guess", "token", "slow"):
            heads.clear()
            enough.clear()
            pipes = {"stdin": asyncio.subprocess.PIPE, "stdout": asyncio.subprocess.PIPE}
            port = str(server.sockets[0].getsockname()[1])
            attacker = await asyncio.create_subprocess_exec(str(program), how, port, "127.0.0.66", "3", **pipes)
            assert attacker.stdin is not None
            assert attacker.stdout is not None
            async with asyncio.timeout(20):
                assert await attacker.stdout.readline() == b"ready\n"
                if how != "slow":
                    await enough.wait()
                attacker.stdin.close()
                asked, refused, late, other, cut = map(int, (await attacker.stdout.readline()).split())
                await attacker.wait()
            if how == "slow":
                assert (asked, refused, late, other) == (0, 0, 0, 0)
            else:
                assert (asked, other) == (refused + late, 0)
                assert min(refused, late, cut) > 0


def test_without_a_compiler_the_bench_says_how_to_get_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(FarEndError, match="apt-get install gcc"):
        build(tmp_path)


def test_growth_is_the_ratio_of_slopes_from_64_on() -> None:
    floor = {16: 900.0, 64: 100.0 + 64 * 5, 256: 100.0 + 256 * 5, 1024: 100.0 + 1024 * 5}
    daemon = {16: 900.0, 64: 300.0 + 64 * 6, 256: 300.0 + 256 * 6, 1024: 300.0 + 1024 * 6}
    slope, line = roll.growth({"floor": floor, "daemon": daemon})
    assert slope.measured == pytest.approx(1.2)
    assert line.measured == pytest.approx(0.0, abs=1e-6)


def test_the_table_says_which_bars_hold() -> None:
    rows = [Row("a", 1.9, 2.0, 1.3), Row("b", 25.0, 20, 5, "%"), Row("c", 7.0)]
    assert [(row.held, row.reached) for row in rows] == [(True, False), (False, False), (None, None)]
    assert table(rows).splitlines() == [
        "what  measured  first bar  held  goal    reached",
        "a     1.90 x    2.00 x     yes   1.30 x  NO",
        "b     +25 %     +20 %      NO    +5 %    NO",
        "c     7.00 x    -          -     -       -",
    ]
