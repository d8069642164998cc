"""Does the block router's codec read and write what the sheet says, however the stream is cut?"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.errors import ProtocolError
from stagectl_drivers.block_router.codec import (
    MAX_BLOCK,
    MAX_LINE,
    Ack,
    BlockRouterCodec,
    Event,
    Request,
)
from tests.vectors.block_router import ENCODE, FEED, PRELUDE, SMUGGLED


def in_pieces(wire: bytes, size: int) -> list[Event]:
    codec = BlockRouterCodec()
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
    assert BlockRouterCodec().encode(request_) == wire


@pytest.mark.parametrize("request_", [row[1] for row in SMUGGLED], ids=[row[0] for row in SMUGGLED])
def test_what_would_smuggle_in_a_second_command_is_not_written(request_: Request) -> None:
    with pytest.raises(ValueError, match=r"."):
        BlockRouterCodec().encode(request_)


@given(st.lists(st.binary(max_size=200) | st.sampled_from([row[1] for row in FEED]), max_size=20))
def test_random_bytes_are_never_fatal(pieces: list[bytes]) -> None:
    codec = BlockRouterCodec()
    for piece in pieces:
        codec.feed(piece)
    assert codec.gap() == []


@given(st.binary(max_size=400), st.integers(1, 50))
def test_any_split_of_a_random_stream_gives_the_same_events(noise: bytes, size: int) -> None:
    wire = PRELUDE + noise + b"\n\n" + PRELUDE
    assert in_pieces(wire, size) == in_pieces(wire, len(wire))


@pytest.mark.parametrize("size", [1000, 100_000])
def test_a_line_without_end_is_refused(size: int) -> None:
    with pytest.raises(ProtocolError, match="4096 bytes"):
        in_pieces(b"x" * (MAX_LINE + 1), size)


def test_a_line_just_within_the_limit_is_read() -> None:
    assert len(in_pieces(b"x" * MAX_LINE + b"\nACK\n\n", 100)) == 2


@pytest.mark.parametrize("size", [5000, 10 * MAX_BLOCK])
def test_a_block_without_end_is_refused(size: int) -> None:
    with pytest.raises(ProtocolError, match="block of more than"):
        in_pieces(b"INPUT LABELS:\n" + b"0 " + b"x\n0 " * (MAX_BLOCK // 4 + 1), size)


def test_many_blocks_may_be_longer_than_one() -> None:
    block = b"INPUT LABELS:\n" + b"0 xxxx\n" * 20_000 + b"\n"
    assert len(in_pieces(block * 12, 65_536)) == 12  # 1.7 million characters, none of the blocks too long


def test_empty_lines_without_end_hold_no_memory() -> None:
    codec = BlockRouterCodec()
    assert codec.feed(b"\n" * 100_000) == []
    assert codec.feed(b"ACK\n") == [Ack()]
