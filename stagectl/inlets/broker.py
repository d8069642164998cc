"""Who serves MQTT when the site says `managed`? A mosquitto of our own, as a child, on loopback."""

import asyncio
import ctypes
import os
import shutil
import signal
import socket
from contextlib import suppress
from pathlib import Path
from typing import Final

READY_S: Final = 5.0
STOP_S: Final = 2.0
_PDEATHSIG: Final = 1


class NoBrokerError(Exception):
    """No broker can be started; one sentence with a remedy."""


class ManagedBroker:
    """A mosquitto child with a generated configuration; keeps nothing on disk and ends with us."""

    def __init__(self, folder: Path, port: int) -> None:
        """`folder` takes the configuration; `port` 0 or a taken one is replaced by a free one."""
        self.port = port
        self._folder = folder
        self._child: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        """Start and wait until it listens. Raises NoBrokerError."""
        program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
        if program is None:
            raise NoBrokerError("mosquitto is not installed. Install it, or set mqtt: broker: off in the site file.")
        self.port = _free(self.port)
        config = self._folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\npersistence false\nset_tcp_nodelay true\n"
            "max_queued_messages 0\nmax_packet_size 262144\nlog_dest none\nuser root\n",
            encoding="utf-8",
        )
        self._child = await asyncio.create_subprocess_exec(
            program,
            "-c",
            str(config),
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.DEVNULL,
            stderr=asyncio.subprocess.DEVNULL,
            preexec_fn=_die_with_parent,
            start_new_session=True,  # a Ctrl-C in the terminal is ours to handle
        )
        try:
            async with asyncio.timeout(READY_S):
                while not await _listens(self.port):
                    if self._child.returncode is not None:
                        raise NoBrokerError(f"mosquitto ended at once, code {self._child.returncode}.")
                    await asyncio.sleep(0.02)
        except TimeoutError:
            await self.stop()
            raise NoBrokerError(f"mosquitto did not listen within {READY_S:g} s.") from None

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


def _die_with_parent() -> None:
    ctypes.CDLL(None).prctl(_PDEATHSIG, signal.SIGTERM)


def _free(port: int) -> int:
    for wanted in (port, 0):
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", wanted))
            except OSError:
                continue
            return int(probe.getsockname()[1])
    raise NoBrokerError(f"No port is free on loopback: {os.strerror(98)}.")


async def _listens(port: int) -> bool:
    try:
        _, writer = await asyncio.wait_for(asyncio.open_connection("127.0.0.1", port), 1.0)
    except (OSError, TimeoutError):
        return False
    writer.close()
    return True
