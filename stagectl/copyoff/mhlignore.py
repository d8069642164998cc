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
        return re.compile(_expression(line if anchored else f"**/{line}"), re.DOTALL), keeps, folders_only
    except re.error:  # such a line matches nothing
        return None


_DEEP: Final = "(?:[^/]*/)*?"  # some folders, or none


def _expression(line: str) -> str:
    """As a regular expression whose time grows with path times line, whatever the line: it may come from anybody.

    Of what lies between two wildcards the first place that fits will do, for the second can take the rest: it is not
    tried again (an atomic group). Only the last of a segment, and of the line, are.
    """
    *before, last = _deep_parts(line)
    first, *between = before or [last]
    made = _segments(first)
    made += "".join(f"(?>{_DEEP}{_segments(part)})" for part in between)
    return made if not before else f"{made}{_DEEP}{_segments(last)}"


def _deep_parts(line: str) -> list[str]:
    """What stands between the `**/` of a line; several in a row are one."""
    parts, at = [""], 0
    while at < len(line):
        if line.startswith("**/", at) and (at == 0 or line[at - 1] == "/"):
            while line.startswith("**/", at):
                at += 3
            parts.append("")
            continue
        escaped = line[at] == "\\" and at + 1 < len(line)
        parts[-1] += line[at : at + 1 + escaped]
        at += 1 + escaped
    return parts


def _segments(part: str) -> str:
    """Folders and a name without `**/` between them."""
    made = [[""]]  # of each segment what stands between its stars
    at, begins = 0, 0
    while at < len(part):
        char = part[at]
        if part[at:] == "**" and at == begins:
            return "/".join(map(_segment, made[:-1])) + ("/" if len(made) > 1 else "") + ".+"
        if char == "/":
            made.append([""])
            begins = at + 1
        elif char == "*":
            if made[-1][-1] or len(made[-1]) == 1:
                made[-1].append("")
        elif char == "?":
            made[-1][-1] += "[^/]"
        elif char == "[":
            end = part.find("]", at + 2)
            if end < 0:
                raise re.error("a bracket without an end")
            inside = part[at + 1 : end].replace("\\", "\\\\").replace("[", "\\[")
            made[-1][-1] += f"[{'^' + inside[1:] if inside[0] in '!^' else inside}]"
            at = end
        elif char == "\\" and at + 1 < len(part):
            at += 1
            made[-1][-1] += re.escape(part[at])
        else:
            made[-1][-1] += re.escape(char)
        at += 1
    return "/".join(map(_segment, made))


def _segment(fixed: list[str]) -> str:
    """One name, of what stands between its stars."""
    first, *between = fixed
    if not between:
        return first
    *between, last = between
    return first + "".join(f"(?>[^/]*?{one})" for one in between) + f"[^/]*{last}"
