"""How does a clip store speak FTP? pyftpdlib's server, with files that lie nowhere and the odd ways of recorders.

pyftpdlib is needed only where a store is served; `clip_store_server` imports this module then. Sources: RFC 959,
RFC 2428, RFC 3659, all as that library follows them; the odd ways are the clip-store sheet's (common practice).
"""

from __future__ import annotations

import errno
import os
import socket
import stat
import struct
import time
import zlib
from collections.abc import Callable
from typing import Any, Final

from pyftpdlib.authorizers import DummyAuthorizer
from pyftpdlib.filesystems import AbstractedFS
from pyftpdlib.handlers import DTPHandler, FTPHandler
from pyftpdlib.servers import FTPServer

from stagectl_simulators.clip_store import Media, StoredFile, StoreSetup
from stagectl_simulators.clip_store_faults import StoreFaults

LATE_BYTES: Final = 4096  # by which a file is longer when its index is written late
LOOK_AGAIN_S: Final = 0.05  # while data stands still
SLICE_S: Final = 0.05  # of a slow line is sent at once
RESET: Final = struct.pack("ii", 1, 0)  # SO_LINGER: on, 0 s


class Shelves:
    """What lies in the store now. The recorder's thread puts a new shelf up; the server's reads it."""

    def __init__(self, setup: StoreSetup, faults: StoreFaults, now_s: Callable[[], float], epoch_s: float) -> None:
        """`now_s` tells seconds since the start, in any thread; `epoch_s` is the house's time of day at 0, in UTC."""
        self.setup = setup
        self.faults = faults
        self._now_s = now_s
        self._epoch_s = epoch_s
        self._files: dict[str, StoredFile] = {}  # by path in lower case: these file systems don't tell cases apart
        self._late: dict[str, tuple[int, float]] = {}  # bytes and time that a file has grown by after it was listed

    def show(self, files: tuple[StoredFile, ...]) -> None:
        """These files lie there from now on."""
        self._files = {each.path.lower(): each for each in files}

    def find(self, path: str) -> StoredFile:
        """Raises: FileNotFoundError: there is none."""
        file = self._files.get(path.lower())
        if file is None:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
        return file

    def ask(self, path: str) -> StoredFile:
        """As `find`, for what is asked of one file: it may have vanished since it was listed."""
        if self.faults.store_vanishes:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
        return self.find(path)

    def folder(self, path: str) -> str | None:
        """The folder's true name; None: no folder is called so."""
        return next((name for name in self.setup.folders if path.lower() == f"/{name}".lower()), None)

    def names(self, folder: str) -> list[str]:
        return [each.name for each in self._files.values() if each.folder == folder]

    def size(self, file: StoredFile) -> int:
        return file.size(self._now_s()) + self._late.get(file.identity, (0, 0.0))[0]

    def modified(self, file: StoredFile) -> float:
        """Seconds since 1970, UTC."""
        return self._epoch_s + max(file.modified(self._now_s()), self._late.get(file.identity, (0, -1e12))[1])

    def grow_late(self, file: StoredFile) -> None:
        """Its index is written now."""
        self._late[file.identity] = (self._late.get(file.identity, (0, 0.0))[0] + LATE_BYTES, self._now_s())

    def listed(self) -> list[dict[str, object]]:
        """Every file as JSON values: `path`, `bytes`, `modified` (UTC, as MDTM tells it), `identity` of its `Media`."""
        return [
            {
                "path": each.path,
                "bytes": self.size(each),
                "modified": time.strftime("%Y%m%d%H%M%S", time.gmtime(self.modified(each))),
                "identity": each.identity,
            }
            for each in self._files.values()
        ]


class OpenClip:
    """One clip while it is read: what is on the medium at each read, no more."""

    def __init__(self, shelves: Shelves, file: StoredFile) -> None:
        self.name = file.path
        self.closed = False
        self.position = 0
        self._begun = 0
        self._shelves = shelves
        self._media = Media(file.identity)
        self._end: int | None = None
        if shelves.faults.store_changes_size:
            shelves.grow_late(file)
        self._size = shelves.size(file)
        if shelves.faults.store_truncates:
            self._end = self._size // 2

    def seek(self, position: int) -> None:
        self.position = self._begun = position

    @property
    def half_read(self) -> bool:
        """More than half of what this read is to give is given."""
        return 2 * (self.position - self._begun) > self._size - self._begun

    def read(self, count: int) -> bytes:
        """Raises: OSError: the medium is gone."""
        size = self._shelves.size(self._shelves.find(self.name))
        end = size if self._end is None else min(size, self._end)
        data = self._media.read(self.position, max(0, min(count, end - self.position)))
        if data and self._shelves.faults.store_flips_byte:
            self._shelves.faults.store_flips_byte = False
            middle = len(data) // 2
            data = data[:middle] + bytes([data[middle] ^ 0x10]) + data[middle + 1 :]
        self.position += len(data)
        return data

    def close(self) -> None:
        self.closed = True


class StoreFiles(AbstractedFS):
    """The store as the FTP server's file system. Paths are the client's own: there are no others."""

    @property
    def _shelves(self) -> Shelves:
        shelves: Shelves = self.cmd_channel.server.shelves
        return shelves

    def ftp2fs(self, ftppath: str) -> str:
        path: str = self.ftpnorm(ftppath)
        return path

    def fs2ftp(self, fspath: str) -> str:
        return fspath

    def validpath(self, path: str) -> bool:
        return True

    def realpath(self, path: str) -> str:
        return path

    def open(self, filename: str, mode: str) -> OpenClip:
        return OpenClip(self._shelves, self._shelves.ask(filename))

    def chdir(self, path: str) -> None:
        if not self.isdir(path):
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)
        self.cwd = path

    def listdir(self, path: str) -> list[str]:
        shelves = self._shelves
        folder = shelves.folder(path)
        return list(shelves.setup.folders) if folder is None else shelves.names(folder)

    def isdir(self, path: str) -> bool:
        return path == "/" or self._shelves.folder(path) is not None

    def isfile(self, path: str) -> bool:
        return self.lexists(path) and not self.isdir(path)

    def lexists(self, path: str) -> bool:
        try:
            self.stat(path)
        except FileNotFoundError:
            return False
        return not self._shelves.faults.store_vanishes

    def getsize(self, path: str) -> int:
        return self._shelves.size(self._shelves.ask(path))

    def getmtime(self, path: str) -> float:
        shelves = self._shelves
        return shelves.modified(shelves.ask(path)) + 3600 * shelves.faults.store_local_time

    def stat(self, path: str) -> os.stat_result:
        if self.isdir(path):
            return os.stat_result((stat.S_IFDIR | 0o555, 1, 1, 1, 0, 0, 0, 0, 0, 0))
        file = self._shelves.find(path)
        modified, inode = int(self._shelves.modified(file)), zlib.crc32(file.identity.encode())
        size = self._shelves.size(file)
        return os.stat_result((stat.S_IFREG | 0o444, inode, 1, 1, 0, 0, size, modified, modified, modified))

    lstat = stat

    def get_user_by_uid(self, uid: int) -> str:
        return "deck"

    def get_group_by_gid(self, gid: int) -> str:
        return "deck"


class StoreData(DTPHandler):
    """A data connection, with what can go wrong on one."""

    def _faults(self) -> StoreFaults:
        faults: StoreFaults = self.cmd_channel.server.shelves.faults
        return faults

    def send(self, data: bytes) -> int:
        faults = self._faults()
        if not isinstance(self.file_obj, OpenClip):  # a listing
            return int(super().send(data))
        if faults.store_stalls and self.tot_bytes_sent:
            self._rest(LOOK_AGAIN_S)
            return 0
        if faults.store_resets and self.file_obj.half_read:
            self._reset()
            return 0
        if faults.store_slow:
            bytes_per_s = faults.store_slow * 1000
            sent = int(super().send(data[: max(1, int(bytes_per_s * SLICE_S))]))
            if not self._closed:
                self._rest(sent / bytes_per_s)
            return sent
        return int(super().send(data))

    def _rest(self, pause_s: float) -> None:
        self.del_channel()
        self.call_later(pause_s, self._go_on)

    def _go_on(self) -> None:
        if not self._closed:
            self.add_channel(events=self.ioloop.WRITE)

    def _reset(self) -> None:
        channel = self.cmd_channel
        for each in (self.socket, channel.socket):
            each.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET)
        self._resp = ()
        channel.close()

    def close(self) -> None:
        if isinstance(self.file_obj, OpenClip) and self._faults().store_no_226:
            self._resp = ()
        super().close()


class StoreSession(FTPHandler):
    """One control connection."""

    abstracted_fs = StoreFiles
    dtp_handler = StoreData
    banner = "Clip store ready."
    use_sendfile = False
    auth_failed_timeout = 0.1
    log_cmds_list: Final[list[str]] = []

    def __init__(self, conn: socket.socket, server: StoreServer, ioloop: Any = None) -> None:
        self.authorizer = server.authorizer
        self.timeout = server.shelves.setup.idle_s
        self._every_command = FTPHandler.proto_cmds
        super().__init__(conn, server, ioloop)

    @property
    def proto_cmds(self) -> dict[str, dict[str, Any]]:
        """The commands that this firmware knows; FEAT and the 500 to the others follow from it."""
        faults: StoreFaults = self.server.shelves.faults
        unknown: set[str] = set()
        if faults.store_list_only:
            unknown |= {"MLSD", "MLST"}
        if faults.store_no_epsv:
            unknown |= {"EPSV", "EPRT"}
        return {name: each for name, each in self._every_command.items() if name not in unknown}


class StoreServer(FTPServer):
    """One store's listening socket; it counts the sessions."""

    def __init__(self, address: tuple[str, int], shelves: Shelves, ioloop: Any) -> None:
        """Raises: OSError: the address cannot be had."""
        self.shelves = shelves
        self.authorizer = DummyAuthorizer()
        setup = shelves.setup
        if setup.user:
            self.authorizer.add_user(setup.user, setup.password, "/")
        else:
            self.authorizer.add_anonymous("/")
        super().__init__(address, StoreSession, ioloop)

    def _accept_new_cons(self) -> bool:
        limit = 1 if self.shelves.faults.store_one_session else self.shelves.setup.sessions
        return sum(isinstance(each, StoreSession) for each in self.ioloop.socket_map.values()) <= limit
