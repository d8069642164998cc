"""Does the strict reader give text with places, and refuse the rest with the line and the remedy?"""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
import yaml
from hypothesis import example, given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Discriminator, Tag, ValidationError, field_validator

from stagectl.filetree import FileError, FileErrors, Issues, Node, Rows, Table, Text, from_validation
from stagectl.yamlfile import MAX_BYTES, MAX_DEPTH, MAX_NODES, parse, parse_all, read, read_all

SCENE = """\
scene: masterclass starts
for: operator
steps:
  - check: every recorder remote is yes
    otherwise: "Switch remote on at the front of {called}."
  - {wait for: every iso input format is 1080p25 for 2 s,
     within: 10 s}
  -
    do: takes rol
    with: {name: Masterclass 3}
"""


def test_every_scalar_stays_the_text_that_was_written() -> None:
    # Words that YAML 1.1 turns into something else (common practice; each seen to change in the plain library).
    written = [
        "no",
        "off",
        "010",
        "1:30",
        "10:00:00:00",
        "~",
        "null",
        "1e3",
        "0x1F",
        "2027-03-12",
        ".inf",
        "1_000",
        "=",
        "<<",
    ]
    assert parse("\n".join(f"- {word}" for word in written), "words").plain() == written


def test_nothing_written_is_known_from_an_empty_text() -> None:
    table = parse('nothing:\nempty: ""\nblock: |\n', "f").as_table()
    assert [table[key].as_text().empty for key in table] == [True, False, False]
    assert table.plain() == {"nothing": "", "empty": "", "block": ""}


def test_a_table_keeps_the_order_of_the_file() -> None:
    assert list(parse("{z: 1, a: 2, m: {y: 1, b: 2}}", "f").plain()) == ["z", "a", "m"]


def test_every_node_knows_its_line_column_and_field() -> None:
    root = parse(SCENE, "scenes/roll.yaml")
    steps = root.as_table()["steps"].as_rows()
    assert len(steps) == 3
    do = steps[2].as_table()["do"]
    assert (do.line, do.column, do.path) == (9, 9, ("steps", 2, "do"))
    within = steps[1].as_table()["within"]
    assert (within.line, within.column) == (7, 14)
    assert [step.line for step in steps] == [4, 6, 9]


def test_an_error_is_one_line_with_place_field_problem_and_remedy() -> None:
    do = parse(SCENE, "scenes/roll.yaml").as_table()["steps"].as_rows()[2].as_table()["do"].as_text()
    with pytest.raises(FileError) as caught:
        Text(do.file, do.line, do.column, do.path, "rol").one_of(["cut", "roll"], "verb")
    assert str(caught.value) == 'scenes/roll.yaml:9:9 steps.3.do: there is no verb "rol". Say roll.'
    assert (caught.value.line, caught.value.path, caught.value.remedy) == (9, "steps.3.do", "Say roll.")


def test_a_word_far_from_all_gets_the_list() -> None:
    word = parse("sideways", "f").as_text()
    with pytest.raises(FileError, match=r"Say one of: cut, roll\."):
        word.one_of(["cut", "roll"], "verb")
    assert parse("roll", "f").as_text().one_of(["cut", "roll"], "verb") == "roll"


REFUSED = [
    # id, file, line, column, field, a part of the sentence
    ("alias", "a: 1\nb: *a\n", 2, 4, "b", "aliases"),
    ("anchor on text", "a: &x 1\n", 1, 4, "a", "anchors"),
    ("anchor on a table", "a: &x {b: 1}\n", 1, 4, "a", "anchors"),
    ("anchor on a list", "- &x [1]\n", 1, 3, "1", "anchors"),
    ("tag", "a: !!python/name:os.system x\n", 1, 4, "a", "tags"),
    ("plain tag", "a: ! x\n", 1, 4, "a", "tags"),
    ("tag on a list", "a: !!set [x]\n", 1, 4, "a", "tags"),
    ("version", "%YAML 1.1\n---\na: 1\n", 1, 1, "", "directives"),
    ("tag directive", "%TAG ! tag:x,2000:\n---\na: 1\n", 1, 1, "", "directives"),
    ("same key twice", "devices:\n  iso-1: {}\n  iso-2: {}\n  iso-1: {}\n", 4, 3, "devices.iso-1", "first in line 2"),
    ("same key twice, quoted", "{a: 1, 'a': 2}", 1, 8, "a", "twice"),
    ("a list as key", "? [a, b]\n: 1\n", 1, 3, "", "a key is a list"),
    ("a table as key", "x: {{a: b}: c}\n", 1, 5, "x", "a key is a list"),
    ("no key", "a: {'': 1}\n", 1, 5, "a", "before the colon"),
    ("tab", "a:\n\tb: 1\n", 2, 1, "a", "a tab stands"),
    ("second colon", "a: b: c\n", 1, 5, "", "second colon"),
    ("sign in front", "a: @home\n", 1, 4, "a", "can't start with @"),
    ("open bracket", "a: [b, c\n", 2, 1, "a.3", "no YAML"),
    ("open quote", 'a: "b\n', 2, 1, "a", "no YAML"),
    ("indent", "a: 1\n  b: 2\n", 2, 4, "", "second colon"),
    ("second document", "a: 1\n---\nb: 2\n", 3, 1, "", "second document"),
    ("empty", "", 0, 0, "", "nothing stands"),
    ("comments only", "# nothing\n", 0, 0, "", "nothing stands"),
    ("control sign", "a: b\nc: d\x07e\n", 2, 5, "", "U+0007"),
    ("escaped control sign", 'a: "b\\x07"\n', 1, 4, "a", "U+0007"),
    ("lone surrogate", "a: b\nc: \ud800\n", 2, 4, "", "UTF-8"),
    ("deep", "[" * (MAX_DEPTH + 1) + "]" * (MAX_DEPTH + 1), 1, MAX_DEPTH + 1, ".".join("1" * MAX_DEPTH), "32 deep"),
]


@pytest.mark.parametrize(
    ("text", "line", "column", "path", "part"), [row[1:] for row in REFUSED], ids=[r[0] for r in REFUSED]
)
def test_what_we_do_not_read_is_refused_with_its_place(text: str, line: int, column: int, path: str, part: str) -> None:
    with pytest.raises(FileError) as caught:
        parse(text, "hall.yaml")
    error = caught.value
    assert part in str(error)
    assert (error.line, error.column, error.path) == (line, column, path), str(error)
    assert error.remedy


@pytest.mark.parametrize("text", [row[1] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_a_library_without_its_c_part_refuses_the_same(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stagectl.yamlfile._LOADER", yaml.SafeLoader)
    assert parse(SCENE, "f").as_table()["steps"].as_rows()[2].line == 9
    with pytest.raises(FileError) as caught:
        parse(text, "hall.yaml")
    assert caught.value.remedy


def test_bytes_that_are_not_utf8_are_refused_with_their_place() -> None:
    with pytest.raises(FileError, match=r"^hall.yaml:2:4: this is not UTF-8. Save the file as UTF-8.$"):
        parse(b"a: 1\nb: \xff\n", "hall.yaml")
    with pytest.raises(FileError, match="UTF-8"):
        parse("a: 1\n".encode("utf-16"), "hall.yaml")


def test_an_error_is_told_in_one_line_whatever_stands_in_the_file() -> None:
    table = parse('"a\\n\\tb\\u202ec\\u2028": 1\n', "hall.yaml").as_table()
    with pytest.raises(FileError) as caught:
        table.only(("site",))
    assert str(caught.value) == r"hall.yaml:1:1 a\n\tb\u202ec\u2028: nobody reads this. Say one of: site."


def test_a_byte_order_mark_is_read_over() -> None:
    assert parse("\ufeffa: 1\n".encode(), "f").plain() == {"a": "1"}


def test_the_limits_themselves_are_allowed() -> None:
    node = parse("[" * MAX_DEPTH + "]" * MAX_DEPTH, "f")
    for _ in range(MAX_DEPTH - 1):
        node = node.as_rows()[0]
    assert node.plain() == []
    assert len(parse("a: " + "x" * (MAX_BYTES - 3), "f").as_table().text("a")) == MAX_BYTES - 3
    with pytest.raises(FileError, match="longer than 1 MiB"):
        parse("a: " + "x" * (MAX_BYTES - 2), "f")


BOMBS: list[tuple[str, Callable[[], str]]] = [
    # shapes known to hang or kill plain readers (common practice; sizes: own choice)
    (
        "aliases of aliases",
        lambda: (
            "a: &a [x,x]\n"
            + "".join(f"{c}: &{c} [*{p},*{p}]\n" for p, c in zip("abcdefghij", "bcdefghijk", strict=True))
        ),
    ),
    ("20,000 brackets", lambda: "[" * 20_000),
    ("20,000 braces", lambda: "{a: " * 20_000),
    ("deep indent", lambda: "".join(" " * n + "a:\n" for n in range(1000))),
    ("20,000 dashes", lambda: "- " * 20_000 + "x"),
]


@pytest.mark.parametrize("text", [make() for _, make in BOMBS], ids=[name for name, _ in BOMBS])
def test_a_bomb_is_refused_before_it_grows(text: str) -> None:
    started = time.process_time()
    with pytest.raises(FileError):
        parse(text, "bomb")
    # Not a measure of speed: what grows with the bomb takes seconds or ends in a RecursionError. The bar is 0.1 s.
    assert time.process_time() - started < 2


def test_too_many_nodes_are_refused() -> None:
    with pytest.raises(FileError, match="more than 20000 words"):
        parse("[" + "a," * MAX_NODES + "]", "f")
    assert len(parse("[" + "a," * (MAX_NODES - 1) + "]", "f").as_rows()) == MAX_NODES - 1


def test_one_file_may_hold_site_set_up_and_scene() -> None:
    documents = parse_all("site: Tidewater Hall\n---\nset-up: masterclass\n---\nscene: start\n", "hall.yaml")
    assert [list(document.as_table()) for document in documents] == [["site"], ["set-up"], ["scene"]]
    assert [document.line for document in documents] == [1, 3, 5]


def test_a_file_is_read_from_disk_with_its_name(tmp_path: Path) -> None:
    path = tmp_path / "hall.yaml"
    path.write_bytes("site: Tidewater Hall\ncalled: Größe\n".encode())
    assert read(path).plain() == {"site": "Tidewater Hall", "called": "Größe"}
    path.write_text("a: 1\n---\nb: 2\n")
    assert len(read_all(path)) == 2
    path.write_bytes(b"x" * (MAX_BYTES + 1))
    with pytest.raises(FileError, match="longer than"):
        read(path)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"hall\.yaml: the file can't be read: No such file"):
        read(tmp_path / "hall.yaml")


def test_the_wrong_shape_says_what_stands_there_and_what_to_write() -> None:
    root = parse("t: {}\nr: []\nw: word\nn:\n", "f").as_table()
    with pytest.raises(FileError, match=r"^f:1:4 t: here stands a table\. Write a list"):
        root["t"].as_rows()
    with pytest.raises(FileError, match=r"^f:2:4 r: here stands a list\. Write one word"):
        root.text("r")
    with pytest.raises(FileError, match=r"^f:3:4 w: here stands text\. Write a table"):
        root["w"].as_table()
    with pytest.raises(FileError, match=r"^f:4:3 n: here stands nothing\. Write a table"):
        root["n"].as_table()
    with pytest.raises(FileError, match=r"^f:1:1 box: this is missing\. Add it\."):
        root.text("box")
    assert root.text("box", "none") == "none"
    assert root.text("box", "") == ""
    assert root.get("box") is None
    assert "t" in root


def test_keys_that_nobody_reads_are_all_named_at_their_place() -> None:
    table = parse("box: x\nprot: 1\nzzz: 2\n", "f").as_table()
    with pytest.raises(FileErrors) as caught:
        table.only(["box", "port", "at"])
    assert str(caught.value).splitlines() == [
        "f:2:1 prot: nobody reads this. Say port.",
        "f:3:1 zzz: nobody reads this. Say one of: box, port, at.",
    ]
    parse("box: x\n", "f").as_table().only(["box", "at"])


def test_a_person_sees_all_errors_at_once_in_the_order_of_the_file() -> None:
    root = parse("a: []\nb: []\n", "f").as_table()
    issues = Issues()
    for key in ("b", "a"):
        with issues.gather():
            root.text(key)
    with pytest.raises(FileErrors) as caught:
        issues.finish()
    assert [error.path for error in caught.value.errors] == ["a", "b"]
    Issues().finish()


def test_one_error_alone_is_raised_as_itself_and_others_pass_through() -> None:
    issues = Issues()
    with issues.gather():
        parse("*a", "f")
    with pytest.raises(FileError, match="aliases"):
        issues.finish()
    with pytest.raises(ZeroDivisionError), issues.gather():
        raise ZeroDivisionError


def test_a_flood_of_errors_is_counted_not_listed() -> None:
    place = parse("a", "f")
    text = str(FileErrors([place.wrong(f"{number}.") for number in range(120)]))
    assert text.splitlines()[-1] == "and 70 more"
    assert len(text.splitlines()) == 51


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Check(Strict):
    check: str
    otherwise: str = ""


class Do(Strict):
    do: str
    with_: dict[str, str] = {}


class Device(Strict):
    box: Literal["text-deck", "block-router"]
    at: str
    port: int = 0

    @field_validator("port")
    @classmethod
    def _in_range(cls, port: int) -> int:
        if port > 65535:
            raise ValueError("a port goes up to 65535. Look at the box's sheet.")
        return port


def _kind(value: Any) -> str | None:
    return next((word for word in ("check", "do") if word in value), None) if isinstance(value, dict) else None


class Plan(Strict):
    devices: dict[Annotated[str, "id"], Device] = {}
    steps: list[Annotated[Annotated[Check, Tag("check")] | Annotated[Do, Tag("do")], Discriminator(_kind)]] = []


WRONG_MODELS = [
    # id, file, what the errors say
    (
        "a word not in the list",
        "devices:\n  iso-1:\n    box: deck\n    at: x\n",
        ["f:3:10 devices.iso-1.box: this should be 'text-deck' or 'block-router'."],
    ),
    (
        "an unknown key at its key",
        "devices:\n  iso-1: {box: text-deck, at: x, prot: 1}\n",
        ["f:2:34 devices.iso-1.prot: nobody reads this. Take it out, or look at its spelling."],
    ),
    (
        "a missing key at its table",
        "devices:\n  iso-1: {box: text-deck}\n",
        ["f:2:10 devices.iso-1.at: this is missing. Add it."],
    ),
    (
        "our own sentence",
        "devices:\n  iso-1: {box: text-deck, at: x, port: 70000}\n",
        ["f:2:40 devices.iso-1.port: a port goes up to 65535. Look at the box's sheet."],
    ),
    (
        "a list where a table goes",
        "devices: []\n",
        ["f:1:10 devices: this is no table. Write lines like `name: value`."],
    ),
    ("a table where a list goes", "steps: {}\n", ["f:1:8 steps: this is no list. Write lines like `- value`."]),
    (
        "a list where text goes",
        "steps:\n  - check: []\n",
        ["f:2:12 steps.1.check: this is no text. Write one word or text."],
    ),
    # the union's tag `check` stands in loc before the field and is spelt like a key
    (
        "a field beside the tag",
        "steps:\n  - check: a\n    otherwise: []\n",
        ["f:3:16 steps.1.otherwise: this is no text. Write one word or text."],
    ),
    (
        "an unknown key beside the tag",
        "steps:\n  - check: a\n    other: b\n",
        ["f:3:5 steps.1.other: nobody reads this. Take it out, or look at its spelling."],
    ),
    (
        "two at once, in order",
        "steps:\n  - do: []\ndevices:\n  iso-1: {at: x}\n",
        [
            "f:2:9 steps.1.do: this is no text. Write one word or text.",
            "f:4:10 devices.iso-1.box: this is missing. Add it.",
        ],
    ),
    ("no step at all", "steps: [{}]\n", ["f:1:9 steps.1: Unable to extract tag using discriminator _kind()."]),
]


@pytest.mark.parametrize(("text", "says"), [row[1:] for row in WRONG_MODELS], ids=[row[0] for row in WRONG_MODELS])
def test_a_models_errors_stand_at_their_line_in_the_file(text: str, says: list[str]) -> None:
    root = parse(text, "f")
    with pytest.raises(ValidationError) as caught:
        Plan.model_validate(root.plain())
    assert str(from_validation(caught.value, root)).splitlines() == says


def test_a_wrong_key_of_a_map_stands_at_the_key() -> None:
    class Counts(Strict):
        counts: dict[int, str]

    root = parse("counts:\n  1: a\n  two: b\n", "f")
    with pytest.raises(ValidationError) as caught:
        Counts.model_validate(root.plain())
    error = from_validation(caught.value, root).errors[0]
    assert (error.line, error.column, error.path) == (3, 3, "counts.two")


def test_a_missing_field_is_missed_in_the_table_that_lacks_it() -> None:
    class Stop(Strict):
        check: str
        within: str

    class Stops(Strict):
        steps: list[Annotated[Annotated[Stop, Tag("check")] | Annotated[Do, Tag("do")], Discriminator(_kind)]]

    root = parse("steps:\n  - check: a\n", "f")
    with pytest.raises(ValidationError) as caught:
        Stops.model_validate(root.plain())
    assert str(from_validation(caught.value, root)) == "f:2:5 steps.1.within: this is missing. Add it."


def test_no_value_of_the_file_is_echoed_by_a_models_error() -> None:
    root = parse("devices: {iso-1: {box: canary-7361, at: x}}\n", "f")
    with pytest.raises(ValidationError) as caught:
        Plan.model_validate(root.plain())
    assert "canary" not in str(from_validation(caught.value, root))


# Any input is a tree or a FileError


def _any(data: bytes | str) -> list[Node]:
    try:
        return parse_all(data, "any")
    except FileError as error:
        return [] if str(error).startswith("any:") else pytest.fail(str(error))


@given(st.binary(max_size=300))
@example(b"\xef\xbb\xbf")
@example(b"%YAML 9.9\n---\n")
@example(b"a: \x85b")
@example("a: \u2028 b: c".encode())
def test_random_bytes_give_a_tree_or_a_file_error(data: bytes) -> None:
    _any(data)


@given(
    st.lists(
        st.sampled_from([*"abc:-?[]{},&*!|>'\"%@`#\n \t", "\n  ", ": ", "- ", "? ", "---\n", "...\n", "<<"]),
        max_size=60,
    ).map("".join)
)
def test_random_signs_of_yaml_give_a_tree_or_a_file_error(text: str) -> None:
    for document in _any(text):
        document.plain()


words = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Zl", "Zp"]), max_size=8)
trees = st.recursive(
    words,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words.filter(bool), inner, max_size=4),
    max_leaves=20,
)


@given(trees)
def test_a_tree_written_as_quoted_text_comes_back_as_it_was(tree: Any) -> None:
    # JSON's flow style is YAML; without the line separators that YAML would fold inside quotes.
    root = parse(json.dumps(tree, ensure_ascii=False), "f")
    assert root.plain() == tree
    _places_are_true(root, root)


def _places_are_true(node: Node, root: Node) -> None:
    found = root
    for step in node.path:
        found = found.as_rows()[step] if isinstance(step, int) else found.as_table()[step]
    assert found is node
    match node:
        case Table():
            for value in node.values.values():
                _places_are_true(value, root)
        case Rows():
            for item in node:
                _places_are_true(item, root)
        case _:
            assert isinstance(node, Text)
