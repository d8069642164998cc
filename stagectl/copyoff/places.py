"""Which kinds of places can clips be copied to, and how is each one opened?"""

from functools import partial
from pathlib import Path

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.keys import private_key, two_lines
from stagectl.copyoff.plan import RESERVE_BYTES
from stagectl.copyoff.s3 import S3, Bucket, Uploads
from stagectl.copyoff.sftp import Account, Sftp
from stagectl.copyoff.target import Place, Target
from stagectl.site import TargetEntry


def place_of(entry: TargetEntry, data: Path) -> Place:
    """A place as the site file has it.

    Nothing is connected, and no library loaded, before it is opened. Keys are read anew each time, so they may change.

    Args:
        entry: of the site file.
        data: the folder of journal and state, where a relative folder begins.
    """
    free = RESERVE_BYTES if entry.keep_free is None else entry.keep_free
    match entry.kind:
        case "folder":
            top = data / entry.folder  # an absolute path stays itself
            ours = not Path(entry.folder).is_absolute()
            return Place(entry.name, str(top), partial(_folder, entry, top, make=ours), free)
        case "sftp":
            called = f"{entry.user}@{entry.host}:{entry.folder}"
            return Place(entry.name, called, partial(_sftp, entry), free)
        case "s3":
            called = "/".join(part for part in (entry.url, entry.bucket, entry.folder) if part)
            return Place(entry.name, called, partial(_s3, entry, Uploads()), free)


def _folder(entry: TargetEntry, top: Path, *, make: bool) -> Target:
    if make:
        top.mkdir(mode=0o755, parents=True, exist_ok=True)
    return Folder(entry.name, top, mounted=entry.mounted)


def _sftp(entry: TargetEntry) -> Target:
    assert entry.key is not None
    assert entry.known_hosts is not None
    account = Account(entry.host, entry.port, entry.user, entry.folder, entry.known_hosts)
    try:
        key = private_key(entry.key, f"the private key for {entry.name}")
    except CopyError as error:
        raise CopyError(Reason.TARGET, str(error)) from error
    return Sftp(entry.name, account, key)


def _s3(entry: TargetEntry, uploads: Uploads) -> Target:
    assert entry.key is not None
    bucket = Bucket(entry.url, entry.bucket, entry.folder, entry.region)
    try:
        key_id, secret = two_lines(entry.key, f"the access key for {entry.name}")
    except CopyError as error:
        raise CopyError(Reason.TARGET, str(error)) from error
    return S3(entry.name, bucket, (key_id, secret), uploads)
