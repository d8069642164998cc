"""What stands in a history: the chain, its manifests, and what of them is not as it was left?

Source: ASC MHL specification 1.0 sections 5 and 6.3: a folder `ascmhl` with numbered manifests that are never changed,
and a chain file with the C4 of each.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from stagectl.copyoff.digests import digest
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.mhlledger import Ledger, joined
from stagectl.copyoff.mhlread import ManifestError, read_chain, read_manifest
from stagectl.copyoff.mhlxml import FileEntry, Generation, Ignored, Reference
from stagectl.copyoff.target import Target

FOLDER: Final = "ascmhl"
CHAIN_NAME: Final = "ascmhl_chain.xml"


class Wrong(StrEnum):
    """What can be wrong with a tree; stable words for programs."""

    CHANGED = "changed"  # a file is not what it was
    MISSING = "missing"  # a file is told of, and does not stand there
    NEW = "new"  # a file stands there, and no generation tells of it
    HISTORY = "history"  # the history itself: a manifest or the chain is altered, missing or no such thing
    DOUBT = "doubt"  # nothing can be said: generations contradict each other, or the hash can't be reckoned here
    UNREADABLE = "unreadable"  # the target did not give the file's bytes


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong.

    Attributes:
        path: of the file, from the target's top.
        why: one sentence.
    """

    what: Wrong
    path: str
    why: str


@dataclass(frozen=True, slots=True)
class History:
    """One history of a tree.

    Attributes:
        folder: what it is of, from the target's top; "": all of it.
        generations: as the chain lists them.
        unlisted: manifests that the chain does not know, sorted: one was being written when the power went, or
            somebody put it there.
        ignore: patterns of all generations.
        references: manifests of histories further down, from this folder.
        findings: what is wrong with the history itself.
    """

    folder: str
    generations: tuple[Generation, ...] = ()
    unlisted: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()
    references: tuple[Reference, ...] = ()
    findings: tuple[Finding, ...] = ()


def never() -> None:
    """What is called between blocks where nothing stops the work."""


def read_history(
    target: Target, folder: str, ledger: Ledger, names: list[str], *, pause: Callable[[], None] = never
) -> History | None:
    """Read the history of a folder, and note in the ledger what its generations say.

    Args:
        target: where the tree stands.
        folder: the history's folder, from the target's top.
        ledger: gets what every readable generation says.
        names: of the files in its folder `ascmhl`, a moment ago.
        pause: called between blocks; what it raises ends the work.

    Returns: None: there is no history.
    Raises:
        CopyError: the target can't be read.
    """
    manifests = sorted((name for name in names if _number(name)), key=_number)
    chain_path = joined(folder, f"{FOLDER}/{CHAIN_NAME}")
    chain = target.read_small(chain_path)
    if chain is None and not manifests:
        return None
    findings: list[Finding] = []
    generations: list[Generation] = []
    if chain is None:
        findings.append(Finding(Wrong.HISTORY, chain_path, "The chain file is missing."))
    else:
        try:
            generations = read_chain(chain)
        except ManifestError as error:
            findings.append(Finding(Wrong.HISTORY, chain_path, f"This is no chain: {error}."))
    listed = {one.name for one in generations}
    reading = _Reading(target, folder, ledger, pause, findings)
    for one in generations:
        path = joined(folder, f"{FOLDER}/{one.name}")
        if one.name in names or target.at(path) is not None:  # a run may have written it since the names were listed
            reading.manifest(one.name, one)
        else:
            findings.append(Finding(Wrong.HISTORY, path, f"The manifest of generation {one.number} is missing."))
    unlisted = tuple(name for name in manifests if name not in listed)
    for name in unlisted:
        path = joined(folder, f"{FOLDER}/{name}")
        findings.append(Finding(Wrong.HISTORY, path, "This manifest does not stand in the chain."))
        reading.manifest(name, None)
    return History(
        folder, tuple(generations), unlisted, tuple(reading.ignore), tuple(reading.references), tuple(findings)
    )


def manifest_name(number: int, folder: str, began: datetime) -> str:
    """The file name of a manifest. Letters of the folder's name that a target might refuse become "_"."""
    safe = "".join(sign if sign.isascii() and (sign.isalnum() or sign in "-.") else "_" for sign in folder)
    return f"{number:04d}_{safe.strip('.') or 'copies'}_{began:%Y-%m-%d_%H%M%SZ}.mhl"


def hashed(blocks: Iterator[bytes], take: Callable[[str], None]) -> Iterator[bytes]:
    """Pass blocks on, and hand the C4 of all of them to `take` at the end."""
    c4 = digest("c4")
    for block in blocks:
        c4.update(block)
        yield block
    take(c4.text())


def _number(name: str) -> int:
    """Generation in a manifest's name; 0: it is no name of one. Copies that some systems leave begin with "._"."""
    digits = name.split("_", 1)[0].removesuffix(".mhl")
    long_enough = len(digits) >= 4 and digits.isascii() and digits.isdecimal()
    return int(digits) if long_enough and name.endswith(".mhl") else 0


class _Reading:
    """Reads the manifests of one history into the ledger."""

    def __init__(
        self, target: Target, folder: str, ledger: Ledger, pause: Callable[[], None], findings: list[Finding]
    ) -> None:
        self._target, self._folder, self._ledger = target, folder, ledger
        self._pause, self._findings = pause, findings
        self.ignore: list[str] = []
        self.references: list[Reference] = []

    def manifest(self, name: str, listed: Generation | None) -> None:
        path = joined(self._folder, f"{FOLDER}/{name}")
        try:
            made = digest(listed.kind if listed is not None else "c4")
            for entry in read_manifest(self._blocks(path, made.update)):
                match entry:
                    case FileEntry():
                        self._ledger.say(self._folder, entry)
                    case Ignored(pattern):
                        if pattern not in self.ignore:
                            self.ignore.append(pattern)
                    case Reference():
                        self.references.append(entry)
        except ManifestError as error:
            self._findings.append(Finding(Wrong.HISTORY, path, f"This manifest can't be read: {error}."))
            return
        except ImportError:
            why = "Its hash can't be reckoned here. Install the extra: pip install 'stagectl[hash]'"
            self._findings.append(Finding(Wrong.HISTORY, path, why))
            return
        except CopyError as error:
            if error.reason is Reason.STOPPED:
                raise
            self._findings.append(Finding(Wrong.HISTORY, path, f"This manifest can't be read: {error}"))
            return
        if listed is not None and made.text() != listed.text:
            why = f"The manifest of generation {listed.number} was altered: the chain knows another hash."
            self._findings.append(Finding(Wrong.HISTORY, path, why))

    def _blocks(self, path: str, update: Callable[[bytes], None]) -> Iterator[bytes]:
        for block in self._target.read_back(path):
            self._pause()
            update(block)
            yield block
