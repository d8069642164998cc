"""What did earlier starts leave beside lines? Files that may not be safe yet, and the count of the starts.

The count stands in a file's name, since a disk that is full, and takes no line of a start, still lets us rename.
"""

import asyncio
import re
from collections.abc import Sequence
from contextlib import suppress
from typing import Final

from stagectl.control.journal_replay import segment_name, segment_numbers
from stagectl.model.world import Storage

NEWEST: Final = 16  # segments made safe at a start: as many starts in a row may have died before their first sync
_MARK: Final = re.compile(r"journal\.epoch-([0-9]{1,12})")


def marked(storage: Storage) -> int:
    """The newest epoch that a start has marked; 0: none, or the folder can't be read."""
    try:
        return max((int(match[1]) for name in storage.names() if (match := _MARK.fullmatch(name))), default=0)
    except OSError:
        return 0


def segments(storage: Storage) -> list[int]:
    """Numbers of the segments of earlier starts; empty if the folder can't be read."""
    try:
        return segment_numbers(storage)
    except OSError:
        return []


def mark(storage: Storage, epoch: int) -> None:
    """Mark this start's epoch. A disk that refuses even that is told by the journal's own lines."""
    with suppress(OSError):
        before = [name for name in storage.names() if _MARK.fullmatch(name)]
        name = f"journal.epoch-{epoch}"
        if before:
            storage.rename(before[-1], name)
        else:
            storage.append_to(name).close()
        for old in before[:-1]:
            storage.remove(old)


async def make_safe(storage: Storage, numbers: Sequence[int], within_s: float) -> bool:
    """Make what killed daemons wrote, and all names, survive a power cut: they may have died before their sync.

    Returns: False: the disk refused, or did not answer in time; what was read may yet be lost.
    """
    syncs = [asyncio.ensure_future(_sync(storage, segment_name(number))) for number in numbers[-NEWEST:]]
    syncs.append(asyncio.ensure_future(storage.sync_names()))
    done, late = await asyncio.wait(syncs, timeout=within_s)
    for sync in late:
        sync.add_done_callback(lambda late: late.cancelled() or late.exception())
    refused = [sync for sync in done if sync.exception() is not None]  # looked at in each, or it is told as unfetched
    return not late and not refused


async def _sync(storage: Storage, name: str) -> None:
    file = storage.append_to(name)
    try:
        await file.sync()
    finally:
        file.close()
