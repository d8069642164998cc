"""The cue light box itself, simulated: `python cue_light_simulator.py 4010`. Shares no code with its driver."""

import asyncio
import sys
from typing import Self

LONGEST_LABEL = 40


class CueLightBox:
    """Two lamps and a label on the network while the `async with` block runs; `address` is where.

    Faults a test may turn at any time: `mute` hears and never answers, `stuck` says yes to a lamp and leaves it.
    """

    def __init__(self, port: int = 0) -> None:
        self._port = port
        self._server: asyncio.Server | None = None
        self._clients: list[asyncio.StreamWriter] = []
        self._tasks: set[asyncio.Task[None]] = set()
        self.shows = {"model": "CL-2", "label": "Stage left", "red": "off", "green": "off"}
        self.mute = False
        self.stuck = False

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._meet, "127.0.0.1", self._port)
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._server is not None
        self._server.close()
        for client in [*self._clients]:
            client.transport.abort()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    @property
    def address(self) -> tuple[str, int]:
        assert self._server is not None
        host, port = self._server.sockets[0].getsockname()[:2]
        return host, port

    def press(self, key: str) -> None:
        """Somebody presses a key at the box: its lamp changes, and every client is told."""
        self._change(key, "off" if self.shows[key] == "on" else "on")

    def _change(self, what: str, value: str, by: asyncio.StreamWriter | None = None) -> None:
        self.shows[what] = value
        for client in self._clients:
            if client is not by:
                client.write(f"* {what} {value}\n".encode())

    async def _meet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._clients.append(writer)
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        try:
            while line := await reader.readline():
                answer = self._hear(line.decode(errors="replace").rstrip("\r\n"), writer)
                if not self.mute:
                    writer.write(f"{answer}\n".encode())
                    await writer.drain()
        except (OSError, ValueError):
            pass  # it hung up, or said more than a line may hold: either way it is gone
        finally:
            self._clients.remove(writer)
            writer.transport.abort()

    def _hear(self, line: str, writer: asyncio.StreamWriter) -> str:
        verb, _, rest = line.partition(" ")
        what, _, value = rest.partition(" ")
        if verb not in ("get", "set") or what not in self.shows or (verb == "set" and what == "model"):
            return "no such thing here"
        if verb == "set" and what == "label" and len(value) > LONGEST_LABEL:
            return f"no label is longer than {LONGEST_LABEL} letters"
        if verb == "set" and what != "label" and value not in ("on", "off"):
            return "no lamp is anything but on or off"
        if verb == "set" and self.stuck and what != "label":
            return f"{what} {value}"
        if verb == "set":
            self._change(what, value, writer)
        return f"{what} {self.shows[what]}"


async def main(port: int) -> None:
    async with CueLightBox(port) as box:
        print("A cue light box listens on {}:{}. Ctrl-C ends it.".format(*box.address))  # noqa: T201
        await asyncio.Event().wait()


if __name__ == "__main__":
    try:
        asyncio.run(main(int(sys.argv[1])))
    except KeyboardInterrupt:
        print("The cue light box is off.")  # noqa: T201
