"""How are manifest and chain of a media hash list written? Entries in, XML out, piece by piece; no file, no clock.

Source: ASC MHL specification 1.0 sections 5 and 6, and its schemas of namespace v2.0, whose order of elements stands.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from stagectl.copyoff.digests import FORMATS

MANIFEST: Final = "urn:ASC:MHL:v2.0"
CHAIN: Final = "urn:ASC:MHL:DIRECTORY:v2.0"
OURS: Final = "urn:stagectl:copy-off:1"  # what we add to a file's entry: recorder, slot, clip, take, slate, job
_DECLARATION: Final = '<?xml version="1.0" encoding="UTF-8"?>\n'
# what no XML 1.0 document may hold, however it is written
_UNWRITABLE: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Hash:
    """One hash of a file.

    Attributes:
        kind: a word of `digests.FORMATS`, or one that we don't know.
        text: as it is written.
        action: original, verified or failed.
        at: when it was reckoned, UTC.
    """

    kind: str
    text: str
    action: str = "original"
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class FileEntry:
    """A file in a manifest.

    Attributes:
        path: from the folder that the history is of, parts joined by "/".
        size: bytes; None: not said. The reference tool leaves it out for empty files.
        previous: the path it had before; empty: this one.
        ours: what we know of where it came from; not read back.
    """

    path: str
    hashes: tuple[Hash, ...]
    size: int | None = None
    modified: datetime | None = None
    previous: str = ""
    ours: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Reference:
    """A manifest of a history further down.

    Attributes:
        path: of its file, from the folder of the outer history.
        c4: of its bytes.
    """

    path: str
    c4: str


@dataclass(frozen=True, slots=True)
class Ignored:
    """A pattern of names that the history leaves out, a line as in a gitignore file."""

    pattern: str


@dataclass(frozen=True, slots=True)
class Head:
    """What stands before the entries.

    Attributes:
        made: when it was written, UTC.
        process: in-place, transfer or flatten.
    """

    made: datetime
    host: str
    tool: str
    version: str
    process: str = "transfer"
    comment: str = ""
    ignore: tuple[str, ...] = ()


Entry = FileEntry | Reference | Ignored


@dataclass(frozen=True, slots=True)
class Generation:
    """A line of the chain: the manifest of one generation.

    Attributes:
        number: from 1, without gaps.
        name: of the manifest's file, in the folder of the chain.
        kind: format of the hash; c4 says the specification.
        text: hash of the manifest's bytes.
    """

    number: int
    name: str
    kind: str
    text: str


def write_manifest(head: Head, entries: Iterable[FileEntry]) -> Iterator[bytes]:
    """Write a manifest, piece by piece; one entry or more.

    Raises:
        ValueError: a text holds a sign that no XML document may hold.
    """
    yield _head(head)
    yield b"  <hashes>\n"
    yield from map(_file, entries)
    yield b"  </hashes>\n</hashlist>\n"


def write_chain(generations: Iterable[Generation]) -> bytes:
    """Write a chain file."""
    rows = "".join(
        f'  <hashlist sequencenr="{one.number}">\n    <path>{_text(one.name)}</path>\n'
        f"    <{one.kind}>{one.text}</{one.kind}>\n  </hashlist>\n"
        for one in generations
    )
    return f'{_DECLARATION}<ascmhldirectory xmlns="{CHAIN}">\n{rows}</ascmhldirectory>\n'.encode()


def _head(head: Head) -> bytes:
    comment = f"    <comment>{_text(head.comment)}</comment>\n" if head.comment else ""
    patterns = "".join(f"      <pattern>{_text(pattern)}</pattern>\n" for pattern in head.ignore)
    ignore = f"    <ignore>\n{patterns}    </ignore>\n" if patterns else ""
    return (
        f'{_DECLARATION}<hashlist version="2.0" xmlns="{MANIFEST}">\n  <creatorinfo>\n'
        f"    <creationdate>{_date(head.made)}</creationdate>\n    <hostname>{_text(head.host)}</hostname>\n"
        f"    <tool version={_quoted(head.version)}>{_text(head.tool)}</tool>\n{comment}  </creatorinfo>\n"
        f"  <processinfo>\n    <process>{head.process}</process>\n{ignore}  </processinfo>\n"
    ).encode()


def _file(entry: FileEntry) -> bytes:
    size = f' size="{entry.size}"' if entry.size is not None else ""
    modified = f' lastmodificationdate="{_date(entry.modified)}"' if entry.modified is not None else ""
    order = list(FORMATS)
    hashes = "".join(
        f'      <{one.kind} action="{one.action}"{_hashed(one.at)}>{one.text}</{one.kind}>\n'
        for one in sorted(entry.hashes, key=lambda one: order.index(one.kind))
    )
    previous = f"      <previousPath>{_text(entry.previous)}</previousPath>\n" if entry.previous else ""
    facts = "".join(f" {name}={_quoted(value)}" for name, value in entry.ours.items() if value)
    ours = f'      <metadata><copied xmlns="{OURS}"{facts}/></metadata>\n' if facts else ""
    return (
        f"    <hash>\n      <path{size}{modified}>{_text(entry.path)}</path>\n{hashes}{previous}{ours}    </hash>\n"
    ).encode()


def _hashed(at: datetime | None) -> str:
    return f' hashdate="{_date(at)}"' if at is not None else ""


def _date(at: datetime) -> str:
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _text(text: str) -> str:
    return escape(_writable(text), {"\r": "&#13;"})


def _quoted(text: str) -> str:
    return quoteattr(_writable(text))


def _writable(text: str) -> str:
    if _UNWRITABLE.search(text):
        raise ValueError(f"{text!a} holds a sign that no XML document may hold")
    return text
