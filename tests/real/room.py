"""A room of recorders for a fault: simulators, wires, a broker and the daemon as programs, the daemon under any spell.

`Studio` of the stories has the doors; here the site is as large as asked, each box may stand behind a wire, and the
daemon may be started under another program (strace, prlimit, unshare) or with another environment.
"""

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final, Self

from stagectl_simulators import client as door
from tests.inlets.mosquitto import program
from tests.ports import free_port
from tests.real.wire import Wires
from tests.stories.studio import Studio, until

PYTHON: Final = sys.executable
# Requests of a text deck that change nothing, and how they are written when they don't: with a parameter, `remote` and
# `configuration` set something. From memory of public documentation, protocol versions 1.6 to 1.12.
LOOKS: Final = re.compile(
    r"(device info|uptime|ping|remote|configuration|transport info|clips count)$"
    r"|(notify|slot info|clips get|disk list)\b"
)
POLL_S: Final = 0.01


def deck_names(count: int) -> list[str]:
    return [f"iso-{number}" for number in range(1, count + 1)]


class Room(Studio):
    """So many text decks and a router. Use as a context; `start`, `kill` and `pause` the daemon at will.

    Attributes:
        decks: the recorders' ids; `hall` is the router.
        wires: between the daemon and each box of `wired`.
        env: of the daemon, beside the test's own.
    """

    def __init__(
        self,
        folder: Path,
        decks: int = 3,
        *,
        wired: Collection[str] = (),
        mqtt: bool = False,
        options: Mapping[str, Mapping[str, object]] | None = None,
        extra: str = "",
    ) -> None:
        """`extra`: more lines of the site file, such as another device."""
        super().__init__(folder, mqtt=mqtt, scenes=False)
        self.decks = deck_names(decks)
        self.boxes = [*self.decks, "hall"]
        self.wires = Wires()
        self._wired = set(wired)
        self._options = options or {}
        self._extra = extra
        self.env: dict[str, str] = {}
        self.born_at = 0.0

    def __enter__(self) -> Self:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.wires.start()
        try:
            super().__enter__()
        except BaseException:
            self.wires.stop()
            raise
        return self

    def __exit__(self, *exc: object) -> None:
        self.resume()
        super().__exit__(*exc)
        self.wires.stop()

    def _simulate(self) -> None:
        boxes = [
            {"id": name, "kind": "text-deck", "at": "127.0.0.1:0", "options": dict(self._options.get(name, {}))}
            for name in self.decks
        ]
        boxes.append({"id": "hall", "kind": "block-router", "at": "127.0.0.1:0", "options": {}})
        command = [PYTHON, "-m", "stagectl_simulators", "-", "--with-parent"]
        self._sims = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._sims.stdin is not None
        assert self._sims.stdout is not None
        self._sims.stdin.write(json.dumps({"boxes": boxes}) + "\n")
        self._sims.stdin.flush()
        ready = json.loads(self._sims.stdout.readline())
        self.door = ready["door"]
        self.addresses: dict[str, tuple[str, int]] = {}
        for name, address in ready["boxes"].items():
            host, _, port = address.rpartition(":")
            self.addresses[name] = (host, int(port))
        self.write_site()

    def write_site(self, at: Mapping[str, tuple[str, int]] | None = None) -> None:
        """The site file; `at` overrides where a box is."""
        lines = ["site: Tidewater annexe", "devices:"]
        for name in self.boxes:
            host, port = (at or {}).get(name) or self._address(name)
            kind = "block-router" if name == "hall" else "text-deck"
            lines.append(f'  {name}: {{box: {kind}, at: "{host}:{port}", called: {called(name)}}}')
        lines.append(self._extra.rstrip("\n"))
        mqtt = f'{{broker: external, at: "127.0.0.1:{self.mqtt_port}"}}' if self.mqtt_port else "{broker: off}"
        lines.append(f"mqtt: {mqtt}")
        self.site.write_text("\n".join(line for line in lines if line) + "\n", encoding="utf-8")

    def _address(self, name: str) -> tuple[str, int]:
        if name in self._wired:
            if name not in self.wires:
                self.wires.add(name, self.addresses[name])
            return self.wires[name].address
        return self.addresses[name]

    # -- the daemon -----------------------------------------------------------------------------------------------

    def launch(self, *under: str, env: Mapping[str, str] | None = None, data: Path | None = None) -> None:
        """Start the daemon, `under` another program perhaps, and wait for nothing."""
        command = [*under, PYTHON, "-m", "stagectl", "serve", str(self.site), "--http", f"127.0.0.1:{self.port}"]
        with self.log.open("a") as log:
            self.born_at = time.monotonic()
            self._daemon = subprocess.Popen(
                [*command, "--data", str(data or self.data)],
                stdout=log,
                stderr=log,
                text=True,
                env={**os.environ, **self.env, **(env or {})},
            )

    def start(self, *under: str, env: Mapping[str, str] | None = None, absent: Collection[str] = ()) -> None:
        """Start the daemon and wait until every box but the `absent` is adopted."""
        self.launch(*under, env=env)
        self.until_ready()
        self.until_adopted(absent=absent)

    def until_ready(self, within_s: float = 30.0) -> float:
        """Wait until the web door answers; seconds since the start."""
        while True:
            assert self._daemon is not None
            assert self._daemon.poll() is None, self.log.read_text()[-3000:]
            try:
                if self.ask("GET", "/livez")[0] == 200:
                    return time.monotonic() - self.born_at
            except OSError:
                assert time.monotonic() - self.born_at < within_s, f"no answer: {self.log.read_text()[-3000:]}"
                time.sleep(POLL_S)

    def until_adopted(self, within_s: float = 30.0, absent: Collection[str] = ()) -> float:
        """Wait until every box but the `absent` is adopted; seconds since the start."""

        def all_adopted() -> bool:
            rows = self.get("devices")["devices"]
            return all(box["adopted"] for box in rows if box["id"] in self.boxes and box["id"] not in absent)

        until(all_adopted, within_s, "all boxes are adopted")
        return time.monotonic() - self.born_at

    # -- the broker -----------------------------------------------------------------------------------------------

    @property
    def broker_pid(self) -> int:
        """Process id of the broker."""
        assert self._broker is not None
        return self._broker.pid

    def kill_broker(self) -> None:
        """kill -9; it keeps nothing on disk."""
        assert self._broker is not None
        self._broker.kill()
        self._broker.wait(10)

    def start_broker(self, *options: str) -> None:
        """Again on the same port, with nothing in it."""
        command = [program("mosquitto"), *(options or ("-p", str(self.mqtt_port)))]
        self._broker = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    @property
    def process(self) -> subprocess.Popen[str]:
        """The daemon, or the program it runs under."""
        assert self._daemon is not None
        return self._daemon

    def resume(self) -> None:
        """Undo a pause, if it still lives."""
        if self._daemon is not None and self._daemon.poll() is None:
            self._daemon.send_signal(18)  # SIGCONT; it does nothing to what runs

    def logged(self) -> str:
        return self.log.read_text(encoding="utf-8")

    # -- the recorders, whatever the daemon believes --------------------------------------------------------------

    def rolling(self) -> list[str]:
        return [deck for deck in self.decks if self.truth(deck)["transport"] == "record"]

    def rolls_of(self, deck: str) -> int:
        """How often it began to record."""
        return sum(entry["what"] == "rolling" for entry in self.truth(deck)["history"])

    def ends_of(self, deck: str) -> int:
        """How often a recording of it ended."""
        return sum(entry["what"] == "stopped" for entry in self.truth(deck)["history"])

    def acts(self, deck: str) -> list[str]:
        """Requests on its wire since the log was cleared that do more than look."""
        return acting(self.heard(deck))

    def heard(self, box: str) -> list[str]:
        """What reached it, a text a segment."""
        return [str(entry["text"]) for entry in door.wire(self.door, box) if entry["way"] == "in"]

    # -- what the daemon says -------------------------------------------------------------------------------------

    def device(self, name: str) -> dict[str, Any]:
        return dict(self.get(f"devices/{name}"))

    def quality(self, device: str, point: str = "transport") -> str:
        return str(self.point(device, point)["quality"])

    def wrong(self) -> str:
        """All that is wrong now, as one text."""
        return json.dumps(self.get("alarms"))


def called(name: str) -> str:
    """What people call a box of the room."""
    return "Hall router" if name == "hall" else f"Rec {name.removeprefix('iso-')}"


def acting(segments: Sequence[str]) -> list[str]:
    """Requests that do more than look: the first line of each; the lines of a block after it are its parameters."""
    found, inside = [], False
    for line in "".join(segments).split("\\r\\n"):
        if not inside and line and not LOOKS.match(line):
            found.append(line)
        inside = line.endswith(":") if not inside else line != ""
    return found


def dead_port() -> tuple[str, int]:
    """An address of loopback where nobody listens."""
    return "127.0.0.1", free_port()
