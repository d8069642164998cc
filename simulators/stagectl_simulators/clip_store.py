"""What does a recorder's clip store hold, and how is it set up? Files as a function of time, and the store's options.

Written from the clip-store sheet alone ("What a recorder's FTP usually is", common practice): one folder per slot, a
file per clip, anonymous or fixed login, few sessions, short idle time-out.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol, runtime_checkable

from stagectl_simulators.options import Options

BYTES_PER_S: Final = 100_000.0  # of a file; own choice, a thousandth of what a recorder writes, so that a demo is small
BLOCK_BYTES: Final = 65_536
SEEDED_BYTES: Final = 16  # at the start of each block: its place, so that no two blocks of a file are alike


@dataclass(frozen=True, slots=True)
class StoreSetup:
    """One store's properties."""

    port: int = 0  # 0: a free one
    user: str = ""  # "": anonymous
    password: str = ""
    sessions: int = 2  # at once; one more is answered 421 and closed
    idle_s: float = 60.0  # without a request until a session is closed; the sheet says 30 to 300 s
    bytes_per_s: float = BYTES_PER_S  # of a file
    folders: tuple[str, ...] = ("1", "2")  # of the slots, from the first on
    extension: str = ".mov"


def read_store(where: str, raw: dict[str, object] | None) -> StoreSetup | None:
    """Read the option `clip_store`; None: it is not given, so there is no store.

    Raises: ValueError: an option that is unknown or wrong, in one sentence.
    """
    if raw is None:
        return None
    usual = StoreSetup()
    options = Options(f"{where}, clip_store", raw)
    folders = options.items("folders")
    setup = StoreSetup(
        port=options.whole("port", usual.port, 0, 65535),
        user=options.text("user", usual.user),
        password=options.text("password", usual.password),
        sessions=options.whole("sessions", usual.sessions, 1, 16),
        idle_s=options.number("idle_s", usual.idle_s, 1, 3600),
        bytes_per_s=options.number("bytes_per_s", usual.bytes_per_s, 1),
        folders=usual.folders if folders is None else tuple(str(each) for each in folders),
        extension=options.text("extension", usual.extension),
    )
    options.done()
    names = {name.lower() for name in setup.folders}
    if len(names) != 2 or any("/" in name or name in {"", ".", ".."} for name in names):
        raise ValueError(f"{where}, clip_store: option 'folders' must name two folders, one per slot.")
    return setup


@dataclass(frozen=True, slots=True)
class StoredFile:
    """One clip as a file."""

    folder: str
    name: str  # with its extension
    identity: str  # what its bytes come from
    size: Callable[[float], int]  # bytes on the medium at a time, seconds since the start
    modified: Callable[[float], float]  # when it was written last, as seen at a time; both in seconds since the start

    @property
    def path(self) -> str:
        """As a client names it."""
        return f"/{self.folder}/{self.name}"


@runtime_checkable
class KeepsClips(Protocol):
    """A model whose clips can be fetched as files. A `Model` that lacks these two has no clip store."""

    @property
    def store(self) -> StoreSetup | None:
        """How the store is set up; None: it has none."""
        ...

    def shelf(self) -> tuple[StoredFile, ...]:
        """The files as they lie there now; the same tuple as long as nothing but time goes on."""
        ...


class Media:
    """The bytes of one clip: no picture, but the same ones each time, and other ones at each place of each clip.

    Nothing is kept but one block: a file may have any size.
    """

    def __init__(self, identity: str) -> None:
        self._block = random.Random(f"media {identity}").randbytes(BLOCK_BYTES) * 2

    def read(self, offset: int, count: int) -> bytes:
        """The `count` bytes from `offset` on."""
        parts, end = [], offset + count
        while offset < end:
            number, into = divmod(offset, BLOCK_BYTES)
            take = min(BLOCK_BYTES - into, end - offset)
            parts.append(self._whole(number)[into : into + take])
            offset += take
        return b"".join(parts)

    def _whole(self, number: int) -> bytes:
        turn = number * 40_503 % BLOCK_BYTES  # odd, so that blocks are turned differently for a long time
        head = number.to_bytes(SEEDED_BYTES, "big")
        return head + self._block[turn + SEEDED_BYTES : turn + BLOCK_BYTES]
