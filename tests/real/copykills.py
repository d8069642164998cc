"""SIGKILL of the daemon in the middle of each state of a copy, and other things that go wrong: is every clip told of?

Real processes throughout: simulators that serve clips, the daemon, the terminal that waits. Before each kill all five
recorders record one more take, so that there is work in that state. What is looked at after each kill is what stands on
the disks; at the end, what the terminal says, what both verifications find, and that the recorders hold what they held.
"""

import ftplib
import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from tests.copyoff.reftool import reference
from tests.real.host import fill, inside, small_disk
from tests.stories.studio import RECORDERS, Studio, until

PLACES: Final = ("copies", "twins")
# moment, at which `tests.copyoff.dying` kills; the states are those of `stagectl.copyoff.job.State`
MOMENTS: Final[dict[str, list[Any]]] = {
    "list: read off the recorder, not noted": ["list"],
    "discovered: before it is stable": ["before", "stable"],
    "stable: nothing read yet": ["after", "stable"],
    "copying: noted, no byte of it": ["after", "copying"],
    "copying: in the middle of a write": ["bytes", 3000],
    "copying: all read, not noted": ["before", "copied"],
    "copied: not read back": ["after", "copied"],
    "verified: not noted": ["before", "verified"],
    "verified: has no name yet": ["after", "verified"],
    "published: has its name, not noted": ["before", "published"],
    "published": ["after", "published"],
    "manifest: written, no name yet": ["manifest"],
    "manifest: has its name, chain not": ["small", 1],
    "the other place: named, chain not": ["small", 2],
}


@dataclass
class CopyKills:
    """A hall whose daemon is killed. `wrong`: a sentence for each promise that was broken; `rows`: what was seen."""

    studio: Studio
    say: Callable[[str], None] = lambda text: None
    rows: list[tuple[str, ...]] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    sources: dict[str, str] = field(default_factory=dict)  # path below a place -> hash of what its recorder gives

    def run(self) -> None:
        """Every moment, then every other thing that goes wrong."""
        studio = self.studio
        studio.start()
        for number, (called, moment) in enumerate(MOMENTS.items(), 1):
            self._take(number)
            studio.interrupt()
            before = self._standing()
            studio.program = ["tests.copyoff.dying", json.dumps(moment)]
            studio.start()
            self._dies(called)
            self._look(called, before)
            self._ends_well(called)
        self._truncated(number := len(MOMENTS) + 1)
        self._flipped(number + 1)
        self._full(number + 2)
        self._whole()

    def told(self) -> str:
        """A table for people."""
        return "\n".join(f"{first:<42}{'  '.join(more)}" for first, *more in self.rows)

    # -- the hall -------------------------------------------------------------------------------------------------

    def _take(self, number: int) -> None:
        """All recorders hold one clip more."""
        studio = self.studio
        assert studio.cli("roll", "--name", "Night").returncode == 0
        until(lambda: studio.truth("iso-1")["clips"][-1]["frames"] > 25, 20, "a second is recorded")
        assert studio.cli("cut", str(number)).returncode == 0
        until(lambda: studio.get(f"takes/{number}")["common"], 20, "the take is known whole")
        self.sources |= {path: hashlib.sha256(data).hexdigest() for path, data in self._on_recorders().items()}

    def _on_recorders(self) -> dict[str, bytes]:
        """What another client reads off the recorders."""
        held: dict[str, bytes] = {}
        for box in RECORDERS:
            found = re.search(rf'(?m)^  {box}: .*clip store: "([0-9.]+):([0-9]+)"', self.studio.site.read_text())
            assert found is not None
            with ftplib.FTP(timeout=20) as ftp:
                ftp.connect(found[1], int(found[2]))
                ftp.login()
                for slot in ("1", "2"):
                    for name in [name for name, facts in ftp.mlsd(slot) if facts["type"] == "file"]:
                        if f"{box}/{name}" not in self.sources:
                            blocks: list[bytes] = []
                            ftp.retrbinary(f"RETR {slot}/{name}", blocks.append)
                            held[f"{box}/{name}"] = b"".join(blocks)
        return held

    def _standing(self) -> dict[str, dict[str, str]]:
        """Place -> path -> hash, of what has a name of its own."""
        found: dict[str, dict[str, str]] = {}
        for place in PLACES:
            top = self.studio.data / place
            files = [path for path in top.rglob("*") if path.is_file() and ".part-" not in path.name]
            found[place] = {
                str(path.relative_to(top)): hashlib.sha256(path.read_bytes()).hexdigest()
                for path in files
                if path.name != "ascmhl_chain.xml"
            }
        return found

    def _dies(self, called: str) -> None:
        self.studio.ask("POST", "/api/v1/copy/runs", {})
        process = self.studio._daemon  # it ends itself
        assert process is not None
        try:
            until(lambda: process.poll() is not None, 60, "")
        except AssertionError:
            self.wrong.append(f"{called}: the daemon did not come to it.")
            self.studio.kill()
        if process.returncode != -9:
            self.wrong.append(f"{called}: the daemon ended by itself ({process.returncode}).")

    def _look(self, called: str, before: dict[str, dict[str, str]]) -> None:
        """After the kill: no half clip has a name, and what stood stands."""
        now = self._standing()
        for place in PLACES:
            gone = [path for path in before[place] if path not in now[place]]
            other = [path for path in before[place] if now[place].get(path, before[place][path]) != before[place][path]]
            half = [
                path
                for path, whole in now[place].items()
                if not path.startswith("ascmhl/") and self.sources.get(path) != whole
            ]
            self.wrong += [f"{called}: {place}/{path} is gone." for path in gone]
            self.wrong += [f"{called}: {place}/{path} was overwritten." for path in other]
            self.wrong += [f"{called}: {place}/{path} has a name and is not whole." for path in half]
        parts = sum(".part-" in path.name for place in PLACES for path in (self.studio.data / place).rglob("*"))
        clips = [sum(not path.startswith("ascmhl/") for path in now[place]) for place in PLACES]
        self.rows.append((called, f"{clips[0]:3} and {clips[1]:3} clips stand,", f"{parts} parts;"))

    def _ends_well(self, called: str) -> None:
        """The next daemon goes on by itself, and a run by hand ends with all of it."""
        studio = self.studio
        studio.program = ["tests.copyoff.dying", "null"]
        studio.start()
        until(lambda: studio.point("copy", "state")["value"] == "idle", 60, "the run has gone on to its end")
        done = studio.cli("copy", "run")
        last = done.stdout.strip().splitlines()[-1:] or [done.stderr]
        self.rows[-1] += (f"then: {last[0]}",)
        self.say("  ".join(self.rows[-1]))
        if done.returncode:
            self.wrong.append(f"{called}: the run after it ends with {done.returncode}: {done.stdout}{done.stderr}")
        self._all_there(called)

    def _all_there(self, called: str) -> None:
        now = self._standing()
        for place in PLACES:
            clips = {path: whole for path, whole in now[place].items() if not path.startswith("ascmhl/")}
            if clips != self.sources:
                odd = sorted(set(clips.items()) ^ set(self.sources.items()))[:3]
                self.wrong.append(f"{called}: {place} does not hold what the recorders hold: {odd}")

    # -- what else goes wrong -------------------------------------------------------------------------------------

    def _fails_named(self, called: str, words: str, heal: Callable[[], None]) -> None:
        """A run ends badly and names what it lacks; healed, all is there."""
        studio = self.studio
        bad = studio.cli("copy", "run")
        report = studio.cli("copy", "report")
        named = next((line.strip() for line in report.stdout.splitlines() if words in line), "")
        self.rows.append((called, f"run ends with {bad.returncode}, report with {report.returncode}:", named))
        if bad.returncode != 1 or report.returncode != 6 or not named:
            self.wrong.append(f"{called}: it is not named: {bad.stdout}{report.stdout}")
        heal()
        good = studio.cli("copy", "run")
        self.rows.append(("  mended", *good.stdout.strip().splitlines()[-1:]))
        if good.returncode:
            self.wrong.append(f"{called}: mended, the run ends with {good.returncode}: {good.stdout}{good.stderr}")
        self._all_there(called)
        for row in self.rows[-2:]:
            self.say("  ".join(row))

    def _truncated(self, number: int) -> None:
        """The store says that all was sent, and sent less."""
        self._take(number)
        self.studio.fault("iso-2", "store_truncates")
        self._fails_named("a truncated transfer", "Rec 2", lambda: self.studio.fault("iso-2", "store_truncates", False))

    def _flipped(self, number: int) -> None:
        """A bit turns on a copy's medium: both verifications find it, and nothing else."""
        self._take(number)
        assert self.studio.cli("copy", "run").returncode == 0
        victim = next(path for path in sorted((self.studio.data / "copies" / "iso-3").iterdir()) if path.is_file())
        sound = victim.read_bytes()
        victim.write_bytes(sound[:900] + bytes([sound[900] ^ 1]) + sound[901:])
        ours, theirs = self.studio.cli("copy", "verify"), self._oracle("copies")
        victim.write_bytes(sound)
        named = next((line.strip() for line in ours.stdout.splitlines() if victim.name in line), "")
        self.rows.append(("a flipped byte", f"verify ends with {ours.returncode}, ascmhl with {theirs}:", named))
        self.say("  ".join(self.rows[-1]))
        if (ours.returncode, theirs) != (6, 11) or not named:
            self.wrong.append(f"a flipped byte: it is not named: {ours.stdout}{ours.stderr} {theirs}")

    def _full(self, number: int) -> None:
        """The second place is a disk that somebody else has filled."""
        studio = self.studio
        self._take(number)
        studio.interrupt()
        studio.within = small_disk(studio.data / "twins", "4m")
        studio.start()
        fill(inside(studio.daemon_pid, studio.data / "twins"))

        def other_disk() -> None:
            studio.interrupt()
            studio.within = []
            studio.start()

        self._fails_named("a full target", "no room", other_disk)

    # -- the end --------------------------------------------------------------------------------------------------

    def _oracle(self, place: str) -> int:
        """How the standard's own tool ends: 0, all is as it was; 11, a file changed. Source: ascmhl 1.2."""
        return reference("ascmhl-debug", "verify", self.studio.data / place).returncode

    def _whole(self) -> None:
        verify, report = self.studio.cli("copy", "verify"), self.studio.cli("copy", "report")
        theirs = [self._oracle(place) for place in PLACES]
        self.rows.append(("the end", *verify.stdout.strip().splitlines()[-2:], f"ascmhl: {theirs}"))
        if verify.returncode or any(theirs):
            self.wrong.append(f"At the end: {verify.stdout}{verify.stderr} ascmhl: {theirs}")
        if report.returncode not in (0, 6) or "Could not be copied" in report.stdout:
            self.wrong.append(f"At the end: {report.stdout}")
        held = dict(self.sources)
        self.sources = {}
        if {path: hashlib.sha256(data).hexdigest() for path, data in self._on_recorders().items()} != held:
            self.wrong.append("The recorders do not hold what they held.")
        self.rows.append(("the recorders", f"hold all {len(held)} clips, as they were"))


def twins(text: str) -> str:
    """A second place."""
    return text.replace("shelf: {folder: copies}", "shelf: {folder: copies}\n    twin: {folder: twins}")


def run(folder: Path, say: Callable[[str], None] = lambda text: None) -> CopyKills:
    """One hall, every moment."""
    with Studio(folder, write=twins) as studio:
        kills = CopyKills(studio, say)
        kills.run()
    return kills
