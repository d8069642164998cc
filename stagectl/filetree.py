"""Where in a file does a word stand, and what is wrong with it?

What a reader of files gives back: text, tables and lists that know their file, line, column and field; and the errors
made from them, one or many at once. Which bytes make such a tree is `stagectl.yamlfile`'s question.
"""

import difflib
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Final

from pydantic import ValidationError

from stagectl.model.errors import SiteError

MAX_SHOWN: Final = 50  # errors in one message: more than a screen is not read

# what would break the line an error is told on, or turn its words round
_UNSEEN: Final = {
    ord(sign): f"\\u{ord(sign):04x}"
    for sign in "\x85\u2028\u2029\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
} | {9: "\\t", 10: "\\n", 13: "\\r"}

Step = str | int
"""One step of a field's path: a key, or the index in a list from zero (shown from one, as people count)."""


class FileError(SiteError):
    """A file is wrong at one place.

    `str()`: `scenes/roll-all.yaml:9:5 steps.2.do: there is no verb "rol". Say roll.` It is one line:
    line ends, tabs and marks that turn text round are spelled out.

    Attributes:
        file: name as the person gave it.
        line, column: from one; 0 where the file as a whole is meant.
        path: the field, "devices.iso-1.box"; list items count from one; empty at the top.
        problem: what is wrong, one sentence.
        remedy: what to do, one sentence; empty if the problem says it.
    """

    def __init__(
        self, file: str, problem: str, *, remedy: str = "", line: int = 0, column: int = 0, path: str = ""
    ) -> None:
        place = f"{file}:{line}:{column}" if line else file
        where = f"{place} {path}:" if path else f"{place}:"
        super().__init__(" ".join(part for part in (where, problem, remedy) if part).translate(_UNSEEN))
        self.file = file
        self.line = line
        self.column = column
        self.path = path
        self.problem = problem
        self.remedy = remedy


class FileErrors(SiteError):  # noqa: N818 - it is several of them
    """Files are wrong at several places; `errors` has them by file, line and column. `str()` is a line for each."""

    def __init__(self, errors: Iterable[FileError]) -> None:
        self.errors = tuple(sorted(errors, key=lambda error: (error.file, error.line, error.column)))
        lines = [str(error) for error in self.errors[:MAX_SHOWN]]
        if more := len(self.errors) - len(lines):
            lines.append(f"and {more} more")
        super().__init__("\n".join(lines))


@dataclass(slots=True)
class Issues:
    """Gathers errors, so that a person sees all of them at once.

    `with issues.gather(): ...` goes on after a wrong part; `issues.finish()` raises what came together.
    """

    errors: list[FileError] = field(default_factory=list)

    def add(self, error: FileError | FileErrors) -> None:
        self.errors.extend(error.errors if isinstance(error, FileErrors) else (error,))

    @contextmanager
    def gather(self) -> Iterator[None]:
        """Keep a file error raised inside instead of passing it on."""
        try:
            yield
        except (FileError, FileErrors) as error:
            self.add(error)

    def finish(self) -> None:
        """Raise the errors gathered; nothing if there are none.

        Raises:
            FileError: there is one.
            FileErrors: there are several.
        """
        if len(self.errors) == 1:
            raise self.errors[0]
        if self.errors:
            raise FileErrors(self.errors)


@dataclass(frozen=True, slots=True)
class Node:
    """Anything in a file, with its place.

    Attributes:
        file: name as the person gave it.
        line, column: of its first character, from one.
        path: steps from the top.
    """

    file: str
    line: int
    column: int
    path: tuple[Step, ...]

    def wrong(self, problem: str, remedy: str = "", *below: Step) -> FileError:
        """Make an error at this place, or for a field below it that is not there."""
        path = field_path((*self.path, *below))
        return FileError(self.file, problem, remedy=remedy, line=self.line, column=self.column, path=path)

    def plain(self) -> Any:
        """Return the content as str, dict and list, for readers that don't care for places."""
        raise NotImplementedError

    def as_text(self) -> "Text":
        """Return itself if it is text. Raises FileError."""
        raise self.wrong(f"here stands {self.says_what()}.", "Write one word or text.")

    def as_table(self) -> "Table":
        """Return itself if it is a table. Raises FileError."""
        raise self.wrong(f"here stands {self.says_what()}.", "Write a table, lines like `name: value`.")

    def as_rows(self) -> "Rows":
        """Return itself if it is a list. Raises FileError."""
        raise self.wrong(f"here stands {self.says_what()}.", "Write a list, lines like `- value`.")

    def says_what(self) -> str:
        """Return what it is, for a sentence: "a list"."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True)
class Text(Node):
    """A scalar, always as text.

    Attributes:
        value: the text, folded and unquoted as YAML says.
        quoted: it stood in quotes or in a block.
    """

    value: str
    quoted: bool = False

    @property
    def empty(self) -> bool:
        """Nothing was written, as in `key:`; `key: ""` is written, and is not empty."""
        return not self.value and not self.quoted

    def plain(self) -> str:
        return self.value

    def as_text(self) -> "Text":
        return self

    def says_what(self) -> str:
        return "nothing" if self.empty else "text"

    def one_of(self, words: Collection[str], thing: str) -> str:
        """Return the text if it is one of `words`.

        Args:
            words: what may stand here, in the order to list them.
            thing: what the words are, for the sentence: "verb".

        Raises:
            FileError: it is not; the nearest word is the remedy.
        """
        if self.value in words:
            return self.value
        raise self.wrong(f'there is no {thing} "{self.value[:40]}".', _say(self.value, words))


@dataclass(frozen=True, slots=True)
class Rows(Node):
    """A list."""

    items: tuple[Node, ...]

    def plain(self) -> list[Any]:
        return [item.plain() for item in self.items]

    def as_rows(self) -> "Rows":
        return self

    def says_what(self) -> str:
        return "a list"

    def __iter__(self) -> Iterator[Node]:
        return iter(self.items)

    def __len__(self) -> int:
        return len(self.items)

    def __getitem__(self, index: int) -> Node:
        return self.items[index]


@dataclass(frozen=True, slots=True)
class Table(Node):
    """A mapping in the order of the file.

    Attributes:
        values: what stands under each key.
        keys: where each key itself stands.
    """

    values: dict[str, Node]
    keys: dict[str, Text]

    def plain(self) -> dict[str, Any]:
        return {key: value.plain() for key, value in self.values.items()}

    def as_table(self) -> "Table":
        return self

    def says_what(self) -> str:
        return "a table"

    def __iter__(self) -> Iterator[str]:
        return iter(self.values)

    def __len__(self) -> int:
        return len(self.values)

    def __contains__(self, key: object) -> bool:
        return key in self.values

    def __getitem__(self, key: str) -> Node:
        """Return what stands under `key`.

        Raises:
            FileError: the key is not there.
        """
        if key not in self.values:
            raise self.wrong("this is missing.", "Add it.", key)
        return self.values[key]

    def get(self, key: str) -> Node | None:
        return self.values.get(key)

    def items(self) -> Iterable[tuple[str, Node]]:
        return self.values.items()

    def text(self, key: str, default: str | None = None) -> str:
        """Return the text under `key`, or `default` if the key is not there.

        Raises:
            FileError: it is no text, or it is not there and has no default.
        """
        if default is not None and key not in self.values:
            return default
        return self[key].as_text().value

    def only(self, known: Collection[str]) -> None:
        """Refuse keys that nobody reads: most are a slip of the pen.

        Raises:
            FileError: for one unknown key.
            FileErrors: for several.
        """
        issues = Issues()
        for key, place in self.keys.items():
            if key not in known:
                issues.add(place.wrong("nobody reads this.", _say(key, known)))
        issues.finish()


def field_path(path: Iterable[Step]) -> str:
    """Return steps as people read them: "steps.2.do", list items from one."""
    return ".".join(str(step + 1) if isinstance(step, int) else step for step in path)


def from_validation(error: ValidationError, root: Node) -> FileErrors:
    """Say where in the file each error of a pydantic model stands.

    Args:
        error: raised by a model that was given `root.plain()`.
        root: what it was given.

    Returns: one FileError for each; steps of `loc` that are not in the file, such as the tag of a union, are left out.
    Spell tags unlike any key ("a check step"): then no reading of `loc` is in doubt.
    """
    details = error.errors(include_url=False, include_context=False, include_input=False)
    return FileErrors(_located(root, detail["loc"], detail["type"], detail["msg"]) for detail in details)


def _say(word: str, words: Collection[str]) -> str:
    near = difflib.get_close_matches(word[:40], words, n=1)
    if near:
        return f"Say {near[0]}."
    return f"Say one of: {', '.join(words)}." if words else "Take it out."


def _located(root: Node, loc: tuple[Step, ...], kind: str, message: str) -> FileError:
    if kind == "missing":
        return _find(root, loc[:-1], Table).wrong("this is missing.", "Add it.", loc[-1])
    of_key = kind == "extra_forbidden" or loc[-1:] == ("[key]",)
    node = _find(root, loc)
    if of_key and node.path:
        table = _find(root, node.path[:-1])
        if isinstance(table, Table):
            node = table.keys[str(node.path[-1])]
    return node.wrong(*_model_words(kind, message))


def _find(root: Node, loc: tuple[Step, ...], kind: type[Node] = Node) -> Node:
    """Return the node that `loc` means.

    The tag of a union stands inside `loc` and may be spelt like a key (a step `check` has a field `check`), so each
    step may be in the file or not: the reading that uses the last step wins, then the one that uses most, among
    those that lead to a node of `kind`.
    """
    # node, whether the last step led to it, steps used; one entry for each node that some reading reaches
    readings = [(root, True, 0)]
    for step in loc:
        reached = [(node, False, used) for node, _, used in readings]
        for node, _, used in readings:
            child = _child(node, step)
            if child is not None and all(child is not other for other, _, _ in reached):
                reached.append((child, True, used + 1))
        readings = reached
    return max(readings, key=lambda reading: (isinstance(reading[0], kind), *reading[1:]))[0]


def _child(node: Node, step: Step) -> Node | None:
    if isinstance(node, Table):
        return node.values.get(str(step))
    if isinstance(node, Rows) and isinstance(step, int) and step < len(node.items):
        return node.items[step]
    return None


def _model_words(kind: str, message: str) -> tuple[str, str]:
    match kind:
        case "extra_forbidden":
            return "nobody reads this.", "Take it out, or look at its spelling."
        case "value_error" | "assertion_error":
            text = message.partition(", ")[2]
        case "dict_type" | "model_type" | "model_attributes_type" | "mapping_type":
            return "this is no table.", "Write lines like `name: value`."
        case "list_type" | "tuple_type" | "set_type":
            return "this is no list.", "Write lines like `- value`."
        case "string_type":
            return "this is no text.", "Write one word or text."
        case _:
            text = message.replace("Input should", "this should", 1)
    return (text if text.endswith((".", "!", "?")) else f"{text}."), ""
