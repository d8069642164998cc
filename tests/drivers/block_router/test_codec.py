"""Is the block router's codec bounded, and right where only blocks can be wrong? Its rows: ../test_codecs.py."""

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
)
from tests.vectors.block_router import PRELUDE


def in_pieces(wire: bytes, size: int) -> list[Event]:
    codec = BlockRouterCodec()
    return [event for at in range(0, len(wire), size) for event in codec.feed(wire[at : at + size])]


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
