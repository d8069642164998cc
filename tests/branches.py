"""Do the tests take enough of the lines and branches? Reads what `make coverage` measured; ends with 1 if they do not.

python -m tests.branches [FILE]      FILE: what `coverage json` wrote
"""

import json
import sys
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


def main(path: Path) -> int:
    files: dict[str, Any] = json.loads(path.read_text("utf-8"))["files"]
    low = 0
    for name, (bound, patterns) in BOUNDS.items():
        some = [one["summary"] for file, one in files.items() if any(fnmatch(file, pattern) for pattern in patterns)]
        taken = sum(one["covered_lines"] + one["covered_branches"] for one in some)
        of = sum(one["num_statements"] + one["num_branches"] for one in some)
        if not of:
            raise SystemExit(f"Nothing of {name} was measured: {', '.join(patterns)}.")
        held = taken / of >= bound
        low += not held
        sys.stdout.write(
            f"{name:<10}{taken:>6} of {of:>6}{taken / of:>9.1%}  bound {bound:.0%}{'' if held else '  TOO FEW'}\n"
        )
    return 1 if low else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1] if len(sys.argv) > 1 else "coverage.json")))
