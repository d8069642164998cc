"""How is a clip store read over FTP? As recorders offer it: no TLS, one or two sessions, few commands.

Commands: RFC 959 (FTP), RFC 2428 (EPSV), RFC 3659 (SIZE, MDTM, MLSD, REST). No NOOP and no ABOR: some servers answer
neither while they send, so what keeps a session alive is TCP, and what ends a transfer is the end of its connections.
"""

import ftplib
import re
import socket
import struct
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import Final

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.ftplists import Entry, facts_entry, list_entry, moment
from stagectl.copyoff.source import Found, Look, ToldBy

CONNECT_S: Final = 10.0
ANSWER_S: Final = 20.0  # for a command's reply, and for the next byte of a transfer
FILL_S: Final = 0.1  # a block is handed on when it is full, or when nothing more came for so long
LAST_WORD_S: Final = 30.0  # for "transfer complete", after the last byte
DEEP: Final = 4  # folders below a slot's; own choice
REPLY_LINES: Final = 1000  # of one reply; longer is no reply
LIST_LINES: Final = 1_000_000  # of one folder

_TIMEVAL: Final = struct.Struct("@ll")  # of socket(7), SO_RCVTIMEO: seconds, microseconds
_ERRORS: Final[tuple[type[Exception], ...]] = (*ftplib.all_errors, ValueError)  # the latter: a line end in a name
_UNKNOWN: Final = frozenset({"500", "501", "502", "504"})  # the command, or its argument, is not implemented


class FtpStore:
    """A session with one recorder's store; connects and logs in at once.

    Args:
        called: what people call the recorder, for sentences.
        host, port: its address.
        user, password: its login.
        folders: folder -> slot; empty: each folder at the top is a slot, numbered by the figures at its end.
        wall: UTC wall time: lists for people leave the year out.

    Raises:
        CopyError: BUSY, LINK or REFUSED.
    """

    def __init__(
        self,
        called: str,
        host: str,
        port: int = 21,
        *,
        user: str = "anonymous",
        password: str = "",
        folders: Mapping[str, int] | None = None,
        wall: Callable[[], datetime],
    ) -> None:
        self._called = called
        self._folders = dict(folders or {})
        self._wall = wall
        self._aborted = False
        self._facts = True  # it knows MLSD, as far as we know
        self._type = ""
        self._ftp = _Session(timeout=CONNECT_S, encoding="latin-1")  # every byte of a name comes and goes as it is
        self._transfer: FtpTransfer | None = None
        try:
            with self._telling("no session with its clip store"):
                self._log_in(host, port, user, password)
        except CopyError:
            self._ftp.close()  # there is nobody to say goodbye to
            raise

    def clips(self) -> Iterator[Found]:
        with self._telling("its clips can't be listed"):
            yield from self._walk("", 0, 0)

    def look(self, path: str) -> Look:
        with self._telling(f"can't look at {path}"):
            wire, size = self._found(path)
            try:
                mtime = moment(self._ftp.sendcmd(f"MDTM {wire}")[4:].strip())
            except ftplib.error_perm:
                mtime = None
        return Look(size, mtime, ToldBy.ASKED if mtime else ToldBy.NOBODY)

    def open(self, path: str, offset: int) -> "FtpTransfer":
        with self._telling(f"can't read {path}"):
            wire, _ = self._found(path)
            try:
                data = self._ftp.transfercmd(f"RETR {wire}", offset or None)
            except ftplib.error_perm as error:
                if not offset or _code(error) not in _UNKNOWN:
                    raise
                offset = 0  # it can't begin elsewhere
                data = self._ftp.transfercmd(f"RETR {wire}")
            self._transfer = FtpTransfer(self, path, data, offset)
            if self._aborted:
                raise EOFError
        return self._transfer

    def abort(self) -> None:
        self._aborted = True
        transfer, control = self._transfer, self._ftp.sock
        for some in (transfer.data if transfer else None, control):
            if some is not None:
                with suppress(OSError):
                    some.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        if self._transfer is not None:
            self._transfer.close()
        elif not self._aborted and self._ftp.sock is not None:
            with suppress(*ftplib.all_errors):
                self._ftp.sock.settimeout(1.0)  # a goodbye is only manners
                self._ftp.quit()
        self._ftp.close()

    def last_word(self, path: str) -> bool:
        """Hear how a transfer ended; see `Transfer.finish`."""
        self._transfer = None
        assert self._ftp.sock is not None
        self._ftp.sock.settimeout(LAST_WORD_S)
        try:
            self._ftp.voidresp()
        except (OSError, EOFError) as error:
            if self._aborted:
                raise self._told(f"{path} broke off", error) from error
            return False
        except ftplib.Error as error:
            raise CopyError(Reason.LINK, f"{self._called}: {path} broke off ({_said(error)}).") from error
        self._ftp.sock.settimeout(ANSWER_S)
        return True

    def broke(self, path: str, error: Exception) -> CopyError:
        """The sentence for a transfer that broke."""
        if isinstance(error, TimeoutError):
            return CopyError(Reason.LINK, f"{self._called}: {path} stood still for {ANSWER_S:.0f} s.")
        return self._told(f"{path} broke off", error)

    @property
    def aborted(self) -> bool:
        """`abort` was called: an end of data is none of the file's."""
        return self._aborted

    def _log_in(self, host: str, port: int, user: str, password: str) -> None:
        welcome = self._ftp.connect(host, port)
        assert self._ftp.sock is not None
        _keep_alive(self._ftp.sock)
        self._ftp.sock.settimeout(ANSWER_S)
        if welcome.startswith("120"):  # it will be ready in some minutes, and says so again
            self._ftp.getresp()
        self._ftp.login(user, password)
        with suppress(ftplib.Error):
            self._ftp.sendcmd("OPTS UTF8 ON")

    def _typed(self, kind: str) -> None:
        if self._type != kind:
            self._ftp.voidcmd(f"TYPE {kind}")
            self._type = kind

    def _found(self, path: str) -> tuple[str, int]:
        """The path as the wire has it, and its size: names are UTF-8, or else Latin-1."""
        self._typed("I")  # some servers tell no size in ASCII
        ways = list(dict.fromkeys(path.encode(code, "replace").decode("latin-1") for code in ("utf-8", "latin-1")))
        for wire in ways:
            try:
                answer = self._ftp.sendcmd(f"SIZE {wire}")
            except ftplib.error_perm as error:
                if wire != ways[-1] and _code(error) == "550":
                    continue
                raise
            size = answer[3:].strip()
            if not re.fullmatch("[0-9]{1,18}", size):
                raise ftplib.error_proto(answer)
            return wire, int(size)
        raise AssertionError("there is a way to spell any path")

    def _walk(self, folder: str, slot: int, deep: int) -> Iterator[Found]:
        """All files of a folder, then those of the folders in it. `folder` is spelt as on the wire."""
        below = []
        if not folder and self._folders:
            below = [(name.encode().decode("latin-1"), number) for name, number in self._folders.items()]
        else:
            for entry in self._entries(folder):
                path = f"{folder}/{entry.name}" if folder else entry.name
                if entry.name.startswith("."):
                    continue
                if entry.look is not None:
                    yield Found(_text(path), slot, entry.look)
                elif deep < DEEP:
                    below.append((path, slot or _slot(entry.name)))
        for path, number in below:
            try:
                yield from self._walk(path, number, deep + 1)
            except ftplib.error_perm as error:
                if folder or not self._folders or _code(error) != "550":
                    raise  # else: a slot that the site file names, without a medium

    def _entries(self, folder: str) -> Iterator[Entry]:
        if self._facts:
            try:
                yield from (entry for line in self._lines(f"MLSD {folder}".rstrip()) if (entry := facts_entry(line)))
            except ftplib.error_perm as error:
                if _code(error) not in _UNKNOWN:
                    raise
                self._facts = False
            else:
                return
        now = self._wall()
        yield from (entry for line in self._lines(f"LIST {folder}".rstrip()) if (entry := list_entry(line, now)))

    def _lines(self, command: str) -> Iterator[str]:
        self._typed("A")
        with self._ftp.transfercmd(command) as data, data.makefile("r", encoding="latin-1", newline="\n") as lines:
            data.settimeout(ANSWER_S)
            for number, line in enumerate(iter(lambda: lines.readline(ftplib.MAXLINE + 1), "")):
                if number >= LIST_LINES or len(line) > ftplib.MAXLINE:
                    raise ftplib.error_proto("a list without end")
                yield line.rstrip("\r\n")
        if self._aborted:
            raise EOFError
        self._ftp.voidresp()

    @contextmanager
    def _telling(self, what: str) -> Iterator[None]:
        try:
            yield
        except _ERRORS as error:
            raise self._told(what, error) from error

    def _told(self, what: str, error: Exception) -> CopyError:
        if self._aborted:
            return CopyError(Reason.STOPPED, f"{self._called}: {what}: it was asked to stop.")
        code = _code(error)
        reason = _REASONS.get(code)
        if reason is None:
            refused = isinstance(error, (ftplib.error_perm, ValueError))
            reason = Reason.REFUSED if refused else Reason.LINK
        return CopyError(reason, f"{self._called}: {what} ({_said(error)}). {_REMEDIES[reason]}")


_REASONS: Final = {
    "421": Reason.BUSY,
    "450": Reason.BUSY,
    "530": Reason.REFUSED,
    "550": Reason.GONE,
    "554": Reason.CHANGED,  # asked to begin behind the end
}
_REMEDIES: Final = {
    Reason.BUSY: "It is tried again; see whether somebody else reads there.",
    Reason.LINK: "It is tried again; look at its network.",
    Reason.REFUSED: "See its address and login in the site file.",
    Reason.GONE: "See whether the medium is still in.",
    Reason.CHANGED: "It is looked at anew.",
}


class FtpTransfer:
    """One file being read.

    Attributes:
        first: byte at which it begins: the one asked for, or 0 where the store can't begin elsewhere.
        data: its socket.
    """

    def __init__(self, store: FtpStore, path: str, data: socket.socket, first: int) -> None:
        self.first = first
        self.data = data
        self._store = store
        self._path = path
        # The kernel fills the block while the loop runs on: a block that comes in sixteen pieces takes the interpreter
        # from it sixteen times. With a timeout of Python's own, MSG_WAITALL would not wait.
        data.settimeout(None)
        data.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, _TIMEVAL.pack(0, int(FILL_S * 1e6)))

    def readinto(self, buffer: memoryview) -> int:
        try:
            got = self._fill(buffer)
        except OSError as error:
            raise self._store.broke(self._path, error) from error
        if not got and self._store.aborted:
            raise self._store.broke(self._path, EOFError())
        return got

    def _fill(self, buffer: memoryview) -> int:
        """What has come when the block is full, or FILL_S after the first of it. Raises TimeoutError, OSError."""
        for _ in range(round(ANSWER_S / FILL_S)):
            with suppress(BlockingIOError):  # nothing came
                return self.data.recv_into(buffer, 0, socket.MSG_WAITALL)
        raise TimeoutError

    def finish(self) -> bool:
        self.close()
        return self._store.last_word(self._path)

    def close(self) -> None:
        """Let go of the data connection."""
        self.data.close()


class _Session(ftplib.FTP):
    """With EPSV first, and replies of a bounded length."""

    _extended = True

    def makepasv(self) -> tuple[str, int]:
        """Ask for a port; the host is always the one the session is with."""
        if self._extended:
            try:
                assert self.sock is not None
                host = self.sock.getpeername()[0]
                return host, ftplib.parse229(self.sendcmd("EPSV"), self.sock.getpeername())[1]
            except ftplib.error_perm:
                self._extended = False
        return super().makepasv()

    def getmultiline(self) -> str:
        """As the base class, but not for ever. Raises error_proto."""
        lines = [self.getline()]
        code = lines[0][:3]
        while lines[0][3:4] == "-" and not (len(lines) > 1 and lines[-1][:3] == code and lines[-1][3:4] != "-"):
            if len(lines) >= REPLY_LINES:
                raise ftplib.error_proto("a reply without end")
            lines.append(self.getline())
        return "\n".join(lines)


def _keep_alive(control: socket.socket) -> None:
    """Let TCP find out that a session is dead while nothing is said on it."""
    control.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, seconds in (("TCP_KEEPIDLE", 30), ("TCP_KEEPINTVL", 10), ("TCP_KEEPCNT", 3)):
        if hasattr(socket, name):
            control.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), seconds)


def _slot(folder: str) -> int:
    """The slot that a folder is named after: the figures at its end; 0: there are none."""
    found = re.search("([0-9]{1,3})$", folder)
    return int(found[1]) if found else 0


def _text(wire: str) -> str:
    """A name off the wire: UTF-8, or else Latin-1."""
    raw = wire.encode("latin-1")
    try:
        return raw.decode()
    except UnicodeDecodeError:
        return wire


def _code(error: Exception) -> str:
    return str(error)[:3] if isinstance(error, ftplib.Error) else ""


def _said(error: Exception) -> str:
    """What the recorder or the network said, one short line."""
    text = str(error) or ("the session ended" if isinstance(error, EOFError) else type(error).__name__)
    return " ".join(text.split())[:120]
