"""Does the service manager hear when the daemon is ready, alive and ending? With a real socket, as systemd has one.

Source: sd_notify(3) and sd_watchdog_enabled(3), from memory.
"""

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from stagectl.cli.servicemanager import ServiceManager


class Manager:
    """What systemd has: a datagram socket."""

    def __init__(self, address: str) -> None:
        self.line = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.line.bind(address)
        self.line.settimeout(20)

    def heard(self) -> list[str]:
        """The lines of the next message."""
        return self.line.recv(4096).decode().splitlines()

    def until(self, line: str) -> None:
        while line not in self.heard():
            pass


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    made = Manager(str(tmp_path / "notify"))
    yield made
    made.line.close()


def test_it_is_told_in_its_own_words(manager: Manager, tmp_path: Path) -> None:
    mine = ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "notify")})
    assert (mine.there, mine.patience_s) == (True, None)
    mine.ready("Small hall is served.")
    assert manager.heard() == ["READY=1", "STATUS=Small hall is served."]
    mine.alive()
    assert manager.heard() == ["WATCHDOG=1"]


def test_an_abstract_socket_is_found_too() -> None:
    name = f"stagectl-test-{os.getpid()}"
    made = Manager(f"\0{name}")
    ServiceManager({"NOTIFY_SOCKET": f"@{name}"}).alive()
    assert manager_line(made) == ["WATCHDOG=1"]


def manager_line(made: Manager) -> list[str]:
    try:
        return made.heard()
    finally:
        made.line.close()


def test_without_a_manager_nothing_is_said_and_nothing_fails(tmp_path: Path) -> None:
    for env in ({}, {"NOTIFY_SOCKET": str(tmp_path / "gone")}, {"NOTIFY_SOCKET": "nonsense"}):
        ServiceManager(env).ready("x")


@pytest.mark.parametrize(
    ("env", "patience_s"),
    [
        ({"WATCHDOG_USEC": "10000000"}, 10.0),
        ({"WATCHDOG_USEC": "10000000", "WATCHDOG_PID": str(os.getpid())}, 10.0),
        ({"WATCHDOG_USEC": "10000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({}, None),
    ],
)
def test_how_long_it_waits_is_read_only_if_it_means_us(env: dict[str, str], patience_s: float | None) -> None:
    assert ServiceManager(env).patience_s == patience_s


@pytest.mark.slow
def test_a_daemon_says_that_it_is_ready_lives_and_ends(manager: Manager, tmp_path: Path) -> None:
    site = tmp_path / "site.yaml"
    site.write_text("site: Small hall\ndevices: {}\n")
    command = [sys.executable, "-m", "stagectl", "serve", str(site), "--http", "127.0.0.1:0"]
    env = {**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify"), "WATCHDOG_USEC": "600000"}
    with subprocess.Popen(
        [*command, "--data", str(tmp_path / "data")], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as daemon:
        try:
            assert manager.heard() == ["READY=1", "STATUS=Small hall is served."]
            for _ in range(3):
                assert manager.heard() == ["WATCHDOG=1"]
            daemon.send_signal(signal.SIGTERM)
            manager.until("STOPPING=1")
            assert daemon.wait(15) == 0
        finally:
            daemon.kill()
