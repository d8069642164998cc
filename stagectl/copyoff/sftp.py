"""How do copies stand on a server that is reached by SFTP?

Needs asyncssh, the extra "sftp". Its calls are awaited on a loop of their own in the thread of the copy.
Source of what a server promises: SFTP version 3 (draft-ietf-secsh-filexfer-02); OpenSSH's PROTOCOL file for fsync,
statvfs and posix-rename.
"""

import asyncio
import stat
from collections.abc import Awaitable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from typing import Any, Final, TypeVar

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.target import Standing, is_part, part_path
from stagectl.model.secret import Secret

CONNECT_S: Final = 20.0  # until a session stands
CALL_S: Final = 60.0  # for one answer, or for one block to go over
BLOCK: Final = 4 << 20  # bytes on the way at once: what hides the way there and back
SMALL_MOST: Final = 64 << 20  # bytes of a file that is read whole
_SMALL: Final = "small"  # whose part a manifest in the making is
_TIGHT: Final = 64 << 20  # a server with less room than this that says no to a write is full: it has no word for it

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Account:
    """Where to go, and as whom.

    Attributes:
        host, port, user: of the server.
        folder: the tree's top there; it must be there.
        known_hosts: file with the server's key, as OpenSSH keeps it. Without it nobody knows whom the clips go to.
    """

    host: str
    port: int
    user: str
    folder: str
    known_hosts: Path


class Sftp:
    """A folder of a server as a target; it connects in the calling thread, which must have no running loop.

    Args:
        name: what the site file calls it.
        account: where.
        key: our private key, as OpenSSH writes it, without a passphrase.

    Raises:
        CopyError: TARGET, the key is none, the library is absent, or the server does not answer, is not the one of
            `known_hosts`, does not take us, or has no such folder.
    """

    parts_readable = True

    def __init__(self, name: str, account: Account, key: Secret) -> None:
        self.name = name
        self.medium = f"sftp {account.host}"
        self._top = account.folder.rstrip("/")
        try:
            self._ssh: Any = import_module("asyncssh")
        except ImportError as error:
            why = f"{name}: copying by SFTP needs a library. Install it: pip install 'stagectl[sftp]'"
            raise CopyError(Reason.TARGET, why) from error
        self.flags = self._ssh.FXF_READ | self._ssh.FXF_WRITE | self._ssh.FXF_CREAT
        self._loop = asyncio.new_event_loop()
        self._connection: Any = None
        try:
            self._connect(account, key)
        except BaseException:
            self.close()
            raise

    def _connect(self, account: Account, key: Secret) -> None:
        ssh = self._ssh
        try:
            private = ssh.import_private_key(key.reveal())
        except (ssh.KeyImportError, ssh.KeyEncryptionError) as error:
            why = f"{self.name}: its key file holds no private key, or one with a passphrase."
            raise CopyError(Reason.TARGET, f"{why} Make one without: ssh-keygen -t ed25519") from error
        if not account.known_hosts.is_file():
            say = f"Put the server's key there, once you have compared it: ssh-keyscan -p {account.port} {account.host}"
            raise CopyError(Reason.TARGET, f"{self.name}: {account.known_hosts} is not there. {say}")
        with self.telling(f"can't reach {account.user}@{account.host}:{account.port}"):
            self._connection = self.wait(
                ssh.connect(
                    account.host,
                    account.port,
                    username=account.user,
                    client_keys=[private],
                    known_hosts=str(account.known_hosts),
                    config=None,  # no file of a person's own settings has a say
                    agent_path=None,
                    preferred_auth="publickey",
                    # in front of the library's own order: twice the bytes for a second of CPU (measured, 2 cores)
                    encryption_algs="^aes128-gcm@openssh.com,aes256-gcm@openssh.com",
                    compression_algs=None,
                ),
                CONNECT_S,
            )
            self.client: Any = self.wait(self._connection.start_sftp_client(), CONNECT_S)
            found = self.wait(self.client.stat(self._top or "/"))
            if not stat.S_ISDIR(found.permissions or 0):
                raise CopyError(Reason.TARGET, f"{self.name}: {self._top} is no folder there.")

    def wait(self, call: Awaitable[T], most_s: float | None = None) -> T:
        """Await a call of the library here. Raises TimeoutError."""
        return self._loop.run_until_complete(asyncio.wait_for(call, CALL_S if most_s is None else most_s))

    def free(self) -> int | None:
        with self.telling("can't tell its room"):
            try:
                found = self.wait(self.client.statvfs(self._top or "/"))
            except self._ssh.SFTPOpUnsupported:
                return None
        return int(found.bavail * found.frsize)

    def at(self, path: str) -> Standing | None:
        with self.telling(f"can't look at {path}"):
            found = self._found(path)
        return _standing(path, found) if found is not None else None

    def open_part(self, path: str, job: str) -> "SftpPart":
        place = part_path(path, job)
        with self.telling(f"can't begin {path}"):
            self._make_folder(place)
            return SftpPart(self, place)

    def read_part(self, path: str, job: str) -> Iterator[bytes]:
        return self.blocks(part_path(path, job))

    def read_back(self, path: str) -> Iterator[bytes]:
        return self.blocks(path)

    def publish(self, path: str, job: str, mtime: datetime | None) -> None:
        place = part_path(path, job)
        with self.telling(f"can't name {path}"):
            if mtime is not None:
                with suppress(self._ssh.SFTPError):  # some servers keep no times: a copy is not worse for it
                    self.wait(self.client.utime(self.at_top(place), (mtime.timestamp(), mtime.timestamp())))
            self._name(place, path)

    def discard(self, path: str, job: str) -> None:
        with self.telling(f"can't remove the part of {path}"):
            self._remove(part_path(path, job))

    def withdraw(self, path: str, job: str) -> None:
        raise CopyError(Reason.TARGET, f"{self.name}: a published {path} is never removed from a server.")

    def read_small(self, path: str) -> bytes | None:
        with self.telling(f"can't read {path}"):
            found = self._found(path)
            if found is None:
                return None
            if (found.size or 0) > SMALL_MOST:
                raise OSError(f"it is over {SMALL_MOST >> 20} MiB")
        return b"".join(self.blocks(path))

    def write_small(self, path: str, data: bytes, *, replace: bool) -> None:
        place = part_path(path, _SMALL)
        part = self.open_part(path, _SMALL)
        try:
            part.cut(0)
            part.write(memoryview(data))
            part.sync()
        finally:
            part.close()
        with self.telling(f"can't write {path}"):
            if not replace:
                self._name(place, path)
                return
            try:
                self.wait(self.client.posix_rename(self.at_top(place), self.at_top(path)))
            except self._ssh.SFTPOpUnsupported as error:
                why = f"{self.name}: this server can't replace a file in one step (posix-rename). Take another one."
                raise CopyError(Reason.TARGET, why) from error
            self._keep(path)

    def tree(self, under: str = "") -> Iterator[Standing]:
        with self.telling(f"can't list {under or 'its top'}"):
            try:
                names = self.wait(self.client.readdir(self.at_top(under)))
            except (self._ssh.SFTPNoSuchFile, self._ssh.SFTPNoSuchPath):
                return
        for one in sorted(names, key=lambda one: str(one.filename)):
            if one.filename in (".", ".."):
                continue
            path = f"{under}/{one.filename}" if under else str(one.filename)
            mode = one.attrs.permissions or 0
            if stat.S_ISDIR(mode):
                yield from self.tree(path)
            elif stat.S_ISREG(mode) and not is_part(path):
                yield _standing(path, one.attrs)

    def close(self) -> None:
        if self._loop.is_closed():
            return
        if self._connection is not None:
            self._connection.abort()
            with suppress(Exception):  # it is gone either way
                self.wait(self._connection.wait_closed(), 1.0)
        self._loop.close()

    # -- for its parts ----------------------------------------------------------------------------------------------

    def at_top(self, path: str) -> str:
        """The path on the server. Raises CopyError: it leads out."""
        if path.startswith("/") or ".." in path.split("/"):
            raise CopyError(Reason.TARGET, f"{self.name}: {path!r} is no path below it.")
        return f"{self._top}/{path}" if path else self._top or "/"

    def blocks(self, path: str) -> Iterator[bytes]:
        """A file's bytes from its start. Raises CopyError."""
        with self.telling(f"can't read {path}"):
            file = self.wait(self.client.open(self.at_top(path), "rb"))
            try:
                at = 0
                while block := self.wait(file.read(BLOCK, at)):
                    yield block
                    at += len(block)
            finally:
                self.let_go(file)

    def let_go(self, file: Any) -> None:
        """Close a file; nothing depends on the answer."""
        if not self._loop.is_closed():
            with suppress(Exception):  # the session may be gone, and the file with it
                self.wait(file.close())

    def sync(self, file: Any) -> None:
        """Write a file out, if the server can be told to. Raises the library's errors."""
        with suppress(self._ssh.SFTPOpUnsupported):
            self.wait(file.fsync())

    @contextmanager
    def telling(self, what: str, *, writing: bool = False) -> Iterator[None]:
        """Turn the library's errors into ours, with the target and what it could not do."""
        try:
            yield
        except (self._ssh.Error, OSError, TimeoutError) as error:
            # version 3 has no word for a full disk: it says "failure"
            full = writing and isinstance(error, self._ssh.SFTPFailure) and self._tight()
            raise self._told(what, error, full=full) from error

    def _tight(self) -> bool:
        try:
            free = self.free()
        except CopyError:
            return False
        return free is not None and free < _TIGHT

    def _told(self, what: str, error: Exception, *, full: bool) -> CopyError:
        ssh = self._ssh
        if full or isinstance(error, (ssh.SFTPNoSpaceOnFilesystem, ssh.SFTPQuotaExceeded)):
            why = "it is full. Make room, or take another target."
            return CopyError(Reason.FULL, f"{self.name} {what}: {why}")
        match error:
            case ssh.HostKeyNotVerifiable():
                why = "the server's key is not the one that is known. Compare it with the server's owner."
            case ssh.PermissionDenied():
                why = "the server does not take our key. Add its public half to the account there."
            case ssh.SFTPNoSuchFile() | ssh.SFTPNoSuchPath():
                why = "there is no such file or folder there."
            case ssh.SFTPPermissionDenied():
                why = "the server does not let this account. Look at who may write there."
            case TimeoutError():
                why = "no answer came. Look at the network and at the server."
            case _:
                why = f"{getattr(error, 'reason', '') or error}. Look at the server."
        return CopyError(Reason.TARGET, f"{self.name} {what}: {why}")

    # -- small steps ------------------------------------------------------------------------------------------------

    def _found(self, path: str) -> Any:
        try:
            return self.wait(self.client.lstat(self.at_top(path)))
        except (self._ssh.SFTPNoSuchFile, self._ssh.SFTPNoSuchPath):
            return None

    def _make_folder(self, path: str) -> None:
        folder = path.rpartition("/")[0]
        if folder:
            self.wait(self.client.makedirs(self.at_top(folder), exist_ok=True))

    def _remove(self, path: str) -> None:
        with suppress(self._ssh.SFTPNoSuchFile, self._ssh.SFTPNoSuchPath):
            self.wait(self.client.remove(self.at_top(path)))

    def _name(self, place: str, path: str) -> None:
        """Rename into a free name. The plain rename of version 3 must fail where something stands (section 6.5)."""
        if self._found(path) is not None:
            raise self._occupied(path)
        try:
            self.wait(self.client.rename(self.at_top(place), self.at_top(path)))
        except self._ssh.SFTPError as error:
            if self._found(path) is not None and self._found(place) is not None:
                raise self._occupied(path) from error
            raise
        self._keep(path)

    def _occupied(self, path: str) -> CopyError:
        say = "Nothing was overwritten. Move that one away, or copy to another folder."
        return CopyError(Reason.OCCUPIED, f"{self.name}: another {path} stands there. {say}")

    def _keep(self, path: str) -> None:
        """Sync a file once more: a server can't be told to sync a folder, and most file systems take the name along."""
        file = self.wait(self.client.open(self.at_top(path), "rb"))
        try:
            self.sync(file)
        finally:
            self.let_go(file)


class SftpPart:
    """A file in the making on the server. Raises the library's errors: it can't be opened."""

    def __init__(self, target: Sftp, path: str) -> None:
        self._target = target
        self._path = path
        # not for appending: blocks go over several at once, and each says where it belongs
        self._file: Any = target.wait(target.client.open(target.at_top(path), target.flags, encoding=None))
        self.size = int(target.wait(self._file.stat()).size or 0)

    def read(self, most: int) -> Iterator[bytes]:
        at = 0
        for block in self._target.blocks(self._path):
            yield block[: most - at]
            at += len(block)
            if at >= most:
                return
        if at < most:
            raise CopyError(Reason.TARGET, f"{self._target.name} can't read {self._path}: it ends too early.")

    def cut(self, size: int) -> None:
        with self._target.telling(f"can't shorten {self._path}"):
            self._target.wait(self._file.truncate(size))
        self.size = size

    def write(self, data: memoryview) -> None:
        with self._target.telling(f"can't write {self._path}", writing=True):
            for at in range(0, len(data), BLOCK):
                block = bytes(data[at : at + BLOCK])
                self._target.wait(self._file.write(block, self.size))
                self.size += len(block)

    def sync(self) -> None:
        with self._target.telling(f"can't write {self._path} out", writing=True):
            self._target.sync(self._file)

    def close(self) -> None:
        self._target.let_go(self._file)


def _standing(path: str, found: Any) -> Standing:
    """What stands there; what is no plain file has a size that no clip has."""
    plain = stat.S_ISREG(found.permissions or stat.S_IFREG)
    mtime = datetime.fromtimestamp(found.mtime, UTC) if found.mtime is not None else None
    return Standing(path, int(found.size or 0) if plain else -1, mtime)
