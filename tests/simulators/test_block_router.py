"""Does the simulated block router behave as its sheet says, and misbehave as its switches say?"""

import asyncio
import itertools
import random
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagectl_simulators.block_router import NOISE, BlockRouter, build
from stagectl_simulators.block_router_wire import MAX_LINE_BYTES
from stagectl_simulators.house_clock import HouseClock
from stagectl_simulators.model import Sends
from stagectl_simulators.serve import SimBox, Simulation

SHEET = "from memory of public documentation"
OWN = "own construction"

SMALL = {"inputs": 4, "outputs": 3, "configuration": False}
SMALL_DUMP = (
    "PROTOCOL PREAMBLE:\nVersion: 2.8\n\n"
    "ROUTER DEVICE:\nDevice present: true\nModel name: Matrix 4x3\nFriendly name: hall\nUnique ID: 51A17E000016\n"
    "Video inputs: 4\nVideo processing units: 0\nVideo outputs: 3\nVideo monitoring outputs: 0\nSerial ports: 0\n\n"
    "INPUT LABELS:\n0 Input 1\n1 Input 2\n2 Input 3\n3 Input 4\n\n"
    "OUTPUT LABELS:\n0 Output 1\n1 Output 2\n2 Output 3\n\n"
    "VIDEO OUTPUT LOCKS:\n0 U\n1 U\n2 U\n\n"
    "VIDEO OUTPUT ROUTING:\n0 0\n1 1\n2 2\n\n"
    "END PRELUDE:\n\n"
)


def router(**options: object) -> BlockRouter:
    return build("hall", options, random.Random(1), HouseClock())


def met(box: BlockRouter, client: int, peer: str = "10.0.0.1") -> str:
    """Open a client and return its dump."""
    opened = box.open(client, peer, 0.0)
    assert not opened.refuse
    return heard(opened.sends, client)


def truth(box: BlockRouter, now_s: float) -> Any:
    """Ground truth, as JSON has it."""
    return box.truth(now_s)


def heard(sends: Sends, client: int) -> str:
    return b"".join(data for to, data in sends if to == client).decode(errors="replace")


def asked(box: BlockRouter, text: str, client: int = 1, now_s: float = 0.0) -> str:
    return heard(box.feed(client, text.encode(), now_s), client)


@pytest.fixture
def hall() -> Iterator[BlockRouter]:
    """A 16x16 with one client met, number 1 at 10.0.0.1, and a second, number 2 at 10.0.0.2."""
    box = router()
    met(box, 1)
    met(box, 2, "10.0.0.2")
    yield box
    assert box.drop() == []


# The dump


def test_a_new_client_is_shown_the_whole_state_block_after_block() -> None:
    assert met(router(**SMALL), 1) == SMALL_DUMP  # order and words: SHEET


def test_version_2_3_has_neither_end_of_prelude_nor_friendly_name() -> None:
    older = SMALL_DUMP.replace("2.8", "2.3").replace("Friendly name: hall\n", "").replace("END PRELUDE:\n\n", "")
    assert met(router(**SMALL, old=True), 1) == older


def test_optional_blocks_stand_where_the_sheet_lists_them() -> None:
    box = router(inputs=4, outputs=2, monitoring_outputs=1, serial_ports=2, frame_labels=True)
    headers = [line for line in met(box, 1).splitlines() if line.endswith(":")]
    assert headers == [  # SHEET
        "PROTOCOL PREAMBLE:",
        "ROUTER DEVICE:",
        "INPUT LABELS:",
        "OUTPUT LABELS:",
        "MONITORING OUTPUT LABELS:",
        "SERIAL PORT LABELS:",
        "FRAME LABELS:",
        "VIDEO OUTPUT LOCKS:",
        "MONITORING OUTPUT LOCKS:",
        "SERIAL PORT LOCKS:",
        "VIDEO OUTPUT ROUTING:",
        "VIDEO MONITORING OUTPUT ROUTING:",
        "SERIAL PORT ROUTING:",
        "CONFIGURATION:",
        "END PRELUDE:",
    ]


def test_a_frame_with_more_outputs_than_inputs_starts_on_the_last_input() -> None:
    assert "VIDEO OUTPUT ROUTING:\n0 0\n1 1\n2 1\n\n" in met(router(inputs=2, outputs=3), 1)


def test_labels_come_from_the_options() -> None:
    dump = met(router(inputs=2, outputs=2, input_labels=["Bühne links", ""]), 1)
    assert "INPUT LABELS:\n0 Bühne links\n1 \n\n" in dump


# Requests

REQUESTS = [
    # id, request, answer to the requester, source
    ("route", "VIDEO OUTPUT ROUTING:\n3 7\n\n", "ACK\n\nVIDEO OUTPUT ROUTING:\n3 7\n\n", SHEET),
    (
        "salvo, the worked exchange",
        "VIDEO OUTPUT ROUTING:\n0 3\n1 3\n\n",
        "ACK\n\nVIDEO OUTPUT ROUTING:\n0 3\n1 3\n\n",
        SHEET,
    ),
    (
        "the last of two lines counts",
        "VIDEO OUTPUT ROUTING:\n0 3\n0 5\n\n",
        "ACK\n\nVIDEO OUTPUT ROUTING:\n0 5\n\n",
        OWN,
    ),
    (
        "a status block holds what changed",
        "VIDEO OUTPUT ROUTING:\n0 0\n1 3\n\n",
        "ACK\n\nVIDEO OUTPUT ROUTING:\n1 3\n\n",
        SHEET,
    ),
    ("nothing changes", "VIDEO OUTPUT ROUTING:\n0 0\n\n", "ACK\n\n", SHEET),
    ("label", "INPUT LABELS:\n0 Camera 1\n\n", "ACK\n\nINPUT LABELS:\n0 Camera 1\n\n", SHEET),
    (
        "label, UTF-8 and spaces",
        "OUTPUT LABELS:\n2 Bühne  links \n\n",
        "ACK\n\nOUTPUT LABELS:\n2 Bühne  links \n\n",
        SHEET,
    ),
    ("label, empty", "INPUT LABELS:\n0 \n\n", "ACK\n\nINPUT LABELS:\n0 \n\n", SHEET),
    ("label, empty, no space", "INPUT LABELS:\n0\n\n", "ACK\n\nINPUT LABELS:\n0 \n\n", OWN),
    ("label that ends in a colon", "INPUT LABELS:\n0 NOTE:\n\n", "ACK\n\nINPUT LABELS:\n0 NOTE:\n\n", OWN),
    ("lock", "VIDEO OUTPUT LOCKS:\n3 O\n\n", "ACK\n\nVIDEO OUTPUT LOCKS:\n3 O\n\n", SHEET),
    ("unlock what is open", "VIDEO OUTPUT LOCKS:\n3 U\n\n", "ACK\n\n", OWN),
    ("take mode", "CONFIGURATION:\nTake Mode: false\n\n", "ACK\n\nCONFIGURATION:\nTake Mode: false\n\n", SHEET),
    ("ping", "PING:\n\n", "ACK\n\n", SHEET),
    ("CR LF", "VIDEO OUTPUT ROUTING:\r\n3 7\r\n\r\n", "ACK\n\nVIDEO OUTPUT ROUTING:\n3 7\n\n", SHEET),
    ("empty lines between blocks", "\n\nPING:\n\n\nPING:\n\n", "ACK\n\nACK\n\n", OWN),
    ("query preamble", "PROTOCOL PREAMBLE:\n\n", "ACK\n\nPROTOCOL PREAMBLE:\nVersion: 2.8\n\n", SHEET),
    ("query settings", "CONFIGURATION:\n\n", "ACK\n\nCONFIGURATION:\nTake Mode: true\n\n", SHEET),
    ("output out of range", "VIDEO OUTPUT ROUTING:\n16 0\n\n", "NAK\n\n", SHEET),
    ("input out of range", "VIDEO OUTPUT ROUTING:\n0 16\n\n", "NAK\n\n", SHEET),
    ("one line out of range", "VIDEO OUTPUT ROUTING:\n0 3\n16 3\n\n", "NAK\n\n", OWN),
    ("negative", "VIDEO OUTPUT ROUTING:\n0 -1\n\n", "NAK\n\n", OWN),
    ("no number", "VIDEO OUTPUT ROUTING:\n0 Camera\n\n", "NAK\n\n", OWN),
    ("digits of another script", "VIDEO OUTPUT ROUTING:\n0 ٣\n\n", "NAK\n\n", OWN),
    ("a number alone", "VIDEO OUTPUT ROUTING:\n0\n\n", "NAK\n\n", OWN),
    ("no such lock", "VIDEO OUTPUT LOCKS:\n3 L\n\n", "NAK\n\n", OWN),
    ("label out of range", "INPUT LABELS:\n16 x\n\n", "NAK\n\n", OWN),
    ("label without number", "INPUT LABELS:\nCamera 1\n\n", "NAK\n\n", OWN),
    ("no such setting", "CONFIGURATION:\nTake Mode: yes\n\n", "NAK\n\n", OWN),
    ("unknown block", "AUDIO ROUTING:\n0 0\n\n", "NAK\n\n", OWN),
    ("a block that only reports", "ROUTER DEVICE:\nVideo inputs: 99\n\n", "NAK\n\n", OWN),
    ("another maker's word", "MATRIX DEVICE:\n\n", "NAK\n\n", OWN),
    ("optional block it lacks", "SERIAL PORT ROUTING:\n\n", "NAK\n\n", OWN),
    ("small letters", "video output routing:\n0 3\n\n", "NAK\n\n", OWN),
    ("no header", "0 3\n\n", "NAK\n\n", OWN),
    ("a line without end", "x" * (MAX_LINE_BYTES + 2) + "\nPING:\n\nPING:\n\n", "NAK\n\nACK\n\n", OWN),
    ("ping with a line", "PING:\n0\n\n", "NAK\n\n", OWN),
]


@pytest.mark.parametrize(("request_", "answer"), [row[1:3] for row in REQUESTS], ids=[row[0] for row in REQUESTS])
def test_a_request_is_answered(hall: BlockRouter, request_: str, answer: str) -> None:
    assert asked(hall, request_) == answer


@pytest.mark.parametrize("size", [1, 2, 7])
@pytest.mark.parametrize("row", REQUESTS, ids=[row[0] for row in REQUESTS])
def test_a_request_in_pieces_is_answered_alike(hall: BlockRouter, row: tuple[str, str, str, str], size: int) -> None:
    data = row[1].encode()
    sends: Sends = []
    for at in range(0, len(data), size):
        sends += hall.feed(1, data[at : at + size], 0.0)
    assert heard(sends, 1) == row[2]


@settings(max_examples=60, deadline=None)
@given(data=st.lists(st.sampled_from([row[1].encode() for row in REQUESTS] + [b"\xff\n", b"\x00"])), cuts=st.randoms())
def test_any_split_of_a_stream_gives_the_same_answers(data: list[bytes], cuts: random.Random) -> None:
    stream = b"".join(data)
    whole, split = router(), router()
    met(whole, 1)
    met(split, 1)
    at = 0
    sends: Sends = []
    while at < len(stream):
        step = cuts.randint(1, 40)
        sends += split.feed(1, stream[at : at + step], 0.0)
        at += step
    assert sends == whole.feed(1, stream, 0.0)
    assert truth(split, 0.0) == truth(whole, 0.0)


@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=400))
def test_bytes_of_any_kind_are_answered_with_nothing_but_no(data: bytes) -> None:
    box = router()
    met(box, 1)
    before = truth(box, 0.0)
    data = data.replace(b":", b";")  # without a colon there is no header
    assert set(box.feed(1, data + b"\n\n", 0.0)) <= {(1, b"NAK\n\n")}
    assert truth(box, 0.0) == before


def test_a_block_that_is_not_utf_8_is_refused(hall: BlockRouter) -> None:
    assert heard(hall.feed(1, b"INPUT LABELS:\n0 \xff\n\n", 0.0), 1) == "NAK\n\n"


def test_a_refused_salvo_changes_nothing(hall: BlockRouter) -> None:
    asked(hall, "VIDEO OUTPUT ROUTING:\n0 3\n16 3\n\n")
    assert truth(hall, 0.0)["video_output_routing"] == list(range(1, 17))


def test_a_query_of_any_section_of_the_dump_is_answered_as_in_the_dump() -> None:
    box = router(monitoring_outputs=2, serial_ports=2, frame_labels=True)
    blocks = [block for block in met(box, 1).split("\n\n") if block and block != "END PRELUDE:"]
    assert len(blocks) == 14
    for block in blocks:
        header = block.splitlines()[0]
        assert asked(box, f"{header}\n\n") == f"ACK\n\n{block}\n\n"


def test_monitoring_outputs_and_serial_ports_route_too() -> None:
    box = router(monitoring_outputs=1, serial_ports=2)
    met(box, 1)
    assert asked(box, "VIDEO MONITORING OUTPUT ROUTING:\n0 9\n\n").endswith("VIDEO MONITORING OUTPUT ROUTING:\n0 9\n\n")
    assert asked(box, "SERIAL PORT ROUTING:\n0 1\n\n").endswith("SERIAL PORT ROUTING:\n0 1\n\n")
    assert asked(box, "SERIAL PORT ROUTING:\n0 2\n\n") == "NAK\n\n"
    assert asked(box, "MONITORING OUTPUT LOCKS:\n0 O\n\n").endswith("0 O\n\n")


# Every client


def test_every_client_hears_of_a_change_and_the_asker_hears_ack_first(hall: BlockRouter) -> None:
    sends = hall.feed(1, b"VIDEO OUTPUT ROUTING:\n3 7\n\n", 0.0)
    status = b"VIDEO OUTPUT ROUTING:\n3 7\n\n"
    assert sends == [(1, b"ACK\n\n"), (1, status), (2, status)]


def test_a_client_that_is_gone_is_not_spoken_to(hall: BlockRouter) -> None:
    hall.close(2, 0.0)
    assert {client for client, _ in hall.feed(1, b"VIDEO OUTPUT ROUTING:\n3 7\n\n", 0.0)} == {1}


def test_a_client_over_the_limit_is_refused() -> None:
    box = router(max_clients=1)
    met(box, 1)
    assert box.open(2, "10.0.0.2", 0.0).refuse
    box.close(1, 0.0)
    assert not box.open(3, "10.0.0.3", 0.0).refuse


# Locks


def test_a_lock_reads_as_own_to_its_owner_and_as_locked_to_others(hall: BlockRouter) -> None:
    sends = hall.feed(1, b"VIDEO OUTPUT LOCKS:\n3 O\n\n", 0.0)
    assert heard(sends, 2) == "VIDEO OUTPUT LOCKS:\n3 L\n\n"
    assert "\n3 L\n" in asked(hall, "VIDEO OUTPUT LOCKS:\n\n", client=2)
    assert "\n3 O\n" in met(hall, 3, "10.0.0.1")  # another connection from the owner's address: SHEET


def test_an_output_locked_by_another_stays_although_the_answer_is_ack(hall: BlockRouter) -> None:
    asked(hall, "VIDEO OUTPUT LOCKS:\n3 O\n\n")
    salvo = "VIDEO OUTPUT ROUTING:\n2 7\n3 7\n\n"
    assert asked(hall, salvo, client=2) == "ACK\n\nVIDEO OUTPUT ROUTING:\n2 7\n\n"  # SHEET
    assert asked(hall, salvo) == "ACK\n\nVIDEO OUTPUT ROUTING:\n3 7\n\n"  # its owner may


def test_only_force_opens_the_lock_of_another(hall: BlockRouter) -> None:
    asked(hall, "VIDEO OUTPUT LOCKS:\n3 O\n\n")
    assert asked(hall, "VIDEO OUTPUT LOCKS:\n3 O\n\n", client=2) == "ACK\n\n"
    assert asked(hall, "VIDEO OUTPUT LOCKS:\n3 U\n\n", client=2) == "ACK\n\n"
    sends = hall.feed(2, b"VIDEO OUTPUT LOCKS:\n3 F\n\n", 0.0)
    assert heard(sends, 1) == "VIDEO OUTPUT LOCKS:\n3 U\n\n"
    assert asked(hall, "VIDEO OUTPUT ROUTING:\n3 7\n\n", client=2).endswith("3 7\n\n")


def test_a_lock_outlives_its_connection_but_not_the_power(hall: BlockRouter) -> None:
    asked(hall, "VIDEO OUTPUT LOCKS:\n3 O\n\nVIDEO OUTPUT ROUTING:\n3 7\n\n")
    hall.close(1, 0.0)
    assert "\n3 L\n" in asked(hall, "VIDEO OUTPUT LOCKS:\n\n", client=2)
    hall.close(2, 1.0)
    hall.reboot(1.0)
    dump = met(hall, 3)
    assert "\n3 U\n" in dump
    assert "\n3 7\n" in dump


# Front panel


def test_a_route_at_the_panel_counts_from_one_and_reaches_everybody(hall: BlockRouter) -> None:
    sends = hall.panel("route", {"output": 4, "input": 8}, 2.0)
    status = b"VIDEO OUTPUT ROUTING:\n3 7\n\n"
    assert sends == [(1, status), (2, status)]
    assert truth(hall, 2.0)["history"][-1] == {"n": 1, "at_s": 2.0, "what": "output 4 shows input 8", "cause": "panel"}


def test_a_name_given_at_the_panel_reaches_everybody(hall: BlockRouter) -> None:
    sends = hall.panel("label", {"side": "output", "number": 2, "text": "Gallery"}, 0.0)
    assert heard(sends, 2) == "OUTPUT LABELS:\n1 Gallery\n\n"


def test_the_panel_locks_against_everybody_and_unlocks_for_everybody(hall: BlockRouter) -> None:
    assert heard(hall.panel("lock", {"output": 4}, 0.0), 1) == "VIDEO OUTPUT LOCKS:\n3 L\n\n"
    assert asked(hall, "VIDEO OUTPUT ROUTING:\n3 7\n\n") == "ACK\n\n"
    assert heard(hall.panel("unlock", {"output": 4}, 0.0), 1) == "VIDEO OUTPUT LOCKS:\n3 U\n\n"


def test_the_panel_keeps_to_a_lock_of_the_wire_until_it_opens_it(hall: BlockRouter) -> None:
    asked(hall, "VIDEO OUTPUT LOCKS:\n3 O\n\n")
    acts: list[tuple[str, dict[str, object]]] = [("route", {"output": 4, "input": 8}), ("lock", {"output": 4})]
    for act, args in acts:
        with pytest.raises(ValueError, match=r"Output 4 is locked by 10\.0\.0\.1\. Unlock it first\."):
            hall.panel(act, args, 0.0)
    hall.panel("unlock", {"output": 4}, 0.0)
    assert hall.panel("route", {"output": 4, "input": 8}, 0.0)


def test_a_device_that_goes_refuses_requests_and_shows_everything_when_it_is_back(hall: BlockRouter) -> None:
    gone = "ROUTER DEVICE:\nDevice present: false\n\nEND PRELUDE:\n\n"
    assert heard(hall.panel("device_present", {"state": "false"}, 0.0), 1) == gone
    assert asked(hall, "VIDEO OUTPUT ROUTING:\n3 7\n\n") == "NAK\n\n"
    assert asked(hall, "PING:\n\n") == "ACK\n\n"
    assert met(hall, 3) == "PROTOCOL PREAMBLE:\nVersion: 2.8\n\n" + gone
    back = heard(hall.panel("device_present", {"state": "true"}, 0.0), 1)
    assert back.startswith("ROUTER DEVICE:\nDevice present: true\n")
    assert "VIDEO OUTPUT ROUTING:\n0 0\n" in back


@pytest.mark.parametrize(
    ("act", "args", "sentence"),
    [
        ("route", {"output": 0, "input": 1}, "route: output must be a whole number from 1 to 16, not 0."),
        ("route", {"output": 17, "input": 1}, "route: output must be a whole number from 1 to 16, not 17."),
        ("route", {"output": True, "input": 1}, "route: output must be a whole number from 1 to 16, not True."),
        ("route", {"output": 1}, "route: argument 'input' is missing."),
        ("lock", {"output": 1, "hard": True}, "lock: no argument 'hard'."),
        ("label", {"side": "left", "number": 1, "text": "x"}, "label: side must be one of input, output, not 'left'."),
        (
            "label",
            {"side": "input", "number": 1, "text": "a\nb"},
            "label: text holds a control sign. Leave it out.",
        ),
        (
            "dance",
            {},
            "A block router has no act 'dance'. Known acts: route, label, lock, unlock, device_present.",
        ),
    ],
)
def test_an_act_the_panel_cannot_do_is_refused_with_a_sentence(
    hall: BlockRouter, act: str, args: dict[str, object], sentence: str
) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        hall.panel(act, args, 0.0)
    assert str(refused.value) == sentence


# Faults

ROUTE = "VIDEO OUTPUT ROUTING:\n3 7\n\n"


def test_refuse_all_says_no_to_everything(hall: BlockRouter) -> None:
    hall.faults.turn("refuse_all", True)
    assert asked(hall, ROUTE + "PING:\n\nINPUT LABELS:\n\n") == "NAK\n\n" * 3
    assert truth(hall, 0.0)["video_output_routing"] == list(range(1, 17))


def test_ack_only_says_yes_and_changes_nothing(hall: BlockRouter) -> None:
    hall.faults.turn("ack_only", True)
    assert asked(hall, ROUTE) == "ACK\n\n"
    assert "\n3 3\n" in asked(hall, "VIDEO OUTPUT ROUTING:\n\n")
    assert asked(hall, "VIDEO OUTPUT ROUTING:\n3 99\n\n") == "NAK\n\n"


def test_no_status_changes_and_tells_nobody(hall: BlockRouter) -> None:
    hall.faults.turn("no_status", True)
    assert hall.feed(1, ROUTE.encode(), 0.0) == [(1, b"ACK\n\n")]
    assert hall.panel("route", {"output": 1, "input": 2}, 0.0) == []
    assert "\n3 7\n" in asked(hall, "VIDEO OUTPUT ROUTING:\n\n")


def test_late_status_comes_seconds_after_ack(hall: BlockRouter) -> None:
    hall.faults.turn("late_status", 1.5)
    assert hall.feed(1, ROUTE.encode(), 10.0) == [(1, b"ACK\n\n")]
    assert hall.due_s() == 11.5
    hall.close(2, 11.0)
    assert hall.advance(11.4) == []
    assert hall.advance(11.5) == [(1, b"VIDEO OUTPUT ROUTING:\n3 7\n\n")]
    assert hall.due_s() is None


def test_wrong_route_lands_on_the_next_input_and_is_so_reported(hall: BlockRouter) -> None:
    hall.faults.turn("wrong_route", True)
    assert asked(hall, ROUTE) == "ACK\n\nVIDEO OUTPUT ROUTING:\n3 8\n\n"
    assert asked(hall, "VIDEO OUTPUT ROUTING:\n3 15\n\n") == "ACK\n\nVIDEO OUTPUT ROUTING:\n3 0\n\n"
    assert asked(hall, "INPUT LABELS:\n0 x\n\n").endswith("INPUT LABELS:\n0 x\n\n")


def test_a_storm_flips_the_last_output_at_its_rate(hall: BlockRouter) -> None:
    hall.faults.turn("storm", 100.0)
    assert hall.due_s() == 0.0
    sends = [send for step in range(11) for send in hall.advance(5.0 + step / 10)]
    lines = [data for client, data in sends if client == 1]
    assert abs(len(lines) - 101) <= 1  # a second of it, ends included
    assert set(lines) == {b"VIDEO OUTPUT ROUTING:\n15 0\n\n", b"VIDEO OUTPUT ROUTING:\n15 1\n\n"}
    assert all(one != after for one, after in itertools.pairwise(lines))
    assert 2 * 100 <= len(hall.advance(1000.0)) <= 2 * 102  # a server that slept owes a second of it
    hall.faults.turn("storm", 1e12)
    assert len(hall.advance(1001.0)) <= 2 * 5001  # nor does a number typed wrong stall the house
    hall.faults.turn("storm", False)
    assert hall.advance(1002.0) == []
    assert hall.due_s() is None


def test_a_storm_leaves_the_record_readable(hall: BlockRouter) -> None:
    hall.faults.turn("storm", True)
    for step in range(20):
        hall.advance(step / 10)
    assert [entry["what"] for entry in truth(hall, 2.0)["history"]] == ["a sequencer takes output 16"]


def test_a_router_with_one_input_has_no_storm() -> None:
    box = router(inputs=1)
    box.faults.turn("storm", True)
    assert box.advance(1.0) == []
    assert box.due_s() is None


def test_needs_update_is_told_and_refuses_until_it_is_over(hall: BlockRouter) -> None:
    hall.faults.turn("needs_update", True)
    assert hall.due_s() == 0.0
    assert heard(hall.advance(1.0), 2) == "ROUTER DEVICE:\nDevice present: needs_update\n\nEND PRELUDE:\n\n"
    assert asked(hall, ROUTE) == "NAK\n\n"
    assert hall.due_s() is None
    hall.faults.turn("needs_update", False)
    assert heard(hall.advance(2.0), 2).startswith("ROUTER DEVICE:\nDevice present: true\n")


def test_garbage_stands_before_everything_it_says(hall: BlockRouter) -> None:
    hall.faults.turn("garbage", True)
    noise = NOISE.decode(errors="replace")
    assert met(hall, 3).startswith(noise + "PROTOCOL PREAMBLE:")
    assert asked(hall, ROUTE) == f"{noise}ACK\n\n{noise}VIDEO OUTPUT ROUTING:\n3 7\n\n"
    assert heard(hall.panel("lock", {"output": 1}, 0.0), 2).startswith(noise)


def test_the_wrong_model_has_nothing_to_route(hall: BlockRouter) -> None:
    hall.faults.turn("wrong_model", True)
    dump = met(hall, 3)
    assert "Model name: Distribution 4\n" in dump
    assert "Video outputs: 0\n" in dump
    assert "ROUTING" not in dump
    assert asked(hall, ROUTE) == "NAK\n\n"


def test_a_short_prelude_breaks_off_inside_the_routing_and_nothing_follows(hall: BlockRouter) -> None:
    hall.faults.turn("short_prelude", True)
    assert met(hall, 3).endswith("VIDEO OUTPUT ROUTING:\n0 ")
    hall.faults.turn("short_prelude", False)
    assert asked(hall, "PING:\n\n", client=3) == ""
    assert {client for client, _ in hall.feed(1, ROUTE.encode(), 0.0)} == {1, 2}
    assert met(hall, 4).endswith("END PRELUDE:\n\n")


# Options, record, server


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"inputs": 0}, "hall: option 'inputs' must be a whole number from 1 to 288, not 0."),
        ({"input_labels": ["a"] * 17}, "hall: option 'input_labels' has 17 names for 16 places."),
        ({"input_labels": ["a\nb"]}, "hall: option 'input_labels' must be a list of names on one line, not 'a\\nb'."),
        ({"colour": 1}, "hall: no option 'colour'."),
    ],
)
def test_a_wrong_option_is_refused_with_a_sentence(options: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        router(**options)
    assert str(refused.value).startswith(sentence)


def test_the_record_names_what_changed_and_by_whose_hand(hall: BlockRouter) -> None:
    asked(hall, "VIDEO OUTPUT ROUTING:\n0 3\n1 3\n2 2\n\nVIDEO OUTPUT LOCKS:\n0 O\n\n", client=2, now_s=1.25)
    state = truth(hall, 2.0)
    assert [(entry["what"], entry["cause"]) for entry in state["history"]] == [
        ("output 1 shows input 4", "wire:2"),
        ("output 2 shows input 4", "wire:2"),
        ("output 1 is locked by 10.0.0.2", "wire:2"),
    ]
    assert state["video_output_locks"] == ["10.0.0.2"] + [""] * 15
    assert state["clients"] == {"1": "10.0.0.1", "2": "10.0.0.2"}


async def test_over_the_network_a_lock_holds_for_an_address_and_a_panel_act_reaches_both() -> None:
    async with asyncio.timeout(10), Simulation([SimBox("hall", "block-router", options=dict(SMALL))]) as simulation:
        host, port = simulation.addresses["hall"]
        own, mine = await asyncio.open_connection(host, port)
        again, also_mine = await asyncio.open_connection(host, port)
        other, theirs = await asyncio.open_connection(host, port, local_addr=("127.0.0.2", 0))
        for stream in (own, again, other):
            assert await stream.readuntil(b"END PRELUDE:\n\n") == SMALL_DUMP.encode()
        mine.write(b"VIDEO OUTPUT LOCKS:\n2 O\n\n")
        assert await own.readuntil(b"2 O\n\n") == b"ACK\n\nVIDEO OUTPUT LOCKS:\n2 O\n\n"
        assert await again.readuntil(b"\n\n") == b"VIDEO OUTPUT LOCKS:\n2 O\n\n"
        assert await other.readuntil(b"\n\n") == b"VIDEO OUTPUT LOCKS:\n2 L\n\n"
        theirs.write(b"VIDEO OUTPUT ROUTING:\n1 3\n2 3\n\n")
        assert await other.readuntil(b"1 3\n\n") == b"ACK\n\nVIDEO OUTPUT ROUTING:\n1 3\n\n"
        simulation.boxes["hall"].panel("route", {"output": 1, "input": 2})
        for stream in (own, other):
            assert (await stream.readuntil(b"0 1\n\n")).endswith(b"VIDEO OUTPUT ROUTING:\n0 1\n\n")
        for writer in (mine, also_mine, theirs):
            writer.close()


def test_a_router_may_begin_with_routes_of_its_own() -> None:
    router = build("hall", {"inputs": 4, "outputs": 3, "routes": [4, 1]}, random.Random(1), HouseClock())
    assert router.truth(0.0)["video_output_routing"] == [4, 1, 3]


@pytest.mark.parametrize("routes", [[5], [0], ["1"], [1, 1, 1, 1]])
def test_a_route_beyond_the_frame_is_refused_at_the_start(routes: list[object]) -> None:
    with pytest.raises(ValueError, match="routes"):
        build("hall", {"inputs": 4, "outputs": 3, "routes": routes}, random.Random(1), HouseClock())
