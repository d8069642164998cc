"""How is a person's YAML changed without touching what nobody asked to change?

Values are replaced where they stand and rows are added at the end of their table; comments, order, quotes and blank
lines stay. What comes out is read again, and must say what it should: else nothing is returned.
"""

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from stagectl import yamlfile
from stagectl.filetree import FileError, Step
from stagectl.yamlfile import Span

_PLAIN: Final = re.compile(r"(?:[^\W_]|[+(]|-(?=[0-9]))(?:[\w .+/()%-]*[\w.+/()%])?")

Path = tuple[Step, ...]


def scalar(text: str) -> str:
    """A text as YAML: plain where nothing in it could be misread, else in double quotes."""
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)


def edited(text: str, file: str, values: Mapping[Path, str], rows: Sequence[tuple[Path, str]] = ()) -> str:
    """Change a file's text.

    Args:
        text: of the file, one document.
        file: name for the errors.
        values: path of a value that is there -> what it is to be.
        rows: path of a value that is not there and what it is to be, in their order; tables that are missing on the way
            are made.

    Raises:
        FileError: the text can't be read, or can't be changed without touching more.
    """
    wanted = yamlfile.parse(text, file).plain()
    for path, value in (*values.items(), *rows):
        _put(wanted, path, value)
    try:
        found = yamlfile.spans(text, file)
        for path in sorted(values, key=lambda path: -found[path].start):
            text = _spliced(text, found[path], scalar(values[path]))
        for path, value in rows:
            text = _added(text, file, path, value)
        if yamlfile.parse(text, file).plain() == wanted:
            return text
    except FileError:
        pass  # what came out can't be read: the same as a file that says something else
    raise FileError(
        file, "this can't be changed without touching more of it.", remedy="Write the values by hand, one a line."
    )


def _put(tree: Any, path: Path, value: str) -> None:
    for step in path[:-1]:
        tree = tree[step] if isinstance(step, int) else tree.setdefault(step, {})
    tree[path[-1]] = value


def _spliced(text: str, span: Span, new: str) -> str:
    return text[: span.start] + new + text[span.end :]


def _added(text: str, file: str, path: Path, value: str) -> str:
    """Add one row at the end of the nearest table that is there."""
    found = yamlfile.spans(text, file)
    depth = max(index for index in range(len(path)) if path[:index] in found)
    table, missing = found[path[:depth]], [str(step) for step in path[depth:]]
    if table.flow:
        row = f"{scalar(missing[-1])}: {scalar(value)}"
        for key in reversed(missing[:-1]):
            row = f"{scalar(key)}: {{{row}}}"
        empty = not text[table.start + 1 : table.end - 1].strip()
        return text[: table.end - 1].rstrip() + ("" if empty else ", ") + row + text[table.end - 1 :]
    indent = table.start - (text.rfind("\n", 0, table.start) + 1)
    lines = [f"{' ' * (indent + 2 * level)}{scalar(key)}:" for level, key in enumerate(missing)]
    lines[-1] += f" {scalar(value)}"
    end = text.find("\n", table.end)
    before, after = (text, "") if end < 0 else (text[: end + 1], text[end + 1 :])
    return before + ("" if before.endswith("\n") else "\n") + "".join(f"{line}\n" for line in lines) + after
