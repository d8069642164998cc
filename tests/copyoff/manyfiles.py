"""How much memory do many clips take, written into a history and verified? `python -m` this, FOLDER and a number.

Prints the most bytes that the process held at once.
"""

import resource
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from stagectl.copyoff.folder import Folder
from stagectl.copyoff.mhlverify import verify
from stagectl.copyoff.record import Published
from stagectl.copyoff.target import Standing
from tests.copyoff.historytree import SEALING, copy


class Ghosts(Folder):
    """A folder that says there are many clips below it, of four bytes each: no disk has to hold them."""

    count = 0

    def copies(self) -> Iterator[Published]:
        one = copy("iso-1/clip.mov", b"abcd")
        return (replace(one, path=f"iso-{n % 8}/{n:06d}_a_usual_name.mov") for n in range(self.count))

    def tree(self, under: str = "") -> Iterator[Standing]:
        yield from super().tree(under)
        if not under:
            yield from (Standing(one.path, one.size) for one in self.copies())

    def read_back(self, path: str) -> Iterator[bytes]:
        return super().read_back(path) if path.startswith("ascmhl/") else iter([b"abcd"])


def main(top: Path, count: int) -> int:
    target = Ghosts("rushes", top)
    target.count = count
    SEALING(target, target.copies())
    report = verify(target)
    assert report.whole
    assert report.good == count
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


if __name__ == "__main__":
    sys.stdout.write(f"{main(Path(sys.argv[1]), int(sys.argv[2]))}\n")
