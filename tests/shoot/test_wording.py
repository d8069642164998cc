"""Does every sentence read as the golden file has it, and as the rules of wording ask?

Source of all rows: own construction, after the rules in `stagectl/shoot/wording.py`.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from stagectl.shoot import deskwords, journalsay, wording
from stagectl.shoot.lineup import wording as lineup
from stagectl.shoot.playback import wording as playback
from stagectl.shoot.wording import LACKS

GOLDEN = Path(__file__).parent.parent / "golden" / "sentences.txt"
ROW = re.compile(r"(?P<id>[a-z_]+) (?P<with>\{.*\}) -> (?P<text>.*)")
FORBIDDEN = re.compile(r"\b(error|oops|please|sorry|invalid|illegal|ok|yes|submit|confirm|cancel)\b|!", re.IGNORECASE)
SENTENCES = wording.SENTENCES | deskwords.SENTENCES | journalsay.SENTENCES | lineup.SENTENCES | playback.SENTENCES
PARTS = ("spell", "clock", "listed", "apart", "outcome", "reason")  # pieces of sentences, not sentences
LABELS = tuple(
    one for one in deskwords.SENTENCES if one != "ask_end" and not one.startswith("picture")
)  # of acts, recorders and the contents


def rows() -> list[tuple[str, dict[str, Any], str]]:
    found = []
    for line in GOLDEN.read_text().splitlines():
        if line and not line.startswith("#"):
            row = ROW.fullmatch(line)
            assert row, f"not a row: {line}"
            found.append((row["id"], json.loads(row["with"]), row["text"]))
    return found


def said(identifier: str, parameters: dict[str, Any]) -> str:
    told = SENTENCES[identifier](**parameters)
    return told if isinstance(told, str) else " | ".join(told)


@pytest.mark.parametrize(("identifier", "parameters", "text"), rows())
def test_a_sentence_reads_as_in_the_golden_file(identifier: str, parameters: dict[str, Any], text: str) -> None:
    assert said(identifier, parameters) == text


def test_every_sentence_stands_in_the_golden_file() -> None:
    assert set(SENTENCES) == {identifier for identifier, _, _ in rows()}


@pytest.mark.parametrize(("identifier", "text"), [(identifier, text) for identifier, _, text in rows()])
def test_a_sentence_keeps_the_rules_of_wording(identifier: str, text: str) -> None:
    assert not FORBIDDEN.search(text)
    assert not re.search(r"\b[A-Z]{4,}\b", text), "capitals for stress"
    assert not re.search(r"[()]", text.replace("(151)", "")), "it is also read aloud"  # a code no sentence is known for
    if identifier in PARTS or identifier in LABELS or not text:
        return
    typed = re.search(r"(then|end it|again): stagectl [a-z]+ \S+$", text)
    assert typed or text.endswith("."), "a full stop, or what is to be typed, ends it"
    for sentence in re.split(r"(?<=[.?]) ", text):
        assert len(sentence.split()) <= 20, sentence
        assert sentence[:1].isupper() or sentence[:1].isdigit() or identifier == "box"


@pytest.mark.parametrize("lack", LACKS)
def test_each_lack_reads_after_a_name_and_names_a_remedy(lack: str) -> None:
    has, _, remedy = LACKS[lack]
    assert has.split()[0] in {"has", "is", "plays"}
    assert remedy[:1].isupper()
    assert not remedy.endswith(".")
