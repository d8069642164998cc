"""A whole studio for a story: simulators in their own process, the daemon in another, the doors that users use."""

import http.client
import json
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Self
from urllib.parse import urlsplit

from stagectl_simulators import client as door
from tests.ports import free_port

HALL = Path(__file__).resolve().parents[2] / "scenes"
READY_S = 20.0
RECORDERS = ("iso-1", "iso-2", "iso-3", "iso-4", "mix-rec")
# What a text deck may be asked before it is adopted; from memory of public documentation: these change nothing.
READS = re.compile(
    r"(device info|uptime|ping|remote|configuration|notify|transport info|slot info|clips count|clips get|disk list)\b"
)


def until(look: Callable[[], Any], within_s: float, what: str) -> Any:
    """Look again and again until it is so; returns what was seen. Fails with `what` after `within_s`."""
    tick, left = threading.Event(), within_s
    while not (seen := look()):
        if left <= 0:
            raise AssertionError(f"not within {within_s:g} s: {what}")
        tick.wait(0.05)
        left -= 0.05
    return seen


class Studio:
    """Tidewater Hall on free ports. Use as a context; `start` and `kill` the daemon at will."""

    def __init__(
        self,
        folder: Path,
        *,
        mqtt: bool = False,
        scenes: bool = True,
        write: Callable[[str], str] = lambda text: text,
        play: Callable[[dict[str, Any]], None] = lambda told: None,
    ) -> None:
        """`write` changes the site file's text, `play` what the simulators are told."""
        self._write = write
        self._play = play
        self.folder = folder
        self.data = folder / "data"
        self.site = folder / "tidewater-hall.yaml"
        self.mqtt_port = free_port() if mqtt else 0
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self._scenes = scenes
        self._sims: subprocess.Popen[str] | None = None
        self._daemon: subprocess.Popen[str] | None = None
        self._broker: subprocess.Popen[bytes] | None = None
        self.door = ""
        self.log = folder / "daemon.log"
        self.program = ["stagectl"]  # the module that is the daemon, with words before its own
        self.within: list[str] = []  # words that begin its command

    def __enter__(self) -> Self:
        self._simulate()
        if self.mqtt_port:
            # without a listener in a configuration, mosquitto 2 serves loopback alone
            command = ["/usr/sbin/mosquitto", "-p", str(self.mqtt_port)]
            self._broker = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        return self

    def __exit__(self, *exc: object) -> None:
        for process in (self._daemon, self._sims, self._broker):
            if process is not None and process.poll() is None:
                process.terminate()
                try:
                    process.wait(10)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait(10)
            for pipe in (process.stdin, process.stdout) if process is not None else ():
                if pipe is not None:
                    pipe.close()

    def _simulate(self) -> None:
        from stagectl.cli.hall import spec
        from stagectl.daemon import PARTS
        from stagectl.driverkit.kinds import find_kinds
        from stagectl.site import load_site

        site = load_site(HALL / "tidewater-hall.yaml", find_kinds()[0], PARTS)
        told = spec(site, ("127.0.0.1", 0), lambda text: None)
        for box in told["boxes"]:
            box["at"] = "127.0.0.1:0"
            if "clip_store" in box["options"]:
                box["options"]["clip_store"]["port"] = 0
        self._play(told)
        command = [sys.executable, "-m", "stagectl_simulators", "-", "--with-parent"]
        self._sims = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self._sims.stdin is not None
        assert self._sims.stdout is not None
        self._sims.stdin.write(json.dumps(told) + "\n")
        self._sims.stdin.flush()
        ready = json.loads(self._sims.stdout.readline())
        self.door = ready["door"]
        text = self._write((HALL / "tidewater-hall.yaml").read_text(encoding="utf-8"))
        for name, address in ready["boxes"].items():
            text = re.sub(rf"(?m)^(  {name}: +{{box: [a-z-]+, at: )[0-9.]+", rf"\g<1>{address}", text)
        for name, address in ready["stores"].items():
            text = re.sub(rf'(?m)^(  {name}: .*clip store: )"[^"]*"', rf'\g<1>"{address}"', text)
        mqtt = f"broker: external\n  at: 127.0.0.1:{self.mqtt_port}" if self.mqtt_port else "broker: off"
        self.site.write_text(text.replace("broker: managed", mqtt), encoding="utf-8")
        for path in sorted(HALL.glob("*.yaml")) if self._scenes else []:
            if not path.name.startswith("tidewater"):
                (self.folder / path.name).write_bytes(path.read_bytes())
        if self._scenes:
            shutil.copytree(HALL / "setups", self.folder / "setups")

    # -- the daemon -----------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Start the daemon and wait until every box is adopted."""
        words = ["serve", str(self.site), "--http", f"127.0.0.1:{self.port}"]
        command = [*self.within, sys.executable, "-m", *self.program, *words]
        with self.log.open("a") as log:
            self._daemon = subprocess.Popen([*command, "--data", str(self.data)], stdout=log, stderr=log, text=True)
        until(self._answers, READY_S, "the daemon answers")
        until(lambda: all(box["adopted"] for box in self.get("devices")["devices"]), READY_S, "all boxes are adopted")

    def _answers(self) -> bool:
        assert self._daemon is not None
        assert self._daemon.poll() is None, self.log.read_text()
        try:
            return self.ask("GET", "/livez")[0] == 200
        except OSError:
            return False

    @property
    def daemon_pid(self) -> int:
        """Process id of the daemon."""
        assert self._daemon is not None
        return self._daemon.pid

    def kill(self) -> None:
        """kill -9."""
        assert self._daemon is not None
        self._daemon.kill()
        self._daemon.wait(10)

    def interrupt(self) -> int:
        """Ctrl-C; returns the exit code."""
        assert self._daemon is not None
        self._daemon.send_signal(signal.SIGINT)
        return self._daemon.wait(15)

    # -- doors ----------------------------------------------------------------------------------------------------

    def ask(
        self, method: str, path: str, body: object = None, headers: dict[str, str] | None = None
    ) -> tuple[int, Any]:
        """One HTTP request: status and JSON (or text)."""
        at = urlsplit(self.url)
        connection = http.client.HTTPConnection(at.hostname or "", at.port, timeout=30)
        try:
            sent = None if body is None else json.dumps(body)
            more = {"Content-Type": "application/json"} if sent is not None else {}
            connection.request(method, path, sent, {**more, **(headers or {})})
            answer = connection.getresponse()
            text = answer.read().decode()
            return answer.status, json.loads(text) if "json" in (answer.getheader("Content-Type") or "") else text
        finally:
            connection.close()

    def get(self, path: str) -> Any:
        """What stands under /api/v1/."""
        status, answer = self.ask("GET", f"/api/v1/{path}")
        assert status == 200, answer
        return answer

    def post(self, path: str, body: object = None, *, key: str = "") -> tuple[int, Any]:
        """Act under /api/v1/ and wait for the verdict."""
        headers = {"Idempotency-Key": key} if key else None
        return self.ask("POST", f"/api/v1/{path}?wait=verdict", {} if body is None else body, headers)

    def cli(self, *words: str) -> subprocess.CompletedProcess[str]:
        """The terminal, as a user calls it."""
        return subprocess.run(
            [sys.executable, "-m", "stagectl", *words],
            env={"STAGECTL_URL": self.url, "PATH": "/usr/bin:/bin", "NO_COLOR": "1"},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    def point(self, device: str, name: str) -> Any:
        """One point as REST shows it."""
        return self.get(f"points/{device}/{name}")

    # -- the boxes ------------------------------------------------------------------------------------------------

    def fault(self, box: str, name: str, on: bool | float = True) -> None:
        """Turn a fault switch of a simulator."""
        door.set_fault(self.door, box, name, on)

    def hand(self, box: str, act: str, **args: object) -> None:
        """Somebody's hand on the front."""
        door.panel(self.door, box, act, **args)

    def truth(self, box: str) -> dict[str, Any]:
        """What is so, whatever the box says."""
        return door.truth(self.door, box)

    def requests(self, box: str) -> list[str]:
        """What the box heard since the wire log was cleared, a text each."""
        return [str(entry["text"]) for entry in door.wire(self.door, box) if entry["way"] == "in"]

    def clear_wires(self) -> None:
        """Begin the wire logs anew."""
        for box in door.list_boxes(self.door):
            door.clear_wire(self.door, str(box["id"]))
