"""Is a person's file changed where it was asked, and nowhere else?

What comes out is read by PyYAML's own loader, an outside reader; lines that differ are counted by difflib, as
`git diff` would count them.
"""

import difflib

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from stagectl import yamlfile
from stagectl.filetree import FileError
from stagectl.yamledit import Path, edited, scalar

FILE = """\
# a hall
set-up: Masterclass # for people

wants:
  paths: {iso-1 shows: wide,   program shows: "titles"} # as it is
  every recorder:
    record codec: VC3-SQ   # small

  mixer:
    # by ear
    strip 5 level: -12 dB
    strip 6 name: 'Student'
hold:
  - paths program shows
"""


def changed(after: str) -> list[str]:
    lines = difflib.ndiff(FILE.splitlines(), after.splitlines())
    return [line for line in lines if line[:2] in ("- ", "+ ")]


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        (("wants", "mixer", "strip 5 level"), "-9.5 dB", "    strip 5 level: -9.5 dB"),
        (("wants", "mixer", "strip 6 name"), "Ben: violin", '    strip 6 name: "Ben: violin"'),
        (
            ("wants", "paths", "iso-1 shows"),
            "hall input 7",
            '  paths: {iso-1 shows: hall input 7,   program shows: "titles"} # as it is',
        ),
        (("wants", "every recorder", "record codec"), "VC3-HQ", "    record codec: VC3-HQ   # small"),
        (("hold", 0), "mixer strip 5 level", "  - mixer strip 5 level"),
    ],
)
def test_a_value_is_replaced_in_its_line_alone(path: Path, value: str, line: str) -> None:
    assert [one for one in changed(edited(FILE, "f", {path: value})) if one[0] == "+"] == [f"+ {line}"]


@pytest.mark.parametrize(
    ("path", "lines"),
    [
        (("wants", "mixer", "strip 7 muted"), ["    strip 7 muted: yes"]),
        (("wants", "every recorder", "input source"), ["    input source: yes"]),
        (("wants", "iso-3", "record codec"), ["  iso-3:", "    record codec: yes"]),
        (("wants", "paths", "x"), ['  paths: {iso-1 shows: wide,   program shows: "titles", x: yes} # as it is']),
        (("about",), ["about: yes"]),
    ],
)
def test_a_row_is_added_at_the_end_of_its_table(path: Path, lines: list[str]) -> None:
    after = edited(FILE, "f", {}, [(path, "yes")])
    assert [one[2:] for one in changed(after) if one[0] == "+"] == lines
    assert yaml.safe_load(after)["set-up"] == "Masterclass"


def test_many_at_once_and_a_file_without_a_last_line_end() -> None:
    rows: list[tuple[Path, str]] = [(("wants", "b", "c"), "1"), (("wants", "b", "d"), "2"), (("wants", "e"), "3")]
    after = edited("wants: {a: 1}\nhold: [x]", "f", {("wants", "a"): "0", ("hold", 0): "y"}, rows)
    assert after == "wants: {a: 0, b: {c: 1, d: 2}, e: 3}\nhold: [y]"
    assert edited("a:\n  b: 1", "f", {}, [(("a", "c"), "2")]) == "a:\n  b: 1\n  c: 2\n"
    assert edited("a: {}\n", "f", {}, [(("a", "c"), "2")]) == "a: {c: 2}\n"


@pytest.mark.parametrize(
    "text",
    [
        "a:\n  b: |\n    many\n    lines\nz: 1\n",
        "a:\n  b: >-\n    many\n\n    lines\n",
        "a:\n  ? b\n  : 1\n",
        "a: {b: 1, # why\n  x: 2 # and why\n  }\n",
        "a: {b: 1,}\n",
        "a:\n  b: one\n    two\n  # last words\n",
        "a:\n  b: 1",
        "--- # first\na:\n  b: 1\n...\n",
    ],
)
def test_it_says_what_it_should_or_nothing_is_changed(text: str) -> None:
    try:
        after = edited(text, "f", {("a", "b"): "new"}, [(("a", "c"), "more")])
    except FileError as error:
        assert "without touching more" in str(error)  # noqa: PT017 - either end is right
    else:
        found = yaml.load(after, yaml.BaseLoader)
        assert (found["a"]["b"], found["a"]["c"]) == ("new", "more")


values = st.text(st.characters(exclude_categories=["C", "Z"], include_characters=" "), max_size=12)


@given(values, values)
def test_any_text_comes_back_as_it_was_written(value: str, other: str) -> None:
    after = edited(FILE, "f", {("wants", "mixer", "strip 6 name"): value}, [(("wants", "mixer", "x"), other)])
    assert yamlfile.parse(after, "f").plain()["wants"]["mixer"]["strip 6 name"] == value
    assert yaml.load(after, yaml.BaseLoader)["wants"]["mixer"]["x"] == other


@pytest.mark.parametrize("text", ["-12 dB", "off", "1080p25", "VC3-HQ", "hall input 7", "piano + strings", "10.5"])
def test_plain_words_of_the_trade_need_no_quotes(text: str) -> None:
    assert scalar(text) == text
