"""What do sentences in a file mean, and on which line is one wrong?

A list means all of it; `{any of: [...]}` and `{not: ...}` nest. The words of one sentence are
`stagectl.model.sentences`' question.
"""

from typing import Any, Final

from stagectl.filetree import Issues, Node, Rows, Table, Text
from stagectl.model.conditions import AnyOf, Condition, Not, every
from stagectl.model.points import PointSpec
from stagectl.model.sentences import SentenceError, Vocabulary, parse, parse_for, parse_points, parse_time

_FORMS: Final = ("any of", "not")


def parse_node(node: Node, vocabulary: Vocabulary, device: str = "") -> Condition:
    """Read a sentence, a list of them, or a table `any of` or `not`.

    Args:
        node: where it stands.
        vocabulary: whom it may speak of.
        device: a sentence without `who` is about this one; empty: each names somebody.

    Raises:
        FileError, FileErrors: with the place of each wrong sentence.
    """
    match node:
        case Text():
            return _sentence(node, vocabulary, device)
        case Rows():
            return every(*_each(node, vocabulary, device))
        case Table():
            return _form(node, vocabulary, device)
    raise node.wrong("here stands nothing that can be read.", "Write a sentence.")


def points_node(text: Text, vocabulary: Vocabulary, device: str = "") -> tuple[tuple[str, PointSpec[Any]], ...]:
    """Read whose and which point; with `device` the text is the point alone.

    Raises:
        FileError: at the text.
    """
    try:
        return parse_points(f"{device} {text.value}" if device else text.value, vocabulary)
    except SentenceError as error:
        raise text.wrong(*_said(error)) from error


def time_node(text: Text) -> float:
    """Read a time in seconds.

    Raises:
        FileError: at the text.
    """
    try:
        return parse_time(text.value)
    except SentenceError as error:
        raise text.wrong(*_said(error)) from error


def _sentence(text: Text, vocabulary: Vocabulary, device: str) -> Condition:
    if not text.value:
        raise text.wrong("the sentence is missing.", "Write it.")
    try:
        return parse_for(text.value, device, vocabulary) if device else parse(text.value, vocabulary)
    except SentenceError as error:
        raise text.wrong(*_said(error)) from error


def _each(rows: Rows, vocabulary: Vocabulary, device: str) -> list[Condition]:
    if not rows.items:
        raise rows.wrong("the list is empty.", "Write a sentence, or take the list out.")
    issues, parts = Issues(), []
    for item in rows:
        with issues.gather():
            parts.append(parse_node(item, vocabulary, device))
    issues.finish()
    return parts


def _form(table: Table, vocabulary: Vocabulary, device: str) -> Condition:
    table.only(_FORMS)
    if len(table) != 1:
        raise table.wrong("one of `any of` and `not` stands here.", "Write one of them, or a sentence.")
    if part := table.get("not"):
        return Not(parse_node(part, vocabulary, device))
    return AnyOf(tuple(_each(table["any of"].as_rows(), vocabulary, device)))


def _said(error: SentenceError) -> tuple[str, str]:
    return str(error), error.remedy
