"""A small run of every attack of `make fuzz`: the corpora whole, and some inputs made of them.

Source: own construction. What a box or a stranger may send is not bounded by any sheet.
"""

import logging
from collections.abc import Iterator

import pytest
import structlog

from tests.fuzz import api, damaged, guesses, live
from tests.fuzz.__main__ import PARSERS
from tests.fuzz.runner import Result, attack, smaller
from tests.fuzz.target import Outcome, Target

FEW = 300
SEED = 20261128


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    before = structlog.get_config()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.CRITICAL))
    yield
    structlog.configure(**before)


def _well(result: Result, runs: int) -> None:
    assert [str(finding) for finding in result.found] == []
    assert result.runs >= runs


@pytest.mark.parametrize("name", PARSERS)
def test_a_parser_reads_or_refuses_whatever_comes(name: str) -> None:
    target = PARSERS[name]
    result = attack(target, len(target.stored()) + len(target.examples) + FEW, SEED)
    _well(result, FEW)
    assert len(result.ways) > 1, "all inputs ended alike: the attack does not reach the parser"


def test_a_spoilt_journal_is_named_or_refused_and_no_take_is_wrong() -> None:
    result = damaged.campaign(300, SEED)
    _well(result, 300)
    assert set(result.outcomes) == {"whole", "cut short", "named", "refused"}


@pytest.mark.timeout(240)
def test_bad_frames_harm_no_take() -> None:
    result = live.campaign(500, SEED)
    _well(result, 500)
    assert result.outcomes["said"]


@pytest.mark.timeout(300)
def test_generated_requests_meet_their_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a viewer, whom some routes let in and others don't; `make fuzz` asks as four more."""
    monkeypatch.setattr(api, "CALLERS", ("mara",))
    _well(api.campaign(1, SEED), 500)


def test_guessing_reaches_the_hash_rarely_and_no_operator_notices() -> None:
    result = guesses.campaign(400, SEED)
    _well(result, 400)
    assert 0 < result.outcomes["reached the hash"] <= guesses.HASHED


def test_a_finding_is_found_made_small_and_the_same_each_time() -> None:
    """The attack itself: a planted fault three words deep is found, and what is stored of it is little more."""

    def faulty(data: bytes) -> Outcome:
        if b"speed: -1" in data:
            raise KeyError("speed")
        return ("read",)

    row = b"208 transport info:\r\nstatus: record\r\nspeed: 100\r\n\r\n"
    target = Target("planted", "a planted fault", faulty, "lines", (b"status",), (row,))
    first, again = attack(target, 3000, SEED), attack(target, 3000, SEED)
    assert first.found
    assert [one.data for one in first.found] == [one.data for one in again.found]
    assert smaller(target, first.found[0]) == b"speed: -1"


def test_a_split_that_changes_the_events_is_found() -> None:
    """The check of codecs: one that forgets what a turn of the link left behind gives other events in pieces."""
    from dataclasses import replace

    from stagectl_drivers.text_deck import BOX
    from stagectl_drivers.text_deck.codec import Message, Noise, TextDeckCodec
    from tests.fuzz.targets.wires import codec_target

    class Forgetful(TextDeckCodec):
        def feed(self, data: bytes) -> list[Message | Noise]:
            events = super().feed(data)
            self._tail = b""
            return events

    target = codec_target(replace(BOX, codec=lambda options: Forgetful()), [("ok", b"200 ok\r\n", [], "")])
    assert "the events are others" in str(attack(target, 1, SEED).found[0])
