"""Block router: which block is which router point, and which Set is which row of a block."""

from collections import deque
from collections.abc import Callable, Collection, Sequence
from typing import Any, ClassVar, Final, NamedTuple

from stagectl.driverkit.driver import Look, Reply
from stagectl.model.board import BoardWriter
from stagectl.model.capabilities.base import MODEL, SERIAL, VERSION, Capability
from stagectl.model.capabilities.router import (
    INPUT_NAME,
    INPUTS,
    OUTPUT_LOCK,
    OUTPUT_NAME,
    OUTPUT_SOURCE,
    OUTPUTS,
    PRESENT,
    ROUTER,
    Lock,
)
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Set, Verb
from stagectl_drivers.block_router.codec import (
    DEVICE_ENDING,
    INPUT_LABELS,
    LOCKS,
    OUTPUT_LABELS,
    PREAMBLE,
    ROUTING,
    Ack,
    Block,
    Change,
    Event,
    Nak,
    Ping,
    Query,
    Request,
)

MAX_PORTS: Final = 2048  # inputs or outputs; own choice, the largest matrix known has about half. More is a misreading.

EARLY: Final = 64  # answers kept for later; own choice, far more than can be open at once

LOCK_WORDS: Final = {"U": Lock.FREE, "O": Lock.OURS, "L": Lock.THEIRS}
LOCK_LETTERS: Final = {Lock.FREE: "U", Lock.OURS: "O"}  # never "F": another's lock belongs to somebody
PRESENT_WORDS: Final = {"true": True, "false": False, "needs_update": False}


def _whole(source: int | str) -> int:
    """Source number, counted from one by the codec. Raises ValueError: the wire said no number ("-1")."""
    if isinstance(source, str):
        raise ValueError(source)  # noqa: TRY004 - it is how a reader says "a code we don't know"
    return source


class Table(NamedTuple):
    """What the rows of one block are."""

    point: PointSpec[Any]
    of_input: bool
    read: Callable[[Any], Any] | None
    called: str  # in sentences


TABLES: Final = {
    INPUT_LABELS: Table(INPUT_NAME, True, None, "the input names"),
    OUTPUT_LABELS: Table(OUTPUT_NAME, False, None, "the output names"),
    LOCKS: Table(OUTPUT_LOCK, False, LOCK_WORDS.__getitem__, "the locks"),
    ROUTING: Table(OUTPUT_SOURCE, False, _whole, "the routes"),
}
BLOCK_OF: Final = {table.point.name: header for header, table in TABLES.items()}


def _count(text: str) -> int:
    """Number of inputs or outputs. Raises ValueError: no number, or more than any router has."""
    if not (text.isascii() and text.isdigit()) or len(text) > 5 or int(text) > MAX_PORTS:
        raise ValueError(text)
    return int(text)


# line of the device block -> (point, reader)
DEVICE_LINES: Final[dict[str, tuple[PointSpec[Any], Callable[[Any], Any] | None]]] = {
    "Device present": (PRESENT, PRESENT_WORDS.__getitem__),
    "Model name": (MODEL, None),
    "Unique ID": (SERIAL, None),
    "Video inputs": (INPUTS, _count),
    "Video outputs": (OUTPUTS, _count),
}


class BlockRouterDriver:
    """One conversation with one router."""

    capability: ClassVar[Capability] = ROUTER
    looks: ClassVar[tuple[Look, ...]] = (Look((OUTPUT_SOURCE.name,), 5.0),)  # names, locks, present: kept by notices
    window: ClassVar[int] = 1  # a read has two answers, ACK and block: the fewer are open, the less can be crossed
    reply_s: ClassVar[float] = 3.0  # own choice: a large router may still be sending its whole state
    beat_s: ClassVar[float] = 1.5  # own choice: a link silent for 2.5 s is not believed
    gap_s: ClassVar[float] = 0  # the end of an old router's prelude needs no guess: we ask for every block ourselves

    def __init__(self) -> None:
        self._device_header = ""  # learnt from the prelude: it holds the maker's word
        self._inputs: int | None = None  # None: not said yet
        self._outputs: int | None = None
        self._present: str = ""
        self._locks: dict[int, object] = {}
        self._granted: Query | None = None  # the read whose ACK came and whose block has not
        self._early: deque[Ack | Nak] = deque(
            maxlen=EARLY
        )  # came before that block: answers to what was asked behind it
        self._passed_over = False  # rows could not be kept, or may be old: ask for all with the next answer
        self._declared = False

    def look(self, names: Collection[str] | None) -> Sequence[Request]:
        """Header-only queries; the device block's only once its header is known, else a ping."""
        if names is None:
            tables: list[Request] = [Query(header) for header in TABLES]
            return [Query(self._device_header), *tables] if self._device_header else tables
        asked: dict[Request, None] = {}
        for name in names:
            kind, _, rest = name.partition(".")
            _, _, what = rest.partition(".")
            header = BLOCK_OF.get(f"{kind}.{{{kind}}}.{what}", self._device_header)
            asked[Query(header) if header else Ping()] = None
        return list(asked)

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Request]:
        """One block for all routes of the call (a salvo), likewise for names and locks.

        Raises:
            RefusedError: an input or output this router doesn't have, another's lock, or no Set.
        """
        blocks: dict[str, dict[int, int | str]] = {}
        for verb in verbs:
            if not isinstance(verb, Set):
                raise RefusedError(f"A router can't {verb.spec.name}: it has settings only.", code="verb")
            header, number, rest = self._row(verb.point, verb.value)
            blocks.setdefault(header, {})[number] = rest
        return [Change(header, tuple(rows.items())) for header, rows in blocks.items()]

    def hear(self, event: Event, board: BoardWriter, awaiting: Request | None) -> Reply[Request] | None:
        """Put a block's rows on the board. A write is answered by ACK or NAK, a read by the block behind its ACK.

        One ACK too many is let pass: it proves nothing, so a stray one can't lie.
        """
        if not self._declared:
            board.declare(PRESENT, INPUTS, OUTPUTS, MODEL, SERIAL, VERSION)
            self._declared = True
        reply = None
        if self._early and awaiting is not None and awaiting != self._granted:
            reply = self._answered(self._early.popleft(), awaiting)
        if isinstance(event, Block):
            self._block(event, board)
            if self._granted is not None and awaiting == self._granted and event.header == self._granted.header:
                self._granted = None
                reply = self._reply()
        elif isinstance(event, Ack | Nak) and awaiting is not None:
            if reply is not None or awaiting == self._granted:
                self._early.append(event)
            else:
                reply = self._answered(event, awaiting)
        return reply

    def beat(self, now_s: float) -> Sequence[Request]:
        """A ping: a router whose routes stand says nothing, and silence must be noticed."""
        return [Ping()]

    def reads(self, request: Request) -> bool:
        """Queries and pings change nothing."""
        return not isinstance(request, Change)

    def _row(self, point: PointSpec[Any], value: Any) -> tuple[str, int, int | str]:
        header = BLOCK_OF.get(point.template)
        if header is None:
            raise RefusedError(f"A router has no {point.name.replace('.', ' ')} to set.", code="point")
        kind, number_text, _ = point.name.split(".")
        count = self._inputs if kind == "input" else self._outputs
        number = _port(kind, number_text, count)
        value = point.check(value)
        if header == ROUTING:
            return header, number, _port("input", str(value), self._inputs)
        if header == LOCKS:
            return header, number, self._letter(number, value)
        return header, number, value

    def _letter(self, number: int, wanted: Lock) -> str:
        if wanted is Lock.THEIRS:
            raise RefusedError(f"output {number} lock can be free or ours; nobody locks for another.", code="value")
        if self._locks.get(number) == "L":
            raise RefusedError(
                f"output {number} is locked by somebody else, and a lock belongs to who took it.",
                remedy="Ask them to release it at their panel.",
                code="locked",
            )
        return LOCK_LETTERS[wanted]

    def _reply(self, no: str = "") -> Reply[Request]:
        if self._passed_over and self._outputs is not None and self._inputs is not None:
            self._passed_over = False
            return Reply(no, then=list(map(Query, TABLES)))
        return Reply(no)

    def _answered(self, answer: Ack | Nak, awaiting: Request) -> Reply[Request] | None:
        match awaiting, answer:
            case Query(), Ack():
                self._granted = awaiting
                return None
            case Query(header), Nak():
                return self._reply(f'the router does not show its block "{header}" (NAK). Look at its firmware.')
            case Change(header), Nak():
                return self._reply(
                    f"the router refused {TABLES[header].called} (NAK). Look whether it is locked at its front."
                )
        return self._reply()  # a NAK to a ping too: a router too old to know it is there all the same

    def _block(self, block: Block, board: BoardWriter) -> None:
        if (table := TABLES.get(block.header)) is not None:
            count = self._inputs if table.of_input else self._outputs
            if count is None:
                self._passed_over = True
                return
            for number, rest in block.rows:
                if number <= count:
                    board.put(table.point.at(number).name, rest, table.read)
                    if block.header == LOCKS:
                        self._locks[number] = rest
        elif block.header.endswith(DEVICE_ENDING):
            self._device(block, board)
        elif block.header == PREAMBLE:
            for line in block.lines:
                key, _, said = line.partition(": ")
                if key == "Version":
                    board.put(VERSION.name, said.strip())

    def _device(self, block: Block, board: BoardWriter) -> None:
        self._device_header = block.header
        for line in block.lines:
            key, _, said = line.partition(":")
            spec, read = DEVICE_LINES.get(key, (None, None))
            if spec is None:
                continue
            said = said.strip()
            board.put(spec.name, said, read)
            if spec is PRESENT:
                self._passed_over |= self._present not in ("", "true") and said == "true"
                self._present = said
            elif spec is INPUTS:
                self._inputs = self._grown(said, self._inputs, board, INPUT_NAME)
            elif spec is OUTPUTS:
                self._outputs = self._grown(said, self._outputs, board, OUTPUT_NAME, OUTPUT_SOURCE, OUTPUT_LOCK)

    def _grown(self, said: str, before: int | None, board: BoardWriter, *specs: PointSpec[Any]) -> int | None:
        """Declare what came in addition; a router that shrinks keeps its points, they turn stale."""
        try:
            count = _count(said)
        except ValueError:
            return before
        known = before or 0
        board.declare(*(spec.at(number) for spec in specs for number in range(known + 1, count + 1)))
        self._passed_over |= before is not None and count > before
        return count


def _port(kind: str, text: str, count: int | None) -> int:
    """Number of an input or output this router has, or RefusedError."""
    if count is None:
        raise RefusedError(
            f"The router has not said yet how many {kind}s it has. Ask again when it has been read.", code="unknown"
        )
    if not (text.isascii() and text.isdigit()) or len(text) > 5 or not 1 <= int(text) <= count:
        raise RefusedError(f"The router has no {kind} {text}: its {kind}s go from 1 to {count}.", code="range")
    return int(text)
