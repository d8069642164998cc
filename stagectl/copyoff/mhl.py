"""How do the copies of a run become a generation in the target's history, that other programs can verify?

ASC MHL: a manifest, process `transfer`, in the folder `ascmhl` of the target's top, then the chain with its C4. The
manifest goes first and the chain after it: a power cut in between leaves a manifest that the next run takes in.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from typing import Final

from stagectl.copyoff.digests import digest
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.mhlhistory import (
    CHAIN_NAME,
    FOLDER,
    History,
    hashed,
    manifest_name,
    read_history,
)
from stagectl.copyoff.mhlignore import DEFAULT
from stagectl.copyoff.mhlledger import Ledger
from stagectl.copyoff.mhlread import ManifestError, read_manifest
from stagectl.copyoff.mhlxml import FileEntry, Generation, Hash, Head, write_chain, write_manifest
from stagectl.copyoff.record import Published
from stagectl.copyoff.target import Target

TOOL: Final = "stagectl"
_BLOCK: Final = 256 << 10  # bytes
_JOB: Final = "manifest"  # names the part file of a manifest under way; one daemon writes a tree's history


@dataclass(frozen=True, slots=True)
class Sealing:
    """Writes generations: what the engine calls a seal.

    Attributes:
        wall: the clock, UTC.
        host: name of this machine.
        version: of stagectl.
    """

    wall: Callable[[], datetime]
    host: str
    version: str

    def __call__(self, target: Target, copies: Iterable[Published]) -> str:
        """Write copies into the target's history, safe from a power cut when it returns.

        Copies that the history already tells of with the same hash are left out: a run that was killed may be told
        again. What is wrong with the history of before is `verify`'s to tell, and doesn't keep new copies out of it.

        Args:
            target: open; where the copies stand.
            copies: in any order, each path once.

        Returns: path of the manifest; empty: nothing was to be written.
        Raises:
            CopyError: FULL or TARGET: nothing of the history of before is changed. TARGET too if what is there is no
                history that can be gone on with.
        """
        with Ledger() as ledger:
            before = _before(target, ledger)
            taken = _taken_in(target, before)
            generations = [*before.generations, *taken]
            number = len(generations) + 1
            rows = (row for row in (_entry(copy, ledger) for copy in copies) if row is not None)
            first = next(rows, None)
            if first is None:
                if taken:
                    target.write_small(f"{FOLDER}/{CHAIN_NAME}", write_chain(generations), replace=True)
                return f"{FOLDER}/{taken[-1].name}" if taken else ""
            began = self.wall()
            ignore = (*DEFAULT, *(pattern for pattern in before.ignore if pattern not in DEFAULT))
            head = Head(began, self.host, TOOL, self.version, comment=f"copy-off to {target.name}", ignore=ignore)
            path = f"{FOLDER}/{manifest_name(number, target.name, began)}"
            c4 = _published(target, path, write_manifest(head, chain([first], rows)))
            generations.append(Generation(number, path.removeprefix(f"{FOLDER}/"), "c4", c4))
            target.write_small(f"{FOLDER}/{CHAIN_NAME}", write_chain(generations), replace=True)
            return path


def _before(target: Target, ledger: Ledger) -> History:
    names = [one.path.removeprefix(f"{FOLDER}/") for one in target.tree(FOLDER)]
    before = read_history(target, "", ledger, names) or History("")
    if not before.generations and before.findings:
        # One manifest without a chain: the power went during the very first run. Else somebody took the chain away or
        # spoilt it, and nobody could say any more whether the manifests are as they were.
        first_run = len(before.unlisted) == 1 and target.at(f"{FOLDER}/{CHAIN_NAME}") is None
        if not first_run:
            raise CopyError(Reason.TARGET, _no_way(before.findings[0].path, before.findings[0].why))
    return before


def _no_way(path: str, why: str) -> str:
    return (
        f"{path}: {why} No generation can follow it. The copies stand, verified; give the folder {FOLDER} another "
        "name, and the next run begins a new history."
    )


def _taken_in(target: Target, before: History) -> list[Generation]:
    """Manifests that are whole and follow the chain: the power went before the chain was written."""
    taken: list[Generation] = []
    for name in before.unlisted:
        path, made = f"{FOLDER}/{name}", list[str]()
        number = len(before.generations) + len(taken) + 1
        try:
            for _ in read_manifest(hashed(target.read_back(path), made.append)):
                pass  # to its end: a manifest that broke off is none
        except ManifestError as error:
            raise CopyError(Reason.TARGET, _no_way(path, f"This manifest can't be read: {error}.")) from error
        if not name.startswith(f"{number:04d}_"):
            raise CopyError(
                Reason.TARGET, _no_way(path, f"It does not stand in the chain, and is not number {number}.")
            )
        taken.append(Generation(number, name, "c4", made[0]))
    return taken


def _entry(copy: Published, ledger: Ledger) -> FileEntry | None:
    """The line of a copy; None: the history has it already, or the manifest under way."""
    known = {one.text for one in ledger.of(copy.path) if one.kind == copy.hash_kind and one.action != "failed"}
    if copy.digest in known:
        return None
    # Somebody took the file away and another came under its name: it is not the one that the history knows.
    action = "failed" if known else "original"
    ours = {
        "recorder": copy.recorder,
        "called": copy.called,
        "slot": str(copy.slot) if copy.slot else "",
        "clip": copy.source,
        "take": str(copy.take) if copy.take is not None else "",
        "slate": copy.slate,
        "good": "yes" if copy.good else "",
        "job": copy.job,
    }
    hashes = (Hash(copy.hash_kind, copy.digest, action, copy.verified),)
    entry = FileEntry(copy.path, hashes, copy.size, copy.mtime, ours=ours)
    ledger.say("", entry)
    return entry


def _gathered(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Join small pieces: each write may be a round trip to a server."""
    block = bytearray()
    for piece in pieces:
        block += piece
        if len(block) >= _BLOCK:
            yield bytes(block)
            block.clear()
    yield bytes(block)


def _published(target: Target, path: str, blocks: Iterator[bytes]) -> str:
    """Write a manifest under its name, read it back from the medium, and return its C4."""
    made: list[str] = []
    part = target.open_part(path, _JOB)
    try:
        part.cut(0)  # what a power cut left of another try
        for block in hashed(_gathered(blocks), made.append):
            part.write(memoryview(block))
        part.sync()
    finally:
        part.close()
    target.publish(path, _JOB, None)
    back = digest("c4")
    for block in target.read_back(path):
        back.update(block)
    if back.text() != made[0]:
        raise CopyError(
            Reason.DIFFERS, f"{path}: the manifest was written, and reads back as another. Look at the disk."
        )
    return made[0]
