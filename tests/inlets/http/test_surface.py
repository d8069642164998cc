"""What can be seen of the daemon from outside? Its ports, and what they speak, of the real program.

Ports are read where the kernel keeps them (/proc/net/tcp, proc(5)); what nmap and sslscan see of the same was looked at
by hand (docs/surface.md). Cipher names are OpenSSL's (ciphers(1)).
"""

import os
import re
import socket
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner

from stagectl.cli import main
from tests.inlets.http.authority import NAMES, issue
from tests.ports import free_port

ROOT: Final = Path(__file__).parents[3]
SITE: Final = ROOT / "scenes" / "tidewater-hall.yaml"
WITHIN_S: Final = 30.0
LISTENS: Final = "0A"
ASKED: Final = (  # as a scanner asks: well, of nothing, of no method, and no HTTP at all
    b"GET /livez HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n",
    b"GET /nice%20ports%2C/Tri%6Eity.txt HTTP/1.0\r\n\r\n",
    b"OPTIONS / HTTP/1.0\r\n\r\n",
    b"HELP\r\n\r\n",
    b"OPTIONS / RTSP/1.0\r\n\r\n",
)
OLD: Final = (ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1)


def ports(pid: int) -> set[tuple[str, int]]:
    """Address and port of every TCP socket on which a process listens, and of every bound UDP socket."""
    own = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        with suppress(OSError):
            if found := re.fullmatch(r"socket:\[(\d+)\]", str(entry.readlink())):
                own.add(found[1])
    seen: set[tuple[str, int]] = set()
    for name in ("tcp", "tcp6", "udp", "udp6"):
        for line in Path(f"/proc/{pid}/net/{name}").read_text().splitlines()[1:]:
            cells = line.split()
            if cells[9] in own and (cells[3] == LISTENS or name.startswith("udp")):
                address, port = cells[1].split(":")
                seen.add((_address(address), int(port, 16)))
    return seen


def _address(text: str) -> str:
    """As people write it; the kernel gives words of 32 bits in this machine's order."""
    words = [bytes.fromhex(text[at : at + 8]) for at in range(0, len(text), 8)]
    raw = b"".join(word[::-1] if sys.byteorder == "little" else word for word in words)
    return socket.inet_ntop(socket.AF_INET if len(raw) == 4 else socket.AF_INET6, raw)


def said(port: int, text: bytes) -> bytes:
    """What is answered to these bytes, until the end."""
    with socket.create_connection(("127.0.0.1", port), WITHIN_S) as line:
        line.sendall(text)
        return line.makefile("rb").read()


@contextmanager
def serving(folder: Path, *options: str) -> Iterator[subprocess.Popen[str]]:
    """The program as people start it, until its door is open."""
    command = [sys.executable, "-m", "stagectl", "serve", str(SITE), "--data", str(folder / "data"), *options]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [*command, "--no-mqtt"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment
    ) as child:
        try:
            assert child.stdout is not None
            assert "is served at" in child.stdout.readline()
            yield child
        finally:
            child.terminate()
            child.wait(WITHIN_S)


@pytest.mark.slow
def test_as_installed_one_port_of_this_machine_is_open_and_nothing_else(tmp_path: Path) -> None:
    port = free_port()
    with serving(tmp_path, "--http", f"127.0.0.1:{port}") as child:
        assert ports(child.pid) == {("127.0.0.1", port)}
        answers = [said(port, text) for text in ASKED]
    for told in answers:
        assert re.search(rb"\r\nServer: stagectl\r\n", told), told
        assert not re.search(rb"aiohttp|[Pp]ython|[0-9]+\.[0-9]+\.[0-9]+", told.replace(b"127.0.0.1", b"")), (
            "no version"
        )


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, int]]:
    """Port and process of a daemon that is opened to every address of this machine, with TLS and an account."""
    folder = tmp_path_factory.mktemp("surface")
    tls = issue(folder / "ca", *NAMES)
    made = CliRunner().invoke(
        main,
        ["people", "add", "tomas", "--role", "engineer", "--data", str(folder / "data")],
        input="four canvas otters yawn\nfour canvas otters yawn\n",
    )
    assert made.exit_code == 0, made.output
    port = free_port()
    with serving(folder, "--http", f"0.0.0.0:{port}", "--tls", str(tls.certificate), str(tls.key)) as child:
        yield port, child.pid


@pytest.mark.slow
def test_opened_the_same_port_is_open_to_all_and_nothing_else(opened: tuple[int, int]) -> None:
    port, pid = opened
    assert ports(pid) == {("0.0.0.0", port)}


def spoken(port: int, version: ssl.TLSVersion, ciphers: str) -> str:
    """The cipher that a client with these wishes gets; empty: none."""
    asking = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    asking.check_hostname, asking.verify_mode = False, ssl.CERT_NONE
    asking.minimum_version = asking.maximum_version = version
    if version is not ssl.TLSVersion.TLSv1_3:
        asking.set_ciphers(f"{ciphers}:@SECLEVEL=0")
    with socket.create_connection(("127.0.0.1", port), WITHIN_S) as line:
        try:
            with asking.wrap_socket(line, server_hostname=NAMES[0]) as secure:
                found = secure.cipher()
                return found[0] if found is not None else ""
        except (ssl.SSLError, ConnectionError):
            return ""


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:ssl.TLSVersion:DeprecationWarning")
def test_no_cipher_without_forward_secrecy_and_authentication_is_spoken(opened: tuple[int, int]) -> None:
    port, _ = opened
    assert [spoken(port, version, "ALL") for version in OLD] == ["", ""]
    assert spoken(port, ssl.TLSVersion.TLSv1_3, "").startswith("TLS_")
    known = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    known.set_ciphers("ALL:COMPLEMENTOFALL:@SECLEVEL=0")
    names = [str(one["name"]) for one in known.get_ciphers() if not str(one["name"]).startswith("TLS_")]
    assert len(names) > 30
    taken = {name for name in names if spoken(port, ssl.TLSVersion.TLSv1_2, name)}
    assert taken == {
        *("ECDHE-ECDSA-AES128-GCM-SHA256", "ECDHE-ECDSA-AES256-GCM-SHA384", "ECDHE-ECDSA-CHACHA20-POLY1305"),
    }


@pytest.mark.slow
def test_an_open_door_tells_nobody_what_it_is_made_of(opened: tuple[int, int]) -> None:
    port, _ = opened
    asking = ssl.create_default_context()
    asking.check_hostname, asking.verify_mode = False, ssl.CERT_NONE
    with (
        socket.create_connection(("127.0.0.1", port), WITHIN_S) as line,
        asking.wrap_socket(line, server_hostname=NAMES[0]) as secure,
    ):
        secure.sendall(f"GET /api/v1/now HTTP/1.1\r\nHost: {NAMES[0]}\r\nConnection: close\r\n\r\n".encode())
        told = secure.makefile("rb").read()
    assert told.startswith(b"HTTP/1.1 401")
    assert not re.search(rb"aiohttp|[Pp]ython|Tidewater", told)
