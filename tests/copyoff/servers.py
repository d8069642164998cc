"""Which FTP servers are clips copied from in these tests? Debian's vsftpd, pyftpdlib bare, and simulated recorders.

Two servers that differ show what one alone hides (clip-store sheet, section 6): vsftpd knows no MLSD, stays mute while
it sends and takes a REST past the end without a word; pyftpdlib says 226 after a file that was cut short.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pytest

from tests.ports import free_port
from tests.real.host import program

VSFTPD: Final = """\
listen=YES
listen_address=127.0.0.1
listen_port={port}
background=NO
anonymous_enable=YES
no_anon_password=YES
anon_root={top}
anon_world_readable_only=NO
local_enable=NO
write_enable=NO
seccomp_sandbox=NO
secure_chroot_dir={empty}
max_clients={sessions}
pasv_min_port=20000
pasv_max_port=60000
use_localtime=NO
"""
READY_S: Final = 10.0


class Server:
    """A store of real files.

    Attributes:
        top: the folder that it serves; slots are the folders in it.
        address: of its control port.
        data_port: the one port of its data connections; 0: any.
    """

    def __init__(self, top: Path, address: tuple[str, int], data_port: int = 0) -> None:
        self.top = top
        self.address = address
        self.data_port = data_port

    def put(self, path: str, content: bytes | int, age_s: float = 3600.0) -> Path:
        """A file of these bytes, or a sparse one of so many; written last so long ago."""
        file = self.top / path
        file.parent.mkdir(exist_ok=True)
        with file.open("wb") as out:
            if isinstance(content, int):
                out.truncate(content)
            else:
                out.write(content)
        then = time.time() - age_s
        os.utime(file, (then, then))
        return file


@contextmanager
def vsftpd(sessions: int = 2, disk: str | None = None) -> Iterator[Server]:
    """Debian's vsftpd in the foreground, for anonymous sessions; its files lie below `disk`, if that is said."""
    if os.geteuid():
        pytest.skip("vsftpd gives up root's rights for each session, so it has to be started with them")
    with _folder() as home, _folder(disk) as top:
        port = free_port()
        settings = home / "vsftpd.conf"
        empty = home / "empty"
        empty.mkdir()
        settings.write_text(VSFTPD.format(port=port, top=top, empty=empty, sessions=sessions))
        with _serving([program("vsftpd", "vsftpd"), str(settings)], top, port) as server:
            yield server


@contextmanager
def bare(sessions: int = 2, *, data_port: bool = False) -> Iterator[Server]:
    """pyftpdlib as it comes; `data_port`: all data goes by one port, which may be forwarded."""
    with _folder() as top:
        port, data = free_port(), free_port() if data_port else 0
        script = (
            "from pyftpdlib.authorizers import DummyAuthorizer as A; from pyftpdlib.handlers import FTPHandler as H; "
            f"from pyftpdlib.servers import FTPServer as S; a = A(); a.add_anonymous({str(top)!r}); H.authorizer = a; "
            f"H.passive_ports = [{data}] if {data} else None; S.max_cons_per_ip = {sessions}; "
            f"S(('127.0.0.1', {port}), H).serve_forever()"
        )
        with _serving([sys.executable, "-W", "ignore", "-c", script], top, port) as server:
            server.data_port = data
            yield server


SERVERS: Final = {"vsftpd": vsftpd, "pyftpdlib": bare}


@contextmanager
def _serving(words: list[str], top: Path, port: int) -> Iterator[Server]:
    quiet = subprocess.DEVNULL
    words = ["setpriv", "--pdeathsig", "KILL", *words]  # it outlives no test that is killed; of Debian's util-linux
    with subprocess.Popen(words, stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True) as process:
        try:
            _await_greeting(process, port)
            yield Server(top, ("127.0.0.1", port))
        finally:
            # its sessions are processes of the same group
            os.killpg(process.pid, 9)


def _await_greeting(process: subprocess.Popen[bytes], port: int) -> None:
    end = time.monotonic() + READY_S
    while True:
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=1) as line:
                if line.recv(3) == b"220":
                    break
        except OSError:
            pass
        assert process.poll() is None, f"it ended with {process.returncode}"
        assert time.monotonic() < end, "it does not greet"
        time.sleep(0.02)


@contextmanager
def _folder(disk: str | None = None) -> Iterator[Path]:
    """A folder that any user may read: pytest's own are closed to others, and vsftpd's sessions are another user's."""
    folder = Path(tempfile.mkdtemp(prefix="clips-", dir=disk))
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)
