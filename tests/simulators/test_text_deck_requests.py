"""Does the simulated text deck answer each request of the sheet? Rows from memory of public documentation."""

from __future__ import annotations

import pytest

from stagectl_simulators.text_deck_words import REQUESTS
from tests.simulators.deck_bench import DeckBench, values
from tests.simulators.text_deck_rows import ANSWERS, FILLED, REFUSALS, SHEET


@pytest.mark.parametrize(("request_", "first"), ANSWERS)
def test_each_request_gets_its_reply(request_: str, first: str) -> None:
    deck = DeckBench(slots=FILLED)
    deck.join()
    reply = deck.ask(request_)
    assert reply.split("\r\n")[0] == first, SHEET
    assert reply.endswith("\r\n\r\n") == first.endswith(":"), "a block is closed by an empty line"


def test_the_rows_name_every_request_of_the_sheet() -> None:
    asked = {request.split("\r\n")[0].split(":")[0] for request, _ in ANSWERS}
    assert asked == set(REQUESTS) - {"quit"}


@pytest.mark.parametrize(("request_", "failure"), REFUSALS)
def test_each_failure_has_its_place(request_: str, failure: str) -> None:
    deck = DeckBench(slots=FILLED)
    deck.join()
    assert deck.ask(request_) == failure + "\r\n", SHEET
    assert deck.history() == [], "a refusal changes nothing"


@pytest.mark.parametrize("request_", [request for request, first in ANSWERS if first == "200 ok"])
def test_remote_off_at_the_panel_refuses_what_acts(request_: str) -> None:
    deck = DeckBench(slots=FILLED)
    deck.join()
    deck.press("remote", on=False)
    acts = request_.partition(":")[0] not in {"ping", "remote", "notify", "watchdog"}
    assert (deck.ask(request_) == "111 remote control disabled\r\n") == acts, SHEET


def test_the_greeting_tells_protocol_and_model() -> None:
    greeting = DeckBench(model="Deck X").join()
    assert greeting == "500 connection info:\r\nprotocol version: 1.11\r\nmodel: Deck X\r\n\r\n", SHEET


def test_a_deck_for_one_client_turns_the_second_away() -> None:
    deck = DeckBench(max_clients=1)
    deck.join(1)
    opened = deck.deck.open(2, "127.0.0.1", 0.0)
    assert (opened.sends, opened.refuse) == ([(2, b"120 connection rejected\r\n")], True), SHEET


def test_a_request_the_firmware_lacks_is_unsupported() -> None:
    deck = DeckBench(unsupported=["disk list"])
    deck.join()
    assert deck.ask("disk list") == "103 unsupported\r\n", SHEET


def test_clips_are_listed_in_both_forms() -> None:
    deck = DeckBench(slots=FILLED)
    deck.join()
    assert deck.ask("clips get").split("\r\n")[1:4] == [
        "clip count: 2",
        "1: Warm up 09:00:00:00 00:00:10:00",
        "2: Second movement 09:10:00:00 00:00:04:00",
    ], SHEET
    second = deck.ask("clips get: clip id: 2 version: 2").split("\r\n")[2]
    assert second == "2: 09:10:00:00 00:00:04:00 09:10:00:00 09:10:03:24 Second movement", SHEET
    assert deck.ask("disk list").split("\r\n")[1:3] == ["slot id: 1", "1: Warm up VC3-SQ 1080p25 00:00:10:00"], SHEET


def test_format_takes_two_steps_and_empties_the_medium() -> None:
    deck = DeckBench(slots=FILLED)
    deck.join()
    token = deck.ask("format: prepare: exFAT").split("\r\n")[1]
    assert deck.ask("format: confirm: wrong") == "161 invalid token\r\n", SHEET
    assert deck.ask(f"format: confirm: {token}") == "200 ok\r\n"
    assert deck.value("slot info", "status") == "mounting"
    assert deck.ask("clips count") == "105 no disk\r\n"
    deck.wait(1)
    assert deck.value("clips count", "clip count") == "0"
    assert deck.ask("play") == "107 timeline empty\r\n", SHEET
    assert deck.ask(f"format: confirm: {token}") == "162 format not prepared\r\n", "a token serves once"


def test_the_watchdog_closes_a_silent_connection_only() -> None:
    deck = DeckBench()
    deck.join(1)
    deck.join(2)
    deck.ask("watchdog: period: 5", 1)
    deck.wait(4)
    deck.ask("ping", 1)
    deck.wait(4.9)
    assert deck.deck.drop() == []
    deck.wait(0.1)
    assert deck.deck.drop() == [1], SHEET


def test_quit_closes_without_a_word() -> None:
    deck = DeckBench()
    deck.join()
    assert deck.ask("quit\r\nping") == ""
    assert deck.deck.drop() == [1], SHEET


def test_uptime_counts_from_the_last_reboot() -> None:
    deck = DeckBench()
    deck.wait(90)
    deck.deck.reboot(deck.now_s)
    deck.join()
    deck.wait(7)
    assert values(deck.ask("uptime")) == {"uptime": "7"}


@pytest.mark.parametrize("cut", [4096, 4097, 5000])
def test_a_line_too_long_is_thrown_away_up_to_its_end(cut: int) -> None:
    deck = DeckBench()
    deck.join()
    heard = b""
    for piece in (b"x" * cut, b"ping", b"\r\n", b"uptime\r\n"):
        heard += b"".join(data for _, data in deck.deck.feed(1, piece, 0.0))
    assert heard == b"100 syntax error\r\n215 uptime:\r\nuptime: 0\r\n\r\n"


def test_override_acts_although_remote_is_off() -> None:
    deck = DeckBench()
    deck.join()
    deck.press("remote", on=False)
    assert deck.ask("remote: override: true") == "200 ok\r\n"
    assert deck.ask("record") == "200 ok\r\n", SHEET


def test_the_disk_list_of_the_other_slot_is_its_own() -> None:
    deck = DeckBench(slots=FILLED)
    deck.join()
    assert deck.ask("disk list: slot id: 2") == "206 disk list:\r\nslot id: 2\r\n\r\n"


def test_one_notify_leaves_the_other_flags_alone() -> None:
    deck = DeckBench()
    deck.join(1, "transport", "slot")
    flags = values(deck.ask("notify"))
    assert [name for name, on in flags.items() if on == "true"] == ["transport", "slot"]


def test_a_client_that_left_is_told_nothing() -> None:
    deck = DeckBench()
    deck.join(1, "transport")
    deck.join(2, "transport")
    deck.ask("quit", 1)
    deck.deck.close(2, deck.now_s)
    deck.press("record")
    deck.wait(1)
    assert (deck.said(1), deck.said(2)) == ("", "")
    assert deck.deck.truth(deck.now_s)["clients"] == [1]
