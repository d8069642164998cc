"""Does the deck's codec keep blocks apart, and stay within its bounds? Its rows: ../test_codecs.py."""

import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.errors import ProtocolError
from stagectl_drivers.text_deck.codec import (
    MAX_BLOCK,
    MAX_FORMS,
    MAX_LINE,
    MAX_PARAMS,
    Message,
    Noise,
    Request,
    TextDeckCodec,
)
from tests.vectors.text_deck import FEED

SIZES = [1, 2, 7, 10_000]


def cut(wire: bytes, size: int) -> list[Message | Noise]:
    codec = TextDeckCodec()
    return [event for at in range(0, len(wire), size) for event in codec.feed(wire[at : at + size])]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(("wire", "events"), [row[1:3] for row in FEED], ids=[row[0] for row in FEED])
def test_every_row_reads_the_same_glued_to_an_answer_before_and_behind(
    wire: bytes, events: list[Message | Noise], size: int
) -> None:
    end = b"" if events else b"\r\n"
    whole = events or [Message(508, "transport info", ("status",), ("record",))]
    assert cut(b"200 ok\r\n" + wire + end + b"200 ok\r\n", size) == [Message(200, "ok"), *whole, Message(200, "ok")]


SCRAPS = st.sampled_from(
    [b"\r", b"\n", b"\r\n", b"\n\n", b"200 ok", b"508 x:", b": ", b"a: b\r\n", b"1: c\n", b"\0", b"\xc3"]
)


@given(st.lists(st.one_of(st.binary(max_size=40), SCRAPS), max_size=40), st.sampled_from(SIZES))
def test_random_bytes_read_the_same_however_they_are_cut(scraps: list[bytes], size: int) -> None:
    wire = b"".join(scraps)
    assert cut(wire, size) == cut(wire, max(1, len(wire)))


BLOCK = b"508 transport info:\r\nstatus: record\r\nslot id: 1\r\n\r\n"
WORDS = st.sampled_from(
    [
        *(
            b"508 transport info:\r\n",
            b"status: record\r\n",
            b"status: \r\n",
            b"status:stopped\r\n",
            b"slot id: 1 \r\n",
        ),
        *(
            b"slot id: 2\r\n",
            b"slot id:  none\r\n",
            b"slot id: 1\n",
            b"status: a\tb\r\n",
            b"loop: no\r\n",
            b"\r\n",
            b"\n",
        ),
        *(
            "status: Bühne\r\n".encode(),
            b"status: \xff\r\n",
            b"200 ok\r\n",
            b"200 o\0k\r\n",
            b"200 ok\n",
            b"1: a\r\n",
            BLOCK,
        ),
    ]
)


@given(st.lists(WORDS, max_size=12))
def test_a_deck_that_said_it_before_is_read_as_one_that_says_it_for_the_first_time(words: list[bytes]) -> None:
    wire = b"".join(words)
    knows = TextDeckCodec()
    assert [event.names for event in knows.feed(BLOCK) if isinstance(event, Message)] == [("status", "slot id")]
    assert knows.feed(wire + b"\r\n\r\n") + knows.feed(BLOCK) == cut(wire + b"\r\n\r\n" + BLOCK, 1)


@pytest.mark.parametrize("name", ["a.c", "(a", "[a", "a|b", "a*+", r"\d", "^a$", "a{9}", "(?P<x>a", "#a b"])
def test_signs_that_mean_something_in_patterns_are_signs(name: str) -> None:
    codec, wire = TextDeckCodec(), f"508 transport info:\r\n{name}: x\r\nb: y z\r\n\r\n".encode()
    other = b"508 transport info:\r\nabc: x\r\nb: y z\r\n\r\n"
    told = Message(508, "transport info", (name, "b"), ("x", "y z"))
    assert codec.feed(wire) == [told]
    assert codec.feed(wire + wire) == [told, told]
    assert codec.feed(other) == [Message(508, "transport info", ("abc", "b"), ("x", "y z"))]


def test_a_deck_that_never_says_the_same_block_twice_is_read_on() -> None:
    codec = TextDeckCodec()
    for number in range(5 * MAX_FORMS):
        read = codec.feed(b"508 transport info:\r\nfield %d: x\r\n\r\n" % number)
        assert read == [Message(508, "transport info", (f"field {number}",), ("x",))]


@pytest.mark.parametrize("size", [1, 1000, 100_000])
def test_a_line_may_have_its_limit_and_not_a_byte_more(size: int) -> None:
    longest = b"200 " + b"x" * (MAX_LINE - 4)
    assert cut(longest + b"\n", size) == [Message(200, "x" * (MAX_LINE - 4))]
    with pytest.raises(ProtocolError, match="more than 4096 bytes"):
        cut(longest + b"x\n200 ok\n", size)


@pytest.mark.parametrize("size", [997, 10_000_000])
@pytest.mark.parametrize("line", [b"a: b\n", b"x\n", b"1: c\n"], ids=["named", "bare", "listed"])
def test_a_block_may_have_its_limit_of_lines_and_not_one_more(line: bytes, size: int) -> None:
    assert len(cut(b"206 disk list:\n" + line * MAX_PARAMS + b"\n", size)) == 1
    with pytest.raises(ProtocolError, match="10000 lines"):
        cut(b"206 disk list:\n" + line * (MAX_PARAMS + 1) + b"\n", size)


@pytest.mark.parametrize("size", [4099, 10_000_000])
def test_a_block_of_long_lines_ends_at_its_size(size: int) -> None:
    lines = MAX_BLOCK // 4000 + 1
    with pytest.raises(ProtocolError, match="1048576 characters"):
        cut(b"206 disk list:\n" + (b"a: " + b"x" * 3997 + b"\n") * lines, size)


@pytest.mark.parametrize("size", [4099, 10_000_000])
def test_each_block_has_its_own_size(size: int) -> None:
    block = b"206 disk list:\n" + (b"a: " + b"x" * 3997 + b"\n") * (MAX_BLOCK // 4000 // 2 + 1) + b"\n"
    assert len(cut(block * 3, size)) == 3


def test_a_spent_codec_stays_spent() -> None:
    codec = TextDeckCodec()
    for wire in (b"x" * (MAX_LINE + 1), b"200 ok\n"):
        with pytest.raises(ProtocolError, match="Look whether another kind of box answers"):
            codec.feed(wire)


def test_a_deck_that_never_ends_its_line_is_let_go() -> None:
    codec = TextDeckCodec()
    for _ in range(MAX_LINE):
        assert codec.feed(b"x") == []
    with pytest.raises(ProtocolError):
        codec.feed(b"x")
    assert sum(sys.getsizeof(getattr(codec, name)) for name in vars(codec)) < 1000


@given(st.text(), st.text(), st.text())
def test_whatever_is_written_is_one_command(command: str, name: str, value: str) -> None:
    try:
        wire = TextDeckCodec().encode(Request(command, ((name, value),)))
    except ValueError:
        return
    assert wire.count(b"\n") == wire.count(b"\r\n") == wire.count(b"\r") == 3
    assert wire.endswith(b"\r\n\r\n")
