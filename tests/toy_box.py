"""A box that says its points by their own names, over real TCP: enough to try the house on, without any maker's wire.

Its wire, own construction, one JSON object a line. Asked: {"show": true}, {"set": NAME, "to": VALUE},
{"do": "roll", "name": ...}, {"do": "cut"}, {"rows": true}. Said: {"is": {NAME: VALUE}}, {"ok": true}, {"no": WORDS},
{"rows": [...]}, and unasked {"now": {NAME: VALUE}}.
"""

import asyncio
import json
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import Enum
from typing import Any, ClassVar

from stagectl.driverkit.driver import BoxKind, Look, Reply
from stagectl.model.board import BoardWriter
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.mixer import MIXER
from stagectl.model.capabilities.recorder import RECORDER, Cut, Roll
from stagectl.model.capabilities.router import ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Set, Verb

FRAME_S = 0.04


@dataclass(frozen=True, slots=True)
class Said:
    """One line, either way."""

    what: dict[str, Any]


class ToyCodec:
    def __init__(self) -> None:
        self._tail = b""

    def feed(self, data: bytes) -> list[Said]:
        *lines, self._tail = (self._tail + data).split(b"\n")
        return [Said(json.loads(line)) for line in lines]

    def gap(self) -> list[Said]:
        return []

    def encode(self, request: Said) -> bytes:
        return json.dumps(request.what).encode() + b"\n"


class ToyDriver:
    capability: ClassVar[Capability] = RECORDER
    looks: ClassVar[tuple[Look, ...]] = (Look(("transport", "timecode", "present", "strip.{strip}.level"), 1.0),)
    window: ClassVar[int] = 4
    reply_s: ClassVar[float] = 3.0
    beat_s: ClassVar[float] = 0
    gap_s: ClassVar[float] = 0

    def look(self, names: Collection[str] | None) -> Sequence[Said]:
        return [Said({"rows": True} if names is not None and "clips" in names else {"show": True})]

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Said]:
        return [self._ask(verb) for verb in verbs]

    @staticmethod
    def _ask(verb: Verb) -> Said:
        match verb:
            case Roll(name=name):
                return Said({"do": "roll", "name": name})
            case Cut():
                return Said({"do": "cut"})
            case Set(point=point, value=value):
                return Said({"set": point.name, "to": value})
        raise RefusedError(f"a toy can't {verb.spec.name}", code="verb")

    def hear(self, event: Said, board: BoardWriter, awaiting: Said | None) -> Reply[Said] | None:
        what = event.what
        for name, value in (what.get("is") or what.get("now") or {}).items():
            spec = self.capability.point(name)
            assert spec is not None, name
            if not board.has(name):
                board.declare(spec)
            board.put(name, value, spec.type if issubclass(spec.type, Enum) else None)
        if "now" in what:
            return None
        return Reply(str(what.get("no", "")), rows=tuple(what.get("rows", ())))

    def beat(self, now_s: float) -> Sequence[Said]:
        return []

    def reads(self, request: Said) -> bool:
        return "show" in request.what or "rows" in request.what


def toy_kind(capability: Capability) -> BoxKind:
    """The kind of box that `ToyBox` plays."""
    made: Any = type("ToyOf", (ToyDriver,), {"capability": capability})
    return BoxKind(f"toy-{capability.kind}", capability, 4000, lambda options: made(), lambda options: ToyCodec(), {})


TOY_KINDS: Mapping[str, BoxKind] = {f"toy-{one.kind}": toy_kind(one) for one in (RECORDER, ROUTER, MIXER)}


class ToyBox:
    """The far end. Change `points` with `tell`; switch faults at any time.

    Attributes:
        heard: every line that was asked, without `show`.
        refuses: it says no to every act and list in these words.
        lies: it says ok and does nothing.
        silent: it hears and says nothing.
    """

    def __init__(self, points: Mapping[str, Any]) -> None:
        self.points = dict(points)
        self.heard: list[dict[str, Any]] = []
        self.clips: list[dict[str, Any]] = []
        self.refuses = ""
        self.lies = False
        self.silent = False
        self._frames = 0
        self._server: asyncio.Server | None = None
        self._writers: dict[asyncio.StreamWriter, None] = {}
        self._run: asyncio.Task[None] | None = None

    async def open(self) -> int:
        """Listen; returns the port."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        if "timecode" in self.points:
            self._run = asyncio.create_task(self._runs())
        return int(self._server.sockets[0].getsockname()[1])

    async def close(self) -> None:
        if self._run is not None:
            self._run.cancel()
            with suppress(asyncio.CancelledError):
                await self._run
        if self._server is not None:
            self._server.close()
        self.drop()

    def drop(self) -> None:
        """Break every connection; new ones are taken."""
        for writer in tuple(self._writers):
            writer.transport.abort()
        self._writers.clear()

    def tell(self, **points: Any) -> None:
        """Change points and say so; a dot in a name is written as two underscores."""
        self.change({name.replace("__", "."): value for name, value in points.items()})

    def change(self, points: Mapping[str, Any]) -> None:
        """Change points and say so to everybody."""
        self.points.update(points)
        if not self.silent:
            for writer in self._writers:
                self._say(writer, {"now": dict(points)})

    async def _runs(self) -> None:
        """Timecode runs while it records."""
        while True:
            await asyncio.sleep(FRAME_S)
            self._frames += 1
            if self.points["transport"] == "recording":
                self.tell(timecode=self._label())

    def _label(self) -> str:
        seconds, frames = divmod(self._frames, 25)
        return f"01:{seconds // 60:02d}:{seconds % 60:02d}:{frames:02d}"

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers[writer] = None
        with suppress(ConnectionError):
            while line := await reader.readline():
                self._hear(writer, json.loads(line))
        self._writers.pop(writer, None)
        writer.close()

    def _hear(self, writer: asyncio.StreamWriter, what: dict[str, Any]) -> None:
        if "show" not in what:
            self.heard.append(what)
        if self.silent:
            return
        if "show" in what:
            self._say(writer, {"is": self.points})
        elif "rows" in what:
            self._say(writer, {"no": self.refuses} if self.refuses else {"rows": self.clips})
        elif self.refuses:
            self._say(writer, {"no": self.refuses})
        else:
            self._say(writer, {"ok": True})
            if not self.lies:
                self._do(what)

    def _do(self, what: dict[str, Any]) -> None:
        if "set" in what:
            self.change({what["set"]: what["to"]})
        elif what["do"] == "roll":
            start = self._label()
            clip = {"clip.name": what["name"], "clip.start": start, "clip.length": "00:00:00:00"}
            self.change({"transport": "recording", "timecode": start, **clip})
        else:
            self.change({"transport": "stopped"})

    @staticmethod
    def _say(writer: asyncio.StreamWriter, what: dict[str, Any]) -> None:
        writer.write(json.dumps(what).encode() + b"\n")


def toy_recorder() -> ToyBox:
    """Ready to roll, one medium with two hours."""
    return ToyBox(
        {
            "identity.model": "Toy",
            "remote": True,
            "transport": "stopped",
            "timecode": "01:00:00:00",
            "input.format": "1080p25",
            "input.present": True,
            "slot.active": 1,
            "slot.1.state": "ready",
            "slot.1.left": 7200,
            "slot.2.state": "empty",
            "clip.name": "",
            "clip.count": 0,
        }
    )


def toy_router() -> ToyBox:
    """Four by four."""
    crosspoints = {f"output.{number}.source": number for number in range(1, 5)}
    return ToyBox({"present": True, "inputs": 4, "outputs": 4, **crosspoints})


def toy_mixer() -> ToyBox:
    """Two strips, one bus."""
    return ToyBox({"strips": 2, "buses": 1, "strip.1.level": -12.0, "strip.2.level": "off", "bus.1.level": 0.0})
