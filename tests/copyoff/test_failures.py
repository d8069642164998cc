"""What if copying goes wrong? Each failure of the clip-store sheet, section 7, against real servers, disks and sockets.

The end is always the same: every clip is verified under its name or named in the report; nothing is overwritten;
nothing is deleted, here or on a recorder.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from stagectl.copyoff.errors import Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.ftp import FtpStore
from stagectl.copyoff.job import Copy, State, Wanted
from stagectl.copyoff.mhlverify import verify
from tests.copyoff.copier import Copier, House, copying, tree
from tests.copyoff.servers import SERVERS, Server, bare
from tests.real.wire import Wires
from tests.simulators.store_bench import Stores

pytestmark = pytest.mark.slow
MB = 1_000_000
CLIPS = {"1/T001.mov": 3 * MB + 17, "1/T002.mov": 2 * MB, "2/T003.mov": MB}


@pytest.fixture(params=SERVERS)
def server(request: pytest.FixtureRequest) -> Iterator[Server]:
    with SERVERS[request.param]() as server:
        yield server


@pytest.fixture
def house(tmp_path: Path) -> House:
    """One target; decks are added by the test."""
    for name in ("data", "shuttle"):
        (tmp_path / name).mkdir()
    return House(str(tmp_path / "data"), {}, {"shuttle": str(tmp_path / "shuttle")})


def filled(server: Server, house: House) -> dict[str, str]:
    """Clips on a deck `iso-1`; what its tree is."""
    for number, (path, size) in enumerate(CLIPS.items()):
        server.put(path, bytes([65 + number]) * size)
    house.decks["iso-1"] = server.address
    return tree(server.top)


def played(stores: Stores, house: House) -> None:
    house.decks["iso-1"] = stores.at("iso-1")


def copies(house: House) -> dict[str, str]:
    """What stands at the first target, manifests and parts left out."""
    top = Path(house.targets["shuttle"])
    return {path: whole for path, whole in tree(top, parts=False).items() if not path.startswith("ascmhl/")}


def all_there(house: House, source: dict[str, str]) -> bool:
    """Every source file, and nothing else, with equal bytes."""
    return copies(house) == {f"iso-1/{path.partition('/')[2]}": whole for path, whole in source.items()}


def only(copier: Copier) -> dict[str, Copy]:
    """Each clip's one copy, by its name."""
    return {job.source.name: job.copies[0] for job in copier.all()}


def states(copier: Copier) -> dict[str, tuple[State, Reason | None]]:
    return {name: (copy.state, copy.reason) for name, copy in only(copier).items()}


def report(copier: Copier) -> str:
    """What a person is told: of each clip, and of the run."""
    told = [f"{job.source.name}: {copy.why or copy.state}" for job in copier.all() for copy in job.copies]
    return "\n".join([*told, copier.engine.progress().says])


def proven(house: House) -> None:
    """The history of each target names every copy, and every copy is as it says."""
    for name, top in house.targets.items():
        report = verify(Folder(name, Path(top)))
        assert report.whole, report.findings
        assert report.good == len(copies(house))


# --- what the server does ---------------------------------------------------------------------------------------------


async def test_all_clips_are_verified_and_named_and_the_source_is_as_before(server: Server, house: House) -> None:
    source = filled(server, house)
    server.put("1/Nothing.mov", b"")
    server.put("2/Ü [wide] & co; 50%.mov", b"odd" * 1000)
    source = tree(server.top)
    async with copying(house) as copier:
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
    assert all_there(house, source)
    assert tree(server.top) == source
    proven(house)


async def test_a_clip_that_grows_in_steps_is_not_taken_between_two_of_them(server: Server, house: House) -> None:
    """Each step is a whole file to whoever looks once."""
    filled(server, house)
    growing = server.top / "1" / "T001.mov"

    async def grow() -> None:
        for _ in range(6):
            await asyncio.sleep(0.15)
            with growing.open("ab") as out:
                out.write(b"more" * 1000)

    async with copying(house, look_apart_s=(0.4, 0.4)) as copier:
        await copier.engine.run(Wanted())
        await copier.until(lambda: "T001.mov" in only(copier))
        await grow()
        await copier.ended()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
    assert all_there(house, tree(server.top))
    proven(house)


async def test_a_clip_that_is_recorded_over_while_it_is_read_is_no_mixture(server: Server, house: House) -> None:
    """The size stays; the time of its last change tells."""
    over = server.put("1/Over.mov", b"A" * 40 * MB)
    house.decks["iso-1"] = server.address
    house.bytes_per_s = 40 * MB
    async with copying(house) as copier:
        await copier.engine.run(Wanted())
        await copier.until(lambda: reading(copier, 1))
        with over.open("r+b") as out:
            out.write(b"B" * 40 * MB)
        await copier.ended()
        assert states(copier) == {"Over.mov": (State.PUBLISHED, None)}
        assert only(copier)["Over.mov"].tries == 1, "it was begun anew"
    assert all_there(house, tree(server.top))


async def test_a_clip_that_keeps_growing_is_never_named_as_whole(server: Server, house: House) -> None:
    filled(server, house)
    growing = server.top / "1" / "T001.mov"
    grows = True

    async def grow() -> None:
        while grows:
            with growing.open("ab") as out:
                out.write(b"more")
            await asyncio.sleep(0.01)

    task = asyncio.create_task(grow())
    async with copying(house) as copier:
        await copier.whole_run()
        seen = states(copier)
        assert seen["T001.mov"] == (State.FAILED, Reason.CHANGED)
        assert "T001.mov" in only(copier)["T001.mov"].why
        assert "iso-1/T001.mov" not in copies(house)
        grows = False
        await task
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
    assert all_there(house, tree(server.top))


async def test_a_file_that_is_cut_short_while_it_is_read_is_not_a_copy(server: Server, house: House) -> None:
    """vsftpd says 426 then, pyftpdlib 226."""
    long = server.put("1/Long.mov", 40 * MB)
    house.decks["iso-1"] = server.address
    house.bytes_per_s = 60 * MB
    async with copying(house) as copier:
        await copier.engine.run(Wanted())
        await copier.until(lambda: reading(copier, 1))
        with long.open("r+b") as out:
            out.truncate(MB)
        await copier.ended()
        assert states(copier) == {"Long.mov": (State.PUBLISHED, None)}, "it is copied as it is now"
    assert all_there(house, tree(server.top))


def reading(copier: Copier, least: int) -> bool:
    """So many bytes of the deck's clip came."""
    decks = copier.engine.progress().decks or {}
    return "iso-1" in decks and decks["iso-1"].done >= least


async def test_another_file_in_the_place_stays_and_is_named(server: Server, house: House) -> None:
    source = filled(server, house)
    place = Path(house.targets["shuttle"]) / "iso-1"
    place.mkdir()
    (place / "T001.mov").write_bytes(b"somebody else's")
    (place / "T002.mov").write_bytes(b"x" * CLIPS["1/T002.mov"])  # of the same size
    (place / "T003.mov").write_bytes((server.top / "2" / "T003.mov").read_bytes())  # the copy itself
    before = tree(place)
    async with copying(house) as copier:
        await copier.whole_run()
        assert states(copier) == {
            "T001.mov": (State.FAILED, Reason.OCCUPIED),
            "T002.mov": (State.FAILED, Reason.OCCUPIED),
            "T003.mov": (State.PUBLISHED, None),
        }
        assert "T001.mov" in only(copier)["T001.mov"].why
    assert tree(place) == before
    assert tree(server.top) == source


async def test_the_same_name_in_two_slots_is_two_copies(server: Server, house: House) -> None:
    server.put("1/T001.mov", b"one" * 1000)
    server.put("2/t001.MOV", b"two" * 1000)
    house.decks["iso-1"] = server.address
    async with copying(house) as copier:
        await copier.whole_run()
        assert {copy.state for job in copier.all() for copy in job.copies} == {State.PUBLISHED}
        assert len({copy.path.casefold() for job in copier.all() for copy in job.copies}) == 2
    assert sorted(copies(house).values()) == sorted(tree(server.top).values())


async def test_a_store_that_is_occupied_is_named_and_read_when_it_is_free(house: House) -> None:
    with bare(sessions=1) as server:
        source = filled(server, house)
        somebody = FtpStore("laptop", *server.address, wall=None)  # type: ignore[arg-type]
        async with copying(house) as copier:
            await copier.whole_run()
            assert not any(state is State.PUBLISHED for state, _ in states(copier).values())
            told = copier.engine.progress().says + str(copier.engine.progress().decks)
            assert "421" in told
            somebody.close()
            await copier.whole_run()
        assert all_there(house, source)


async def test_a_clip_that_is_gone_is_named_and_the_others_are_copied(server: Server, house: House) -> None:
    source = filled(server, house)
    async with copying(house) as copier:
        await copier.engine.refresh(Wanted())
        (server.top / "1" / "T001.mov").unlink()
        await copier.whole_run()
        seen = states(copier)
        assert seen.pop("T001.mov") == (State.FAILED, Reason.GONE)
        assert set(seen.values()) == {(State.PUBLISHED, None)}
    del source["1/T001.mov"]
    assert all_there(house, source)


# --- what the wire does -----------------------------------------------------------------------------------------------


@pytest.fixture
def wires() -> Iterator[Wires]:
    with Wires() as wires:
        yield wires


def far(wires: Wires, server: Server, data_port: int, house: House) -> None:
    """The server's two ports behind wires at an address of their own: data is dialled where the session is."""
    for port in (server.address[1], data_port):
        wire = wires.add(str(port), ("127.0.0.1", port))
        wire.address = ("127.0.0.1", port)
        wire.move("127.0.0.2")
    house.decks["iso-1"] = ("127.0.0.2", server.address[1])


async def test_a_pulled_cable_is_noticed_and_the_copy_goes_on_when_it_is_back(
    house: House, wires: Wires, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half-open: nothing comes, and nobody says so."""
    monkeypatch.setattr("stagectl.copyoff.ftp.ANSWER_S", 0.4)
    monkeypatch.setattr("stagectl.copyoff.ftp.CONNECT_S", 0.4)
    with bare(data_port=True) as server:
        server.put("1/Long.mov", os.urandom(24 * MB))  # more than lies on the way
        source = tree(server.top)
        far(wires, server, server.data_port, house)
        house.bytes_per_s = 8 * MB  # three seconds of it, on a machine that does other things too
        async with copying(house) as copier:
            await copier.engine.run(Wanted())
            await copier.until(lambda: reading(copier, MB))
            ways = [wires[str(port)] for port in (server.address[1], server.data_port)]
            await asyncio.to_thread(lambda: [wire.half_open() for wire in ways])
            await copier.until(lambda: "stood still" in report(copier))
            assert copies(house) == {}
            await asyncio.to_thread(lambda: [wire.heal() for wire in ways])
            await copier.ended()
            if states(copier)["Long.mov"][0] is not State.PUBLISHED:  # its tries were over meanwhile
                assert states(copier)["Long.mov"][1] is Reason.LINK
                await copier.whole_run()
            assert states(copier) == {"Long.mov": (State.PUBLISHED, None)}
        assert all_there(house, source)
        proven(house)


# --- the odd ways of recorders ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stores() -> Iterator[Stores]:
    clips = [{"name": "T001", "frames": 500}, {"name": "T002", "frames": 250}]
    with Stores({"iso-1": {"slots": [{"clips": clips}, {}], "clip_store": {}}}) as stores:
        yield stores


@pytest.fixture(autouse=True)
def _healthy(request: pytest.FixtureRequest) -> Iterator[None]:
    yield
    if "stores" in request.fixturenames:
        stores: Stores = request.getfixturevalue("stores")
        for name in stores.faults("iso-1"):
            stores.turn("iso-1", name, False)


FAULTS = [
    # fault, why a copy failed, what it is healed by
    ("store_truncates", Reason.SHORT),
    ("store_changes_size", Reason.CHANGED),
    ("store_resets", Reason.LINK),
    ("store_vanishes", Reason.GONE),
]


@pytest.mark.parametrize(("fault", "reason"), FAULTS)
async def test_an_odd_store_fails_by_name_and_is_copied_when_it_is_well(
    stores: Stores, house: House, fault: str, reason: Reason
) -> None:
    played(stores, house)
    stores.turn("iso-1", fault)
    async with copying(house) as copier:
        await copier.whole_run()
        told = states(copier)
        if reason is Reason.LINK:  # the next clip would fare no better: the deck is given up, and the run says so
            assert reason in {why for _, why in told.values()}
            assert "broke off" in copier.engine.progress().says
        else:
            assert set(told.values()) == {(State.FAILED, reason)}
        assert all(name in report(copier) for name in told)
        assert copies(house) == {}
        stores.turn("iso-1", fault, False)
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
    same_as_played(stores, house)


@pytest.mark.parametrize("fault", ["store_list_only", "store_no_epsv", "store_local_time", "store_no_226"])
async def test_a_harmless_oddity_harms_no_copy(
    stores: Stores, house: House, fault: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("stagectl.copyoff.ftp.LAST_WORD_S", 0.3)
    played(stores, house)
    stores.turn("iso-1", fault)
    async with copying(house) as copier:
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
        assert all(bool(copy.doubt) is (fault == "store_no_226") for copy in only(copier).values())
    same_as_played(stores, house)


def same_as_played(stores: Stores, house: House) -> None:
    for path in stores.files("iso-1"):
        name = path.rpartition("/")[2]
        assert (Path(house.targets["shuttle"]) / "iso-1" / name).read_bytes() == stores.content("iso-1", path)


async def test_data_that_stands_still_is_named(stores: Stores, house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stagectl.copyoff.ftp.ANSWER_S", 0.3)
    played(stores, house)
    stores.turn("iso-1", "store_stalls")
    async with copying(house) as copier:
        await copier.whole_run()
        assert Reason.LINK in {why for _, why in states(copier).values()}
        assert "stood still" in copier.engine.progress().says
        assert copies(house) == {}
        stores.turn("iso-1", "store_stalls", False)
        await copier.whole_run()
    same_as_played(stores, house)


async def test_a_byte_that_was_read_wrong_is_found_by_reading_twice(stores: Stores, house: House) -> None:
    played(stores, house)
    house.double_read = True
    stores.turn("iso-1", "store_flips_byte")
    async with copying(house) as copier:
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
        assert max(copy.tries for copy in only(copier).values()) == 1, "one of them was begun anew"
    same_as_played(stores, house)


async def test_nothing_is_read_while_the_deck_records_and_reads_stop_when_it_rolls(
    stores: Stores, house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("stagectl.copyoff.deckstate.HOLD_S", 0.1)
    played(stores, house)
    house.bytes_per_s = 2 * MB
    house.rests["iso-1"] = False
    async with copying(house) as copier:
        await copier.engine.run(Wanted())
        with suppress(TimeoutError):
            async with asyncio.timeout(0.5):
                await copier.until(lambda: reading(copier, 1))
        assert copies(house) == {}
        house.rests["iso-1"] = True
        await copier.until(lambda: reading(copier, 1))
        house.rests["iso-1"] = False
        copier.engine.give_way("iso-1")
        async with asyncio.timeout(1.0):  # the sheet's own bound
            await copier.until(lambda: not reading(copier, 0) or _waits(copier))
        house.rests["iso-1"] = True
        await copier.ended()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
    same_as_played(stores, house)


def _waits(copier: Copier) -> bool:
    decks = copier.engine.progress().decks or {}
    return decks["iso-1"].busy == "waiting"


# --- what the machine does --------------------------------------------------------------------------------------------


async def test_a_disk_that_lies_is_found_by_reading_back(
    server: Server, house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One bit of a part turns between its writing and its reading back, once."""
    source = filled(server, house)
    read, turned = Folder.read_part, []

    def lying(target: Folder, path: str, job: str) -> Iterator[bytes]:
        for block in read(target, path, job):
            if turned:
                yield block
            else:
                turned.append(path)
                yield bytes([block[0] ^ 1]) + block[1:]

    monkeypatch.setattr(Folder, "read_part", lying)
    async with copying(house) as copier:
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.PUBLISHED, None)}
        assert sum(copy.tries for copy in only(copier).values()) == 1
    assert turned
    assert all_there(house, source)
    proven(house)


async def test_room_that_shall_stay_free_stays_free(server: Server, house: House) -> None:
    filled(server, house)
    house.reserve = 1 << 60
    async with copying(house) as copier:
        await copier.whole_run()
        assert set(states(copier).values()) == {(State.FAILED, Reason.FULL)}
        assert all("has no room" in copy.why for copy in only(copier).values())
    assert copies(house) == {}


async def test_two_targets_have_a_verified_copy_each(server: Server, house: House, tmp_path: Path) -> None:
    source = filled(server, house)
    (tmp_path / "second").mkdir()
    house.targets["second"] = str(tmp_path / "second")
    async with copying(house) as copier:
        await copier.whole_run()
        assert {copy.state for job in copier.all() for copy in job.copies} == {State.PUBLISHED}
        assert not any(job.safe_to_clear for job in copier.all()), "both stand on one disk"
    assert all_there(house, source)
    assert copies(house) == {
        path: whole for path, whole in tree(tmp_path / "second").items() if not path.startswith("ascmhl/")
    }
