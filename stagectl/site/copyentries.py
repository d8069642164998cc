"""What may a site say of copying off? Each recorder's clip store, the places clips are copied to, and when.

Plain data; `stagectl.site.copyoff` reads it from a file.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from typing import Final, Literal

NEWEST: Final = "newest day first"
OLDEST: Final = "oldest day first"
GOOD: Final = "good takes first"
USUAL_ORDER: Final = (NEWEST, GOOD)


@dataclass(frozen=True, slots=True)
class StoreEntry:
    """Where a recorder's clips are read over FTP.

    Attributes:
        host, port: of its store.
        login: file of the name in its first line and the password in its second; None: anonymous.
        folders: slot -> its folder in the store; none: each folder at its top, numbered by the figures at its end.
        sessions: how many connections it is asked for at once.
        while_recording: it may be read while it records; most recorders drop frames then.
        line: in the site file, from one.
    """

    host: str
    port: int
    login: Path | None = None
    folders: Mapping[int, str] = field(default_factory=dict)
    sessions: int = 1
    while_recording: bool = False
    line: int = 0


@dataclass(frozen=True, slots=True)
class TargetEntry:
    """A place that clips are copied to.

    Attributes:
        name: in sentences and reports.
        kind: what it is reached by.
        folder: the root of the tree; of a "folder" target a path of this machine, begun in the data folder unless it
            is absolute; of "s3" what stands before every name, or empty.
        keep_free: bytes that stay free there, of a "folder" and "sftp"; None: as copying off has it.
        mounted: of a "folder": it is the top of a mounted file system, and nothing is copied while it is not mounted.
        host, port: of "sftp".
        user: of "sftp".
        url, bucket, region: of "s3".
        key: of "sftp" the file of the private key; of "s3" the file of the access key's id and its secret, a line each.
        known_hosts: of "sftp" the file of the host keys that are believed.
        line: in the site file, from one.
    """

    name: str
    kind: Literal["folder", "sftp", "s3"]
    folder: str
    keep_free: int | None = None
    mounted: bool = False
    host: str = ""
    port: int = 0
    user: str = ""
    url: str = ""
    bucket: str = ""
    region: str = ""
    key: Path | None = None
    known_hosts: Path | None = None
    line: int = 0


@dataclass(frozen=True, slots=True)
class CopyEntry:
    """How clips are copied off.

    Attributes:
        targets: one or two; none: nothing is copied here.
        layout: where in a target a clip goes, with words in braces.
        order: which clips come first, the word that counts most in front: NEWEST or OLDEST, GOOD.
        rate_bps: most bytes a second in all; None: as fast as it goes.
        double_read: every source is read twice and compared, which takes twice as long.
        at: time of day, here, at which a run begins by itself; None: never.
        after_wrap_s: a run begins by itself so long after the last take, if none rolls; None: never.
        line: of `copy`, in the site file.
    """

    targets: tuple[TargetEntry, ...] = ()
    layout: str = "{recorder}/{clip}"
    order: tuple[str, ...] = USUAL_ORDER
    rate_bps: float | None = None
    double_read: bool = False
    at: time | None = None
    after_wrap_s: float | None = None
    line: int = 0
