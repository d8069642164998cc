"""Which port is free for a program that a test starts?"""

import random
import socket
from typing import Final

# Below those that the kernel gives to whoever dials (32768 and up): a port found there may be taken the next moment.
PORTS: Final = range(20_000, 32_000)


def free_port() -> int:
    """A port of 127.0.0.1 that was free a moment ago."""
    chance = random.SystemRandom()
    while True:
        port = chance.choice(PORTS)
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
