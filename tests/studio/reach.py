"""What must a campaign have reached, or it proves nothing? States of the daemon, faults, a death at each await."""

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from tests.studio.faults import KINDS
from tests.studio.run import SOMETIMES

ENOUGH: Final = 1000  # seeds of all profiles; with fewer what is rare may be missing, and that is only told
ACTED: Final = ("B05", "O01", "O02", "O06", "D15")  # entries of the fault catalogue that people and clocks bring about
# the command path: what a wish passes between its door and its answer
PATH: Final[Mapping[str, tuple[str, ...]]] = {
    "stagectl/shoot/house.py": ("submit",),
    "stagectl/control/commands.py": ("go_durable", "durable"),
    "stagectl/control/groups.py": ("wait",),
    "stagectl/control/chronicle.py": ("synced",),
    "stagectl/control/journal.py": ("synced", "_commit_all", "_sync", "_patiently", "open"),
    "stagectl/control/recovery.py": ("judge",),
}
ROOT: Final = Path(__file__).parents[2]


def ids() -> list[str]:
    """Every entry of the fault catalogue that plans can draw."""
    return sorted({one for kind in KINDS.values() for one in kind.ids} | set(ACTED))


def awaits() -> Iterator[tuple[str, int, int]]:
    """(file, first line, last line) of every await of the command path."""
    for path, names in PATH.items():
        for node in ast.walk(ast.parse((ROOT / path).read_text("utf-8"))):
            if isinstance(node, ast.AsyncFunctionDef) and node.name in names:
                for one in ast.walk(node):
                    if isinstance(one, ast.Await):
                        yield Path(path).name, one.lineno, one.end_lineno or one.lineno


def died_at(reached: Mapping[str, int]) -> dict[str, int]:
    """ "journal.py:175" of each await of the command path -> how often a daemon died there."""
    found = {}
    for name, first, last in awaits():
        places = [f"crash at {name}:{line}" for line in range(first, last + 1)]
        found[f"{name}:{first}"] = sum(reached.get(place, 0) for place in places)
    return found


def reachable(reached: Mapping[str, int]) -> dict[str, int]:
    """All that a campaign must reach -> how often it was: states of the daemon, faults, a death at each await."""
    states = {what: reached.get(what, 0) for what in (*SOMETIMES, *ids())}
    return states | {f"a death at {place}": count for place, count in died_at(reached).items()}


def missing(reached: Mapping[str, int]) -> list[str]:
    """What was never reached of all that can be."""
    return [what for what, count in reachable(reached).items() if not count]


def table(reached: Mapping[str, int]) -> str:
    """In how many runs each was reached."""
    rows = [f"{reached.get(what, 0):6}  {what}" for what in SOMETIMES]
    rows.append("faults: " + "  ".join(f"{one} {reached.get(one, 0)}" for one in ids()))
    rows.append("deaths: " + "  ".join(f"{place} {count}" for place, count in died_at(reached).items()))
    return "\n".join(rows)
