"""Do sentences in a file become one condition, and is each wrong one told with its line?

Source of all rows: own construction.
"""

from collections.abc import Mapping
from typing import Final

import pytest

from stagectl.filetree import FileError, FileErrors
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.recorder import RECORDER, REMOTE, TIMECODE, TRANSPORT, Transport
from stagectl.model.conditions import All, AnyOf, Condition, Not
from stagectl.sentencefile import parse_node, points_node, time_node
from stagectl.yamlfile import parse


class Hall:
    def devices(self) -> Mapping[str, Capability]:
        return {"iso-1": RECORDER, "iso-2": RECORDER}

    def groups(self) -> Mapping[str, tuple[str, ...]]:
        return {"iso": ("iso-1", "iso-2")}


ROLLS: Final = TRANSPORT.is_(Transport.RECORDING).on("iso-1")
STANDS: Final = TIMECODE.stands().on("iso-1").lasting(3)
REMOTE_ON: Final = REMOTE.is_(True).on("iso-1")
FORMS: Final = [
    # id, file, condition
    ("a sentence", "iso-1 transport is recording", ROLLS),
    ("a list of one", "[iso-1 transport is recording]", ROLLS),
    ("a list", "[iso-1 transport is recording, iso-1 timecode stands for 3 s]", All((ROLLS, STANDS))),
    ("any of", "any of: [iso-1 transport is recording, iso-1 remote is yes]", AnyOf((ROLLS, REMOTE_ON))),
    ("not", "not: iso-1 transport is recording", Not(ROLLS)),
    (
        "nested",
        (
            "- iso-1 remote is yes\n- any of:\n"
            "  - [iso-1 transport is recording, iso-1 timecode stands for 3 s]\n  - not: iso-1 remote is yes\n"
        ),
        All((REMOTE_ON, AnyOf((All((ROLLS, STANDS)), Not(REMOTE_ON))))),
    ),
]


@pytest.mark.parametrize(("text", "condition"), [row[1:] for row in FORMS], ids=[row[0] for row in FORMS])
def test_a_list_means_all_and_tables_nest(text: str, condition: Condition) -> None:
    assert parse_node(parse(text, "f.yaml"), Hall()) == condition


def test_of_a_device_every_sentence_below_may_leave_it_out() -> None:
    text = "[transport is recording, {not: remote is yes}]"
    assert parse_node(parse(text, "f.yaml"), Hall(), "iso-1") == All((ROLLS, Not(REMOTE_ON)))


WRONG: Final = [
    # id, file, what is said of it
    (
        "a wrong word deep inside",
        "- iso-1 remote is yes\n- any of:\n  - iso-1 remote is yes\n  - not: iso-1 transprt is recording",
        'f.yaml:4:10 2.any of.2.not: iso-1 has no point "transprt". Perhaps you mean transport.',
    ),
    ("an unknown form", "{none of: [iso-1 remote is yes]}", "f.yaml:1:2 none of: nobody reads this. Say any of."),
    (
        "two forms",
        "{any of: [iso-1 remote is yes], not: iso-1 remote is yes}",
        "f.yaml:1:1: one of `any of` and `not` stands here. Write one of them, or a sentence.",
    ),
    (
        "an empty table",
        "{}",
        "f.yaml:1:1: one of `any of` and `not` stands here. Write one of them, or a sentence.",
    ),
    ("an empty list", "[]", "f.yaml:1:1: the list is empty. Write a sentence, or take the list out."),
    (
        "any of nothing",
        "any of: []",
        "f.yaml:1:9 any of: the list is empty. Write a sentence, or take the list out.",
    ),
    (
        "any of one text",
        "any of: iso-1 remote is yes",
        "f.yaml:1:9 any of: here stands text. Write a list, lines like `- value`.",
    ),
    ("no sentence", 'not: ""', "f.yaml:1:6 not: the sentence is missing. Write it."),
]


@pytest.mark.parametrize(("text", "said"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_a_wrong_sentence_is_told_with_its_place(text: str, said: str) -> None:
    with pytest.raises(FileError) as caught:
        parse_node(parse(text, "f.yaml"), Hall())
    assert str(caught.value) == said


def test_all_wrong_sentences_of_a_list_are_told_at_once() -> None:
    text = "- iso-1 remote is on\n- iso-1 remote is yes\n- {any of: [iso-1 remot is yes, isso-1 remote is yes]}"
    with pytest.raises(FileErrors) as caught:
        parse_node(parse(text, "f.yaml"), Hall())
    assert [(error.line, error.path) for error in caught.value.errors] == [
        (1, "1"),
        (3, "3.any of.1"),
        (3, "3.any of.2"),
    ]


def test_points_and_times_of_a_file_are_told_with_their_place() -> None:
    point, time = parse("[input source, 2 sec]", "f.yaml").as_rows()
    assert [(who, spec.name) for who, spec in points_node(point.as_text(), Hall(), "iso-2")] == [
        ("iso-2", "input.source")
    ]
    assert time_node(parse("500 ms", "f.yaml").as_text()) == 0.5
    with pytest.raises(FileError, match=r'f\.yaml:1:2 1: there is no device, part or group "input"'):
        points_node(point.as_text(), Hall())
    with pytest.raises(FileError, match=r'f\.yaml:1:16 2: "2 sec" is no time\. Write it like'):
        time_node(time.as_text())
