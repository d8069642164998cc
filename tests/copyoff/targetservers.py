"""Where do copies stand in these tests? A folder, Debian's SSH server and moto's buckets, all on this machine."""

import os
import pwd
import shutil
import subprocess
import sys
import threading
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Final

from stagectl.copyoff import s3, sftp
from stagectl.copyoff.target import Target
from stagectl.model.secret import Secret
from tests.ports import free_port

READY_S: Final = 30
KEY: Final = ("key-id", Secret("not-a-secret"))  # moto takes any


@dataclass(frozen=True)
class SshServer:
    """A running `sshd`, and the account that gets in."""

    account: sftp.Account
    key: Secret


@contextmanager
def running(words: list[str], ready: str) -> Iterator[str]:
    """A server that says it is ready in a line with this word; that line. What else it says is read and let go.

    Raises TimeoutError: it did not say so.
    """
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    said: SimpleQueue[str] = SimpleQueue()
    pipe = process.stdout
    assert pipe is not None
    reading = threading.Thread(target=lambda: [said.put(line) for line in pipe])
    reading.start()
    try:
        while ready not in (line := _next(said, words)):
            pass
        yield line
    finally:
        process.terminate()
        process.wait(timeout=READY_S)
        reading.join(timeout=READY_S)
        pipe.close()


def _next(said: SimpleQueue[str], words: list[str]) -> str:
    try:
        return said.get(timeout=READY_S)
    except Empty:
        raise TimeoutError(f"{words} did not get ready") from None


def password_locked(user: str) -> bool:
    """Without PAM `sshd` lets nobody in whose password is locked, key or not; the first account of some machines is."""
    try:
        shadow = Path("/etc/shadow").read_text()
    except OSError:
        return False
    return f"\n{user}:!" in f"\n{shadow}"


@contextmanager
def ssh_server(folder: Path) -> Iterator[SshServer]:
    """OpenSSH with a host key, an account key and a configuration of its own; its tree is `folder`/tree."""
    program = shutil.which("sshd", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None:
        raise FileNotFoundError("sshd: make test installs it (openssh-server)")
    if os.geteuid() == 0:
        Path("/run/sshd").mkdir(mode=0o755, exist_ok=True)  # where it gives up its rights; else systemd makes it
    for name in ("host", "own"):
        subprocess.run(
            ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", folder / name], check=True, timeout=READY_S
        )
    port, user = free_port(), pwd.getpwuid(os.geteuid()).pw_name
    (folder / "tree").mkdir()
    (folder / "known_hosts").write_text(f"[127.0.0.1]:{port} {(folder / 'host.pub').read_text()}")
    lines = (
        f"Port {port}",
        "ListenAddress 127.0.0.1",
        f"HostKey {folder / 'host'}",
        f"AuthorizedKeysFile {folder / 'own.pub'}",
        "StrictModes no",
        f"UsePAM {'yes' if password_locked(user) else 'no'}",
        "PasswordAuthentication no",
        "PidFile none",
        "Subsystem sftp internal-sftp",
    )
    (folder / "sshd_config").write_text("\n".join(lines) + "\n")
    account = sftp.Account(
        "127.0.0.1",
        port,
        user,
        str(folder / "tree"),
        folder / "known_hosts",
    )
    with running([program, "-D", "-e", "-f", str(folder / "sshd_config")], "listening"):
        yield SshServer(account, Secret((folder / "own").read_text()))


@contextmanager
def bucket_server() -> Iterator[str]:
    """Buckets; its address."""
    with running([sys.executable, "-m", "tests.copyoff.bucketserver"], "http://") as line:
        yield line.strip()


def bucket(url: str, name: str, folder: str = "") -> s3.Bucket:
    """Make a bucket."""
    urllib.request.urlopen(urllib.request.Request(f"{url}/{name}", method="PUT"), timeout=READY_S).close()
    return s3.Bucket(url, name, folder, "")


@dataclass(frozen=True)
class Place:
    """A place of one kind, empty.

    Attributes:
        open: a target there, as a thread of the engine opens it.
        resumes: a part can be gone on with.
    """

    open: Callable[[], Target]
    resumes: bool
