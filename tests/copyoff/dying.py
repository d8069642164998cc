"""A process that copies and kills itself by SIGKILL at a moment that no test could meet from outside.

As a program it is the daemon with such a fault: python -m tests.copyoff.dying '["after", "stable"]' serve SITE ...
Two looks at a clip then lie 0.2 s apart instead of 10, so that each moment comes soon. `null`: it does not die.
"""

import json
import os
import signal
import sys
from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any, Final

from stagectl.copyoff import wiring
from stagectl.copyoff.folder import Folder, FolderPart
from stagectl.copyoff.job import State
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.settings import Care

LOOKS_S: Final = (0.2, 0.2)


def dies(at: Sequence[Any] | None) -> None:
    """From now on this process dies at that moment.

    Args:
        at: ["before" or "after", a state] of any copy; ["list"], with a list read and not noted; ["bytes", n] in the
            middle of a write; ["manifest"], before the first one gets its name; ["small", n] before the n-th chain of
            manifests is written; None: it does not.
    """
    match at:
        case ["before" | "after", _]:
            _at_state(at[0], at[1])
        case ["list"]:
            Jobs.discover = _kill  # type: ignore[method-assign, assignment]
        case ["bytes", int(count)]:
            _in_writing(count)
        case ["manifest"]:
            _at_manifest()
        case ["small", int(count)]:
            _in_small(count)
        case None:
            pass
        case _:
            raise ValueError(at)


def _kill(*_: Any, **__: Any) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def _at_state(side: str, word: str) -> None:
    put = Jobs.put

    def dying(jobs: Jobs, job: str, target: str, state: State, **values: Any) -> None:
        if state.value == word and side == "before":
            _kill()
        put(jobs, job, target, state, **values)
        if state.value == word:
            _kill()

    Jobs.put = dying  # type: ignore[method-assign, assignment]


def _in_writing(count: int) -> None:
    """After `count` bytes, in the middle of a block: its first half is written."""
    write, left = FolderPart.write, count

    def dying(part: FolderPart, data: memoryview) -> None:
        nonlocal left
        left -= len(data)
        if left < 0:
            write(part, data[: len(data) // 2])
            _kill()
        write(part, data)

    FolderPart.write = dying  # type: ignore[method-assign]


def _at_manifest() -> None:
    publish = Folder.publish

    def dying(target: Folder, path: str, job: str, mtime: datetime | None) -> None:
        if path.endswith(".mhl"):
            _kill()
        publish(target, path, job, mtime)

    Folder.publish = dying  # type: ignore[method-assign]


def _in_small(count: int) -> None:
    seen = 0
    small = Folder.write_small

    def dying(target: Folder, path: str, data: bytes, *, replace: bool) -> None:
        nonlocal seen
        seen += 1
        if seen == count:
            _kill()
        small(target, path, data, replace=replace)

    Folder.write_small = dying  # type: ignore[method-assign]


if __name__ == "__main__":
    from stagectl.cli import main

    dies(json.loads(sys.argv.pop(1)))
    vars(wiring)["Care"] = partial(Care, look_apart_s=LOOKS_S, again_s=0.2)
    main(prog_name="stagectl")
