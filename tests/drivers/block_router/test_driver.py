"""Does the block router's driver say of a router what its blocks say, and ask for no more than was asked?"""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.driverkit.driver import Reply
from stagectl.model.board import Board
from stagectl.model.capabilities.mixer import Recall
from stagectl.model.capabilities.router import INPUT_NAME, OUTPUT_LOCK, OUTPUT_NAME, OUTPUT_SOURCE, PRESENT, Lock
from stagectl.model.conditions import Truth, judge
from stagectl.model.errors import ProtocolError, RefusedError
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Set
from stagectl_drivers.block_router import BOX, BlockRouterCodec, BlockRouterDriver
from stagectl_drivers.block_router.codec import Ack, Block, Change, Event, Nak, Noise, Ping, Query, Request
from tests.drivers.stepped_clock import SteppedClock
from tests.vectors.block_router import PRELUDE

ROUTING = "VIDEO OUTPUT ROUTING:"
LOCKS = "VIDEO OUTPUT LOCKS:"


class Desk:
    """A router of 4 inputs and 3 outputs behind a driver, without loop or socket."""

    def __init__(self, prelude: bytes = PRELUDE) -> None:
        self.clock = SteppedClock()
        self.board = Board(self.clock)
        self.writer = self.board.writer("hall")
        self.driver = BlockRouterDriver()
        self.codec = BlockRouterCodec()
        self.wire(prelude)

    def hear(self, event: Event, awaiting: Request | None = None) -> Reply[Request] | None:
        self.writer.asked_at = self.writer.read_at = self.clock.now()
        return self.driver.hear(event, self.writer, awaiting)

    def wire(self, data: bytes, awaiting: Request | None = None) -> list[Reply[Request]]:
        replies = [self.hear(event, awaiting) for event in self.codec.feed(data)]
        return [reply for reply in replies if reply is not None]

    def value(self, name: str) -> Any:
        return self.board.points("hall")[name].value

    def quality(self, name: str) -> Quality:
        return self.board.points("hall")[name].quality


@pytest.fixture
def desk() -> Desk:
    return Desk()


PRELUDE_POINTS = [
    ("present", True),
    ("inputs", 4),
    ("outputs", 3),
    ("identity.model", "Demo 4x3"),
    ("identity.serial", "7c2e0d021714"),
    ("identity.version", "2.3"),
    ("input.1.name", "Stage left"),
    ("input.4.name", "Wide"),
    ("output.1.name", "Rec 1"),
    ("output.3.name", ""),
    ("output.1.lock", Lock.FREE),
    ("output.2.lock", Lock.OURS),
    ("output.3.lock", Lock.THEIRS),
    ("output.1.source", 1),
    ("output.2.source", 2),
    ("output.3.source", 4),
]


@pytest.mark.parametrize(("name", "value"), PRELUDE_POINTS)
def test_the_prelude_fills_the_board(desk: Desk, name: str, value: object) -> None:
    assert desk.value(name) == value
    assert desk.quality(name) is Quality.GOOD


def test_every_point_of_the_prelude_belongs_to_the_kind(desk: Desk) -> None:
    for name in desk.board.points("hall"):
        assert BOX.capability.point(name) is not None
    assert len(desk.board.points("hall")) == 6 + 4 + 3 * 3


def test_the_prelude_answers_nothing() -> None:
    desk = Desk(b"")
    assert desk.wire(PRELUDE, awaiting=Query(ROUTING)) == []


@pytest.mark.parametrize(("word", "present"), [("true", True), ("false", False), ("needs_update", False)])
def test_a_router_that_is_not_usable_says_so_and_keeps_its_words(desk: Desk, word: str, present: bool) -> None:
    desk.wire(f"ROUTER DEVICE:\nDevice present: {word}\n\n".encode())
    assert desk.value("present") is present
    assert desk.board.points("hall")["present"].raw == word
    doubt = BOX.capability.doubts[0]
    assert judge(desk.board, doubt.when, "hall") is (Truth.NO if present else Truth.YES)


def test_words_the_tables_lack_are_unknown_and_keep_their_text(desk: Desk) -> None:
    desk.wire(b"ROUTER DEVICE:\nDevice present: perhaps\nVideo inputs: many\nVideo outputs: 99999\n\n")
    desk.wire(b"VIDEO OUTPUT LOCKS:\n0 X\n\nVIDEO OUTPUT ROUTING:\n0 -1\n\n")
    points = desk.board.points("hall")
    for name, raw in [
        ("present", "perhaps"),
        ("inputs", "many"),
        ("outputs", "99999"),
        ("output.1.lock", "X"),
        ("output.1.source", "-1"),
    ]:
        assert (points[name].value, points[name].quality, points[name].raw) == (None, Quality.UNKNOWN, raw)
    assert len(points) == 6 + 4 + 3 * 3


def test_rows_of_ports_the_router_does_not_have_are_passed_over(desk: Desk) -> None:
    desk.wire(b"VIDEO OUTPUT ROUTING:\n3 0\n2 1\n\nINPUT LABELS:\n4 Ghost\n\n")
    assert desk.value("output.3.source") == 2
    assert "output.4.source" not in desk.board.points("hall")
    assert "input.5.name" not in desk.board.points("hall")


def test_unknown_blocks_and_lines_change_nothing(desk: Desk) -> None:
    rev = desk.board.rev
    desk.wire(
        b"hello\nQUANTUM PORTS:\n0 1\n\nMONITORING OUTPUT LABELS:\n0 Booth\n\nVIDEO OUTPUT ROUTING:\nnonsense\n\n"
    )
    desk.wire(b"ROUTER DEVICE:\nFavourite colour: blue\nno colon\n\nPROTOCOL PREAMBLE:\nEncoding: text\n\n")
    desk.wire(b"VIDEO MONITORING OUTPUT ROUTING:\n0 2\n\nSERIAL PORT LOCKS:\n0 L\n\nEND PRELUDE:\n\n")
    assert desk.board.rev == rev
    assert desk.hear(Noise("x"), Ping()) is None


def test_connecting_reads_every_block_and_writes_nothing() -> None:
    driver = BlockRouterDriver()
    asked = driver.look(None)
    assert asked == [Query("INPUT LABELS:"), Query("OUTPUT LABELS:"), Query(LOCKS), Query(ROUTING)]
    assert all(driver.reads(one) for one in asked)


def test_the_device_block_is_asked_for_by_the_header_the_router_used(desk: Desk) -> None:
    assert desk.driver.look(None)[0] == Query("ROUTER DEVICE:")
    desk.wire(b"Matrixbox DEVICE:\nDevice present: true\n\n")
    assert desk.driver.look([PRESENT.name]) == [Query("Matrixbox DEVICE:")]


LOOKS = [
    (["output.1.source", "output.3.source"], [Query(ROUTING)]),
    (["output.2.lock", "output.1.source"], [Query(LOCKS), Query(ROUTING)]),
    (["input.4.name"], [Query("INPUT LABELS:")]),
    (["output.1.name"], [Query("OUTPUT LABELS:")]),
    (["present", "inputs", "identity.model"], [Query("ROUTER DEVICE:")]),
    ([], []),
]


@pytest.mark.parametrize(("names", "asked"), LOOKS)
def test_a_look_asks_each_block_once(desk: Desk, names: list[str], asked: list[Request]) -> None:
    assert desk.driver.look(names) == asked


def test_a_router_without_a_device_block_is_pinged_instead() -> None:
    assert BlockRouterDriver().look(["present"]) == [Ping()]


def test_an_old_router_without_a_prelude_end_is_read_by_our_questions() -> None:
    desk = Desk(PRELUDE.split(b"INPUT LABELS:")[0])  # it falls silent behind its device block
    assert desk.quality("output.1.source") is Quality.UNKNOWN
    replies = [
        *desk.wire(b"ACK\n\nINPUT LABELS:\n0 A\n1 B\n2 C\n3 D\n\n", Query("INPUT LABELS:")),
        *desk.wire(b"ACK\n\nOUTPUT LABELS:\n0 X\n1 Y\n2 Z\n\n", Query("OUTPUT LABELS:")),
        *desk.wire(b"ACK\n\nVIDEO OUTPUT LOCKS:\n0 U\n1 U\n2 U\n\n", Query(LOCKS)),
        *desk.wire(b"ACK\n\nVIDEO OUTPUT ROUTING:\n0 3\n1 3\n2 3\n\n", Query(ROUTING)),
    ]
    assert replies == [Reply()] * 4
    assert all(one.quality is Quality.GOOD for one in desk.board.points("hall").values())


def test_a_prelude_that_breaks_off_is_completed_by_our_questions() -> None:
    desk = Desk(PRELUDE.split(b"1 1\n")[0])  # inside the routing, without an empty line
    assert desk.wire(b"ACK\n\nVIDEO OUTPUT ROUTING:\n0 0\n1 1\n2 3\n\n", Query(ROUTING)) == [Reply()]
    assert desk.value("output.3.source") == 4


def test_a_read_is_answered_by_the_block_behind_its_ack(desk: Desk) -> None:
    read = Query(ROUTING)
    assert desk.wire(b"VIDEO OUTPUT ROUTING:\n0 1\n\n", read) == []  # a panel acts in between
    assert desk.wire(b"ACK\n\n", read) == []
    assert desk.wire(b"VIDEO OUTPUT LOCKS:\n0 L\n\n", read) == []  # another block is a notice
    assert desk.wire(b"VIDEO OUTPUT ROUTING:\n0 2\n1 1\n2 3\n\n", read) == [Reply()]
    assert desk.value("output.1.source") == 3
    assert desk.wire(b"VIDEO OUTPUT ROUTING:\n0 1\n\n", read) == []  # the next read waits for its own ACK


def test_a_refused_read_is_answered_at_once_and_leaves_nothing_behind(desk: Desk) -> None:
    (reply,) = desk.wire(b"NAK\n\n", Query(LOCKS))
    assert "VIDEO OUTPUT LOCKS:" in reply.no
    assert desk.wire(b"VIDEO OUTPUT LOCKS:\n0 L\n\n", Query(LOCKS)) == []


def test_a_block_answers_only_the_read_that_was_acked(desk: Desk) -> None:
    desk.wire(b"ACK\n\n", Query(ROUTING))
    assert desk.wire(b"VIDEO OUTPUT ROUTING:\n0 1\n\n", Change(ROUTING, ((1, 2),))) == []
    assert desk.wire(b"VIDEO OUTPUT ROUTING:\n0 1\n\n") == []


EARLY_ANSWERS = [
    # what comes behind a read that a write was sent after, replies by who waits; own construction
    ("in order", b"ACK\n\nVIDEO OUTPUT ROUTING:\n0 0\n\nACK\n\nVIDEO OUTPUT ROUTING:\n0 3\n\n"),
    ("both ACKs first", b"ACK\n\nACK\n\nVIDEO OUTPUT ROUTING:\n0 0\n\nVIDEO OUTPUT ROUTING:\n0 3\n\n"),
    ("a NAK first", b"ACK\n\nNAK\n\nVIDEO OUTPUT ROUTING:\n0 0\n\nVIDEO OUTPUT LABELS:\n0 3\n\n"),
    ("a line no one knows", b"ACK\n\nACK\n\nVIDEO OUTPUT ROUTING:\n0 0\n\nhello\n"),
]


@pytest.mark.parametrize(("story", "wire"), EARLY_ANSWERS)
def test_a_write_behind_a_read_gets_its_own_answer(desk: Desk, story: str, wire: bytes) -> None:
    opened: list[Request] = [Query(ROUTING), Change(ROUTING, ((1, 4),))]
    replies = []
    for event in desk.codec.feed(wire):
        reply = desk.hear(event, opened[0] if opened else None)
        if reply is not None:
            replies.append(reply)
            opened.pop(0)
    assert [bool(reply.no) for reply in replies] == [False, story == "a NAK first"]


def test_reads_and_pings_behind_a_read_are_paired_when_their_acks_hurry(desk: Desk) -> None:
    opened: list[Request] = [Query(ROUTING), Query(LOCKS), Ping(), Query("INPUT LABELS:"), Ping()]
    wire = b"ACK\n\n" * 3 + b"VIDEO OUTPUT ROUTING:\n0 1\n\nVIDEO OUTPUT LOCKS:\n0 L\n\n"
    wire += b"ACK\n\nACK\n\nINPUT LABELS:\n0 x\n\nnoise\n"
    told = [
        (opened.pop(0), type(event))
        for event in desk.codec.feed(wire)
        if desk.hear(event, opened[0] if opened else None) is not None
    ]
    assert told == [
        (Query(ROUTING), Block),
        (Query(LOCKS), Block),
        (Ping(), Ack),
        (Query("INPUT LABELS:"), Block),
        (Ping(), Noise),
    ]


def test_an_ack_answers_a_write_and_sets_no_point(desk: Desk) -> None:
    (write,) = desk.driver.ask([Set(OUTPUT_SOURCE.at(1), 3)])
    assert desk.wire(b"ACK\n\n", write) == [Reply()]
    assert desk.value("output.1.source") == 1
    desk.wire(b"VIDEO OUTPUT ROUTING:\n0 2\n\n")
    assert desk.value("output.1.source") == 3


def test_a_locked_output_stays_although_the_router_says_ack(desk: Desk) -> None:
    salvo = [Set(OUTPUT_SOURCE.at(1), 4), Set(OUTPUT_SOURCE.at(3), 1)]
    (write,) = desk.driver.ask(salvo)
    sent_at = desk.clock.now()
    assert desk.wire(b"ACK\n\nVIDEO OUTPUT ROUTING:\n0 3\n2 3\n\n", write) == [Reply()]
    assert judge(desk.board, salvo[0].effect(), "hall", since=sent_at) is Truth.YES
    assert judge(desk.board, salvo[1].effect(), "hall", since=sent_at) is Truth.NO


def test_a_nak_is_the_routers_no_with_a_sentence(desk: Desk) -> None:
    (reply,) = desk.wire(b"NAK\n\n", Change(ROUTING, ((1, 2),)))
    assert reply.no == "the router refused the routes (NAK). Look whether it is locked at its front."


def test_answers_nobody_waits_for_are_let_pass(desk: Desk) -> None:
    assert desk.hear(Ack()) is None
    assert desk.hear(Nak()) is None


def test_a_ping_is_answered_by_either_word(desk: Desk) -> None:
    assert desk.driver.beat(0) == [Ping()]
    assert desk.hear(Ack(), Ping()) == Reply()
    assert desk.hear(Nak(), Ping()) == Reply()  # a router too old to know it


def test_a_salvo_is_one_block_and_each_kind_has_its_own(desk: Desk) -> None:
    asked = desk.driver.ask(
        [
            Set(OUTPUT_SOURCE.at(1), 4),
            Set(INPUT_NAME.at(2), "Hands"),
            Set(OUTPUT_SOURCE.at(2), 4),
            Set(OUTPUT_LOCK.at(1), Lock.OURS),
            Set(OUTPUT_LOCK.at(2), Lock.FREE),
            Set(OUTPUT_NAME.at(3), "Bench"),
            Set(OUTPUT_SOURCE.at(3), 1),
        ]
    )
    assert asked == [
        Change(ROUTING, ((1, 4), (2, 4), (3, 1))),
        Change("INPUT LABELS:", ((2, "Hands"),)),
        Change(LOCKS, ((1, "O"), (2, "U"))),
        Change("OUTPUT LABELS:", ((3, "Bench"),)),
    ]
    assert not any(desk.driver.reads(one) for one in asked)
    assert desk.codec.encode(asked[0]) == b"VIDEO OUTPUT ROUTING:\n0 3\n1 3\n2 0\n\n"


REFUSED: list[tuple[PointSpec[Any], object, str]] = [
    (OUTPUT_SOURCE.at(4), 1, "The router has no output 4: its outputs go from 1 to 3."),
    (OUTPUT_SOURCE.at(0), 1, "The router has no output 0: its outputs go from 1 to 3."),
    (OUTPUT_SOURCE.at("²"), 1, "The router has no output ²: its outputs go from 1 to 3."),
    (OUTPUT_SOURCE.at(1), 5, "The router has no input 5: its inputs go from 1 to 4."),
    (OUTPUT_SOURCE.at(1), 0, "output 1 source can't be 0: it goes from 1 to any."),
    (INPUT_NAME.at(5), "x", "The router has no input 5: its inputs go from 1 to 4."),
    (INPUT_NAME.at(1), "x\n0 y", "input 1 name can't hold control characters or line ends."),
    (OUTPUT_LOCK.at(1), Lock.THEIRS, "output 1 lock can be free or ours; nobody locks for another."),
    (OUTPUT_LOCK.at(3), Lock.FREE, "output 3 is locked by somebody else, and a lock belongs to who took it."),
    (OUTPUT_LOCK.at(3), Lock.OURS, "output 3 is locked by somebody else, and a lock belongs to who took it."),
    (PRESENT, True, "A router has no present to set."),
]


@pytest.mark.parametrize(("point", "value", "why"), REFUSED)
def test_what_this_router_can_not_do_is_refused_with_a_sentence(
    desk: Desk, point: PointSpec[Any], value: object, why: str
) -> None:
    with pytest.raises(RefusedError) as refused:
        desk.driver.ask([Set(point, value)])
    assert str(refused.value) == why


def test_a_verb_of_another_kind_is_refused(desk: Desk) -> None:
    with pytest.raises(RefusedError, match="A router can't recall"):
        desk.driver.ask([Recall("A 3")])


def test_nothing_is_sent_before_the_router_said_how_large_it_is() -> None:
    with pytest.raises(RefusedError, match="has not said yet how many outputs"):
        Desk(b"").driver.ask([Set(OUTPUT_SOURCE.at(1), 1)])


def test_a_lock_released_by_its_holder_can_be_taken(desk: Desk) -> None:
    desk.wire(b"VIDEO OUTPUT LOCKS:\n2 U\n\n")
    assert desk.driver.ask([Set(OUTPUT_LOCK.at(3), Lock.OURS)]) == [Change(LOCKS, ((3, "O"),))]


def test_rows_that_came_before_the_counts_are_asked_for_again() -> None:
    desk = Desk(b"VIDEO OUTPUT ROUTING:\n0 1\n\n")
    assert desk.hear(Ack(), Ping()) == Reply()  # still no counts: nothing could be kept
    desk.wire(PRELUDE.split(b"INPUT LABELS:")[0])
    assert desk.hear(Ack(), Ping()) == Reply(then=list(BlockRouterDriver().look(None)))
    assert desk.hear(Ack(), Ping()) == Reply()


def test_a_router_that_comes_back_or_grows_is_read_again(desk: Desk) -> None:
    assert desk.hear(Ack(), Ping()) == Reply()
    desk.wire(b"ROUTER DEVICE:\nDevice present: false\n\n")
    assert desk.hear(Ack(), Ping()) == Reply()
    desk.wire(b"ROUTER DEVICE:\nDevice present: true\n\n")
    assert desk.hear(Ack(), Ping()) == Reply(then=list(BlockRouterDriver().look(None)))
    desk.wire(b"ROUTER DEVICE:\nDevice present: true\nVideo inputs: 4\nVideo outputs: 5\n\n")
    assert "output.5.lock" in desk.board.points("hall")
    assert desk.hear(Ack(), Ping()) == Reply(then=list(BlockRouterDriver().look(None)))
    assert desk.hear(Ack(), Ping()) == Reply()


def test_a_front_panel_act_is_a_change_of_the_point(desk: Desk) -> None:
    before = desk.board.points("hall")["output.2.source"].changes
    desk.wire(b"VIDEO OUTPUT ROUTING:\n1 3\n\n")
    assert desk.value("output.2.source") == 4
    assert desk.board.points("hall")["output.2.source"].changes == before + 1


AWAITED: list[Request | None] = [None, Ping(), Query(ROUTING), Query("ROUTER DEVICE:"), Change(ROUTING, ((1, 1),))]
HEADERS = ["ROUTER DEVICE:", "INPUT LABELS:", "OUTPUT LABELS:", LOCKS, ROUTING, "PROTOCOL PREAMBLE:", "X:"]
LINES = st.sampled_from(
    ["0 U", "1 3", "9 9", "2 -1", "Device present: false", "Video inputs: 7", "Video outputs: x", "Version: 9", ":"]
)
BLOCKS = st.builds(
    lambda header, lines: "\n".join([header, *lines, "", ""]).encode(), st.sampled_from(HEADERS), st.lists(LINES)
)


@given(
    st.lists(st.tuples(BLOCKS | st.binary(max_size=60) | st.just(b"ACK\n\n"), st.sampled_from(AWAITED)), max_size=12)
)
def test_no_stream_raises_anything_but_a_protocol_error(said: list[tuple[bytes, Request | None]]) -> None:
    desk = Desk()
    for data, awaiting in said:
        try:
            desk.wire(data, awaiting)
        except ProtocolError:
            return
    assert len(desk.board.points("hall")) <= 6 + 7 + 3 * 3


def test_the_entry_point_builds_a_fresh_conversation() -> None:
    assert (BOX.name, BOX.port) == ("block-router", 9990)
    assert BOX.make({}) is not BOX.make({})
    assert BOX.codec({}).feed(b"ACK\n") == [Ack()]
    assert BOX.make({}).hear(Block("X:"), Board(SteppedClock()).writer("hall"), None) is None
