"""Who serves MQTT when the site says `managed`? A mosquitto of our own, as a child, on loopback."""

import asyncio
import ctypes
import shutil
import signal
import socket
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

READY_S: Final = 5.0
STOP_S: Final = 1.0
TRIES: Final = 3  # another program may take the port between our look and its start
_PDEATHSIG: Final = 1  # prctl(2): PR_SET_PDEATHSIG


class NoBrokerError(Exception):
    """No broker can be started; one sentence with a remedy."""


class ManagedBroker:
    """A mosquitto child with a generated configuration; keeps nothing on disk and ends with us.

    Attributes:
        port: where it listens, once started.
    """

    def __init__(self, folder: Path, port: int) -> None:
        """`folder` takes the configuration; `port` 0 or a taken one is replaced by a free one."""
        self.port = port
        self._folder = folder
        self._child: asyncio.subprocess.Process | None = None

    @property
    def running(self) -> bool:
        """It was started, and has not ended."""
        return self._child is not None and self._child.returncode is None

    @property
    def pid(self) -> int | None:
        """Its process id; None: it does not run."""
        return self._child.pid if self._child is not None and self.running else None

    async def start(self) -> None:
        """Start and wait until it listens. Raises NoBrokerError."""
        program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
        if program is None:
            raise NoBrokerError("mosquitto is not installed. Install it, or set mqtt: broker: off in the site file.")
        for left in range(TRIES - 1, -1, -1):
            self.port = _free(self.port)
            try:
                await self._start(program)
            except OSError as error:
                what = (error.strerror or str(error)).lower()
                raise NoBrokerError(f"mosquitto can't be started: {what}. Look at {self._folder}.") from error
            try:
                async with asyncio.timeout(READY_S):
                    if await self._listens():
                        return
            except TimeoutError:
                await self.stop()
                raise NoBrokerError(f"mosquitto did not listen within {READY_S:g} s. Start it by hand.") from None
            if not left:
                code = self._child.returncode if self._child is not None else None
                raise NoBrokerError(f"mosquitto ended at once, code {code}. Start it by hand to see why.")

    async def _start(self, program: str) -> None:
        config = self._folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence false\nset_tcp_nodelay true\n"
            "max_queued_messages 0\nmax_packet_size 262144\nlog_dest none\n"
            # as root it would change its user, and the kernel would then forget that it ends with us
            "user root\n",
            encoding="utf-8",
        )
        self._child = await asyncio.create_subprocess_exec(
            program,
            "-c",
            str(config),
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.DEVNULL,
            stderr=asyncio.subprocess.DEVNULL,
            preexec_fn=_die_with_parent(),
            start_new_session=True,  # a Ctrl-C in the terminal is ours to handle
        )

    async def _listens(self) -> bool:
        """Wait until it does. False: it ended."""
        while self.running:
            with suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", self.port)
                writer.close()
                return self.running
            await asyncio.sleep(0.02)
        return False

    async def stop(self) -> None:
        """End the child; safe to call twice."""
        child, self._child = self._child, None
        if child is None or child.returncode is not None:
            return
        with suppress(ProcessLookupError):
            child.terminate()
        try:
            async with asyncio.timeout(STOP_S):
                await child.wait()
        except TimeoutError:
            with suppress(ProcessLookupError):
                child.kill()
            with suppress(TimeoutError):
                async with asyncio.timeout(STOP_S):
                    await child.wait()


def _die_with_parent() -> Callable[[], None]:
    """What the child does before it becomes mosquitto; the library is loaded before, not in the fork."""
    prctl = ctypes.CDLL(None).prctl
    return lambda: prctl(_PDEATHSIG, signal.SIGTERM)


def _free(port: int) -> int:
    for wanted in (port, 0):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", wanted))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise NoBrokerError("No port is free on this machine's loopback. End what holds them.")
