"""What is known of a copy that stands whole, verified, under its own name? What a manifest line is made of."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Published:
    """One verified copy at one target.

    Attributes:
        job: id of the job, 26 characters.
        target: name of the target.
        path: relative to the target's top.
        size: bytes.
        hash_kind: as `stagectl.copyoff.digests` calls it: "xxh128" or "md5".
        digest: lower-case hex, taken in flight and found again by reading back.
        mtime: of the source file, UTC as told; None: untold.
        started, verified, published: wall time, UTC: first byte, end of the read-back, name given.
        recorder, called: device id, and what people call it.
        slot: from one; 0: not known.
        source: path in the recorder's store.
        take: number; None: no take is known to hold the clip.
        slate: name of the take; empty: none known.
        good: the take is rated good.
    """

    job: str
    target: str
    path: str
    size: int
    hash_kind: str
    digest: str
    mtime: datetime | None
    started: datetime
    verified: datetime
    published: datetime
    recorder: str
    called: str
    slot: int
    source: str
    take: int | None = None
    slate: str = ""
    good: bool = False
