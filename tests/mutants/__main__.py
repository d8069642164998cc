"""Is a changed line noticed by a test? Modules are changed one place at a time, and their tests are run.

python -m tests.mutants stagectl/control/judging.py ... [--sample 40] [--seed 1] [--jobs 2]
python -m tests.mutants --since REF                      only lines that were changed since then

The tests that are near a module are run first, and if they see nothing the quick ones of its package and of what stands
on it. Ends with 1 if fewer than 80 % were noticed, and tells each change that was not.
"""

import argparse
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue
from typing import Final

from tests.mutants.sites import Site, mutant, sites

HOUSE: Final = Path(__file__).resolve().parents[2]
BAR: Final = 0.8  # first bar of the page of numbers
LONGEST_CPU_S: Final = 180  # of the tests of one change: one that turns in a circle is noticed, on a busy machine too
LONGEST_S: Final = 1800.0  # ...and one that hangs
SAMPLE: Final = 40
# the safety core; each with the tests that are near beside those that bear its name
CORE: Final[dict[str, tuple[str, ...]]] = {
    "stagectl/control/commands.py": (
        *("tests/control/test_judging.py", "tests/control/test_stages.py", "tests/control/test_rises.py"),
        "tests/shoot/test_house.py",
    ),
    "stagectl/control/judging.py": (
        *("tests/control/test_commands.py", "tests/control/test_stages.py", "tests/control/test_rises.py"),
        "tests/shoot/test_house.py",
    ),
    "stagectl/control/kept.py": ("tests/control/test_commands.py", "tests/shoot/test_house.py"),
    "stagectl/control/journal.py": ("tests/control/test_journal_ring.py", "tests/control/test_journal_tail.py"),
    "stagectl/control/journal_replay.py": ("tests/control/test_journal.py",),
    "stagectl/control/recovery.py": ("tests/shoot/test_house.py",),
    "stagectl/control/access.py": (
        "tests/control/test_gate.py",
        "tests/control/test_desk.py",
        "tests/control/test_commands.py",
    ),
    "stagectl/control/gate.py": ("tests/control/test_access.py",),
    "stagectl/control/selections.py": ("tests/shoot/test_house.py",),
    "stagectl/shoot/alarms.py": ("tests/shoot/test_alarm_invariant.py", "tests/shoot/test_house.py"),
    "stagectl/shoot/alarmcauses.py": ("tests/shoot/test_alarms.py",),
}
# where else what a package does is seen without a process of its own: tests of those that stand on it
ABOVE: Final[dict[str, tuple[str, ...]]] = {
    "model": ("control", "shoot"),
    "driverkit": ("drivers", "control"),
    "control": ("shoot",),
}
Change = tuple[str, Site]


def main(arguments: Sequence[str] | None = None) -> int:
    assert __doc__ is not None
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__.splitlines()[0])
    parser.add_argument("module", nargs="*", help="files below stagectl or drivers; without, the safety core")
    parser.add_argument("--since", help="only lines that were changed since this commit")
    parser.add_argument("--sample", type=int, default=SAMPLE, help="so many changes of all, drawn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args(arguments)
    lines = _changed(asked.since) if asked.since else None
    modules = asked.module or (sorted(lines) if lines is not None else list(CORE))
    sources = {module: (HOUSE / module).read_text("utf-8") for module in modules}
    found = [
        (module, site)
        for module, source in sources.items()
        for site in sites(source)
        if lines is None or site.line in lines.get(module, ())
    ]
    chosen = random.Random(asked.seed).sample(found, min(asked.sample, len(found)))
    if not chosen:
        _say("Nothing there can be changed.")
        return 0
    missed = 0
    for (module, site), noticed in _hunt(sorted(chosen, key=lambda one: (one[0], one[1].line)), sources, asked.jobs):
        missed += not noticed
        if not noticed:
            _say(f"not noticed: {module}:{site.line}: {site.what}")
    score = 1 - missed / len(chosen)
    _say(f"{len(chosen) - missed} of {len(chosen)} changes were noticed, {score:.0%}; {len(found)} could be made.")
    return 1 if score < BAR else 0


def near(module: str) -> list[str]:
    """The tests that are run first for a module: those of its name, and what CORE adds; none if it has no such."""
    path = Path(module)
    if path.parts[0] == "drivers":  # drivers/stagectl_drivers/<box>/<file>
        return [str(Path("tests", "drivers", path.parts[2])), "tests/drivers/test_codecs.py"]
    folder = Path("tests", *path.parts[1:-1])
    own = sorted(str(one.relative_to(HOUSE)) for one in (HOUSE / folder).glob(f"test_{path.stem}*.py"))
    within = [str(folder)] if len(path.parts) > 3 else []  # a part of a package
    return list(dict.fromkeys([*own, *CORE.get(module, ())])) or within


def far(module: str) -> list[str]:
    """What is run if those see nothing: the quick tests of its package and of what stands on it."""
    path = Path(module)
    if path.parts[0] == "drivers":
        return ["-m", "not slow", "tests/drivers"]
    folders = (path.parts[1], *ABOVE.get(path.parts[1], ())) if len(path.parts) > 2 else ("",)
    return ["-m", "not slow", *(str(Path("tests", folder)) for folder in folders)]


def _hunt(chosen: Sequence[Change], sources: Mapping[str, str], jobs: int) -> Iterator[tuple[Change, bool]]:
    """Make each change in a copy of the house; is it noticed?"""
    with ExitStack() as stack, ThreadPoolExecutor(jobs) as pool:
        copies: SimpleQueue[Path] = SimpleQueue()
        for _ in range(jobs):
            copies.put(_copy(Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="stagectl-mutants-")))))
        well = copies.get()
        modules = list(dict.fromkeys(module for module, _ in chosen))
        for tests in dict.fromkeys(tuple(tests_of(module)) for tests_of in (near, far) for module in modules):
            if tests and _see(well, tests):
                raise SystemExit(f"These tests fail without any change: {' '.join(tests)}.")
        copies.put(well)

        def notice(change: Change) -> tuple[Change, bool]:
            module, site = change
            here = copies.get()
            try:
                (here / module).write_text(mutant(sources[module], site), "utf-8")
                return change, any(_see(here, tests) for tests in (near(module), far(module)) if tests)
            finally:
                (here / module).write_text(sources[module], "utf-8")
                copies.put(here)

        yield from pool.map(notice, chosen)


def _copy(folder: Path) -> Path:
    """The house as it stands, without what git does not know."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=HOUSE, capture_output=True, text=True, check=True)
    for name in listed.stdout.split("\0"):
        if name and (HOUSE / name).is_file():
            to = folder / name
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(HOUSE / name, to, follow_symlinks=True)
    return folder


def _see(here: Path, tests: Sequence[str]) -> bool:
    """Do the tests notice what was changed there? Twice, since one may fail once on a busy machine."""
    return not _passes(here, tests) and not _passes(here, tests)


def _passes(here: Path, tests: Sequence[str]) -> bool:
    paths = [str(here), str(here / "drivers"), str(here / "simulators")]
    command = ["sh", "-c", f'ulimit -t {LONGEST_CPU_S} && exec "$0" "$@"', sys.executable, "-m", "pytest", "-x", "-q"]
    options = ["-p", "no:cacheprovider", "--assert=plain", "-o", "timeout=180"]
    try:
        done = subprocess.run(
            [*command, *options, *tests],
            cwd=here,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(paths), "PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def _changed(since: str) -> dict[str, set[int]]:
    """Lines of each module that were changed since a commit."""
    command = ["git", "diff", "--unified=0", since, "--", "stagectl/*.py", "drivers/*.py"]
    told = subprocess.run(command, cwd=HOUSE, capture_output=True, text=True, check=True).stdout
    found: dict[str, set[int]] = {}
    module = ""
    for line in told.splitlines():
        if line.startswith("+++ "):
            module = line.removeprefix("+++ b/")
        elif (hunk := re.match(r"@@ -\S+ \+(\d+)(?:,(\d+))? @@", line)) and module.endswith(".py"):
            first, count = int(hunk[1]), int(hunk[2] or 1)
            found.setdefault(module, set()).update(range(first, first + count))
    return found


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
