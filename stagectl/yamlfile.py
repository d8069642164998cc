"""What does a site, set-up or scene file say, and on which line?

YAML read strictly: every scalar is text (so `no`, `010` and `10:00:00` stay what the person wrote), and what makes YAML
surprising is refused: anchors, aliases, tags, directives, the same key twice, keys that are not text. The tree that
comes back is `stagectl.filetree`'s.

This is the only module that imports the YAML library.
"""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import yaml

from stagectl.filetree import FileError, Node, Rows, Step, Table, Text

MAX_BYTES: Final = 1 << 20  # 400 devices take 60 kB; own choice
MAX_DEPTH: Final = 32  # a scene's branches nest 6 deep; own choice
MAX_NODES: Final = 20_000  # five times a site of 400 devices; holds memory and time at start; own choice

# With libyaml if the wheel has it: 5 to 10 times faster, the same events.
_LOADER: Final[Any] = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_NOT_TEXT: Final = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def read(path: Path) -> Node:
    """Read a file that holds one document.

    Raises:
        FileError: it can't be opened, or as `parse`.
    """
    return parse(_bytes_of(path), str(path))


def read_all(path: Path) -> list[Node]:
    """Read a file of one or several documents, parted by `---`.

    Raises:
        FileError: it can't be opened, or as `parse`.
    """
    return parse_all(_bytes_of(path), str(path))


def parse(data: bytes | str, file: str) -> Node:
    """Read one document.

    Args:
        data: UTF-8, with or without a byte order mark.
        file: name for the errors.

    Raises:
        FileError: not UTF-8, over a limit, not YAML, something refused here, no document or more than one.
    """
    first, *more = parse_all(data, file)
    if more:
        raise more[0].wrong("a second document starts here.", "Keep one in this file.")
    return first


def parse_all(data: bytes | str, file: str) -> list[Node]:
    """Read one or several documents, parted by `---`. Arguments and errors as `parse`."""
    composer = _Composer(file)
    text = _text_of(data, file)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            composer.take(event)
    except yaml.MarkedYAMLError as error:
        mark: Any = error.problem_mark or error.context_mark
        problem = ", ".join(part for part in (error.context, error.problem) if part)
        raise composer.wrong(mark, *_yaml_words(problem, text[mark.index : mark.index + 1] if mark else "")) from error
    except yaml.YAMLError as error:
        raise FileError(file, "this is no YAML.", remedy="Write it anew as plain text.") from error
    if not composer.documents:
        raise FileError(file, "nothing stands in this file.", remedy="Write at least one line like `name: value`.")
    return composer.documents


@dataclass(frozen=True, slots=True)
class Span:
    """Where a value stands in a text, in characters from 0; `end` is behind it. `flow`: a table or list in brackets."""

    start: int
    end: int
    flow: bool = False


def spans(text: str, file: str) -> dict[tuple[Step, ...], Span]:
    """The span of every value of the first document, by its path.

    The end of a table or list that is not in brackets is where its last value ends.

    Raises:
        FileError: this is no YAML.
    """
    try:
        return _spans(text)
    except yaml.YAMLError as error:
        raise FileError(file, "this is no YAML.", remedy="Write it anew as plain text.") from error


def _spans(text: str) -> dict[tuple[Step, ...], Span]:
    found: dict[tuple[Step, ...], Span] = {}
    stack: list[_Open] = []
    last = 0
    for event in yaml.parse(text, Loader=_LOADER):
        match event:
            case yaml.ScalarEvent():
                last = _at(event.end_mark)
                if stack and stack[-1].table and stack[-1].key is None:
                    stack[-1].key = Text("", 0, 0, (), event.value)
                    continue
                found[stack[-1].step() if stack else ()] = Span(_at(event.start_mark), last)
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                path = stack[-1].step() if stack else ()
                place = Node("", _at(event.start_mark), int(bool(event.flow_style)), path)
                stack.append(_Open(place, isinstance(event, yaml.MappingStartEvent)))
                continue
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                place = stack.pop().node
                last = _at(event.end_mark) if place.column else last
                found[place.path] = Span(place.line, last, bool(place.column))
            case yaml.DocumentEndEvent():
                break
            case _:
                continue
        if stack:
            stack[-1].items.append(Node("", 0, 0, ()))
            stack[-1].key = None
    return found


def _at(mark: Any) -> int:
    return int(mark.index)


def _bytes_of(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(MAX_BYTES + 1)
    except OSError as error:
        why = error.strerror or "it can't be read"
        raise FileError(str(path), f"the file can't be read: {why}.", remedy="Look at its name and rights.") from error


def _text_of(data: bytes | str, file: str) -> str:
    if isinstance(data, str):
        data = data.encode("utf-8", "surrogatepass")
    if len(data) > MAX_BYTES:
        raise FileError(file, f"the file is longer than {MAX_BYTES >> 20} MiB.", remedy="Split it.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, column = _place_in(data[: error.start].decode("latin-1"))
        raise FileError(
            file, "this is not UTF-8.", remedy="Save the file as UTF-8.", line=line, column=column
        ) from error
    if odd := _NOT_TEXT.search(text):
        line, column = _place_in(text[: odd.start()])
        problem, remedy = _control_sign(odd[0])
        raise FileError(file, problem, remedy=remedy, line=line, column=column)
    return text


def _control_sign(sign: str) -> tuple[str, str]:
    return f"a control sign (U+{ord(sign):04X}) stands in the text.", "Take it out."


def _place_in(before: str) -> tuple[int, int]:
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def _yaml_words(problem: str, sign: str) -> tuple[str, str]:
    """Say what the parser's `problem` at `sign` means for a person: problem and remedy."""
    if "cannot start any token" in problem:
        if sign == "\t":
            return "a tab stands where the line is indented.", "Indent with spaces."
        return f"text can't start with {sign}.", "Put it in quotes."
    if "mapping values are not allowed" in problem:
        return "a second colon makes this line unclear.", "Put the text in quotes, or look at the indent."
    return f"this is no YAML: {problem}.", "Look at indents, quotes and brackets."


@dataclass(slots=True)
class _Open:
    """A table or list whose end has not come yet."""

    node: Node  # its place
    table: bool
    values: dict[str, Node] = field(default_factory=dict)
    keys: dict[str, Text] = field(default_factory=dict)
    items: list[Node] = field(default_factory=list)
    key: Text | None = None

    def step(self) -> tuple[Step, ...]:
        """Where the next node goes; a key has the path it is about to open, unknown until it is read."""
        if not self.table:
            return (*self.node.path, len(self.items))
        return self.node.path if self.key is None else (*self.node.path, self.key.value)

    def done(self) -> Node:
        place = self.node
        if self.table:
            return Table(place.file, place.line, place.column, place.path, self.values, self.keys)
        return Rows(place.file, place.line, place.column, place.path, tuple(self.items))


class _Composer:
    """Builds nodes from parser events, without recursion, and refuses what we don't read as soon as it shows."""

    def __init__(self, file: str) -> None:
        self.documents: list[Node] = []
        self._file = file
        self._stack: list[_Open] = []
        self._nodes = 0

    def take(self, event: yaml.Event) -> None:
        match event:
            case yaml.AliasEvent():
                raise self.wrong(
                    event.start_mark, "aliases (*name) are not read.", "Write it out, or put it in quotes."
                )
            case yaml.DocumentStartEvent() if event.version or event.tags:
                raise self.wrong(event.start_mark, "directives (%) are not read.", "Take the line out.")
            case yaml.ScalarEvent():
                place = self._node(event)
                if odd := _NOT_TEXT.search(event.value):  # written as an escape in double quotes
                    raise place.wrong(*_control_sign(odd[0]))
                quoted = bool(event.style)  # plain is "" with libyaml, None without
                self._add(Text(place.file, place.line, place.column, place.path, event.value, quoted))
            case yaml.MappingStartEvent() | yaml.SequenceStartEvent():
                self._open(event)
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                self._add(self._stack.pop().done())

    def wrong(self, mark: Any, problem: str, remedy: str) -> FileError:
        """Make an error at a mark of the parser, named by the field that is being read."""
        return self._place(mark).wrong(problem, remedy)

    def _place(self, mark: Any) -> Node:
        path = self._stack[-1].step() if self._stack else ()
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        return Node(self._file, line, column, path)

    def _node(self, event: Any) -> Node:
        if event.anchor is not None:
            raise self.wrong(event.start_mark, "anchors (&name) are not read.", "Write it out, or put it in quotes.")
        if event.tag is not None:
            raise self.wrong(event.start_mark, "tags (!name) are not read.", "Take it out, or put the text in quotes.")
        self._nodes += 1
        if self._nodes > MAX_NODES:
            raise self.wrong(event.start_mark, f"more than {MAX_NODES} words and tables stand here.", "Split the file.")
        return self._place(event.start_mark)

    def _open(self, event: yaml.Event) -> None:
        place = self._node(event)
        if self._stack and self._stack[-1].table and self._stack[-1].key is None:
            raise place.wrong("a key is a list or a table.", "Write one word or text before the colon.")
        if len(self._stack) >= MAX_DEPTH:
            raise place.wrong(f"tables and lists stand more than {MAX_DEPTH} deep.", "Close a bracket, or indent less.")
        self._stack.append(_Open(place, isinstance(event, yaml.MappingStartEvent)))

    def _add(self, node: Node) -> None:
        if not self._stack:
            self.documents.append(node)
            return
        top = self._stack[-1]
        if not top.table:
            top.items.append(node)
        elif top.key is not None:
            top.values[top.key.value] = node
            top.key = None
        elif isinstance(node, Text):
            top.key = self._key(node, top)

    def _key(self, node: Text, top: _Open) -> Text:
        key = Text(node.file, node.line, node.column, (*node.path, node.value), node.value, node.quoted)
        if not key.value:
            raise node.wrong("the word before the colon is missing.", "Write it.")
        if first := top.keys.get(key.value):
            raise key.wrong(f"this stands here twice, first in line {first.line}.", "Keep one.")
        top.keys[key.value] = key
        return key
