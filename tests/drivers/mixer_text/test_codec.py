"""Does the text mixer's codec follow the dialogue of the sheet, and is it bounded? Its rows: ../test_codecs.py."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.errors import ProtocolError
from stagectl_drivers.mixer_text.codec import MAX_LINE, Event, MixerTextCodec, Noise, Request
from tests.vectors.mixer_text import DIALOGUE


def in_pieces(wire: bytes, size: int) -> list[Event]:
    codec = MixerTextCodec()
    return [event for at in range(0, len(wire), size) for event in codec.feed(wire[at : at + size])]


@pytest.mark.parametrize(("request_", "wire", "answer", "event"), DIALOGUE)
def test_the_dialogue_of_the_sheet_stands(request_: Request, wire: bytes, answer: bytes, event: Event) -> None:
    codec = MixerTextCodec()
    assert codec.encode(request_) == wire
    assert codec.feed(answer) == [event]


def test_another_encoding_is_read_and_written() -> None:
    codec = MixerTextCodec("latin-1")
    (event,) = codec.feed(b'OK get DEV:Strip/Label/Name 5 0 "Fl\xfcgel"\n')
    assert getattr(event, "value", None) == "Flügel"


WORDS = st.sampled_from(
    [
        "OK",
        "OKm",
        "ERROR",
        "NOTIFY",
        "get",
        "set",
        "devinfo",
        "sscurrent",
        "DEV:A",
        "0",
        "-1",
        '"',
        '"a b"',
        "9" * 30,
        " ",
    ]
)


@given(st.lists(st.lists(WORDS, max_size=9), max_size=6), st.integers(1, 40))
def test_any_split_of_lines_that_nearly_fit_gives_the_same_events(lines: list[list[str]], size: int) -> None:
    wire = b"".join(" ".join(words).encode() + b"\n" for words in lines)
    assert in_pieces(wire, size) == in_pieces(wire, len(wire) or 1)


@pytest.mark.parametrize("size", [1000, 100_000])
@pytest.mark.parametrize("end", [b"", b"\n"])
def test_a_line_without_end_is_refused(size: int, end: bytes) -> None:
    with pytest.raises(ProtocolError, match="4096 bytes"):
        in_pieces(b"x" * (MAX_LINE + 1) + end, size)


def test_a_line_just_within_the_limit_is_read() -> None:
    assert in_pieces(b"x" * MAX_LINE + b"\n", 100) == [Noise("x" * MAX_LINE)]
