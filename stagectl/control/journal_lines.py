"""How does one line of the journal look, and is a given line whole?

A line is `crc32 of the body, 8 hex digits` `space` `body, JSON` `line end`. Two bodies exist:

- head, the first line of each segment: `{"journal":1,"segment":7,"epoch":3,"first":120,"wall":...,"chain":"..."}`;
- record: `{"n":120,"wall":...,"mono":...,"kind":...,"who":...,"data":{...},"chain":"..."}`.

`chain` ends each body. A record's is BLAKE2b-128 over the chain before it and its own body without chain, so that no
line can be taken out, put in or changed without the next one showing it. A head's is the chain its first record goes on
from. Own format; the CRC finds torn and flipped lines, the chain finds hands.
"""

import json
import zlib
from dataclasses import dataclass
from datetime import datetime
from hashlib import blake2b
from typing import Any, Final

VERSION: Final = 1
GENESIS: Final = "0" * 32  # the chain before the first record of all
MAX_LINE: Final = 256 * 1024  # bytes of data in one record; a set-up of 1,000 points takes 100 kB; own choice

# what reading the data of a record may raise that is whole and makes no sense: another version or a hand wrote it
SENSELESS: Final = (AttributeError, KeyError, OverflowError, TypeError, ValueError)

_TAIL: Final = len(f',"chain":"{GENESIS}"}}')


@dataclass(frozen=True, slots=True)
class Record:
    """One record, read back.

    Attributes:
        n: number, from one, growing by one; a jump is damage that the report names.
        wall: UTC wall time of writing, for people only.
        mono: the clock's monotonic seconds at writing; comparable only within one epoch.
        kind, who: what it is about and who did it.
        data: the rest.
        chain: 32 hex digits.
        epoch: the start of the daemon that wrote it, from one.
    """

    n: int
    wall: datetime
    mono: float
    kind: str
    who: str
    data: dict[str, Any]
    chain: str
    epoch: int


@dataclass(frozen=True, slots=True)
class Head:
    """The first line of a segment. `version` above ours means: hands off."""

    version: int
    segment: int
    epoch: int
    first: int
    chain: str


def head_line(segment: int, epoch: int, first: int, wall: datetime, chain: str) -> bytes:
    fields = {"journal": VERSION, "segment": segment, "epoch": epoch, "first": first, "wall": wall.isoformat()}
    return _line(_json(fields), chain)


def record_line(
    n: int, kind: str, who: str, data: dict[str, Any], *, wall: datetime, mono: float, before: str
) -> tuple[bytes, str]:
    """Write a record that follows the chain `before`.

    Data that JSON can't hold is written as text: a record must never be lost to its own content.

    Returns: line and chain.
    """
    fields = {"n": n, "wall": wall.isoformat(), "mono": round(mono, 6), "kind": kind, "who": who, "data": data}
    try:
        body = _json(fields)
    except (TypeError, ValueError, RecursionError):
        body = _json({**fields, "data": {"unwritable": ascii(data)[:MAX_LINE]}})
    if len(body) > MAX_LINE + 1024:
        body = _json({**fields, "data": {"too long": len(body), "start": body[: MAX_LINE // 8].decode("ascii")}})
    chain = chain_of(before, body)
    return _line(body, chain), chain


def chain_of(before: str, body: bytes) -> str:
    """Return the chain after a body without its own chain."""
    return blake2b(before.encode() + body, digest_size=16).hexdigest()


def whole(line: bytes) -> tuple[bytes, str] | None:
    """Return body without chain, and chain, of a line without its line end; None if it is torn or flipped."""
    if len(line) < 9 + _TAIL or line[8:9] != b" ":
        return None
    body = line[9:]
    if b"%08x" % zlib.crc32(body) != line[:8]:
        return None
    return body[:-_TAIL] + b"}", body[-34:-2].decode("ascii", "replace")


def read_head(body: bytes, chain: str) -> Head | None:
    """Read a head's body as `whole` gives it; None if it is none."""
    try:
        fields = json.loads(body)
        return Head(int(fields["journal"]), int(fields["segment"]), int(fields["epoch"]), int(fields["first"]), chain)
    except (KeyError, OverflowError, RecursionError, TypeError, ValueError):
        return None


def number_of(body: bytes) -> int | None:
    """Return a record's number without reading the rest; None if it is no record."""
    comma = body.find(b",", 5, 25)
    if body[:5] != b'{"n":' or comma < 0 or not body[5:comma].isdigit():
        return None
    return int(body[5:comma])


def read_record(body: bytes, chain: str, epoch: int) -> Record:
    """Read a record's body as `whole` gives it.

    Raises:
        ValueError: it is no record of ours, though its sums are right.
    """
    try:
        fields = json.loads(body)
        return Record(
            n=int(fields["n"]),
            wall=datetime.fromisoformat(fields["wall"]),
            mono=float(fields["mono"]),
            kind=str(fields["kind"]),
            who=str(fields["who"]),
            data=dict(fields["data"]),
            chain=chain,
            epoch=epoch,
        )
    except (KeyError, OverflowError, RecursionError, TypeError) as error:
        raise ValueError(f"no record: {error}") from error


def _json(fields: dict[str, Any]) -> bytes:
    return json.dumps(fields, separators=(",", ":"), allow_nan=False, default=str).encode("ascii")


def _line(body: bytes, chain: str) -> bytes:
    chained = body[:-1] + f',"chain":"{chain}"}}'.encode("ascii")
    return b"%08x %b\n" % (zlib.crc32(chained), chained)
