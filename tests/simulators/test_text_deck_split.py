"""Does any split of a stream give the same conversation? Properties of the simulated text deck; own construction."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl_simulators.house_clock import HouseClock
from stagectl_simulators.text_deck import build
from tests.simulators.text_deck_rows import ANSWERS, FILLED, REFUSALS

REQUESTS = [request.encode() + b"\r\n" for request, _ in ANSWERS + REFUSALS] + [b"\r\n", b"stop\n", b"x" * 5000 + b"\n"]


def conversation(stream: bytes, cuts: list[int], **options: object) -> tuple[bytes, dict[str, object]]:
    """Everything the deck says to a stream cut at `cuts`, and the truth afterwards."""
    settings: dict[str, object] = {"slots": FILLED, **options}
    deck = build("iso-1", settings, random.Random(3), HouseClock())
    deck.open(1, "127.0.0.1", 0.0)
    heard = b""
    edges = [0, *sorted(cuts), len(stream)]
    for start, end in itertools.pairwise(edges):
        heard += b"".join(data for _, data in deck.feed(1, stream[start:end], 5.0))
    return heard, deck.truth(5.0)


@given(st.lists(st.sampled_from(REQUESTS), max_size=12), st.data(), st.sampled_from([0.0, 0.4]))
def test_any_split_gives_the_same_conversation(requests: list[bytes], data: st.DataObject, delay_s: float) -> None:
    stream = b"notify: transport: true slot: true configuration: true remote: true\r\n" + b"".join(requests)
    cuts = data.draw(st.lists(st.integers(0, len(stream)), max_size=20))
    assert conversation(stream, cuts, roll_delay_s=delay_s) == conversation(stream, [], roll_delay_s=delay_s)


@pytest.mark.parametrize("size", [1, 2, 7])
def test_every_row_byte_by_byte_gives_the_same_conversation(size: int) -> None:
    stream = b"".join(REQUESTS)
    assert conversation(stream, list(range(0, len(stream), size))) == conversation(stream, [])


@given(st.binary(max_size=400))
def test_noise_never_breaks_the_deck(noise: bytes) -> None:
    heard, _ = conversation(noise + b"\n\n\nping\n", [])
    assert heard.endswith(b"200 ok\r\n") or b"quit" in noise
