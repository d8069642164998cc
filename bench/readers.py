"""Who takes what the WebSockets bring? Clients that read and forget, in a process of their own.

python -m bench.readers PORT PATH COUNT      prints 0 when all are open
"""

import selectors
import socket
import sys
import threading
import time
from typing import Final

from bench.process import PATIENCE_S

MEGABYTE: Final = 1 << 20
ALIVE_S: Final = 10.0  # a sign of life so often, before the daemon asks for one
PONG: Final = b"\x8a\x80\0\0\0\0"  # RFC 6455, 5.5.3: it may come unasked


def main(port: int, path: str, count: int) -> None:
    waiting = selectors.DefaultSelector()
    ask = (
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: MDEyMzQ1Njc4OWFiY2RlZg==\r\n\r\n"
    ).encode()
    for _ in range(count):
        one = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
        one.sendall(ask)
        if b" 101 " not in one.recv(200, socket.MSG_PEEK):
            raise SystemExit("A WebSocket was refused.")
        one.setblocking(False)
        waiting.register(one, selectors.EVENT_READ)
    print(0, flush=True)
    threading.Thread(target=_until_gone, args=(waiting,), daemon=True).start()
    space = bytearray(MEGABYTE)
    alive_at = time.monotonic() + ALIVE_S
    while waiting.get_map():
        if time.monotonic() >= alive_at:
            alive_at = time.monotonic() + ALIVE_S
            for key in list(waiting.get_map().values()):
                assert isinstance(key.fileobj, socket.socket)
                key.fileobj.send(PONG)
        for key, _ in waiting.select(1.0):
            client = key.fileobj
            assert isinstance(client, socket.socket)
            if not client.recv_into(space):
                waiting.unregister(client)


def _until_gone(waiting: selectors.BaseSelector) -> None:
    """End with the bench."""
    sys.stdin.read()
    for key in list(waiting.get_map().values()):
        assert isinstance(key.fileobj, socket.socket)
        key.fileobj.shutdown(socket.SHUT_RDWR)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
