"""How are a journal's lines written by another hand than the daemon's, with all sums right?

A stored journal of several segments is one text here: a line `== name` stands before each segment's lines.
"""

import json
import zlib
from collections.abc import Callable, Mapping
from typing import Any, Final

from stagectl.control.journal_lines import GENESIS, chain_of, whole

MARK: Final = b"== "


def bundled(segments: Mapping[str, bytes]) -> bytes:
    """Segments as one text."""
    return b"".join(MARK + name.encode() + b"\n" + data for name, data in segments.items())


def unbundled(data: bytes) -> dict[str, bytes]:
    """The segments of a text; what stands before the first mark is a segment of its own."""
    found: dict[str, bytes] = {}
    name = "journal-00000001.log"
    for line in data.splitlines(keepends=True) if b"\r" not in data else _split(data):
        if line.startswith(MARK):
            name = line[len(MARK) :].strip().decode("utf-8", "replace")
            found.setdefault(name, b"")
        else:
            found[name] = found.get(name, b"") + line
    return found


def _split(data: bytes) -> list[bytes]:
    """Lines that end by LF alone, as the journal's do."""
    lines = [line + b"\n" for line in data.split(b"\n")]
    lines[-1] = lines[-1][:-1]
    return lines


def resealed(data: bytes, change: Callable[[dict[str, Any]], Any]) -> bytes:
    """The same journal with changed bodies and right sums. Lines that are no JSON stay as they are.

    Args:
        change: gets the fields of a line without its chain, gives what shall stand there.
    """
    made: list[bytes] = []
    chain = GENESIS
    now: dict[str, str] = {}  # which chain stands in an old one's place
    for line in _split(data):
        found = whole(line.rstrip(b"\n"))
        try:
            fields = json.loads(found[0]) if found else None
        except (ValueError, RecursionError):
            fields = None
        if found is None or not isinstance(fields, dict):
            made.append(line)
            continue
        body = json.dumps(change(fields), separators=(",", ":")).encode()
        if b'"journal"' in body[:12]:  # a head names the chain it goes on from
            chain = now.get(found[1], found[1])
        else:
            chain = now[found[1]] = chain_of(chain, body)
        chained = body[:-1] + f',"chain":"{chain}"}}'.encode()
        made.append(b"%08x %b\n" % (zlib.crc32(chained), chained))
    return b"".join(made)
