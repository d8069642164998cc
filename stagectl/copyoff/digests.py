"""Which hashes may stand in a media hash list, and how is each one written?

Source: ASC MHL specification 1.0, Appendix D, and its XML schema. The three of the xxHash family need the library
xxhash (the extra "hash"): seed 0, big-endian, lower-case hex.
"""

import hashlib
from importlib import import_module
from importlib.util import find_spec
from types import MappingProxyType
from typing import Final, Protocol

from stagectl.copyoff.c4 import C4, Block, c4_bytes

# how many bytes each has; in the order in which the schema wants them inside a hash element
FORMATS: Final = MappingProxyType({"c4": 64, "md5": 16, "sha1": 20, "xxh128": 16, "xxh3": 8, "xxh64": 8})
_XXHASH: Final = MappingProxyType({"xxh128": "xxh3_128", "xxh3": "xxh3_64", "xxh64": "xxh64"})


class Digest(Protocol):
    """A hash in the making."""

    def update(self, data: Block, /) -> None: ...

    def text(self) -> str:
        """As it is written in a list, of all that came so far."""


class _Hexadecimal(Protocol):
    def update(self, data: Block, /) -> None: ...

    def hexdigest(self) -> str: ...


class _Hex:
    def __init__(self, made: _Hexadecimal) -> None:
        self.update = made.update
        self.text = made.hexdigest


def digest(kind: str) -> Digest:
    """Begin a hash of this format.

    Raises:
        ValueError: no format of media hash lists.
        ImportError: one of the xxHash family, and xxhash is not installed.
    """
    match kind:
        case "c4":
            return C4()
        case "md5" | "sha1":
            return _Hex(hashlib.new(kind, usedforsecurity=False))
        case _ if kind in _XXHASH:
            return _Hex(getattr(import_module("xxhash"), _XXHASH[kind])())
    raise ValueError(f"{kind} is no hash of a media hash list")


def quickest() -> str:
    """The quickest format that this machine can reckon: xxh128, or md5 where xxhash is not installed."""
    return "xxh128" if find_spec("xxhash") is not None else "md5"


def digest_bytes(kind: str, text: str) -> bytes:
    """Read a written hash.

    Raises:
        ValueError: no hash of this format, or the format is none.
    """
    raw = c4_bytes(text) if kind == "c4" else bytes.fromhex(text)
    if len(raw) != FORMATS.get(kind):
        raise ValueError(f"this is no {kind}")
    return raw
