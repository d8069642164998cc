"""Do simulated recorders serve their clips as recorders do? Stories over FTP, with the client of the standard library.

The dialogue is checked against RFC 959, RFC 2428 and RFC 3659 as ftplib knows them, the habits of recorders and their
odd ways against the clip-store sheet (common practice).
"""

from __future__ import annotations

import contextlib
import ftplib
import sys
import time
from collections.abc import Iterator

import pytest

from stagectl_simulators import client
from stagectl_simulators.__main__ import read_spec
from stagectl_simulators.clip_store import BLOCK_BYTES, Media
from tests.simulators.deck_bench import DeckBench
from tests.simulators.store_bench import Stores, fetch

ODD = "/1/Ä [1] & ü;%.mov"
OLD = [
    {"name": "Ä [1] & ü;%", "start": "09:00:00:00", "frames": 250, "days_ago": 2},  # 10 s
    {"name": "Nothing", "file_bytes": 0},
    {"name": "Long", "file_bytes": 5_000_000_000},
]


@pytest.fixture(scope="module")
def stores() -> Iterator[Stores]:
    decks = {
        "iso-1": {"slots": [{"clips": OLD}, {}], "clip_store": {"sessions": 2}},
        "iso-2": {"clip_store": {"user": "deck", "password": "tide", "folders": ["A", "B"], "extension": ".mxf"}},
        "mix-rec": {},
    }
    with Stores(decks) as stores:
        yield stores


@pytest.fixture
def session(stores: Stores) -> Iterator[ftplib.FTP]:
    with stores.login("iso-1") as session:
        yield session


@contextlib.contextmanager
def fault(stores: Stores, name: str, value: bool | float = True) -> Iterator[None]:
    stores.turn("iso-1", name, value)
    yield
    stores.turn("iso-1", name, False)


# --- a healthy store --------------------------------------------------------------------------------------------------


def test_clips_are_files_in_a_folder_per_slot(stores: Stores, session: ftplib.FTP) -> None:
    assert [name for name, _ in session.mlsd("/")] == ["1", "2"]
    listed = dict(session.mlsd("1"))
    assert {name: facts["size"] for name, facts in listed.items()} == {
        "Ä [1] & ü;%.mov": "1000000",  # 10 s at the usual 100 kB a second
        "Nothing.mov": "0",
        "Long.mov": "5000000000",
    }
    assert list(session.mlsd("2")) == []
    session.voidcmd("TYPE I")  # ftplib lists in ASCII mode, in which pyftpdlib refuses SIZE
    assert session.size(ODD) == 1_000_000
    assert session.sendcmd(f"MDTM {ODD}") == f"213 {listed['Ä [1] & ü;%.mov']['modify']}"
    assert listed["Ä [1] & ü;%.mov"]["modify"].endswith("090010"), "the label of its last frame, two days ago"
    assert "mix-rec" not in stores.stores


def test_a_file_is_the_same_each_time_and_from_any_byte(stores: Stores, session: ftplib.FTP) -> None:
    whole = stores.content("iso-1", ODD)
    assert fetch(session, ODD) == ("226 Transfer complete.", whole)
    assert fetch(session, ODD, rest=700_001) == ("226 Transfer complete.", whole[700_001:])
    assert fetch(session, "/1/Nothing.mov")[1] == b""
    assert len(fetch(session, "/1/Long.mov", rest=4_999_999_000)[1]) == 1000
    with pytest.raises(ftplib.error_perm, match="554"):
        fetch(session, ODD, rest=1_000_001)


def test_nothing_can_be_written_or_deleted(session: ftplib.FTP) -> None:
    for line in (f"DELE {ODD}", "STOR 1/new.mov", f"RNFR {ODD}", "MKD 3", "RMD 1", f"APPE {ODD}"):
        with pytest.raises(ftplib.error_perm, match="550"):
            session.sendcmd(line)


def test_no_two_places_of_a_clip_are_alike() -> None:
    media, size = Media("a clip"), 40 * BLOCK_BYTES
    whole = media.read(0, size)
    assert len({whole[at : at + 512] for at in range(0, size, 512)}) == size // 512
    assert media.read(123_456, 200_000) == whole[123_456:323_456]
    assert media.read(6 * 2**40, 100) != media.read(0, 100), "and any size is had"
    assert Media("another").read(0, 100) != media.read(0, 100)


def test_a_file_grows_while_its_clip_rolls_and_then_stands(stores: Stores) -> None:
    with stores.login("iso-2", "deck", "tide") as session:
        stores.press("iso-2", "record", name="Grows")
        stores.wait_for("iso-2", "record")
        sizes = []
        while not sizes or sizes[-1] < sizes[0] + 8000:
            sizes.append(session.size("A/Grows.mxf") or 0)
        assert sizes == sorted(sizes)
        assert all(size % 4000 == 0 for size in sizes), "by whole frames"
        _, half = fetch(session, "A/Grows.mxf")
        stores.press("iso-2", "stop")
        frames = stores.wait_for("iso-2", "preview")["clips"][0]["frames"]
        assert session.size("A/Grows.mxf") == frames * 4000
        assert fetch(session, "a/GROWS.mxf")[1][: len(half)] == half, "case tells no files apart"
        stores.press("iso-2", "eject", slot=1)
        assert list(session.mlsd("A")) == []
        with pytest.raises(ftplib.error_perm, match="550"):
            session.size("A/Grows.mxf")
        stores.press("iso-2", "insert", slot=1)


def test_the_file_of_a_clip_never_shrinks_when_it_is_stopped() -> None:
    bench = DeckBench(clip_store={})
    bench.join()
    bench.ask("record: name: T")
    sizes, known = [], []
    for _ in range(100):
        bench.wait(0.017)
        if bench.now_s > 1.2 and bench.status == "record":
            bench.ask("stop")
        for file in bench.deck.shelf():
            sizes.append(file.size(bench.now_s))
            known.append(file.size(bench.now_s + 5))  # a store that asks late
    assert sizes == sorted(sizes)
    assert known[-1] == sizes[-1] == bench.clips()[0][2] * 4000  # type: ignore[operator]


def test_a_login_that_is_wrong_is_refused(stores: Stores) -> None:
    for user, password in (("", ""), ("deck", "wrong")):
        with pytest.raises(ftplib.error_perm, match="530"):
            stores.login("iso-2", user, password)


def test_one_session_too_many_is_told_421(stores: Stores, session: ftplib.FTP) -> None:
    with stores.login("iso-1"):
        with pytest.raises(ftplib.error_temp, match="421"):
            stores.login("iso-1")
        assert session.voidcmd("NOOP") == "200 I successfully did nothing'."
    with fault(stores, "store_one_session"), pytest.raises(ftplib.error_temp, match="421"):
        stores.login("iso-1")


@pytest.mark.slow
def test_an_idle_session_is_closed() -> None:
    with Stores({"iso-1": {"clip_store": {"idle_s": 1}}}) as stores, stores.login("iso-1") as session:
        assert session.getline().startswith("421")


@pytest.mark.slow
def test_a_store_is_off_the_net_while_its_deck_is(stores: Stores, session: ftplib.FTP) -> None:
    stores.turn("iso-1", "reboot", 0.3)
    with pytest.raises((OSError, EOFError)):
        session.voidcmd("NOOP")
    end = time.monotonic() + 10
    while True:
        try:
            stores.login("iso-1").close()
            break
        except OSError:
            assert time.monotonic() < end
            time.sleep(0.05)
    deadline = time.monotonic() + 10  # the media mount anew, as after any start
    with stores.login("iso-1") as again:
        while not dict(again.mlsd("1")):
            assert time.monotonic() < deadline
            time.sleep(0.05)


# --- its odd ways -----------------------------------------------------------------------------------------------------


def test_half_a_file_and_226(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_truncates"):
        assert fetch(session, ODD) == ("226 Transfer complete.", stores.content("iso-1", ODD)[:500_000])
        assert session.size(ODD) == 1_000_000


def test_old_firmware_knows_neither_mlsd_nor_epsv(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_list_only"), fault(stores, "store_no_epsv"):
        features = session.sendcmd("FEAT")
        assert "MLST" not in features
        assert "EPSV" not in features
        for line in ("MLSD 1", "EPSV", "MLST 1"):
            with pytest.raises(ftplib.error_perm, match="500"):
                session.sendcmd(line)
        lines: list[str] = []
        session.retrlines("LIST 1", lines.append)
        assert [line.split(maxsplit=8)[8] for line in lines] == ["Long.mov", "Nothing.mov", "Ä [1] & ü;%.mov"]
        assert fetch(session, ODD)[1] == stores.content("iso-1", ODD)


def test_data_that_stops_goes_on_when_it_may(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_stalls"):
        line = session.transfercmd(f"RETR {ODD}")
        line.settimeout(0.15)
        heard = 0
        with contextlib.suppress(TimeoutError):
            while piece := line.recv(65536):
                heard += len(piece)
        assert 0 < heard < 1_000_000
    line.settimeout(5)
    while piece := line.recv(65536):
        heard += len(piece)
    line.close()
    assert heard == 1_000_000
    assert session.voidresp().startswith("226")


def test_a_reset_in_mid_transfer_ends_both_connections(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_resets"):
        heard: list[bytes] = []
        with pytest.raises((ConnectionError, EOFError)):
            session.retrbinary(f"RETR {ODD}", heard.append)
        assert 0 < len(b"".join(heard)) < 1_000_000
        with pytest.raises((OSError, EOFError)):
            session.voidcmd("NOOP")


def test_a_file_is_longer_than_it_was_listed(stores: Stores, session: ftplib.FTP) -> None:
    before = session.size("/1/Nothing.mov"), session.sendcmd("MDTM /1/Nothing.mov")
    with fault(stores, "store_changes_size"):
        assert before[0] == 0
        assert len(fetch(session, "/1/Nothing.mov")[1]) == 4096
    assert session.size("/1/Nothing.mov") == 4096, "it stays so"
    assert session.sendcmd("MDTM /1/Nothing.mov") != before[1]


def test_all_data_and_no_226(stores: Stores) -> None:
    with fault(stores, "store_no_226"), stores.login("iso-1", timeout_s=0.2) as session:
        heard: list[bytes] = []
        with pytest.raises(TimeoutError):
            session.retrbinary(f"RETR {ODD}", heard.append)
        assert b"".join(heard) == stores.content("iso-1", ODD)
        session.close()


def test_a_slow_store_spreads_a_file_over_its_time(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_slow", 4000):  # kB/s: a quarter of a second for 1 MB
        began = time.monotonic()
        assert fetch(session, ODD)[1] == stores.content("iso-1", ODD)
        assert time.monotonic() - began > 0.15, "at least: it can't be quicker, whatever the machine does"


def test_local_time_is_two_hours_off(stores: Stores, session: ftplib.FTP) -> None:
    listed = dict(session.mlsd("1"))["Ä [1] & ü;%.mov"]["modify"]
    with fault(stores, "store_local_time"):
        told = session.sendcmd(f"MDTM {ODD}").removeprefix("213 ")
    assert int(told) - int(listed) == 2_00_00


def test_one_byte_of_one_read_is_wrong(stores: Stores, session: ftplib.FTP) -> None:
    stores.turn("iso-1", "store_flips_byte")
    first, second = fetch(session, ODD)[1], fetch(session, ODD)[1]
    assert second == stores.content("iso-1", ODD)
    assert sum(one != other for one, other in zip(first, second, strict=True)) == 1
    assert not client.faults(stores.door, "iso-1")["store_flips_byte"]


def test_files_that_are_listed_are_gone_when_asked_for(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_vanishes"):
        assert "Ä [1] & ü;%.mov" in dict(session.mlsd("1"))
        for ask in (f"SIZE {ODD}", f"MDTM {ODD}", f"RETR {ODD}"):
            with pytest.raises(ftplib.error_perm, match="550"):
                session.sendcmd(ask)


def test_a_medium_that_is_pulled_breaks_the_read_of_it(stores: Stores, session: ftplib.FTP) -> None:
    with fault(stores, "store_slow", 500):
        line = session.transfercmd(f"RETR {ODD}")
        line.recv(1)
        stores.press("iso-1", "eject", slot=1)
        while line.recv(65536):
            pass
        line.close()
        with pytest.raises(ftplib.error_temp, match="426"):
            session.voidresp()
    stores.press("iso-1", "insert", slot=1)


# --- set-up -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("store", "words"),
    [
        ({"port": 70000}, "iso-1, clip_store: option 'port' must be a whole number from 0 to 65535"),
        ({"folders": ["one"]}, "must name two folders"),
        ({"folders": ["a", "A"]}, "must name two folders"),
        ({"speed": 3}, "no option 'speed'. Known options: folders, port, user"),
    ],
)
def test_a_wrong_option_is_told(store: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        DeckBench(clip_store=store)


async def test_without_the_library_boxes_are_played_and_the_lack_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "stagectl_simulators.clip_store_ftp", raising=False)
    monkeypatch.setitem(sys.modules, "pyftpdlib.authorizers", None)
    spec = '{"boxes": [{"id": "iso-1", "kind": "text-deck", "options": {"clip_store": {}}}]}'
    async with read_spec(spec) as played:
        assert played.stores == {}
        assert list(played.addresses) == ["iso-1"]
        assert played.lacks == ["iso-1: clips are not served: pyftpdlib is not installed. Install stagectl[simulate]."]
