"""Where do copies stand in these tests? A folder, Debian's SSH server and moto's buckets, all on this machine."""

import os
import pwd
import select
import shutil
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from stagectl.copyoff import s3, sftp
from stagectl.copyoff.target import Target
from stagectl.model.secret import Secret

READY_S: Final = 30
KEY: Final = ("key-id", Secret("not-a-secret"))  # moto takes any


@dataclass(frozen=True)
class SshServer:
    """A running `sshd`, and the account that gets in."""

    account: sftp.Account
    key: Secret


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


def heard(process: subprocess.Popen[str], word: str) -> str:
    """The first line with this word that a process writes to its pipe. Raises TimeoutError."""
    pipe = process.stdout
    assert pipe is not None
    while select.select([pipe], [], [], READY_S)[0]:
        line = pipe.readline()
        if word in line:
            return line
        if not line:
            break
    raise TimeoutError(f"{process.args} did not say {word!r}")


@contextmanager
def running(words: list[str]) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        yield process
    finally:
        process.terminate()
        process.communicate(timeout=READY_S)


@contextmanager
def ssh_server(folder: Path) -> Iterator[SshServer]:
    """OpenSSH with a host key, an account key and a configuration of its own; its tree is `folder`/tree."""
    program = shutil.which("sshd", path=f"{os.environ['PATH']}:/usr/sbin")
    if program is None:
        raise FileNotFoundError("sshd: make test installs it (openssh-server)")
    if os.geteuid() == 0:
        Path("/run/sshd").mkdir(
            mode=0o755, exist_ok=True
        )  # what it gives up its rights into; systemd makes it elsewhere
    for name in ("host", "own"):
        subprocess.run(
            ["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", folder / name], check=True, timeout=READY_S
        )
    port = free_port()
    (folder / "tree").mkdir()
    (folder / "known_hosts").write_text(f"[127.0.0.1]:{port} {(folder / 'host.pub').read_text()}")
    (folder / "sshd_config").write_text(
        f"Port {port}\nListenAddress 127.0.0.1\nHostKey {folder / 'host'}\nAuthorizedKeysFile {folder / 'own.pub'}\n"
        "StrictModes no\nUsePAM no\nPasswordAuthentication no\nPidFile none\nSubsystem sftp internal-sftp\n"
    )
    account = sftp.Account(
        "127.0.0.1",
        port,
        pwd.getpwuid(os.geteuid()).pw_name,
        str(folder / "tree"),
        folder / "known_hosts",
    )
    with running([program, "-D", "-e", "-f", str(folder / "sshd_config")]) as process:
        heard(process, "listening")
        yield SshServer(account, Secret((folder / "own").read_text()))


@contextmanager
def bucket_server() -> Iterator[str]:
    """Buckets; its address."""
    with running([sys.executable, "-m", "tests.copyoff.bucketserver"]) as process:
        yield heard(process, "http://").strip()


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
