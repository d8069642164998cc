"""Does every codec read and write its rows, however the stream is cut, and whatever else comes?

One entry a box: a new driver's codec passes all of this for one line. What is a box's own stands in its test_codec.py.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.model.errors import ProtocolError
from stagectl_drivers.block_router.codec import BlockRouterCodec
from stagectl_drivers.mixer_text.codec import MixerTextCodec
from stagectl_drivers.text_deck.codec import TextDeckCodec
from tests.vectors import block_router, mixer_text, text_deck


@dataclass(frozen=True)
class Box:
    """A codec and its rows.

    Attributes:
        feed: (id, wire, events, source).
        glued: those that read the same one behind the other.
        encode: (request, wire).
        smuggled: requests that would be two.
    """

    name: str
    codec: Callable[[], Any]
    feed: Sequence[tuple[str, bytes, Sequence[Any], str]]
    glued: Sequence[tuple[str, bytes, Sequence[Any], str]]
    encode: Sequence[tuple[Any, bytes]]
    smuggled: Sequence[Any]

    def read(self, wire: bytes, size: int) -> list[Any]:
        """The events of a stream that comes in pieces of so many bytes."""
        codec = self.codec()
        return [event for at in range(0, len(wire), size) for event in codec.feed(wire[at : at + size])]


BOXES: Final = [
    Box(
        "block-router",
        BlockRouterCodec,
        block_router.FEED,
        block_router.FEED,
        [row[1:3] for row in block_router.ENCODE],
        [row[1] for row in block_router.SMUGGLED],
    ),
    Box(
        "mixer-text",
        MixerTextCodec,
        mixer_text.FEED,
        mixer_text.FEED,
        [row[1:3] for row in mixer_text.ENCODE],
        [row[1] for row in mixer_text.SMUGGLED],
    ),
    Box(
        "text-deck",
        TextDeckCodec,
        text_deck.FEED,
        [row for row in text_deck.FEED if row[2]],  # the others have not ended
        [row[:2] for row in text_deck.WRITTEN],
        text_deck.REFUSED_TO_WRITE,
    ),
]
each_box = pytest.mark.parametrize("box", BOXES, ids=lambda box: box.name)


@pytest.mark.parametrize("size", [1, 2, 7, 10_000])
@pytest.mark.parametrize(
    ("box", "wire", "events"),
    [pytest.param(box, *row[1:3], id=f"{box.name} {row[0]}") for box in BOXES for row in box.feed],
)
def test_a_row_is_read_however_it_is_cut(box: Box, wire: bytes, events: list[Any], size: int) -> None:
    assert box.read(wire, size) == events


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8, 13, 10_000])
@each_box
def test_rows_glued_together_give_the_same_events(box: Box, size: int) -> None:
    wire = b"".join(row[1] for row in box.glued)
    assert box.read(wire, size) == [event for row in box.glued for event in row[2]]


@pytest.mark.parametrize(("box", "row"), [(box, row) for box in BOXES for row in box.encode])
def test_a_request_is_written_as_the_sheet_prints_it(box: Box, row: tuple[Any, bytes]) -> None:
    request, wire = row
    assert box.codec().encode(request) == wire


@pytest.mark.parametrize(("box", "request_"), [(box, request) for box in BOXES for request in box.smuggled])
def test_what_would_smuggle_in_a_second_command_is_not_written(box: Box, request_: Any) -> None:
    with pytest.raises(ValueError, match=r"."):
        box.codec().encode(request_)


@each_box
@given(data=st.data())
def test_random_bytes_are_fatal_only_by_a_limit_and_then_for_good(box: Box, data: st.DataObject) -> None:
    rows = st.sampled_from([row[1] for row in box.feed])
    codec = box.codec()
    try:
        for piece in data.draw(st.lists(st.binary(max_size=200) | st.binary(max_size=9000) | rows, max_size=20)):
            codec.feed(piece)
    except ProtocolError:
        with pytest.raises(ProtocolError):
            codec.feed(box.feed[0][1])
    assert codec.gap() == []


@each_box
@given(data=st.data())
def test_any_split_of_any_stream_gives_the_same_events(box: Box, data: st.DataObject) -> None:
    pieces = st.sampled_from([row[1] for row in box.feed]) | st.binary(max_size=40)
    wire = b"".join(data.draw(st.lists(pieces, max_size=8)))
    marks = sorted(data.draw(st.lists(st.integers(0, len(wire)), max_size=8)))
    codec = box.codec()
    parts = [wire[a:b] for a, b in zip([0, *marks], [*marks, len(wire)], strict=True)]
    assert [event for part in parts for event in codec.feed(part)] == box.read(wire, max(1, len(wire)))
