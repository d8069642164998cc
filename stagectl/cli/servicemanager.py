"""How does the process speak to the service manager that started it? The few words of sd_notify, from memory.

A datagram of lines "NAME=VALUE" to the socket that NOTIFY_SOCKET names; "@" first means an abstract one. Without a
manager nothing is said. Source: manual pages sd_notify(3) and sd_watchdog_enabled(3), from memory.
"""

import os
import socket
from collections.abc import Mapping
from contextlib import suppress


class ServiceManager:
    """Whoever started us.

    Attributes:
        patience_s: how long it waits to be fed; None: it does not wait.
    """

    def __init__(self, environ: Mapping[str, str] | None = None) -> None:
        """`environ`: of the process, if left out."""
        env = os.environ if environ is None else environ
        self._socket = env.get("NOTIFY_SOCKET", "")
        self.patience_s: float | None = None
        given, pid = env.get("WATCHDOG_USEC", ""), env.get("WATCHDOG_PID", "")
        if given.isdecimal() and int(given) > 0 and pid in ("", str(os.getpid())):
            self.patience_s = int(given) / 1_000_000

    @property
    def there(self) -> bool:
        """Is there anybody to speak to?"""
        return self._socket.startswith(("/", "@"))

    def ready(self, status: str) -> None:
        """All doors are open."""
        self.tell(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """The path of commands moves."""
        self.tell("WATCHDOG=1")

    def stopping(self) -> None:
        """The end has begun."""
        self.tell("STOPPING=1\nSTATUS=Ending; what rolls goes on rolling.")

    def tell(self, text: str) -> None:
        """Say it, without waiting; a manager that does not listen is no trouble of ours."""
        if not self.there:
            return
        address = f"\0{self._socket[1:]}" if self._socket.startswith("@") else self._socket
        with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
            line.setblocking(False)
            line.sendto(text.encode(), address)
