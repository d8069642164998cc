"""Does the text mixer's codec read and write what the sheet says, however the stream is cut?"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.errors import ProtocolError
from stagectl_drivers.mixer_text.codec import MAX_LINE, Event, MixerTextCodec, Noise, Request
from tests.vectors.mixer_text import DIALOGUE, ENCODE, FEED, SMUGGLED


def in_pieces(wire: bytes, size: int) -> list[Event]:
    codec = MixerTextCodec()
    return [event for at in range(0, len(wire), size) for event in codec.feed(wire[at : at + size])]


@pytest.mark.parametrize("size", [1, 2, 7, 10_000])
@pytest.mark.parametrize(("wire", "events"), [row[1:3] for row in FEED], ids=[row[0] for row in FEED])
def test_a_row_is_read_however_it_is_cut(wire: bytes, events: list[Event], size: int) -> None:
    assert in_pieces(wire, size) == events


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8, 13, 10_000])
def test_rows_glued_together_give_the_same_events(size: int) -> None:
    wire = b"".join(row[1] for row in FEED)
    assert in_pieces(wire, size) == [event for row in FEED for event in row[2]]


@pytest.mark.parametrize(("request_", "wire"), [row[1:3] for row in ENCODE], ids=[row[0] for row in ENCODE])
def test_a_request_is_written_as_the_sheet_prints_it(request_: Request, wire: bytes) -> None:
    assert MixerTextCodec().encode(request_) == wire


@pytest.mark.parametrize(("request_", "wire", "answer", "event"), DIALOGUE)
def test_the_dialogue_of_the_sheet_stands(request_: Request, wire: bytes, answer: bytes, event: Event) -> None:
    codec = MixerTextCodec()
    assert codec.encode(request_) == wire
    assert codec.feed(answer) == [event]


@pytest.mark.parametrize("request_", [row[1] for row in SMUGGLED], ids=[row[0] for row in SMUGGLED])
def test_what_would_smuggle_in_a_second_command_is_not_written(request_: Request) -> None:
    with pytest.raises(ValueError, match=r"."):
        MixerTextCodec().encode(request_)


def test_another_encoding_is_read_and_written() -> None:
    codec = MixerTextCodec("latin-1")
    (event,) = codec.feed(b'OK get DEV:Strip/Label/Name 5 0 "Fl\xfcgel"\n')
    assert getattr(event, "value", None) == "Flügel"


@given(st.lists(st.binary(max_size=200) | st.sampled_from([row[1] for row in FEED]), max_size=20))
def test_random_bytes_are_never_fatal(pieces: list[bytes]) -> None:
    codec = MixerTextCodec()
    for piece in pieces:
        codec.feed(piece)
    assert codec.gap() == []


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
