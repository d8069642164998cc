"""What may a scene be told, and whom may it speak of? Arguments, and the names that serve in them.

Arguments are written {name} inside a text; a text that begins with one stands in quotes.
"""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from stagectl.control.access import Role
from stagectl.filetree import Issues, Node, Rows, Table, Text
from stagectl.model.errors import RefusedError
from stagectl.model.sentences import SentenceError, Vocabulary, parse_time
from stagectl.model.verbs import Verb
from stagectl.model.words import nearest
from stagectl.shoot.scene import Argument

MAX_TEXT: Final = 200  # letters of an argument
KINDS: Final = ("text", "number", "time")  # what an argument may be, beside the lists of the site
_FILL: Final = re.compile(r"\{([^{}]*)\}")
_NAME: Final = re.compile(r"[a-z][a-z0-9-]{0,31}")


@dataclass(frozen=True, slots=True)
class Words:
    """Whom and what scenes may speak of.

    Attributes:
        vocabulary: devices, parts and groups.
        lists: further kinds of argument by name: "recorder", "source", ...
        people: name -> role.
        see: raises RefusedError for an act that the house would refuse, whatever stands on the board.
    """

    vocabulary: Vocabulary
    lists: Mapping[str, Collection[str]]
    people: Mapping[str, Role]
    see: Callable[[str, Verb], None]


def read_arguments(node: Node | None, words: Words, issues: Issues) -> dict[str, Argument]:
    """The table `with` at the top of a scene; what is wrong goes to `issues`."""
    found: dict[str, Argument] = {}
    if node is None:
        return found
    with issues.gather():
        for name, value in node.as_table().items():
            with issues.gather():
                found[name] = _argument(node.as_table().keys[name], value.as_table(), words)
    return found


def _argument(key: Text, table: Table, words: Words) -> Argument:
    if not _NAME.fullmatch(key.value) or key.value == "called":
        raise key.wrong(f'"{key.value[:40]}" is no name.', "Write small letters, digits and hyphens, a letter first.")
    table.only(("about", "default", "reads"))
    reads = "text"
    if (node := table.get("reads")) is not None:
        reads = node.as_text().one_of([*KINDS, *words.lists], "kind of argument")
    default = table["default"].as_text()
    argument = Argument(key.value, one_line(table["about"]) if "about" in table else "", default.value, reads)
    try:
        see_argument(argument, default.value, words)
    except RefusedError as error:
        raise default.wrong(str(error), error.remedy) from error
    return argument


def fill_in(scene: str, arguments: Mapping[str, Argument], given: Mapping[str, str], words: Words) -> dict[str, str]:
    """The value of each argument: what was given, else its default. Raises RefusedError, code "argument"."""
    for name in given:
        if name not in arguments:
            raise RefusedError(f'{scene} takes no "{name}".', remedy=nearest(name, arguments), code="argument")
    filled = {name: str(given.get(name, argument.default)) for name, argument in arguments.items()}
    for name, value in filled.items():
        see_argument(arguments[name], value, words)
    return filled


def see_argument(argument: Argument, value: str, words: Words) -> None:
    """See that a value is of the argument's kind. Raises RefusedError, code "argument"."""
    why, remedy = "", ""
    if argument.reads in words.lists:
        if value not in words.lists[argument.reads]:
            why, remedy = f'is a {argument.reads}, not "{value[:40]}"', nearest(value, words.lists[argument.reads])
    elif argument.reads == "number":
        if not re.fullmatch(r"-?[0-9]{1,9}(\.[0-9]{1,6})?", value):
            why, remedy = f'is a number, not "{value[:40]}"', "Write digits."
    elif argument.reads == "time":
        try:
            parse_time(value)
        except SentenceError as error:
            why, remedy = f'is a time, not "{value[:40]}"', error.remedy
    elif len(value) > MAX_TEXT or any(char in '{}"' or not char.isprintable() for char in value):
        why, remedy = "is one line of text without quotes and braces", f"Write {MAX_TEXT} letters at most."
    if why:
        raise RefusedError(f"The argument {argument.name} {why}.", remedy=remedy, code="argument")


def fill(node: Node, given: Mapping[str, str]) -> Node:
    """The same with every {argument} replaced, in keys too. Raises FileError: there is no such argument."""
    match node:
        case Text():
            return fill_text(node, given)
        case Rows():
            return replace(node, items=tuple(fill(item, given) for item in node))
        case Table():
            keys = {}
            values = {}
            for key, value in node.items():
                keep = ("called",) if key == "otherwise" else ()
                filled = fill_text(node.keys[key], given)
                if filled.value in keys:
                    raise filled.wrong(f"{filled.value} stands here twice.", "Keep one.")
                keys[filled.value] = filled
                values[filled.value] = fill_text(value, given, keep) if isinstance(value, Text) else fill(value, given)
            return replace(node, keys=keys, values=values)
    return node


def fill_text(text: Text, given: Mapping[str, str], keep: Sequence[str] = ()) -> Text:
    """The same for one text; words in `keep` stay as they are."""

    def value(found: re.Match[str]) -> str:
        name = found[1]
        if name in keep:
            return found[0]
        if name not in given:
            remedy = nearest(name, given) if given else "Name it in `with`, at the top of the file."
            raise text.wrong(f'there is no argument "{name[:40]}".', remedy)
        return given[name]

    return replace(text, value=_FILL.sub(value, text.value)) if "{" in text.value else text


def one_line(node: Node) -> str:
    """The text of a node on one line. Raises FileError: it is empty."""
    text = node.as_text()
    words = " ".join(text.value.split())
    if not words:
        raise text.wrong("the text is missing.", "Write it.")
    return words
