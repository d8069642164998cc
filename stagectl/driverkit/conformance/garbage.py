"""What does every driver promise of bytes that no box should send? Noise, endless lines, floods, damaged words."""

import gc
import re
import tracemalloc
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from typing import Any, Final, Self

from stagectl.driverkit.conformance.bench import Bench
from stagectl.driverkit.conformance.claims import misfit
from stagectl.driverkit.conformance.report import ClaimError, NotAskedError
from stagectl.driverkit.conformance.session import NAME
from stagectl.model.board import Board
from stagectl.model.errors import ProtocolError
from stagectl.model.points import Quality, Reading
from stagectl.model.world import Handle

NOISE: Final = bytes((i * i * 7 + i * 73 + 41) % 256 for i in range(4096)) + bytes(range(256))
NOISES: Final = (
    *(b"zzz unheard of 1\n", b"zzz: 7\r\n\r\n", b"\n", b"\r\n" * 2048, b"\n" * 4096, bytes(4096), b"\xff" * 4096),
    *(b"\n".join(NOISE[at : at + 16].translate(None, b"\n") for at in range(0, 2048, 16)) + b"\n\n", NOISE),
)
ENDLESS_BYTES: Final = 8 << 20  # a codec that swallows so much without a word keeps it, or would
FLOOD_BYTES: Final = 3 << 19
GROWTH_BYTES: Final = 1 << 20  # the limit on what noise may leave in memory
SPLITS: Final = (1, 2, 3, 7, 64, 1000)
WORDS: Final = 200  # words of the first full look that are damaged, one at a time
FLIPS: Final = 200
SHOWN: Final = 60  # characters of a culprit in a sentence


async def noise_is_survived(bench: Bench) -> str:
    """Binary noise raises nothing but ProtocolError; the box is read again and says what it said."""
    for noise in NOISES:
        await bench.say(noise)
    session = await bench.anew()  # what noise had put is read again
    return f"{session.box.counts.losses} links ended so far; {await bench.agree(session)}"


async def an_endless_line_is_ended(bench: Bench) -> str:
    """A line without end is cut off at a limit; memory stays bounded, and the box comes back."""
    await bench.session()
    with _Growth() as growth:
        piece, sent = b"A" * (1 << 16), 0
        going = True
        while going and sent < ENDLESS_BYTES:
            going = await bench.say(piece)
            sent += len(piece)
        grown = growth.now()
    if grown > GROWTH_BYTES:
        raise ClaimError(f"{sent} bytes without a line end left {grown} bytes in memory")
    session = await bench.anew()
    return f"ended after at most {sent} bytes, {grown} bytes kept; {await bench.agree(session)}"


async def a_flood_leaves_nothing(bench: Bench) -> str:
    """A flood of what comes unasked leaves less than 1 MB in memory, and the box is read as before."""
    await bench.session()
    # once each, so that what a notice may rightly leave (a new point) is there before the counting begins
    kinds = bench.unasked(50)
    await bench.say(b"".join(kinds))
    block = b"".join(kinds)
    block *= max(1, (1 << 15) // len(block))
    with _Growth() as growth:
        sent = 0
        while sent < FLOOD_BYTES:
            await bench.say(block)
            sent += len(block)
        grown = growth.now()
    if grown > GROWTH_BYTES:
        raise ClaimError(f"{sent} bytes of notices left {grown} bytes in memory")
    session = await bench.anew()
    what = f"{len(kinds)} kinds of notice" if bench.notices else "unheard lines, no notice was seen"
    return f"{sent} bytes ({what}), {grown} bytes kept; {await bench.agree(session)}"


class _Growth:
    """Bytes of Python's memory since it began."""

    def __enter__(self) -> Self:
        self._ours = not tracemalloc.is_tracing()
        if self._ours:
            tracemalloc.start()
        gc.collect()
        self._before = tracemalloc.get_traced_memory()[0]
        return self

    def __exit__(self, *_: object) -> None:
        if self._ours:
            tracemalloc.stop()

    def now(self) -> int:
        """How many more than at the beginning; what can be freed is."""
        gc.collect()
        return max(0, tracemalloc.get_traced_memory()[0] - self._before)


async def any_split_gives_the_same_events(bench: Bench) -> str:
    """The stream of the first full look gives the same events however it is split."""
    stream = _stream(bench)
    whole = [repr(event) for event in bench.kind.codec(bench.options).feed(stream)]
    for size in SPLITS:
        codec = bench.kind.codec(bench.options)
        split = [repr(event) for at in range(0, len(stream), size) for event in codec.feed(stream[at : at + size])]
        if split != whole:
            at = next((i for i, (a, b) in enumerate(zip(split, whole, strict=False)) if a != b), len(whole))
            raise ClaimError(f"in pieces of {size} bytes event {at + 1} is another one than in one piece")
    return f"{len(whole)} events of {len(stream)} bytes, {len(SPLITS)} sizes"


async def a_word_it_lacks_is_unknown(bench: Bench) -> str:
    """A word or number that no table has makes its point unknown: never an exception, another type, or a guess."""
    stream = _stream(bench)
    right = _replay(bench, stream, "nothing damaged")
    words = list(dict.fromkeys(re.findall(rb"[A-Za-z][A-Za-z_-]+", stream)))[:WORDS]
    numbers = list(dict.fromkeys(re.findall(rb"(?<![0-9A-Za-z])[0-9]+(?![0-9A-Za-z])", stream)))[:WORDS]
    for word in words:
        damaged = re.sub(rb"\b" + re.escape(word) + rb"\b", b"zzzunheard", stream)
        for name, (reading, _) in _replay(bench, damaged, f"{word!r} made a word unheard of").items():
            known = right.get(name)
            if reading.quality is Quality.GOOD and reading.spec.type is not str and known and reading.value != known[1]:
                raise ClaimError(f"{word!r} made a word unheard of: {name} is {reading.value!r}, which is a guess")
    for number in numbers:
        for other in (b"99999999999999999999", b"-1", b"x", b""):
            damaged = re.sub(rb"(?<![0-9A-Za-z])" + number + rb"(?![0-9A-Za-z])", other, stream)
            _replay(bench, damaged, f"{number!r} made {other!r}")
    return f"{len(words)} words and {len(numbers)} numbers damaged"


async def damaged_bytes_are_no_slip(bench: Bench) -> str:
    """The same stream with single bytes damaged raises nothing but ProtocolError, and no value is of another type."""
    stream = _stream(bench)
    for number in range(FLIPS):
        at, mask = number * 7919 % len(stream), 1 << number % 8
        damaged = stream[:at] + bytes([stream[at] ^ mask]) + stream[at + 1 :]
        _replay(bench, damaged, f"byte {at + 1} damaged")
    for at in range(0, len(NOISE), 64):
        _replay(bench, NOISE[at : at + 64] + stream, "noise before the first answer")
    return f"{FLIPS} bytes damaged"


def _stream(bench: Bench) -> bytes:
    if not bench.stream:
        raise NotAskedError("the box said nothing")
    return bench.stream


def _replay(bench: Bench, stream: bytes, how: str) -> dict[str, tuple[Reading[Any], object]]:
    """Let a driver of its own hear a stream, with the questions of the first full look open.

    Returns: its points and their values.
    Raises: ClaimError: it raised something else than ProtocolError, or put a value of another type.
    """
    board = Board(_Standing())
    writer = board.writer(NAME)
    driver: Any = bench.kind.make(bench.options)
    codec: Any = bench.kind.codec(bench.options)
    driver.look(None)
    questions = [request for request, _ in bench.seen]
    try:
        for event in _events(codec, stream):
            reply = driver.hear(event, writer, questions[0] if questions else None)
            if reply is not None and questions:
                questions.pop(0)
    except ProtocolError:
        pass
    except Exception as error:
        raise ClaimError(f"{how}: the driver raised {type(error).__name__}: {str(error)[:SHOWN]}") from error
    for reading in board.points(NAME).values():
        try:
            misfit(reading, exact=False)
        except ClaimError as wrong:
            raise ClaimError(f"{how}: {wrong}") from wrong
    return {name: (reading, reading.value) for name, reading in board.points(NAME).items()}


def _events(codec: Any, stream: bytes) -> Iterator[Any]:
    for at in range(0, len(stream), 512):
        events: Sequence[Any] = codec.feed(stream[at : at + 512])
        yield from events


class _Standing:
    """A clock for a board whose times nobody looks at."""

    def __init__(self) -> None:
        self._now = 0.0

    def now(self) -> float:
        self._now += 1.0
        return self._now

    def wall(self) -> datetime:
        return datetime.fromtimestamp(self._now, UTC)

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        raise ClaimError("a driver set a timer")
