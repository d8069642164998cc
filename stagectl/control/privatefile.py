"""How is a small file of secrets read and written? For its owner alone, and whole or not at all."""

import json
from collections.abc import Mapping
from typing import Any, Final

from stagectl.model.errors import SiteError
from stagectl.model.world import Storage

MOST_BYTES: Final = 4 << 20  # own choice: some ten thousand tokens


def read(storage: Storage, name: str) -> bytes | None:
    """What is in it; None: there is no such file.

    Raises:
        SiteError: others can read or change it, it is larger than it ever gets, or the disk refuses.
    """
    try:
        data = storage.read(name)  # first, and no list of names: it is looked for all the time, and mostly not there
        if why := storage.exposure(name):
            raise SiteError(f"{name} in the data folder {why}. Whoever is there could become anybody here.")
    except FileNotFoundError:
        return None
    except OSError as error:
        raise SiteError(f"{name} in the data folder can't be read: {error.strerror or error}.") from error
    if len(data) > MOST_BYTES:
        raise SiteError(f"{name} in the data folder is larger than {MOST_BYTES >> 20} MiB, so it is none of ours.")
    return data


def parsed(name: str, data: bytes) -> Mapping[str, Any]:
    """Its JSON object. Raises SiteError: it is none, or of another version."""
    try:
        found = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise _broken(name) from error
    if not isinstance(found, dict) or found.get("v") != 1:
        raise _broken(name)
    return found


def _broken(name: str) -> SiteError:
    return SiteError(f"{name} in the data folder is not what stagectl wrote. Put back a copy from before.")


async def write(storage: Storage, name: str, content: Mapping[str, Any]) -> None:
    """Put `content` there, safe on disk when it returns; what was there before stays until then. Raises OSError."""
    fresh = f"{name}.new"
    if fresh in storage.names():
        storage.remove(fresh)
    file = storage.append_to(fresh)
    try:
        file.write(json.dumps(content, indent=1, sort_keys=True).encode("ascii") + b"\n")
        await file.sync()
    finally:
        file.close()
    storage.rename(fresh, name)
    await storage.sync_names()
