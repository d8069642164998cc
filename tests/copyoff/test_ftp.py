"""Is a clip store read rightly whatever its server does? Rows of lists, and a server that answers as it is told.

Real servers: test_servers.py. Commands and replies: RFC 959, RFC 2428, RFC 3659; odd ways: clip-store sheet, from
memory and as measured there.
"""

import socket
import threading
from contextlib import closing, nullcontext
from datetime import UTC, datetime

import pytest

from stagectl.copyoff import ftp
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.ftp import FtpStore
from stagectl.copyoff.ftplists import Entry, facts_entry, list_entry, moment
from stagectl.copyoff.source import Look, ToldBy
from tests.copyoff.oddftp import OddFtp, odd_ftp

NOW = datetime(2027, 3, 12, 12, tzinfo=UTC)


def file(name: str, size: int, *when: int, told_by: ToldBy = ToldBy.FACTS) -> Entry:
    mtime = datetime(*when, tzinfo=UTC) if when else None  # type: ignore[arg-type]
    return Entry(name, Look(size, mtime, told_by if when else ToldBy.NOBODY))


@pytest.mark.parametrize(
    ("line", "entry"),
    [
        # RFC 3659 section 7.7.3, the example "MLSD" of a folder, and its rules of section 7.5
        ("Type=cdir;Modify=19981107085215;Perm=el; tmp", None),
        ("Type=pdir;Modify=19990112030508;Perm=cdel; ..", None),
        (
            "Type=file;Size=25730;Modify=19940728095854;Perm=; cap60.pl198.tar.gz",
            file("cap60.pl198.tar.gz", 25730, 1994, 7, 28, 9, 58, 54),
        ),
        ("Type=dir;Modify=19981007183800;Perm=cdel; a folder", Entry("a folder", None)),
        # own construction
        ("type=file;size=5;modify=20270312120000.123; a; b = c.mov", file("a; b = c.mov", 5, 2027, 3, 12, 12)),
        ("type=file;size=0; empty", file("empty", 0)),
        ("type=file;size=5;modify=20270231000000; no such day", file("no such day", 5)),
        ("type=file;size=5;  two spaces", file(" two spaces", 5)),
        ("type=file;modify=20270312120000; no size", None),
        ("type=file;size=-5; negative", None),
        ("type=file;size=٣; other figures", None),
        ("type=OS.unix=slink:/x;size=5; link", None),
        ("no facts", None),
        ("", None),
    ],
)  # fmt: skip
def test_a_line_of_facts(line: str, entry: Entry | None) -> None:
    assert facts_entry(line) == entry


LISTED = ToldBy.LIST


@pytest.mark.parametrize(
    ("line", "entry"),
    [
        # shapes that servers are known for; from memory
        (
            "-rw-r--r--    1 0        0          1000000 Mar 12 05:08 T001 wide.mov",
            file("T001 wide.mov", 1000000, 2027, 3, 12, 5, 8, told_by=LISTED),
        ),
        (
            "-rw-rw-rw-   1 user group 4294967297 Nov 25  2026 big.mxf",
            file("big.mxf", 4294967297, 2026, 11, 25, told_by=LISTED),
        ),
        ("-rw-r--r-- 1 user 7 Dec 31 23:59 last year", file("last year", 7, 2026, 12, 31, 23, 59, told_by=LISTED)),
        (
            "-rw-r--r-- 1 user group 7 Mar 13 02:00 a zone ahead",
            file("a zone ahead", 7, 2027, 3, 13, 2, told_by=LISTED),
        ),
        ("-rw-r--r-- 1 user group 7 Feb 29 02:00 leap", file("leap", 7)),
        (
            "-rw-r--r--+ 1 user group 7 Mar 12 02:00 with more rights",
            file("with more rights", 7, 2027, 3, 12, 2, told_by=LISTED),
        ),
        ("drwxr-xr-x    2 0        0            4096 Mar 12 05:08 1", Entry("1", None)),
        ("drwxr-xr-x    2 0        0            4096 Mar 12 05:08 ..", None),
        ("lrwxrwxrwx    1 0        0               3 Mar 12 05:08 link -> x", None),
        ("03-12-27  05:08PM              1234 A001.MOV", file("A001.MOV", 1234, 2027, 3, 12, 17, 8, told_by=LISTED)),
        ("03-12-2027  12:08AM     <DIR>       CLIPS", Entry("CLIPS", None)),
        ("03-12-27  17:08              1234 B.MOV", file("B.MOV", 1234, 2027, 3, 12, 17, 8, told_by=LISTED)),
        ("total 12", None),
        ("", None),
    ],
)  # fmt: skip
def test_a_line_for_people(line: str, entry: Entry | None) -> None:
    assert list_entry(line, NOW) == entry


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("19980615100045", datetime(1998, 6, 15, 10, 0, 45, tzinfo=UTC)),  # RFC 3659 section 3.2, as are the next
        ("19980615100045.014", datetime(1998, 6, 15, 10, 0, 45, tzinfo=UTC)),
        ("19100101000000", datetime(1910, 1, 1, tzinfo=UTC)),
        ("191000101000000", None),  # a server that counts years from 1900, the same section
        ("20270312", None),
        ("", None),
    ],
)
def test_a_time_on_the_wire(text: str, time: datetime | None) -> None:
    assert moment(text) == time


def opened(server: OddFtp, folders: dict[str, int] | None = None) -> FtpStore:
    return FtpStore("Rec 1", *server.address, folders=folders, wall=lambda: NOW)


def content(store: FtpStore, path: str = "1/a.mov", offset: int = 0) -> tuple[bytes, bool, int]:
    whole, buffer = b"", memoryview(bytearray(4096))
    with closing(store.open(path, offset)) as transfer:
        while got := transfer.readinto(buffer):
            whole += buffer[:got]
        return whole, transfer.finish(), transfer.first


def reason(caught: pytest.ExceptionInfo[CopyError]) -> Reason:
    return caught.value.reason


def test_a_clip_is_asked_after_and_read() -> None:
    with odd_ftp(data=b"frames") as server, closing(opened(server)) as store:
        assert store.look("1/a.mov") == Look(6, NOW, ToldBy.ASKED)
        assert content(store) == (b"frames", True, 0)
    assert server.heard[:4] == ["USER anonymous", "PASS anonymous@", "OPTS UTF8 ON", "TYPE I"]
    assert not {"NOOP", "ABOR", "DELE", "RNFR", "STOR", "EPSV ALL"} & {line.split(" ")[0] for line in server.heard}


def test_a_server_that_lets_in_at_the_name_or_asks_to_wait_is_entered() -> None:
    def slow(server: OddFtp, _: str) -> None:
        server.say("120 in a minute")
        server.say("220-now\r\n some words\r\n220 ready")

    with odd_ftp({"": slow, "USER": "230 in"}, b"x") as server, closing(opened(server)) as store:
        assert content(store)[0] == b"x"
    assert not any(line.startswith("PASS") for line in server.heard)


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ({"": "421 too many"}, Reason.BUSY),
        ({"PASS": "530 no"}, Reason.REFUSED),
        ({"": "not FTP"}, Reason.LINK),
        ({"": lambda server, _: server.control.close()}, Reason.LINK),
        ({"USER": lambda server, _: server.say("230-" + "\r\n230-".join("x" * 1200))}, Reason.LINK),
    ],
)
def test_a_server_that_does_not_let_in_is_told_apart(answers: dict[str, object], why: Reason) -> None:
    with odd_ftp(answers) as server, pytest.raises(CopyError, match="Rec 1: no session") as caught:
        opened(server)
    assert reason(caught) is why


def test_nobody_there_is_a_matter_of_the_network() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        address = taken.getsockname()
    with pytest.raises(CopyError, match="look at its network") as caught:
        FtpStore("Rec 1", *address, wall=lambda: NOW)
    assert reason(caught) is Reason.LINK


def test_without_epsv_the_host_of_pasv_is_not_believed() -> None:
    answers = {"EPSV": "500 what?", "PASV": lambda server, _: server.passive("", "10,9,8,7")}
    with odd_ftp(answers, b"x") as server, closing(opened(server)) as store:
        assert content(store)[0] == b"x"
        assert content(store)[0] == b"x"
    assert server.heard.count("EPSV") == 1


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ({"SIZE": "550 none"}, Reason.GONE),
        ({"RETR": "550 none"}, Reason.GONE),
        ({"RETR": "450 in use"}, Reason.BUSY),
        ({"RETR": "425 no line"}, Reason.LINK),
        ({"RETR": "421 going down"}, Reason.BUSY),
        ({"RETR": "553 not that name"}, Reason.REFUSED),
        ({"SIZE": "213 many"}, Reason.LINK),
        ({"EPSV": "229 nothing"}, Reason.LINK),
    ],
)
def test_why_a_clip_can_t_be_read_is_told_apart(answers: dict[str, object], why: Reason) -> None:
    with odd_ftp(answers, b"x") as server, closing(opened(server)) as store:
        with pytest.raises(CopyError, match=r"Rec 1: can't read 1/a\.mov") as caught:
            content(store)
        assert reason(caught) is why


def test_a_server_without_times_leaves_the_time_out() -> None:
    for answer in ("500 what?", "550 no", "213 191000101000000"):
        with odd_ftp({"MDTM": answer}, b"x") as server, closing(opened(server)) as store:
            assert store.look("1/a.mov") == Look(1, None, ToldBy.NOBODY)


def test_a_server_that_can_t_begin_elsewhere_begins_at_the_start() -> None:
    with odd_ftp({"REST": "502 what?"}, b"frames") as server, closing(opened(server)) as store:
        assert content(store, offset=3) == (b"frames", True, 0)


def test_a_clip_shorter_than_where_we_were_has_changed() -> None:
    with odd_ftp({"RETR": "554 behind the end"}, b"x") as server, closing(opened(server)) as store:
        with pytest.raises(CopyError) as caught:
            store.open("1/a.mov", 5)
        assert reason(caught) is Reason.CHANGED


def test_a_transfer_that_is_said_to_have_broken_is_no_copy() -> None:
    def broken(server: OddFtp, _: str) -> None:
        with server.data_line() as line:
            server.say("150 here it comes")
            line.sendall(b"x")
        server.say("426 broken")

    with odd_ftp({"RETR": broken}, b"x") as server, closing(opened(server)) as store:
        with pytest.raises(CopyError, match="426 broken") as caught:
            content(store)
        assert reason(caught) is Reason.LINK


@pytest.mark.parametrize("silence", ["says nothing", "hangs up"])
def test_a_last_word_that_never_comes_is_a_doubt_and_no_failure(monkeypatch: pytest.MonkeyPatch, silence: str) -> None:
    monkeypatch.setattr(ftp, "LAST_WORD_S", 0.05)

    def mute(server: OddFtp, _: str) -> None:
        with server.data_line() as line:
            server.say("150 here it comes")
            line.sendall(b"frames")
        if silence == "hangs up" and server.control is not None:
            server.control.shutdown(socket.SHUT_RDWR)

    with odd_ftp({"RETR": mute}, b"frames") as server, closing(opened(server)) as store:
        assert content(store) == (b"frames", False, 0)


def test_data_that_stands_still_breaks_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ftp, "ANSWER_S", 0.1)

    def stall(server: OddFtp, _: str) -> None:
        with server.data_line() as line:
            server.say("150 here it comes")
            line.sendall(b"fra")
            server.released.wait(10)

    with odd_ftp({"RETR": stall}, b"frames") as server, closing(opened(server)) as store:
        with pytest.raises(CopyError, match="stood still") as caught:
            content(store)
        assert reason(caught) is Reason.LINK


@pytest.mark.parametrize("at", ["data", "answer"])
def test_what_waits_ends_at_once_when_it_is_cut(at: str) -> None:
    waits = threading.Event()

    def hang(server: OddFtp, _: str) -> None:
        with server.data_line() if at == "data" else nullcontext() as line:
            if line is not None:
                server.say("150 here it comes")
                line.sendall(b"fra")
            waits.set()
            server.released.wait(10)

    with odd_ftp({"RETR" if at == "data" else "SIZE": hang}, b"frames") as server:
        store = opened(server)
        cutter = threading.Thread(target=lambda: waits.wait(10) and store.abort())
        cutter.start()
        with pytest.raises(CopyError, match="asked to stop") as caught:
            content(store)
        assert reason(caught) is Reason.STOPPED
        store.abort()
        store.close()
        store.close()
        cutter.join(10)


def test_an_end_of_data_that_we_made_is_not_the_file_s() -> None:
    with odd_ftp({"RETR": lambda server, _: server.say("150 here it comes")}, b"frames") as server:
        store = opened(server)
        transfer = store.open("1/a.mov", 0)
        store.abort()
        with pytest.raises(CopyError) as caught:
            transfer.readinto(memoryview(bytearray(10)))
        assert reason(caught) is Reason.STOPPED
        store.close()


def lists(folders: dict[str, str], broken: str = "") -> dict[str, object]:
    """Answers that list these folders by MLSD, or by the other command where `broken` says so."""

    def send(server: OddFtp, folder: str) -> None:
        with server.data_line() as line:
            server.say("150 here it comes")
            line.sendall(folders[folder].replace("\n", "\r\n").encode("latin-1"))
        server.say("226 that was all")

    return {"MLSD": broken or send, "LIST": send}


FACTS = {
    "": "type=cdir; .\ntype=dir; 1\ntype=dir; sd2\ntype=file;size=3; README\ntype=dir; .trash\n",
    "1": "type=pdir; ..\ntype=file;size=5;modify=20270312120000; T001 wide.mov\ntype=file;size=1; .hidden\n",
    "sd2": "type=dir; CLIPS\n",
    "sd2/CLIPS": "type=file;size=7; a; b.mov\n",
}


def test_each_folder_at_the_top_is_a_slot_and_the_ones_in_it_are_searched() -> None:
    with odd_ftp(lists(FACTS)) as server, closing(opened(server)) as store:
        found = {(one.path, one.slot, one.look.size) for one in store.clips()}
    assert found == {("README", 0, 3), ("1/T001 wide.mov", 1, 5), ("sd2/CLIPS/a; b.mov", 2, 7)}


def test_slots_named_in_the_site_file_are_listed_alone_and_one_without_a_medium_is_empty() -> None:
    def listing(server: OddFtp, folder: str) -> None:
        if folder == "raid":
            server.data_line().close()
            server.say("550 no such folder")
        else:
            lists(FACTS)["MLSD"](server, folder)  # type: ignore[operator]

    with odd_ftp({"MLSD": listing}) as server, closing(opened(server, {"raid": 9, "1": 4})) as store:
        assert [(one.path, one.slot) for one in store.clips()] == [("1/T001 wide.mov", 4)]


def test_a_server_without_facts_is_listed_as_for_people() -> None:
    folders = {
        "": "total 3\ndrwxr-xr-x 2 0 0 4096 Mar 12 05:08 1\n",
        "1": "-rw-r--r-- 1 0 0 77 Mar 12 05:08 T001 wide.mov\n",
    }
    with odd_ftp(lists(folders, "500 what?")) as server, closing(opened(server)) as store:
        (found,) = store.clips()
    assert (found.path, found.slot) == ("1/T001 wide.mov", 1)
    assert found.look == Look(77, datetime(2027, 3, 12, 5, 8, tzinfo=UTC), ToldBy.LIST)
    assert [line.split(" ")[0] for line in server.heard].count("MLSD") == 1


def test_a_folder_that_can_t_be_read_is_an_error_and_no_empty_list() -> None:
    with odd_ftp({"MLSD": "550 no right"}) as server, closing(opened(server)) as store:
        with pytest.raises(CopyError, match="can't be listed") as caught:
            list(store.clips())
        assert reason(caught) is Reason.GONE


def test_names_in_another_alphabet_are_read_whichever_way_they_are_spelt() -> None:
    """UTF-8 on the wire, or Latin-1 of an older recorder: both come out as text and find their way back."""
    folders = {"": "type=file;size=1; Gr\xc3\xbc\xc3\x9fe.mov\ntype=file;size=1; Gr\xfc\xdfe_2.mov\n"}

    def size(server: OddFtp, path: str) -> None:
        server.say("213 1" if path in {"Gr\xc3\xbc\xc3\x9fe.mov", "Gr\xfc\xdfe_2.mov"} else "550 none")

    with odd_ftp(lists(folders) | {"SIZE": size}, b"x") as server, closing(opened(server)) as store:
        names = [one.path for one in store.clips()]
        assert names == ["Grüße.mov", "Grüße_2.mov"]
        for name in names:
            assert content(store, name)[0] == b"x"


def test_a_name_can_t_smuggle_a_second_command_in() -> None:
    with odd_ftp(data=b"x") as server, closing(opened(server)) as store:
        with pytest.raises(CopyError) as caught:
            store.look("1/a\r\nDELE 1/a.mov")
        assert reason(caught) is Reason.REFUSED
    assert not any(line.startswith("DELE") for line in server.heard)


def test_a_list_without_end_breaks_off(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ftp, "LIST_LINES", 10)
    folders = {"": "type=file;size=1; a\n" * 100}
    with odd_ftp(lists(folders)) as server, closing(opened(server)) as store:
        with pytest.raises(CopyError, match="without end") as caught:
            list(store.clips())
        assert reason(caught) is Reason.LINK
