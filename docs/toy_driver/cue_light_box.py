"""Cue light box: two lamps and a label, driven over lines of words. A toy; its box stands beside it.

we say `get red`        it says `red on` or `red off`
we say `set red on`     it says `red on`, or `no` and why
                        it says `* red on` when somebody presses its own key
"""

from collections.abc import Collection, Sequence
from typing import Any, ClassVar, Final

from stagectl.driverkit import BoardWriter, BoxKind, Look, ProtocolError, RefusedError, Reply
from stagectl.model.capabilities.base import MODEL, Capability
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Set, Verb

LIGHT: Final[PointSpec[bool]] = PointSpec("light.{light}.on", bool, settable=True)
LABEL: Final[PointSpec[str]] = PointSpec("label", str, settable=True)
CUE_LIGHTS: Final = Capability("cue-lights", 1, (LIGHT, LABEL), ())

RED, GREEN = LIGHT.at("red"), LIGHT.at("green")
POINTS: Final[dict[str, PointSpec[Any]]] = {"model": MODEL, "label": LABEL, "red": RED, "green": GREEN}
WORDS: Final = {spec.name: word for word, spec in POINTS.items()}
ON_OFF: Final = {"on": True, "off": False}
MAX_LINE: Final = 200  # bytes without a line end; own choice, five times the longest label


class CueLightCodec:
    """Bytes in, lines out; lines in, bytes out."""

    def __init__(self) -> None:
        self._tail = b""

    def feed(self, data: bytes) -> list[str]:
        *lines, self._tail = (self._tail + data).split(b"\n")
        if max(map(len, (self._tail, *lines))) > MAX_LINE:
            raise ProtocolError("The cue light box sent a line that does not end. Look at what serves this port.")
        return [line.decode(errors="replace") for line in lines]

    def gap(self) -> list[str]:
        return []

    def encode(self, request: str) -> bytes:
        if not request.isprintable():
            raise ValueError("A label can't hold line ends or other control characters.")
        return f"{request}\n".encode()


def _wire(value: object) -> object:
    return ("off", "on")[value] if isinstance(value, bool) else value


class CueLightDriver:
    """One conversation with one box."""

    capability: ClassVar[Capability] = CUE_LIGHTS
    looks: ClassVar[tuple[Look, ...]] = (Look((LIGHT.name, LABEL.name), 2.0),)
    window: ClassVar[int] = 1
    reply_s: ClassVar[float] = 2.0
    beat_s: ClassVar[float] = 0.0
    gap_s: ClassVar[float] = 0.0

    def look(self, names: Collection[str] | None) -> Sequence[str]:
        return [f"get {WORDS[name]}" for name in (WORDS if names is None else names) if name in WORDS]

    def ask(self, verbs: Sequence[Verb]) -> Sequence[str]:
        for verb in verbs:
            if not isinstance(verb, Set) or not verb.point.settable or verb.point.name not in WORDS:
                raise RefusedError(f"A cue light box can't {verb.say()}: it has red, green and a label.")
        return [f"set {WORDS[one.point.name]} {_wire(one.value)}" for one in verbs if isinstance(one, Set)]

    def hear(self, event: str, board: BoardWriter, awaiting: str | None) -> Reply[str] | None:
        board.declare(*(spec for spec in POINTS.values() if not board.has(spec.name)))
        word, _, said = event.removeprefix("* ").partition(" ")
        if word == "no":
            return Reply(said or "the cue light box refused it and does not say why")
        if word not in POINTS:
            return None  # a line we don't know: the link counts it, nothing else
        if not event.startswith("* ") and awaiting is not None and awaiting.split(" ")[1] != word:
            raise ProtocolError(f'The cue light box answers "{event}" to "{awaiting}".')
        board.put(POINTS[word].name, said, ON_OFF.__getitem__ if POINTS[word].type is bool else None)
        return None if event.startswith("* ") else Reply()

    def beat(self, now_s: float) -> Sequence[str]:
        return []

    def reads(self, request: str) -> bool:
        return request.startswith("get ")


BOX: Final = BoxKind(
    name="cue-light-box",
    capability=CUE_LIGHTS,
    port=4010,
    make=lambda options: CueLightDriver(),
    codec=lambda options: CueLightCodec(),
    options={},
    about="A toy: two cue lights and a label.",
)
