"""Is what doors are told of copying off so? The real engine, disk and threads; recorders in memory, no network."""

import asyncio
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any, Final

import pytest

from stagectl.control.chronicle import Chronicle
from stagectl.copyoff.engine import Engine, threads_needed
from stagectl.copyoff.errors import Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.job import Wanted
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.mhl import Sealing
from stagectl.copyoff.part import CopyPart
from stagectl.copyoff.plan import RESERVE_BYTES, Layout
from stagectl.copyoff.run import Run
from stagectl.copyoff.runs import CopyOff, Rest
from stagectl.copyoff.schedule import Schedule
from stagectl.copyoff.settings import Deck
from stagectl.copyoff.target import Place
from stagectl.driverkit.real import RealClock, RealIds, RealOffload, elapsed_s
from stagectl.model.board import Board, BoardWriter
from stagectl.model.capabilities.recorder import RECORDER, TRANSPORT, Transport
from stagectl.model.errors import RefusedError
from stagectl.shoot.take import Lane, Take
from stagectl.site.copyentries import USUAL_ORDER
from tests.copyoff.deckstore import QUICK, DeckStore
from tests.house import MemoryJournal

TAKE: Final = bytes(range(256)) * 2048
WITHIN_S: Final = 15.0
ALL: Final = Wanted()


class OwnDisk(Folder):
    """A folder that counts as a medium of its own, with so much room."""

    room: int | None = None

    def free(self) -> int:
        return super().free() if self.room is None else self.room


@dataclass
class Office:
    """Copying off, and what stands around it."""

    runs: CopyOff
    part: CopyPart
    board: Board
    decks: Mapping[str, BoardWriter]
    journal: MemoryJournal
    troubles: list[str | None] = field(default_factory=list)
    takes: list[Take] = field(default_factory=list)

    def is_(self, deck: str, transport: Transport) -> None:
        self.decks[deck].put(TRANSPORT.name, transport)

    def point(self, name: str) -> Any:
        reading = self.board.find("copy", name)
        assert reading is not None
        return reading.value

    async def over(self, run: Run) -> Run:
        async with asyncio.timeout(WITHIN_S):
            while not run.outcome:
                await asyncio.sleep(0)
                await asyncio.get_running_loop().run_in_executor(None, lambda: None)
        return run

    async def whole(self) -> Run:
        return await self.over(await self.runs.begin(ALL, "ines"))

    def said(self) -> list[str]:
        return [data["say"] for kind, _, data in self.journal.records if kind == "copy"]


@asynccontextmanager
async def office(
    tmp_path: Path,
    stores: Mapping[str, DeckStore],
    names: tuple[str, ...] = ("shelf",),
    *,
    schedule: Schedule | None = None,
    room: int | None = None,
) -> AsyncIterator[Office]:
    clock = RealClock(asyncio.get_running_loop())
    board, journal = Board(clock), MemoryJournal()
    writers = {name: board.writer(name) for name in stores}
    for writer in writers.values():
        writer.declare(*RECORDER.points)
        writer.asked_at = writer.read_at = clock.now()
        writer.put(TRANSPORT.name, Transport.STOPPED)
    part = CopyPart(board, clock, list(stores))
    decks = [Deck(name, name.upper(), store.open) for name, store in stores.items()]

    def place(name: str) -> Place:
        def opened() -> Folder:
            (tmp_path / name).mkdir(exist_ok=True)
            folder = OwnDisk(name, tmp_path / name)
            folder.medium, folder.room = f"disk of {name}", room
            return folder

        return Place(name, str(tmp_path / name), opened, RESERVE_BYTES)

    places = [place(name) for name in names]
    threads = RealOffload(threads_needed(decks, places) + 4)
    made = Office(None, part, board, writers, journal)  # type: ignore[arg-type]
    rest = Rest(
        clock,
        RealIds(),
        Chronicle(journal, clock),
        takes=lambda: list(made.takes),
        called=str.upper,
        troubled=made.troubles.append,
    )
    jobs = Jobs(tmp_path / "copies.db")

    def engine(changed: Any, published: Any) -> Engine:
        return Engine(
            clock=clock,
            ids=rest.ids,
            threads=threads,
            elapsed=elapsed_s,
            jobs=jobs,
            decks=decks,
            places=places,
            layout=Layout(),
            order=USUAL_ORDER,
            takes=rest.takes,
            rests=part.rests,
            care=QUICK,
            seal=Sealing(clock.wall, "here", "1.0"),
            on_published=published,
            changed=changed,
        )

    when = schedule or Schedule(None, None)
    made.runs = CopyOff(part, rest, jobs, threads=threads, places=places, schedule=when, engine=engine)
    await made.runs.start()
    try:
        yield made
    finally:
        await made.runs.stop()
        threads.close()


async def test_two_verified_copies_on_two_media_are_safe_to_clear_until_it_records_again(tmp_path: Path) -> None:
    async with office(tmp_path, {"iso-1": DeckStore({"1/a.mov": TAKE})}, ("shelf", "vault")) as made:
        assert made.point("iso-1.clear") is None
        run = await made.whole()
        assert (run.outcome, run.say) == ("done", "The 1 clip stands copied and verified at shelf and vault.")
        status = await made.runs.status()
        (deck,) = status["recorders"]
        assert (deck["clear"], deck["safe"]) == (True, 1)
        assert deck["clear_say"] == "Safe to clear: 2 verified copies of each clip, on media of their own."
        assert made.point("iso-1.clear") is True
        made.is_("iso-1", Transport.RECORDING)
        made.is_("iso-1", Transport.STOPPED)
        (deck,) = (await made.runs.status())["recorders"]
        assert (deck["clear"], made.point("iso-1.clear")) == (False, None)
        assert deck["clear_say"].startswith("Not known if it is safe to clear")
        assert made.said()[0] == "ines began to copy."


async def test_a_plan_lists_anew_says_the_order_and_what_does_not_fit(tmp_path: Path) -> None:
    store = DeckStore({"1/a.mov": TAKE, "2/b.mov": TAKE})
    async with office(tmp_path, {"iso-1": store}, room=10**6) as made:
        plan = await made.runs.plan(ALL)
        assert [row["clip"] for row in plan["rows"]] == ["1/a.mov", "2/b.mov"]
        assert (plan["say"], plan["bytes"], store.reads) == ("2 clips to copy, 1.0 MB.", 2 * len(TAKE), [])
        (place,) = plan["places"]
        assert place["why"].startswith("shelf has 1.0 MB left, and ")
        made.is_("iso-1", Transport.RECORDING)
        (silent,) = (await made.runs.plan(ALL))["silent"]
        assert (silent["device"], "ISO-1" in silent["why"]) == ("iso-1", True)


async def test_a_clip_of_a_take_that_no_recorder_lists_is_missing(tmp_path: Path) -> None:
    async with office(tmp_path, {"iso-1": DeckStore({"1/T001.mov": TAKE})}) as made:
        wall = made.board.clock.wall()
        take = Take(7, "Encore", wall, 0.0)
        for device, clip in (("iso-1", "T001"), ("iso-2", "T001")):
            take.lanes[device] = [Lane(device, device.upper(), wall, 0.0, clip=clip, ended=wall + timedelta(seconds=9))]
        made.takes.append(take)
        await made.whole()
        report = await made.runs.report(ALL)
        assert [(row["recorder"], row["take"]) for row in report["missing"]["rows"]] == [("iso-2", 7)]
        only = await made.runs.report(Wanted(recorders=("iso-1",)))
        assert only["missing"]["count"] == 0


async def test_the_same_bytes_on_two_recorders_are_told_as_double(tmp_path: Path) -> None:
    stores = {"iso-1": DeckStore({"1/a.mov": TAKE}), "iso-2": DeckStore({"1/b.mov": TAKE})}
    async with office(tmp_path, stores) as made:
        await made.whole()
        (double,) = (await made.runs.report(ALL))["double"]["rows"]
        assert [clip["clip"] for clip in double["clips"]] == ["1/a.mov", "1/b.mov"]


async def test_what_is_in_the_way_fails_is_a_trouble_and_is_late_when_the_run_was_due(tmp_path: Path) -> None:
    (tmp_path / "shelf" / "iso-1").mkdir(parents=True)
    (tmp_path / "shelf" / "iso-1" / "a.mov").write_bytes(b"another")
    async with office(tmp_path, {"iso-1": DeckStore({"1/a.mov": TAKE})}) as made:
        run = await made.over(await made.runs.begin(ALL, "", why="it is 02:00"))
        assert run.outcome == "failed"
        assert made.said()[0] == "Copying begins by itself: it is 02:00."
        assert (made.point("failed"), made.point("iso-1.failed"), made.point("iso-1.late")) == (1, 1, 1)
        assert "Not all clips could be copied." in str(made.troubles[-1])
        (tmp_path / "shelf" / "iso-1" / "a.mov").unlink()
        assert (await made.whole()).outcome == "done"
        assert (made.point("iso-1.late"), made.troubles[-1]) == (0, None)


async def test_a_verification_finds_one_flipped_byte_and_says_where(tmp_path: Path) -> None:
    async with office(tmp_path, {"iso-1": DeckStore({"1/a.mov": TAKE, "1/b.mov": b"b"})}) as made:
        await made.whole()
        run = await made.over(made.runs.verify([], "ines"))
        assert (run.outcome, run.found["shelf"]["good"]) == ("done", 2)
        file = tmp_path / "shelf" / "iso-1" / "a.mov"
        file.write_bytes(b"\xff" + TAKE[1:])
        run = await made.over(made.runs.verify(["shelf"], "ines"))
        assert run.outcome == "failed"
        assert [one["path"] for one in run.found["shelf"]["findings"]] == ["iso-1/a.mov"]
        assert made.runs.view(run)["kind"] == "verify"


async def test_what_can_not_be_is_refused_with_what_to_do(tmp_path: Path) -> None:
    store = DeckStore({"1/a.mov": TAKE}, stalls={"1/a.mov"})
    async with office(tmp_path, {"iso-1": store}) as made:
        with pytest.raises(RefusedError, match="Nothing is copied or verified now"):
            made.runs.halt("ines")
        with pytest.raises(RefusedError, match='There is no place "vault"') as refused:
            made.runs.verify(["vault"], "ines")
        assert refused.value.remedy == "There is shelf."
        with pytest.raises(RefusedError, match="There is no run"):
            made.runs.find("none")
        run = await made.runs.begin(ALL, "ines")
        with pytest.raises(RefusedError, match="A copy run goes already"):
            await made.runs.begin(ALL, "ines")
        with pytest.raises(RefusedError, match="stands in no history before its end"):
            made.runs.verify([], "ines")
        assert made.runs.halt("ines") is run
        await made.over(run)
        assert (run.outcome, run.say[:19]) == ("stopped", "Copying was stopped")


async def test_a_recorder_that_can_not_be_reached_is_named_and_the_run_has_failed(tmp_path: Path) -> None:
    stores = {"iso-1": DeckStore(refuses=[Reason.LINK] * 9), "iso-2": DeckStore({"1/b.mov": TAKE})}
    async with office(tmp_path, stores) as made:
        run = await made.whole()
        assert (run.outcome, run.say.partition(". ")[0]) == ("failed", "It does not answer")
        assert (tmp_path / "shelf" / "iso-2" / "b.mov").read_bytes() == TAKE
        assert made.point("iso-2.clear") is False
        assert made.point("iso-1.clear") is None


async def test_a_recorder_that_plays_or_is_out_of_sight_is_not_read(tmp_path: Path) -> None:
    async with office(tmp_path, {"iso-1": DeckStore({"1/a.mov": TAKE})}) as made:
        assert made.part.rests("iso-1") is True
        for transport, rests in ((Transport.PLAYING, False), (Transport.RECORDING, False), (Transport.PREVIEW, True)):
            made.is_("iso-1", transport)
            assert made.part.rests("iso-1") is rests
        made.decks["iso-1"].lost()
        assert made.part.rests("iso-1") is None


async def test_a_roll_is_told_to_the_engine_for_recorders_with_clips_alone(tmp_path: Path) -> None:
    async with office(tmp_path, {"iso-1": DeckStore(), "iso-2": DeckStore()}) as made:
        told: list[str] = []
        made.part.hush = lambda: told.append("hush")
        made.part.give_way = told.append
        made.part.rolled(["iso-2", "mixer"])
        assert told == ["hush", "iso-2"]
