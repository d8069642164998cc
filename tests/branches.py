"""Do the tests take enough of the lines and branches? Reads what `make coverage` measured; ends with 1 if they do not.

python -m tests.branches [FILE [BOUND ...]]      FILE: what `coverage json` wrote; BOUND: command, journal ..., else all

Where a bound of the safety core does not hold, it says which lines were never taken; after a run of some tests these
are the ones to look at: make coverage ARGS=tests/control BOUNDS="command journal"
"""

import json
import sys
from collections.abc import Mapping, Sequence
from fnmatch import fnmatch
from pathlib import Path
from typing import Any, Final

# what must hold of lines and branches of some modules together; the bounds are those of docs/numbers.md
BOUNDS: Final[dict[str, tuple[float, tuple[str, ...]]]] = {
    "command": (
        0.95,
        tuple(f"stagectl/control/{name}.py" for name in ("commands", "groups", "judging", "kept", "ramps", "rises")),
    ),
    "journal": (0.95, ("stagectl/control/journal*.py", "stagectl/control/chronicle.py")),
    "adoption": (0.95, ("stagectl/control/recovery.py", "stagectl/driverkit/box.py", "stagectl/shoot/takerecords.py")),
    "access": (0.95, tuple(f"stagectl/control/{name}.py" for name in ("access", "gate", "selections", "passwords"))),
    "alarms": (0.95, ("stagectl/shoot/alarm*.py",)),
    "all": (0.90, ("*",)),
}


def main(path: Path, names: Sequence[str] = ()) -> int:
    files: dict[str, Any] = json.loads(path.read_text("utf-8"))["files"]
    low = 0
    for name in names or BOUNDS:
        bound, patterns = BOUNDS[name]
        some = {file: one for file, one in files.items() if any(fnmatch(file, pattern) for pattern in patterns)}
        taken = sum(_taken(one["summary"]) for one in some.values())
        of = sum(_of(one["summary"]) for one in some.values())
        if not of:
            raise SystemExit(f"Nothing of {name} was measured: {', '.join(patterns)}.")
        held = taken / of >= bound
        low += not held
        sys.stdout.write(
            f"{name:<10}{taken:>6} of {of:>6}{taken / of:>9.1%}  bound {bound:.0%}{'' if held else '  TOO FEW'}\n"
        )
        if not held and name != "all":
            sys.stdout.writelines(_never(file, one) for file, one in some.items())
    return 1 if low else 0


def _taken(summary: Mapping[str, int]) -> int:
    return summary["covered_lines"] + summary["covered_branches"]


def _of(summary: Mapping[str, int]) -> int:
    return summary["num_statements"] + summary["num_branches"]


def _never(file: str, one: Mapping[str, Any]) -> str:
    """The lines of a file that were never taken, and branches between lines that were."""
    if not _taken(one["summary"]):
        return f"  {file}: nothing was taken\n"
    runs: list[list[int]] = []
    for line in one["missing_lines"]:
        if runs and line == runs[-1][-1] + 1:
            runs[-1].append(line)
        else:
            runs.append([line])
    told = [str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs]
    never = set(one["missing_lines"])
    told += [f"{before} to {after}" for before, after in one["missing_branches"] if not {before, after} & never]
    return f"  {file}: {', '.join(told) or 'all taken'}\n"


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1] if len(sys.argv) > 1 else "coverage.json"), sys.argv[2:]))
