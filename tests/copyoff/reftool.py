"""How is the standard's own tool run without it asking the internet? `ascmhl` 1.2, in a venv of its own.

It asks a release page in a thread when it starts. All its ways out are turned to a port of this machine where nobody
listens, so that this ends at once and here.
"""

import json
import os
import subprocess
from pathlib import Path
from typing import Final

VENV: Final = Path(__file__).parent.parent.parent / ".venv-oracle" / "bin"
_CLOSED: Final = "http://127.0.0.1:9"  # the discard port: no machine of today serves it


def reference(program: str, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run `ascmhl` or `ascmhl-debug`; what it said is in stdout and stderr."""
    if not (VENV / program).exists():
        raise FileNotFoundError(f"{VENV / program}: make test makes it; alone: make .venv-oracle/.installed")
    ways = dict.fromkeys(("http_proxy", "https_proxy", "all_proxy"), _CLOSED)
    ways |= {name.upper(): address for name, address in ways.items()}
    return subprocess.run(
        [VENV / program, *words],
        env={"PATH": os.environ["PATH"], "HOME": os.environ.get("HOME", "/"), "TZ": "UTC", "LC_ALL": "C.UTF-8", **ways},
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )


def left_out(lines: list[str], paths: list[str]) -> dict[str, list[str]]:
    """Which of these paths the reference tool's library leaves out for each line alone."""
    program = (
        "import json, sys, pathspec; lines, paths = json.load(sys.stdin)\n"
        "of = lambda line: pathspec.PathSpec.from_lines('gitwildmatch', [line])\n"
        "print(json.dumps({line: sorted(of(line).match_files(paths)) for line in lines}))"
    )
    done = subprocess.run(
        [VENV / "python", "-W", "ignore", "-c", program],
        input=json.dumps([lines, paths]),
        capture_output=True,
        text=True,
        timeout=50,
        check=True,
    )
    found: dict[str, list[str]] = json.loads(done.stdout)
    return found
