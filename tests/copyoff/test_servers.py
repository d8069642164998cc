"""Are clip stores read alike, whichever server they run? vsftpd, pyftpdlib bare, a simulated recorder.

Behaviour of the two servers as measured for the clip-store sheet (vsftpd 3.0.3, pyftpdlib 2.2.0), checked here again.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import TypeVar

import pytest

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.ftp import FtpStore
from stagectl.copyoff.source import Found
from tests.copyoff.servers import SERVERS, Server
from tests.simulators.store_bench import Stores

NAMES = ["T001 [wide] & co; 50%.mov", "Überspielung ‘é’.mov", "plain.MOV"]
T = TypeVar("T")


@pytest.fixture(scope="module", params=SERVERS)
def server(request: pytest.FixtureRequest) -> Iterator[Server]:
    with SERVERS[request.param]() as server:
        for number, name in enumerate(NAMES):
            server.put(f"1/{name}", name.encode() * (1000 + number))
        server.put("1/nothing.mov", b"")
        server.put("2/long.mov", 5_000_000_000)
        yield server


@pytest.fixture
def store(server: Server) -> Iterator[FtpStore]:
    store = in_turn(server.address)
    yield store
    store.close()


def opened(address: tuple[str, int]) -> FtpStore:
    return FtpStore("Rec 1", *address, wall=lambda: datetime.now(UTC))


def in_turn(address: tuple[str, int]) -> FtpStore:
    """A session once the server has noticed that those of before are gone."""
    end = time.monotonic() + 10
    while True:
        try:
            return opened(address)
        except CopyError as error:
            if error.reason is not Reason.BUSY or time.monotonic() > end:
                raise
        time.sleep(0.05)


def by_path(store: FtpStore) -> dict[str, Found]:
    return {found.path: found for found in store.clips()}


def content(store: FtpStore, path: str, offset: int = 0) -> bytes:
    transfer, whole, buffer = store.open(path, offset), b"", memoryview(bytearray(1 << 16))
    while got := transfer.readinto(buffer):
        whole += buffer[:got]
    assert transfer.finish(), "it says that all was sent"
    return whole


def or_reason(do: Callable[[], T]) -> T | Reason:
    """What it gives, or why it could not."""
    try:
        return do()
    except CopyError as error:
        return error.reason


def test_any_name_any_size_is_listed_and_read(store: FtpStore) -> None:
    found = by_path(store)
    assert {path: one.look.size for path, one in found.items()} == {
        **{f"1/{name}": len(name.encode()) * (1000 + number) for number, name in enumerate(NAMES)},
        "1/nothing.mov": 0,
        "2/long.mov": 5_000_000_000,
    }
    assert {one.slot for one in found.values()} == {1, 2}
    for number, name in enumerate(NAMES):
        assert content(store, f"1/{name}") == name.encode() * (1000 + number)
    assert content(store, "1/nothing.mov") == b""
    assert content(store, "2/long.mov", 4_999_999_000) == bytes(1000), "an offset of more than 32 bits"


def test_the_time_that_is_asked_for_is_the_files_own(server: Server, store: FtpStore) -> None:
    written = (server.top / "1" / NAMES[0]).stat().st_mtime
    look = store.look(f"1/{NAMES[0]}")
    assert look.mtime is not None
    assert int(look.mtime.timestamp()) == int(written)


def test_a_read_may_begin_anywhere_but_never_behind_the_end(store: FtpStore) -> None:
    whole = content(store, f"1/{NAMES[2]}")
    assert content(store, f"1/{NAMES[2]}", 1001) == whole[1001:]
    assert content(store, f"1/{NAMES[2]}", len(whole)) == b""
    # vsftpd: nothing, and 226. pyftpdlib: 554
    assert or_reason(lambda: content(store, f"1/{NAMES[2]}", len(whole) + 1)) in (b"", Reason.CHANGED)


def test_what_is_not_there_and_one_session_too_many_are_told_apart(server: Server, store: FtpStore) -> None:
    with pytest.raises(CopyError) as gone:
        store.look("1/never.mov")
    second = opened(server.address)
    with pytest.raises(CopyError) as busy:
        opened(server.address)
    second.close()
    assert (gone.value.reason, busy.value.reason) == (Reason.GONE, Reason.BUSY)
    assert "421" in str(busy.value)


def test_a_file_that_is_cut_short_in_mid_transfer_is_seen(server: Server, store: FtpStore) -> None:
    """vsftpd says 426; pyftpdlib says 226 after the bytes that were left: the count alone tells."""
    file = server.put("1/cut.mov", 64 << 20)
    transfer, buffer = store.open("1/cut.mov", 0), memoryview(bytearray(1 << 16))
    came = transfer.readinto(buffer)
    with file.open("r+b") as out:
        out.truncate(100_000)

    def rest() -> int:
        more = 0
        while got := transfer.readinto(buffer):
            more += got
        transfer.finish()
        return more

    got = or_reason(rest)
    file.unlink()
    assert got is Reason.LINK or (isinstance(got, int) and came + got < 64 << 20)


def test_a_clip_that_grows_is_longer_afterwards(server: Server, store: FtpStore) -> None:
    file = server.put("1/grows.mov", 1_000_000, age_s=0)
    before = store.look("1/grows.mov")
    with file.open("ab") as out:
        out.write(bytes(500_000))
    assert not store.look("1/grows.mov").same(before)
    file.unlink()


# --- a simulated recorder and its odd ways ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stores() -> Iterator[Stores]:
    clips = [{"name": "T001", "frames": 2500}, {"name": "T002 [wide] & ü;", "frames": 250}]
    with Stores({"iso-1": {"slots": [{"clips": clips}, {}], "clip_store": {}}}) as stores:
        yield stores


@pytest.fixture
def deck(stores: Stores) -> Iterator[FtpStore]:
    store = opened(stores.at("iso-1"))
    yield store
    store.close()


@pytest.mark.parametrize("old", [(), ("store_list_only",), ("store_no_epsv",), ("store_list_only", "store_no_epsv")])
def test_old_firmware_is_read_as_well(stores: Stores, old: tuple[str, ...]) -> None:
    for name in old:
        stores.turn("iso-1", name)
    deck = opened(stores.at("iso-1"))
    assert {path: found.look.size for path, found in by_path(deck).items()} == {
        "1/T001.mov": 10_000_000,
        "1/T002 [wide] & ü;.mov": 1_000_000,
    }
    assert content(deck, "1/T002 [wide] & ü;.mov") == stores.content("iso-1", "/1/T002 [wide] & ü;.mov")
    deck.close()
    for name in old:
        stores.turn("iso-1", name, False)


def test_a_reset_is_told_as_the_wire(stores: Stores, deck: FtpStore) -> None:
    stores.turn("iso-1", "store_resets")
    with pytest.raises(CopyError) as broke:
        content(deck, "1/T001.mov")
    stores.turn("iso-1", "store_resets", False)
    assert broke.value.reason is Reason.LINK


def test_data_without_a_last_word_is_all_of_it_but_unsaid(
    stores: Stores, deck: FtpStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("stagectl.copyoff.ftp.LAST_WORD_S", 0.2)
    stores.turn("iso-1", "store_no_226")
    transfer, buffer = deck.open("1/T001.mov", 0), memoryview(bytearray(1 << 16))
    came = 0
    while got := transfer.readinto(buffer):
        came += got
    assert came == 10_000_000
    assert not transfer.finish()
    stores.turn("iso-1", "store_no_226", False)


def test_data_that_stands_still_ends_in_time(stores: Stores, deck: FtpStore, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stagectl.copyoff.ftp.ANSWER_S", 0.2)
    stores.turn("iso-1", "store_stalls")
    with pytest.raises(CopyError, match="stood still") as broke:
        content(deck, "1/T001.mov")
    stores.turn("iso-1", "store_stalls", False)
    assert broke.value.reason is Reason.LINK


def test_files_that_vanished_since_they_were_listed_are_gone(stores: Stores, deck: FtpStore) -> None:
    assert by_path(deck)
    stores.turn("iso-1", "store_vanishes")
    with pytest.raises(CopyError) as gone:
        deck.open("1/T001.mov", 0)
    stores.turn("iso-1", "store_vanishes", False)
    assert gone.value.reason is Reason.GONE


def test_a_read_is_ended_from_another_thread_at_once(stores: Stores, deck: FtpStore) -> None:
    stores.turn("iso-1", "store_stalls")
    transfer, buffer = deck.open("1/T001.mov", 0), memoryview(bytearray(1 << 16))
    transfer.readinto(buffer)
    deck.abort()

    def to_the_end() -> None:
        while transfer.readinto(buffer):
            pass

    ended = or_reason(to_the_end)
    stores.turn("iso-1", "store_stalls", False)
    assert ended is Reason.STOPPED
