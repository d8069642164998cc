"""Do the three codecs and their drivers survive whatever a box, or something else at its address, may send?"""

import json
import random
import zlib
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from stagectl.driverkit.conformance.claims import misfit
from stagectl.driverkit.conformance.report import ClaimError
from stagectl.driverkit.driver import BoxKind
from stagectl.inlets.http.point_text import PointText
from stagectl.model.board import Board
from stagectl.model.errors import ProtocolError
from stagectl.model.points import Quality, Reading
from stagectl_drivers import block_router, mixer_text, text_deck
from tests.fuzz.target import Outcome, SlipError, Target
from tests.vectors import block_router as router_rows
from tests.vectors import mixer_text as mixer_rows
from tests.vectors import text_deck as deck_rows

NAME: Final = "box"
READ_BYTES: Final = 2048  # what the kit's link reads in one turn
BOXES: Final[tuple[tuple[BoxKind, Sequence[Any], Mapping[str, str]], ...]] = (
    (text_deck.BOX, deck_rows.FEED, {}),
    (block_router.BOX, router_rows.FEED, {}),
    (mixer_text.BOX, mixer_rows.FEED, {"strips": "2", "buses": "2"}),  # small, so that an input takes no time
)
TOP: Final = 10_000  # inputs of a router, ids and the like; above any box


class Still:
    """A clock for boards whose times nobody looks at."""

    def __init__(self) -> None:
        self._now = 0.0

    def now(self) -> float:
        self._now += 1.0
        return self._now

    def wall(self) -> datetime:
        return datetime.fromtimestamp(self._now, UTC)

    def later(self, at: float, do: Callable[[], None]) -> Any:
        raise SlipError("a driver set a timer")


def codec_target(kind: BoxKind, rows: Sequence[Any]) -> Target:
    """Its codec alone: any split gives the same events, and over a limit is the only error."""

    def attempt(data: bytes) -> Outcome:
        # longer than a few turns of the link is told by turns alone, as the kit feeds it: no turn is longer
        long = len(data) > 4 * READ_BYTES
        whole = _fed(kind, data, [READ_BYTES if long else len(data)])
        chance = random.Random(zlib.crc32(data))
        tiny = [[1], [2, 3, 7]] if len(data) < READ_BYTES else []  # a byte at a time is told by short inputs
        short = (*tiny, [chance.randint(1, 64) for _ in range(9)], [READ_BYTES])
        for sizes in ([chance.randint(1, READ_BYTES) for _ in range(9)],) if long else short:
            split = _fed(kind, data, sizes)
            if whole is None:
                if split is not None:
                    raise SlipError(f"over a limit in one piece, not in pieces of {sizes}")
            elif split != whole:
                raise SlipError(f"in pieces of {sizes} the events are others")
        if whole is None:
            return ("refused", "limit")
        return ("read", *sorted({text.partition("(")[0] for text in whole}))

    return Target(
        f"{kind.name}-codec",
        f"{kind.name}: bytes from the box",
        attempt,
        "lines",
        _words(rows),
        [row[1] for row in rows],
    )


def _fed(kind: BoxKind, data: bytes, sizes: Sequence[int]) -> list[str] | None:
    """Every event as text; None: a limit was passed."""
    codec: Any = kind.codec({})
    events: list[str] = []
    at = number = 0
    try:
        while at < len(data):
            size = sizes[number % len(sizes)]
            events += map(repr, codec.feed(data[at : at + size]))
            at, number = at + size, number + 1
        events += map(repr, codec.gap())
    except ProtocolError:
        return None
    return events


def driver_target(kind: BoxKind, rows: Sequence[Any], options: Mapping[str, str]) -> Target:
    """Its driver over what the codec made of it, with the first full look's questions open.

    What it puts on the board is of its point's type and can be told to every client; what it asks on is a read.
    """

    known: set[Any] = set()  # requests that were looked at

    def attempt(data: bytes) -> Outcome:
        board = Board(Still())
        writer = board.writer(NAME)
        driver: Any = kind.make(options)
        codec: Any = kind.codec(options)
        questions: list[Any] = list(driver.look(None))
        ended = "read"
        try:
            for at in range(0, len(data), READ_BYTES):
                for event in codec.feed(data[at : at + READ_BYTES]):
                    writer.gather()
                    reply = driver.hear(event, writer, questions[0] if questions else None)
                    writer.commit(1.0, 2.0)
                    if reply is None or not questions:
                        continue
                    questions.pop(0)
                    _reads_alone(driver, codec, reply.then, known)
                    questions += list(reply.then)[: 512 - len(questions)]
        except ProtocolError:
            ended = "refused"
        told = _told(board)
        _reads_alone(driver, codec, driver.look(None), known)
        _reads_alone(driver, codec, driver.look(list(board.points(NAME))[:40]), known)
        return (ended, *sorted(told))

    return Target(
        f"{kind.name}-driver",
        f"{kind.name}: what its driver makes of them",
        attempt,
        "lines",
        _words(rows),
        [row[1] for row in rows],
    )


def _reads_alone(driver: Any, codec: Any, requests: Sequence[Any], known: set[Any]) -> None:
    for request in requests:
        if request in known:
            continue
        if len(known) < TOP:
            known.add(request)
        if not driver.reads(request):
            raise SlipError(f"what a box said made it ask {request!r}, which is no read")
        codec.encode(request)


def _told(board: Board) -> set[str]:
    """Which kinds of point are good, and that each can be told. Raises SlipError."""
    text = PointText(board.clock)
    kinds: set[str] = set()
    points = [one for one in board.points(NAME).values() if one.quality is not Quality.UNKNOWN]
    if len(points) > TOP:
        raise SlipError(f"a box made {len(points)} points")
    for reading in points:
        _fits(reading)
        if json.loads(text.write(reading).encode())["name"] != reading.name:
            raise SlipError(f"{reading.name} is told under another name")
        kinds.add(reading.spec.template or reading.name)
    return kinds


def _fits(reading: Reading[Any]) -> None:
    try:
        misfit(reading, exact=False)
    except ClaimError as wrong:
        raise SlipError(str(wrong)) from wrong


def _words(rows: Sequence[Any]) -> list[bytes]:
    """The words and heads of a wire, from its rows."""
    found: dict[bytes, None] = {}
    for row in rows:
        for line in row[1].splitlines():
            found[line.strip()] = None
            for word in line.replace(b":", b" ").split():
                found[word] = None
    return [word for word in found if word]


TARGETS: Final = [
    *(codec_target(kind, rows) for kind, rows, _ in BOXES),
    *(driver_target(kind, rows, options) for kind, rows, options in BOXES),
]
