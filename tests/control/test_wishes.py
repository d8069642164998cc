"""Does a word with its arguments, from any door, become the verb that is meant, or a sentence that helps?

Source of all rows: own construction, from the tables of verbs and points of each kind of box.
"""

from typing import Any

import pytest

from stagectl.control.wishes import build, point_of
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.mixer import MIXER, STRIP_LEVEL, STRIP_MUTED, Recall
from stagectl.model.capabilities.recorder import RECORDER, TIMECODE_SOURCE, Cue, Cut, Format, Play, Roll
from stagectl.model.capabilities.router import OUTPUT_SOURCE, ROUTER
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Set, Verb

GOOD: list[tuple[Capability, str, dict[str, Any], Verb]] = [
    (RECORDER, "roll", {}, Roll()),
    (RECORDER, "roll", {"name": "Masterclass 3"}, Roll("Masterclass 3")),
    (RECORDER, "cut", {"take": 7}, Cut(7)),
    (RECORDER, "cut", {"take": "7"}, Cut(7)),
    (RECORDER, "play", {"speed": "0.5"}, Play(0.5)),
    (RECORDER, "play", {"speed": 1}, Play(1.0)),
    (RECORDER, "cue", {"label": "10:00:00:00"}, Cue("10:00:00:00")),
    (RECORDER, "format", {"slot": 1, "token": "abc"}, Format(1, "abc")),
    (RECORDER, "set", {"point": "timecode source", "value": "ltc"}, Set(TIMECODE_SOURCE, "ltc")),
    (ROUTER, "set", {"point": "output 3 source", "value": "5"}, Set(OUTPUT_SOURCE.at(3), 5)),
    (ROUTER, "set", {"point": "output.3.source", "value": 5}, Set(OUTPUT_SOURCE.at(3), 5)),
    (MIXER, "set", {"point": " strip 5 level ", "value": "-12 dB"}, Set(STRIP_LEVEL.at(5), -12.0)),
    (MIXER, "set", {"point": "strip 5 level", "value": "off"}, Set(STRIP_LEVEL.at(5), "off")),
    (MIXER, "set", {"point": "strip 5 muted", "value": "no"}, Set(STRIP_MUTED.at(5), False)),
    (MIXER, "set", {"point": "strip 5 muted", "value": True}, Set(STRIP_MUTED.at(5), True)),
    (MIXER, "recall", {"memory": "7"}, Recall("7")),
]


@pytest.mark.parametrize(("kind", "word", "arguments", "verb"), GOOD)
def test_a_word_becomes_a_verb(kind: Capability, word: str, arguments: dict[str, Any], verb: Verb) -> None:
    assert build("iso-1", kind, word, arguments) == verb


BAD: list[tuple[Capability, str, dict[str, Any], str, str]] = [
    (RECORDER, "rol", {}, "verb", 'iso-1 has no verb "rol".'),
    (ROUTER, "roll", {}, "verb", 'iso-1 has no verb "roll".'),
    (RECORDER, "cut", {}, "argument", "cut needs take."),
    (RECORDER, "roll", {"nam": "x"}, "argument", 'roll on iso-1 takes no "nam".'),
    (RECORDER, "set", {"point": "timecode source"}, "argument", "set needs value."),
    (RECORDER, "set", {"value": "ltc"}, "argument", "set needs point."),
    (RECORDER, "set", {"point": "a", "value": 1, "force": True}, "argument", 'set on iso-1 takes no "force".'),
    (ROUTER, "set", {"point": "outputs 3 source", "value": 5}, "point", 'iso-1 has no point "outputs 3 source".'),
    (ROUTER, "set", {"point": "output 3 source", "value": "0"}, "range", "output 3 source can't be 0"),
    (ROUTER, "set", {"point": "output 3 source", "value": 1.5}, "value", "output 3 source is a whole number"),
    (ROUTER, "set", {"point": "output 3 source", "value": None}, "value", "output 3 source is a number"),
    (MIXER, "set", {"point": "strip 5 level", "value": "-12 ms"}, "unit", "strip 5 level is in dB, not in ms."),
    (MIXER, "set", {"point": "strip 5 level", "value": "11 dB"}, "range", "strip 5 level can't be 11"),
    (MIXER, "set", {"point": "strip 5 level", "value": float("nan")}, "value", "strip 5 level is a number"),
    (MIXER, "set", {"point": "strip 5 muted", "value": "maybe"}, "value", "strip 5 muted is yes or no"),
    (MIXER, "set", {"point": "strip 5 muted", "value": 1}, "value", "strip 5 muted is yes or no"),
    (MIXER, "set", {"point": "strip 5 meter", "value": "-12 dB"}, "read-only", "strip 5 meter can only be read."),
    (RECORDER, "cut", {"take": "x"}, "value", "take is a number"),
    (RECORDER, "roll", {"name": "a\nb"}, "value", "name can't hold control characters or line ends."),
    (RECORDER, "roll", {"name": 5}, "value", "name is text"),
]


@pytest.mark.parametrize(("kind", "word", "arguments", "code", "why"), BAD)
def test_a_word_that_means_nothing_is_refused(
    kind: Capability, word: str, arguments: dict[str, Any], code: str, why: str
) -> None:
    with pytest.raises(RefusedError) as no:
        build("iso-1", kind, word, arguments)
    assert no.value.code == code
    assert str(no.value).startswith(why)


@pytest.mark.parametrize(
    ("kind", "word", "arguments", "remedy"),
    [
        (RECORDER, "rol", {}, "roll"),
        (RECORDER, "roll", {"nam": "x"}, "name"),
        (ROUTER, "set", {"point": "output.3.sorce", "value": 5}, "output"),
    ],
)
def test_the_remedy_names_what_may_have_been_meant(
    kind: Capability, word: str, arguments: dict[str, Any], remedy: str
) -> None:
    with pytest.raises(RefusedError) as no:
        build("iso-1", kind, word, arguments)
    assert remedy in no.value.remedy


def test_a_point_is_found_by_the_words_of_people_and_of_programs() -> None:
    assert point_of("hall", ROUTER, "output 3 source") == point_of("hall", ROUTER, "output.3.source")
    assert point_of("hall", ROUTER, "output 3 source").name == "output.3.source"
