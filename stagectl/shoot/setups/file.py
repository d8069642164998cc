"""What does one set-up file say, and on which line is it wrong?"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from stagectl.filetree import Issues, Node, Text
from stagectl.sentencefile import points_node
from stagectl.shoot.scenewords import Words, one_line
from stagectl.shoot.setups.setup import Pair, Sheet, Wanted
from stagectl.shoot.wants import read_want

KEYS: Final = ("set-up", "about", "includes", "wants", "hold")
MOST: Final = 5000  # wanted values of one file; own choice, five times the largest we measured
NEVER: Final = ("takes", "setups")  # parts that a set-up wants nothing of: a slate is no state of the studio


def read_sheet(root: Node, name: str, path: Path, words: Words) -> Sheet:
    """Read a set-up file.

    Args:
        root: the file's tree.
        name: what doors call it.
        path: of the file.
        words: whom it may speak of.

    Raises:
        FileError, FileErrors: all that is wrong in the file.
    """
    table, issues = root.as_table(), Issues()
    with issues.gather():
        table.only(KEYS)
    mistyped = bool(issues.errors)  # then what seems to be missing is there, with a slip in it
    called = about = ""
    with issues.gather():
        called = one_line(table["set-up"])
    with issues.gather():
        about = one_line(table["about"]) if "about" in table else ""
    includes = _texts(table.get("includes"), issues)
    wants: dict[Pair, Wanted] = {}
    if "wants" in table or not (mistyped or includes):
        with issues.gather():
            wants = _wants(table["wants"], name, words, issues)
    hold: frozenset[Pair] | None = None
    if (node := table.get("hold")) is not None:
        found: dict[Pair, None] = {}
        for text in _texts(node, issues):
            with issues.gather():
                found.update(dict.fromkeys((device, spec.name) for device, spec in points_node(text, words.vocabulary)))
        hold = frozenset(found)
    issues.finish()
    return Sheet(name, called, about, includes, wants, hold, path, table)


def _texts(node: Node | None, issues: Issues) -> tuple[Text, ...]:
    found: list[Text] = []
    if node is not None:
        with issues.gather():
            for item in node.as_rows():
                with issues.gather():
                    found.append(item.as_text())
    return tuple(found)


def _wants(node: Node, name: str, words: Words, issues: Issues) -> dict[Pair, Wanted]:
    """The rows of a table; a device's own row goes before one for its group."""
    wants: dict[Pair, Wanted] = {}
    table = node.as_table()
    for who, points in table.items():
        key = table.keys[who]
        with issues.gather():
            if who in NEVER:
                raise key.wrong(f"a set-up wants nothing of {who}.", "Write a scene.")
            for what, value in points.as_table().items():
                with issues.gather():
                    row = (key, points.as_table().keys[what], value.as_text())
                    for one in _row(row, name, words):
                        _enter(wants, one)
                    if len(wants) > MOST:
                        raise key.wrong(f"more than {MOST} values are wanted here.", "Part the file in two.")
    if not wants and not issues.errors:
        raise node.wrong("nothing is wanted here.", "Write a device, its points and their values.")
    return wants


def _row(row: Sequence[Text], name: str, words: Words) -> list[Wanted]:
    who, what, value = row
    group = who.value.removeprefix("every ").strip() if who.value.startswith("every ") else ""
    found = read_want(words, who, what, value, readable=True)
    return [Wanted(device, spec, wanted, group, value, name) for device, spec, wanted in found]


def _enter(wants: dict[Pair, Wanted], one: Wanted) -> None:
    other = wants.get(one.pair)
    if other is None or (other.group and not one.group):
        wants[one.pair] = one
    elif bool(other.group) == bool(one.group) and other.value != one.value:
        raise one.place.wrong(
            f"{one.say} is wanted twice, first in line {other.place.line}.", "Keep one, or write a row of its own."
        )
