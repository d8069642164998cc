"""Does a sentence become the condition it says, and does anything else get a sentence back?

Source of all rows: own construction, after the grammar in `stagectl.model.sentences`.
"""

from collections.abc import Mapping
from typing import Final

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.mixer import BUS_LEVEL, MIXER
from stagectl.model.capabilities.recorder import (
    CLIP_NAME,
    INPUT_FORMAT,
    RECORDER,
    REMOTE,
    SLOT_LEFT,
    SLOT_STATE,
    TIMECODE,
    TRANSPORT,
    SlotState,
    Transport,
)
from stagectl.model.capabilities.router import OUTPUT_SOURCE, ROUTER
from stagectl.model.conditions import All, AnyOf, Condition, Lasts
from stagectl.model.points import PointSpec
from stagectl.model.sentences import MAX_SENTENCE, SentenceError, parse, parse_for, parse_points, parse_time, unbound

RUNNING: Final[PointSpec[bool]] = PointSpec("running", bool)
SHOWS: Final[PointSpec[str]] = PointSpec("{destination}.shows", str, settable=True)
IS_DUE: Final[PointSpec[bool]] = PointSpec("service.is", bool)  # a point whose name holds a word of the grammar


class Hall:
    """Two recorders in a group, a router, a mixer, two parts of the house."""

    def devices(self) -> Mapping[str, Capability]:
        return {
            "iso-1": RECORDER,
            "iso-2": RECORDER,
            "hall": ROUTER,
            "mixer": MIXER,
            "takes": Capability("takes", 1, (RUNNING, IS_DUE), ()),
            "paths": Capability("paths", 1, (SHOWS,), ()),
        }

    def groups(self) -> Mapping[str, tuple[str, ...]]:
        return {"iso": ("iso-1", "iso-2"), "lone": ("iso-2",), "kit": ("iso-1", "mixer")}


HALL: Final = Hall()


def on(*devices: str, claim: Condition) -> tuple[Condition, ...]:
    return tuple(claim.on(device) for device in devices)


RECORDS: Final = TRANSPORT.is_(Transport.RECORDING)
SENTENCES: Final = [
    # text, condition
    ("iso-1 transport is recording", RECORDS.on("iso-1")),
    ("iso-1 transport is not recording", TRANSPORT.is_not(Transport.RECORDING).on("iso-1")),
    (
        "iso-1 slot 1 state is one of ready, mounting",
        SLOT_STATE.at("1").one_of(SlotState.READY, SlotState.MOUNTING).on("iso-1"),
    ),
    ("iso-1 slot 2 left at least 600 s", SLOT_LEFT.at("2").at_least(600).on("iso-1")),
    ("mixer bus 3 level at most 0 dB", BUS_LEVEL.at("3").at_most(0.0).on("mixer")),
    ("mixer bus 3 level at most -12.5 dB", BUS_LEVEL.at("3").at_most(-12.5).on("mixer")),
    ("mixer bus 3 level is off", BUS_LEVEL.at("3").is_("off").on("mixer")),
    ("iso-1 timecode advances", TIMECODE.advances().on("iso-1")),
    ("iso-1 timecode stands for 3 s", TIMECODE.stands().on("iso-1").lasting(3)),
    ("iso-1 clip name changed", CLIP_NAME.changed().on("iso-1")),
    ("iso-1 input format is known", INPUT_FORMAT.known().on("iso-1")),
    ("iso-1 remote is yes", REMOTE.is_(True).on("iso-1")),
    ("iso-1 remote is no for 500 ms", REMOTE.is_(False).on("iso-1").lasting(0.5)),
    ("hall output 3 source is 7", OUTPUT_SOURCE.at("3").is_(7).on("hall")),
    ("hall output.3.source is 7", OUTPUT_SOURCE.at("3").is_(7).on("hall")),
    ("  hall   output 3\tsource  is\n7 ", OUTPUT_SOURCE.at("3").is_(7).on("hall")),
    ("takes running is yes", RUNNING.is_(True).on("takes")),
    ("takes service is is yes", IS_DUE.is_(True).on("takes")),
    ("paths iso-1 shows is stage-left", SHOWS.at("iso-1").is_("stage-left").on("paths")),
    ("every iso transport is recording", All(on("iso-1", "iso-2", claim=RECORDS))),
    ("any iso transport is recording", AnyOf(on("iso-1", "iso-2", claim=RECORDS))),
    ("every lone transport is recording", RECORDS.on("iso-2")),
    (
        "every iso input format is 1080p25 for 2 s",
        Lasts(All(on("iso-1", "iso-2", claim=INPUT_FORMAT.is_("1080p25"))), 2),
    ),
    (
        "any iso timecode stands for 2 min",
        AnyOf(on("iso-1", "iso-2", claim=TIMECODE.stands().lasting(120))),
    ),
    ('iso-1 clip name is "Music for two"', CLIP_NAME.is_("Music for two").on("iso-1")),
    ('iso-1 clip name is "Music  for two" for 2 s', CLIP_NAME.is_("Music  for two").on("iso-1").lasting(2)),
    ('iso-1 clip name is one of "One, two", Three', CLIP_NAME.one_of("One, two", "Three").on("iso-1")),
    ('iso-1 clip name is "is"', CLIP_NAME.is_("is").on("iso-1")),
    ('iso-1 clip name is "one of these"', CLIP_NAME.is_("one of these").on("iso-1")),
    ("iso-1 clip name is One, two", CLIP_NAME.is_("One, two").on("iso-1")),
    ('iso-1 clip name is ""', CLIP_NAME.is_("").on("iso-1")),
]


@pytest.mark.parametrize(("text", "condition"), SENTENCES, ids=[text for text, _ in SENTENCES])
def test_a_sentence_becomes_what_it_says(text: str, condition: Condition) -> None:
    assert parse(text, HALL) == condition


WRONG: Final = [
    # text, problem, remedy
    ("", "nobody is named.", "Begin with a device, a part of the house or a group."),
    ("every", "nobody is named.", "Begin with a device, a part of the house or a group."),
    ("isso-1 transport is stopped", 'there is no device, part or group "isso-1".', "Perhaps you mean iso-1."),
    ("iso transport is stopped", "iso is a group.", 'Say "every iso" or "any iso".'),
    ("every hall present is yes", "hall is no group.", 'Take "every" out.'),
    ("iso-1", "no point of iso-1 is named.", "Say iso-1, its point and what you claim of it."),
    ("iso-1 is recording", "no point of iso-1 is named.", "Say iso-1, its point and what you claim of it."),
    ("iso-1 transprt is stopped", 'iso-1 has no point "transprt".', "Perhaps you mean transport."),
    ("iso-1 transprt", 'iso-1 has no point "transprt".', "Perhaps you mean transport."),
    ("every kit transport is stopped", 'mixer has no point "transport".', None),
    ("iso-1 slot one state is ready", 'iso-1 has no slot "one".', "Write the number of the slot, from 1."),
    ("iso-1 slot 0 state is ready", 'iso-1 has no slot "0".', "Write the number of the slot, from 1."),
    ("iso-1 slot { state is ready", 'iso-1 has no point "slot { state".', "Perhaps you mean slot {slot} state."),
    (
        "iso-1 transport recording",
        'iso-1 has no point "transport recording".',
        "Perhaps you mean transport.",
    ),
    (
        "iso-1 transport",
        'nothing is claimed of iso-1 "transport".',
        "Say is, is not, is one of, at least, at most, advances, stands, changed or is known.",
    ),
    ("iso-1 transport is", 'after "transport is" the value is missing.', "Write it."),
    (
        "iso-1 transport is recoding",
        'transport can\'t be "recoding": it is one of stopped, preview, playing, shuttling, cueing, recording.',
        "Perhaps you mean recording.",
    ),
    ("iso-1 remote is on", "remote is yes or no, not 'on'.", "There is yes, no."),
    (
        "mixer bus 3 level at most 0 s",
        "bus 3 level is in dB, not in s.",
        'Write a number with the unit "dB", or off.',
    ),
    (
        "mixer bus 3 level at most loud",
        "bus 3 level is a number or off, not 'loud'.",
        'Write a number with the unit "dB", or off.',
    ),
    (
        "mixer bus 3 level is 40 dB",
        "bus 3 level can't be 40: it goes from -138 to 10 dB.",
        'Write a number with the unit "dB", or off.',
    ),
    ("hall output 3 source is 1.5", "output 3 source is a whole number, not 1.5.", "Write a number."),
    ("iso-1 transport at least recording", "transport is no number.", 'Say "is" or "is one of".'),
    ("iso-1 transport advances", "transport is no running value: it never advances.", 'Say what it "is".'),
    (
        "iso-1 timecode advances quickly",
        'nothing may follow "advances", but here stands "quickly".',
        "Take it out.",
    ),
    ("iso-1 slot 1 state is one of ready,", "a value is missing beside a comma.", "Write it, or take the comma out."),
    (
        "iso-1 remote is yes for two s",
        '"two s" is no time.',
        'Write it like "2 s", "500 ms" or "2 min". Text that holds the word for stands in quotes.',
    ),
    (
        "iso-1 clip name is Music for two",
        '"two" is no time.',
        'Write it like "2 s", "500 ms" or "2 min". Text that holds the word for stands in quotes.',
    ),
    (
        "iso-1 clip name is Music for two for 2 s",
        '"two for 2 s" is no time.',
        'Write it like "2 s", "500 ms" or "2 min". Text that holds the word for stands in quotes.',
    ),
    ('iso-1 clip name is "Music', 'a quote (") is not closed.', "Close it, or take it out."),
    (
        'iso-1 clip name is "A" and "B"',
        'quotes stand inside "A" and "B".',
        "Put the whole value in quotes, or none of it.",
    ),
    ("iso-1 clip name is as set up", '"is as set up" is not read here.', "Put the text in double quotes."),
    ("iso-1 clip name is not one of A, B", '"is not one of A, B" is not read here.', "Put the text in double quotes."),
    (
        "iso-1 clip name is " + "a" * MAX_SENTENCE,
        f"this sentence is longer than {MAX_SENTENCE} letters.",
        "Write several in a list.",
    ),
]


@pytest.mark.parametrize(("text", "problem", "remedy"), WRONG, ids=[text[:50] for text, _, _ in WRONG])
def test_a_wrong_sentence_gets_a_sentence_and_a_remedy(text: str, problem: str, remedy: str | None) -> None:
    with pytest.raises(SentenceError) as caught:
        parse(text, HALL)
    assert str(caught.value) == problem
    assert caught.value.remedy
    if remedy is not None:
        assert caught.value.remedy == remedy


def test_of_a_device_a_sentence_may_leave_it_out() -> None:
    assert parse_for("transport is recording for 2 s", "iso-1", HALL) == RECORDS.on("iso-1").lasting(2)
    assert parse_for("takes running is yes", "iso-1", HALL) == RUNNING.is_(True).on("takes")
    assert parse_for("any iso transport is recording", "iso-1", HALL) == parse("any iso transport is recording", HALL)
    assert parse_for("iso-2 transport is recording", "iso-1", HALL) == RECORDS.on("iso-2")


def test_a_device_s_own_point_comes_before_somebody_of_that_name() -> None:
    class Named(Hall):
        def devices(self) -> Mapping[str, Capability]:
            return {**super().devices(), "timecode": ROUTER}

    assert parse_for("timecode advances", "iso-1", Named()) == TIMECODE.advances().on("iso-1")


@pytest.mark.parametrize(
    ("text", "device", "problem"),
    [
        ("transprt is recording", "iso-1", 'iso-1 has no point "transprt".'),
        ("transport is recoding", "iso-1", "transport can't be"),
        ("transport is recording", "iso-9", 'there is no device, part or group "iso-9".'),
    ],
)
def test_what_is_wrong_without_a_name_is_said_of_the_device(text: str, device: str, problem: str) -> None:
    with pytest.raises(SentenceError) as caught:
        parse_for(text, device, HALL)
    assert str(caught.value).startswith(problem)


def test_points_are_named_without_a_claim() -> None:
    assert [(who, spec.name) for who, spec in parse_points("hall output 1 source", HALL)] == [
        ("hall", "output.1.source")
    ]
    assert [(who, spec.name) for who, spec in parse_points("every iso input source", HALL)] == [
        ("iso-1", "input.source"),
        ("iso-2", "input.source"),
    ]
    with pytest.raises(SentenceError, match='"any" names no point'):
        parse_points("any iso input source", HALL)


def test_an_open_leaf_is_said_without_its_device() -> None:
    leaf = next(parse("mixer bus 3 level at most 0 dB", HALL).leaves())
    assert (leaf.say(), unbound(leaf).say()) == ("mixer bus 3 level at most 0 dB", "bus 3 level at most 0 dB")


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("2 s", 2), ("500 ms", 0.5), ("2 min", 120), ("0.5 s", 0.5), (" 2 s ", 2), ("2s", 2), ("1440 min", 86400)],
)
def test_a_time_is_read_in_seconds(text: str, seconds: float) -> None:
    assert parse_time(text) == seconds


@pytest.mark.parametrize(
    "text", ["", "2", "s", "0 s", "-1 s", "1441 min", "2 h", "1e3 s", "nan s", "٢ s", "2  s", "1:30"]
)
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(SentenceError) as caught:
        parse_time(text)
    assert caught.value.remedy


SPOKEN: Final = """
every any iso iso-1 hall mixer takes paths transport timecode slot output source level running clip name bus
is is not one of at least at most advances stands changed known for 1 2 3 s dB -12 -138.0001 1e999 nan recording yes off
" "for" , { } .
"""
WORDS: Final = st.sampled_from([*SPOKEN.split(), "\n", "\x00"])


@given(st.one_of(st.lists(WORDS, max_size=12).map(" ".join), st.text(max_size=60)))
@example("iso-1 slot { state is ready")
@example("iso-1 slot {} left at least 1e999 s")
@example("iso-1 timecode is \x00")
def test_any_text_is_a_condition_or_a_sentence_error(text: str) -> None:
    """Doors hand in what people type: nothing but these two may come of it."""
    for read in (
        lambda: parse(text, HALL),
        lambda: parse_for(text, "iso-1", HALL),
        lambda: parse_points(text, HALL),
        lambda: parse_time(text),
    ):
        try:
            read()
        except SentenceError as error:
            assert str(error)  # noqa: PT017 - either is right


SAID_ALIKE: Final = [
    row
    for row in SENTENCES
    if '"' not in row[0] and not row[0].startswith(("every ", "any ")) and ", two" not in row[0]
]  # groups are said member by member, and quotes are not said


@pytest.mark.parametrize("condition", [condition for _, condition in SAID_ALIKE], ids=[text for text, _ in SAID_ALIKE])
def test_what_a_plan_says_can_be_written_into_a_file(condition: Condition) -> None:
    assert parse(condition.say(), HALL) == condition
