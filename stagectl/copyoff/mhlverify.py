"""Does a tree of copies still hold what its history says: every file, every generation, every history inside another?

Reads all bytes again and changes nothing. It blocks for as long as the medium takes: for a thread.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Final

from stagectl.copyoff.digests import FORMATS, Digest, digest
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.mhlhistory import CHAIN_NAME, FOLDER, Finding, History, Wrong, read_history
from stagectl.copyoff.mhlignore import DEFAULT, Ignore
from stagectl.copyoff.mhlledger import Ledger, joined
from stagectl.copyoff.mhlxml import Hash
from stagectl.copyoff.target import Target

MAX_TOLD: Final = 1000  # findings kept in a report; all are counted. More are not read


@dataclass(frozen=True, slots=True)
class Progress:
    """How far it is.

    Attributes:
        files, of_files: looked at, and to be looked at; 0 of 0 while the tree and its histories are read.
        read, of_bytes: bytes.
        path: what is being read, from the target's top; empty: the histories.
    """

    files: int
    of_files: int
    read: int
    of_bytes: int
    path: str


@dataclass(slots=True)
class Report:
    """What a verification found.

    Attributes:
        histories, generations: how many were read.
        good: files that are what they were.
        read: bytes.
        counts: findings of each kind.
        findings: the first 1000 of them.
    """

    histories: int = 0
    generations: int = 0
    good: int = 0
    read: int = 0
    counts: dict[Wrong, int] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """There is a history, and nothing is wrong."""
        return self.histories > 0 and not self.counts

    def add(self, finding: Finding) -> None:
        self.counts[finding.what] = self.counts.get(finding.what, 0) + 1
        if len(self.findings) < MAX_TOLD:
            self.findings.append(finding)


def verify(
    target: Target, *, stop: Callable[[], bool] = lambda: False, tell: Callable[[Progress], None] = lambda _: None
) -> Report:
    """Verify all histories of a target, and every file they tell of, against its bytes.

    Args:
        target: open.
        stop: asked between blocks, from this thread; True ends the work.
        tell: called between blocks, from this thread.

    Raises:
        CopyError: STOPPED, or TARGET: its tree can't be listed. What is wrong with one file is a finding.
    """
    with Ledger() as ledger:
        return _Verifying(target, ledger, stop, tell).all()


class _Verifying:
    def __init__(
        self, target: Target, ledger: Ledger, stop: Callable[[], bool], tell: Callable[[Progress], None]
    ) -> None:
        self._target, self._ledger = target, ledger
        self._stop, self._tell = stop, tell
        self._report = Report()
        self._files = 0
        self._of = (0, 0)
        self._ignores = {"": Ignore(DEFAULT)}  # folder of a history -> what it leaves out

    def all(self) -> Report:
        report, ledger = self._report, self._ledger
        self._step("")
        ledger.stand(self._standing())
        self._histories()
        self._of = ledger.weight()
        for path in ledger.standing():
            if not self._left_out(path):
                self._file(path)
        for path in ledger.missing():
            if self._left_out(path):
                continue
            found = self._target.at(path)
            if found is not None and found.size >= 0:  # copied after the tree was listed, before the history was read
                self._file(path)
            else:
                report.add(Finding(Wrong.MISSING, path, "The history tells of this file, and it is not there."))
        return report

    def _standing(self) -> Iterator[tuple[str, int]]:
        for one in self._target.tree():
            self._pause()
            yield one.path, one.size

    def _pause(self) -> None:
        if self._stop():
            raise CopyError(Reason.STOPPED, "The verification was stopped; it says nothing of the rest.")

    def _step(self, path: str) -> None:
        self._pause()
        self._tell(Progress(self._files, self._of[0], self._report.read, self._of[1], path))

    def _histories(self) -> None:
        """Read all histories, the outer before the inner."""
        found: dict[str, History] = {}
        tops = {path.removesuffix(f"/{FOLDER}/{CHAIN_NAME}") for path in self._ledger.ending(f"/{FOLDER}/{CHAIN_NAME}")}
        for folder in ["", *sorted(tops)]:
            names = self._ledger.within(joined(folder, FOLDER))
            history = read_history(self._target, folder, self._ledger, names, pause=lambda: self._step(""))
            if history is not None:
                found[folder] = history
                self._ignores[folder] = Ignore([*DEFAULT, *history.ignore])
        for history in found.values():
            self._report.histories += 1
            self._report.generations += len(history.generations)
            for finding in (*history.findings, *_references(history, found)):
                self._report.add(finding)
        if not found:
            self._report.add(Finding(Wrong.HISTORY, FOLDER, "There is no history: nothing says what these files were."))

    def _left_out(self, path: str) -> bool:
        """Does a history above leave it out, as every history does with its own files?"""
        return any(
            ignore(path.removeprefix(f"{folder}/") if folder else path)
            for folder, ignore in self._ignores.items()
            if not folder or path.startswith(f"{folder}/")
        )

    def _file(self, path: str) -> None:
        said = self._ledger.of(path)
        if not said:
            self._report.add(Finding(Wrong.NEW, path, "No generation tells of this file."))
            return
        known, doubts = _known(said)
        if not known:
            self._files += 1
            self._report.add(Finding(Wrong.DOUBT, path, doubts or "Every generation says that this file was damaged."))
            return
        makes = _makes(known)
        if not makes:
            self._files += 1
            why = (
                f"Its hash ({', '.join(known)}) can't be reckoned here. Install the extra: pip install 'stagectl[hash]'"
            )
            self._report.add(Finding(Wrong.DOUBT, path, why))
            return
        try:
            self._through(path, makes)
        except CopyError as error:
            if error.reason is Reason.STOPPED:
                raise
            self._files += 1
            self._report.add(Finding(Wrong.UNREADABLE, path, str(error)))
            return
        self._files += 1
        wrong = [kind for kind, made in makes.items() if made.text() != known[kind]]
        if wrong:
            kind = wrong[0]
            why = f"It is not what it was: its {kind} is {makes[kind].text()}, and was {known[kind]}."
            self._report.add(Finding(Wrong.CHANGED, path, why))
        elif doubts:
            self._report.add(Finding(Wrong.DOUBT, path, doubts))
        else:
            self._report.good += 1

    def _through(self, path: str, makes: dict[str, Digest]) -> None:
        for block in self._target.read_back(path):
            for made in makes.values():
                made.update(block)
            self._report.read += len(block)
            self._step(path)


def _known(said: list[Hash]) -> tuple[dict[str, str], str]:
    """The first hash of each format that we know; and, if generations contradict each other, a sentence."""
    known: dict[str, str] = {}
    doubts = ""
    for one in said:
        if one.action == "failed":
            continue
        text = one.text if one.kind == "c4" else one.text.lower()  # hex is hex, however it is written
        if one.kind not in FORMATS:
            doubts = doubts or f"There is no hash {one.kind} in media hash lists."
        elif known.setdefault(one.kind, text) != text:
            doubts = f"Two generations give it two hashes ({one.kind}), neither said to be wrong."
    return known, doubts


def _makes(known: dict[str, str]) -> dict[str, Digest]:
    """A hash in the making for each format that this machine can reckon."""
    makes: dict[str, Digest] = {}
    for kind in known:
        try:
            makes[kind] = digest(kind)
        except ImportError:
            continue
    return makes


def _references(history: History, found: dict[str, History]) -> Iterator[Finding]:
    """Manifests of histories further down that are not as this one knew them."""
    for one in history.references:
        path = joined(history.folder, one.path)
        folder, _, name = path.rpartition(f"/{FOLDER}/")
        inner = found.get(folder)
        listed = next((line for line in inner.generations if line.name == name), None) if inner is not None else None
        if listed is None:
            yield Finding(Wrong.HISTORY, path, "An outer history refers to this manifest, and it is not there.")
        elif listed.kind == "c4" and listed.text != one.c4:
            yield Finding(Wrong.HISTORY, path, "This manifest is not the one that an outer history refers to.")
