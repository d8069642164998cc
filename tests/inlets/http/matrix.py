"""Which caller passes which route? The table, made from the routes themselves: python -m tests.inlets.http.matrix.

Right of each address stands what it asks for at least; "yes" means let in to be judged, "-" refused at the door.
"""

import sys
from collections.abc import Mapping
from typing import Final

from stagectl.control.access import NOBODY, Pass, Person, Role
from stagectl.inlets.http.route import Route
from stagectl.inlets.http.routes import ROUTES
from stagectl.model.errors import RefusedError

CALLERS: Final[Mapping[str, Person]] = {
    "nobody": NOBODY,
    "guest": Person("guest", Role.OPERATOR, Pass(frozenset({"roll", "good", "call"}), None, sees=False)),
    "screen": Person("screen", Role.VIEWER, Pass(frozenset(), frozenset())),
    "pedal": Person("pedal", Role.OPERATOR, Pass(frozenset({"roll", "good"}), frozenset({"iso-1"}))),
    "mara": Person("mara", Role.VIEWER, Pass(login=True)),
    "ines": Person("ines", Role.OPERATOR, Pass(login=True)),
    "petra": Person("petra", Role.ENGINEER, Pass(login=True)),
    "tomas": Person("tomas", Role.ENGINEER, Pass(login=True), fresh=True),
}
HEAD: Final = (
    "no token",
    "guest",
    "machine, viewer",
    "machine, operator",
    "viewer",
    "operator",
    "engineer, old login",
    "engineer",
)


def passes(route: Route, person: Person) -> str:
    """What the rule of a route says to a caller: "yes", or the code of the refusal."""
    assert route.rule is not None
    try:
        route.rule.admit(person)
    except RefusedError as refused:
        return refused.code
    return "yes"


def table() -> str:
    """The whole matrix as text."""
    rows = [("route", "least", *HEAD)]
    for route in ROUTES:
        assert route.rule is not None
        marks = ("yes" if passes(route, person) == "yes" else "-" for person in CALLERS.values())
        rows.append((f"{route.method} {route.path_text}", route.rule.least.value, *marks))
    wide = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    lines = ("  ".join(cell.ljust(width) for cell, width in zip(row, wide, strict=True)).rstrip() for row in rows)
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(table())
