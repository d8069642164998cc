"""A shelf of lamps, just enough of a box to try the kit on.

Its wire, own construction: `get NAME` is answered `is NAME VALUE`, `put NAME VALUE` is answered `ok` or `no WORDS`,
`rows N` is answered `row TEXT ... more|end`; `now NAME VALUE` comes unasked. `NAME` is lamp.1.on, lamp.2.on, model.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from stagectl.driverkit.driver import BoxKind, Look, Reply
from stagectl.model.board import BoardWriter
from stagectl.model.capabilities.base import MODEL, Capability, Doubt, Health
from stagectl.model.errors import ProtocolError, RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Set, Verb

LAMP: Final[PointSpec[bool]] = PointSpec("lamp.{lamp}.on", bool, settable=True)
MAIN: Final[PointSpec[bool]] = PointSpec("main", bool)
SHELF: Final = Capability(
    "shelf", 1, (LAMP, MAIN), (), (Doubt(MAIN.is_(False), Health.LOCAL, "its main switch is off", "Switch it on."),)
)
WORDS: Final = {"on": True, "off": False}
LONGEST: Final = 200


@dataclass(frozen=True, slots=True)
class Line:
    """One line, either way."""

    text: str


class LineCodec:
    def __init__(self) -> None:
        self._tail = b""

    def feed(self, data: bytes) -> list[Line]:
        *lines, self._tail = (self._tail + data).split(b"\n")
        if len(self._tail) > LONGEST:
            raise ProtocolError("a line without end")
        return [Line(line.decode(errors="replace")) for line in lines]

    def gap(self) -> list[Line]:
        tail, self._tail = self._tail, b""
        return [Line(tail.decode())] if tail else []

    def encode(self, request: Line) -> bytes:
        if "\n" in request.text:
            raise ValueError("A line end in a field would smuggle in a second command.")
        return f"{request.text}\n".encode()


class ShelfDriver:
    capability: ClassVar[Capability] = SHELF
    looks: ClassVar[tuple[Look, ...]] = (Look((MAIN.name, "lamp.1.on"), 1.0),)  # lamp 2 is kept by notices
    window: ClassVar[int] = 1
    reply_s: ClassVar[float] = 3.0
    beat_s: ClassVar[float] = 0
    gap_s: ClassVar[float] = 0

    def look(self, names: Collection[str] | None) -> Sequence[Line]:
        if names is None:
            return [Line("get model"), Line("get main"), Line("get lamp.1.on"), Line("get lamp.2.on")]
        return [Line("rows 1") if name == "clips" else Line(f"get {name}") for name in names]

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Line]:
        lines = []
        for verb in verbs:
            if not isinstance(verb, Set):
                raise RefusedError(f"A shelf can't {verb.spec.name}.")
            lines.append(Line(f"put {verb.point.name} {'on' if verb.value is True else verb.value or 'off'}"))
        return lines

    def hear(self, event: Line, board: BoardWriter, awaiting: Line | None) -> Reply[Line] | None:
        word, _, rest = event.text.partition(" ")
        if word in ("is", "now"):
            for pair in rest.split(", "):
                self._put(*pair.partition(" ")[::2], board)
        if word == "boom":
            raise RuntimeError("a slip")
        if word == "lost":
            raise ProtocolError("out of step")
        if word == "row":
            *rows, end = rest.split()
            then = [Line(f"rows {len(rows) + 1}")] if end == "more" else []
            return Reply(then=then, rows=tuple({"name": row} for row in rows))
        if word == "no":
            return Reply(rest)
        return Reply() if word in ("is", "ok") else None

    def _put(self, name: str, value: str, board: BoardWriter) -> None:
        if name == "model":
            board.declare(MODEL, MAIN, LAMP.at(1), LAMP.at(2))
            board.put(MODEL.name, value)
        else:
            board.put(name, value, WORDS.__getitem__)

    def beat(self, now_s: float) -> Sequence[Line]:
        return [Line("get main")]

    def reads(self, request: Line) -> bool:
        return not request.text.startswith("put ")


def shelf_kind(driver: type[ShelfDriver] = ShelfDriver, **change: Any) -> BoxKind:
    """The kind, or one with another driver; `change` sets class variables of it: window=4."""
    made: Any = type("Changed", (driver,), change) if change else driver
    return BoxKind("shelf", SHELF, 4000, lambda options: made(), lambda options: LineCodec(), {})


class ShelfState:
    """What the far end knows: `answers` is for `MemoryNetwork`. `silent`: it hears and says nothing."""

    def __init__(self) -> None:
        self.values = {"model": "S2", "main": "on", "lamp.1.on": "off", "lamp.2.on": "off"}
        self.refuses = ""
        self.silent = False

    def answers(self, line: str) -> bytes | None:
        word, _, rest = line.partition(" ")
        if self.silent:
            return None
        if word == "get":
            return f"is {rest} {self.values[rest]}\n".encode()
        if word == "rows":
            return b"row a b more\n" if rest == "1" else b"row c end\n"
        if self.refuses:
            return f"no {self.refuses}\n".encode()
        name, _, value = rest.partition(" ")
        self.values[name] = value
        return b"ok\n"
