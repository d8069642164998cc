"""Which files does a history leave out? Patterns as lines of a gitignore file, as manifests hold them.

Source: ASC MHL specification 1.0, ignore patterns; the rules of gitignore(5), section "Pattern format". Checked against
the reference tool's library in tests/copyoff/test_mhl_oracle.py.
"""

import re
from collections.abc import Iterable
from typing import Final

# what every history leaves out (the specification's default), and the files that a copy under way is made of
DEFAULT: Final = (".DS_Store", "ascmhl", "ascmhl/", ".*.part-*")


class Ignore:
    """Says whether a file is left out; a later pattern overrules an earlier one."""

    def __init__(self, patterns: Iterable[str]) -> None:
        self._rules = [rule for pattern in patterns if (rule := _rule(pattern)) is not None]

    def __call__(self, path: str) -> bool:
        """Is the file at this path, from the history's folder, left out, or a folder above it?"""
        parts = path.split("/")
        return any(self._says("/".join(parts[:depth]), folder=depth < len(parts)) for depth in range(1, len(parts) + 1))

    def _says(self, path: str, *, folder: bool) -> bool:
        out = False
        for pattern, keeps, folders_only in self._rules:
            if (folder or not folders_only) and pattern.fullmatch(path):
                out = not keeps
        return out


def _rule(line: str) -> tuple[re.Pattern[str], bool, bool] | None:
    """Pattern, whether it takes back, whether it means folders alone; None: a comment, or nothing."""
    line = line.rstrip(" ") if not line.endswith("\\ ") else line
    if not line or line.startswith("#"):
        return None
    keeps = line.startswith("!")
    line = line.removeprefix("!")
    folders_only = line.endswith("/")
    line = line.rstrip("/")
    anchored = "/" in line
    line = line.removeprefix("/")
    if not line:
        return None
    try:
        return re.compile(("" if anchored else "(?:.*/)?") + _expression(line), re.DOTALL), keeps, folders_only
    except re.error:  # such a line matches nothing
        return None


def _expression(line: str) -> str:
    made, at = "", 0
    while at < len(line):
        rest = line[at:]
        if rest.startswith("**/"):
            made, at = made + "(?:.*/)?", at + 3
        elif rest == "**" and (at == 0 or line[at - 1] == "/"):
            made, at = made + ".+", at + 2
        elif rest[0] == "*":
            made, at = made + "[^/]*", at + 1
        elif rest[0] == "?":
            made, at = made + "[^/]", at + 1
        elif rest[0] == "[":
            end = line.find("]", at + 2)
            if end < 0:
                raise re.error("a bracket without an end")
            inside = line[at + 1 : end].replace("\\", "\\\\").replace("[", "\\[")
            made, at = made + f"[{'^' + inside[1:] if inside[0] in '!^' else inside}]", end + 1
        elif rest[0] == "\\" and len(rest) > 1:
            made, at = made + re.escape(rest[1]), at + 2
        else:
            made, at = made + re.escape(rest[0]), at + 1
    return made
