"""Does each wire word reach its point, each verb its request, and no reply the wrong question?"""

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import pytest

from stagectl.driverkit.driver import Reply
from stagectl.model.board import Board
from stagectl.model.capabilities.mixer import Recall
from stagectl.model.capabilities.recorder import (
    CHANNELS,
    CODEC,
    CONTAINER,
    INPUT_SOURCE,
    REFERENCE,
    REMOTE,
    SLOT_ACTIVE,
    TIMECODE_SOURCE,
    Cue,
    Cut,
    Format,
    Identify,
    Play,
    Roll,
    Shuttle,
    Spill,
    Stop,
)
from stagectl.model.errors import ProtocolError, RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Set, Verb
from stagectl.model.world import Handle
from stagectl_drivers.text_deck import BOX, TextDeckCodec, TextDeckDriver
from stagectl_drivers.text_deck.codec import Request
from stagectl_drivers.text_deck.driver import CLIP_PAGE, MAX_SLOTS
from stagectl_drivers.text_deck.words import FAILURES as FAILURE_WORDS
from stagectl_drivers.text_deck.words import NAME_LENGTH, clip_name, clip_row
from tests.vectors.text_deck import CLIP_LINES, FAILURES, POINTS, UNKNOWN_POINTS

TRANSPORT = Request("transport info")
COUNT = Request("clips count")


class FixedClock:
    """Time that a test moves."""

    def __init__(self) -> None:
        self.time = 0.0

    def now(self) -> float:
        self.time += 0.001
        return self.time

    def wall(self) -> datetime:
        return datetime(2027, 3, 12, tzinfo=UTC)

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        raise AssertionError("a driver sets no timer")


class Conversation:
    """A driver, its codec and the board it writes on; no kit."""

    def __init__(self, options: Mapping[str, str] | None = None) -> None:
        self.board = Board(FixedClock())
        self.writer = self.board.writer("iso-1")
        self.codec = TextDeckCodec()
        self.driver = TextDeckDriver(options or {})

    def hear(self, wire: bytes, awaiting: Request | None = None) -> Reply[Request] | None:
        """What the last event of `wire` answered."""
        reply = None
        for event in self.codec.feed(wire):
            now = self.board.clock.now()
            self.writer.gather()
            reply = self.driver.hear(event, self.writer, awaiting)
            self.writer.commit(now, now)
        return reply

    def known(self) -> dict[str, Any]:
        return {name: slot.value for name, slot in self.board.points("iso-1").items() if slot.quality is Quality.GOOD}

    def wire(self, *verbs: Verb) -> list[bytes]:
        return [self.codec.encode(request) for request in self.driver.ask(verbs)]

    def looked(self, *names: str) -> Sequence[Request]:
        requests = self.driver.look(names)
        assert all(map(self.driver.reads, requests))
        return requests


@pytest.fixture
def deck() -> Conversation:
    return Conversation()


# -- points -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("wire", "asked", "points"), [row[:3] for row in POINTS])
def test_each_wire_word_reaches_its_point_and_no_other(
    deck: Conversation, wire: bytes, asked: Request | None, points: dict[str, Any]
) -> None:
    reply = deck.hear(wire, asked)
    assert deck.known() == points
    assert (reply is None) == (asked is None)


@pytest.mark.parametrize(("wire", "asked", "name", "raw"), UNKNOWN_POINTS)
def test_a_word_nobody_knows_makes_its_point_unknown_and_is_kept(
    deck: Conversation, wire: bytes, asked: Request | None, name: str, raw: str
) -> None:
    deck.hear(wire, asked)
    found = deck.board.find("iso-1", name)
    assert found is not None
    assert (found.quality, found.value, found.raw) == (Quality.UNKNOWN, None, raw)


def test_a_known_status_becomes_unknown_when_firmware_invents_a_word(deck: Conversation) -> None:
    deck.hear(b"508 transport info:\nstatus: record\n\n508 transport info:\nstatus: warp\n\n")
    assert "transport" not in deck.known()


def test_a_partial_notice_keeps_what_it_does_not_name(deck: Conversation) -> None:
    deck.hear(b"208 transport info:\nstatus: record\nspeed: 100\nslot id: 1\nclip id: 4\n\n", TRANSPORT)
    deck.hear(b"508 transport info:\nspeed: 0\n\n")
    assert deck.known() == {"transport": "recording", "speed": 0.0, "slot.active": 1, "clip.at": 4}
    deck.hear(b"202 slot info:\nslot id: 2\nstatus: mounted\nrecording time: 60\n\n", Request("slot info"))
    deck.hear(b"502 slot info:\nslot id: 2\nrecording time: 59\n\n")
    assert deck.known()["slot.2.state"] == "ready"
    assert deck.known()["slot.2.left"] == 59


def test_a_deck_with_a_display_timecode_is_never_mixed_with_its_other_timecode(deck: Conversation) -> None:
    # two sources in turn would look like a timecode that runs
    deck.hear(b"508 transport info:\ndisplay timecode: 10:00:00:00\n\n")
    deck.hear(b"508 transport info:\ntimecode: 00:00:05:00\n\n")
    assert deck.known() == {"timecode": "10:00:00:00"}
    deck.hear(b"508 transport info:\ntimecode: 00:00:05:00\ndisplay timecode: --:--:--:--\n\n")
    assert deck.known() == {}


def test_a_taken_out_medium_takes_its_name_and_its_room_with_it(deck: Conversation) -> None:
    deck.hear(b"502 slot info:\nslot id: 1\nstatus: mounted\nvolume name: A\nrecording time: 9\nremaining size: 5\n\n")
    deck.hear(b"502 slot info:\nslot id: 1\nstatus: empty\n\n")
    assert deck.known() == {"slot.1.state": "empty"}


def test_slots_are_points_once_the_deck_has_counted_them(deck: Conversation) -> None:
    reply = deck.hear(b"204 device info:\nmodel: M\nslot count: 2\n\n", Request("device info"))
    assert reply is not None
    assert reply.then == (Request("slot info", (("slot id", "1"),)), Request("slot info", (("slot id", "2"),)))
    assert [name for name in deck.board.points("iso-1") if name.startswith("slot.")] == [
        *("slot.active", "slot.1.state", "slot.1.name", "slot.1.left"),
        *("slot.2.state", "slot.2.name", "slot.2.left"),
    ]


@pytest.mark.parametrize("wire", [b"204 device info:\nmodel: M\n\n", b"103 unsupported\n"])
def test_a_deck_that_does_not_count_its_slots_is_asked_for_the_one_in_use(deck: Conversation, wire: bytes) -> None:
    reply = deck.hear(wire, Request("device info"))
    assert reply is not None
    assert reply.then == (Request("slot info"),)


def test_a_deck_out_of_its_mind_gets_no_thousand_slots(deck: Conversation) -> None:
    reply = deck.hear(b"204 device info:\nslot count: 1000000\n\n", Request("device info"))
    assert reply is not None
    assert len(reply.then) == MAX_SLOTS
    before = len(deck.board.points("iso-1"))
    for slot in range(MAX_SLOTS + 1, 1000):
        deck.hear(b"502 slot info:\nslot id: %d\nstatus: mounted\n\n" % slot)
    deck.hear(b"502 slot info:\nstatus: mounted\n\n502 slot info:\nslot id: none\n\n")
    assert len(deck.board.points("iso-1")) == before


def test_channels_and_free_bytes_are_points_only_where_the_deck_knows_them(deck: Conversation) -> None:
    deck.hear(b"511 configuration:\nvideo input: SDI\n\n502 slot info:\nslot id: 1\nstatus: mounted\n\n")
    assert not {"record.channels", "record.container", "slot.1.free"} & set(deck.board.points("iso-1"))
    deck.hear(b"511 configuration:\naudio input channels: 4\n\n502 slot info:\nslot id: 1\nremaining size: 7\n\n")
    assert deck.known()["record.channels"] == 4
    assert deck.known()["slot.1.free"] == 7


def test_the_identifying_light_is_blind(deck: Conversation) -> None:
    deck.hear(b"hello\n")
    found = deck.board.find("iso-1", "identifying")
    assert found is not None
    assert found.blind
    assert [slot.name for slot in deck.writer.declared() if slot.blind] == ["identifying"]


# -- replies ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "asked",
    [Request("record"), Request("stop"), Request("play"), Request("slot select", (("slot id", "2"),))],
    ids=lambda asked: asked.command,
)
def test_an_ok_answers_and_claims_nothing(deck: Conversation, asked: Request) -> None:
    assert deck.hear(b"200 ok\r\n", asked) == Reply()
    assert deck.known() == {}


def test_the_notice_may_come_before_its_ok_or_behind(deck: Conversation) -> None:
    notice, roll = b"508 transport info:\nstatus: record\n\n", Request("record")
    other = Conversation()
    assert deck.hear(notice, roll) is None
    assert deck.hear(b"200 ok\n", roll) == Reply()
    assert other.hear(b"200 ok\n", roll) == Reply()
    assert other.hear(notice) is None
    assert deck.known() == other.known() == {"transport": "recording"}


@pytest.mark.parametrize("code", [500, 502, 508, 510, 511, 512, 513, 599])
def test_a_notice_never_answers(deck: Conversation, code: int) -> None:
    for text in (b"new thing", b"transport info:\nstatus: play\n", b"dropped frames"):
        assert deck.hear(b"%d %s\n" % (code, text), TRANSPORT) is None


def test_noise_and_codes_of_no_class_answer_nothing_and_say_nothing(deck: Conversation) -> None:
    assert deck.hear(b"hello\n301 elsewhere\n999 status: play\n", TRANSPORT) is None
    assert deck.known() == {}


def test_a_yes_that_firmware_added_is_an_answer(deck: Conversation) -> None:
    assert deck.hear(b"222 new thing:\nstatus: play\n\n", TRANSPORT) == Reply()
    assert deck.known() == {}


ANSWERED = {
    Request("ping"): 200,
    Request("slot info"): 202,
    Request("slot info", (("slot id", "1"),)): 202,
    Request("device info"): 204,
    Request("clips get", (("clip id", "1"), ("count", "1"))): 205,
    Request("disk list"): 206,
    Request("transport info"): 208,
    Request("notify"): 209,
    Request("notify", (("transport", "true"),)): 200,
    Request("remote"): 210,
    Request("remote", (("enable", "true"),)): 200,
    Request("configuration"): 211,
    Request("configuration", (("video input", "SDI"),)): 200,
    Request("clips count"): 214,
    Request("uptime"): 215,
    Request("format", (("prepare", "exFAT"),)): 216,
    Request("format", (("confirm", "A1"),)): 200,
    Request("record"): 200,
    Request("record spill"): 200,
    Request("identify", (("enable", "true"),)): 200,
}


@pytest.mark.parametrize(("asked", "code"), ANSWERED.items())
def test_an_answer_to_another_question_ends_the_conversation(asked: Request, code: int) -> None:
    for other in (200, 202, 204, 205, 206, 208, 209, 210, 211, 214, 215, 216):
        deck = Conversation()
        wire = b"%d some words:\nstatus: record\nenabled: true\n\n" % other
        if other == code:
            assert deck.hear(wire, asked) is not None
        else:
            with pytest.raises(ProtocolError, match=rf'answered "some words" \({other}\) to "{asked.command}"'):
                deck.hear(wire, asked)
            assert deck.known() == {}


@pytest.mark.parametrize("wire", [b"200 ok\n", b"208 transport info:\nstatus: play\n\n", b"100 syntax error\n"])
def test_an_answer_that_nobody_asked_for_ends_the_conversation(deck: Conversation, wire: bytes) -> None:
    with pytest.raises(ProtocolError, match="nothing was asked"):
        deck.hear(wire)
    assert deck.known() == {}


@pytest.mark.parametrize("asked", [None, TRANSPORT])
def test_a_deck_that_serves_another_controller_says_so(deck: Conversation, asked: Request | None) -> None:
    with pytest.raises(ProtocolError, match=r"another controller .* \(120\)\. Release it there\."):
        deck.hear(b"120 connection rejected\r\n", asked)


@pytest.mark.parametrize(("code", "text", "tells"), FAILURES)
def test_each_refusal_is_a_sentence_with_its_remedy(deck: Conversation, code: int, text: str, tells: str) -> None:
    reply = deck.hear(f"{code} {text}\r\n".encode(), Request("record"))
    assert reply is not None
    assert tells in reply.no
    assert f"({code})" in reply.no
    assert reply.no.count(". ") == 1
    assert reply.no.endswith(".")


def test_every_refusal_in_the_table_has_its_row_and_a_sentence_of_its_own() -> None:
    assert {code for code, _, _ in FAILURES} == {*FAILURE_WORDS, 199}
    assert len({says for says, _ in FAILURE_WORDS.values()}) == len(FAILURE_WORDS)


# -- looking ----------------------------------------------------------------------------------------------------------


def test_the_first_look_subscribes_before_it_reads_and_only_reads(deck: Conversation) -> None:
    requests = deck.driver.look(None)
    assert [deck.codec.encode(request) for request in requests] == [
        b"device info\r\n",
        b"notify:\r\ntransport: true\r\nslot: true\r\nremote: true\r\nconfiguration: true\r\n\r\n",
        b"notify:\r\ndropped frames: true\r\n\r\n",
        b"remote\r\n",
        b"configuration\r\n",
        b"transport info\r\n",
        b"clips count\r\n",
    ]
    assert all(map(deck.driver.reads, requests))


@pytest.mark.parametrize(
    ("names", "commands"),
    [
        (("transport", "timecode", "speed"), [TRANSPORT]),
        (("slot.active", "clip.at", "input.format", "input.present"), [TRANSPORT]),
        (("remote",), [Request("remote")]),
        (("input.source", "timecode.source", "record.codec", "record.channels"), [Request("configuration")]),
        (("slot.2.left", "slot.2.free", "slot.2.state"), [Request("slot info", (("slot id", "2"),))]),
        (("clip.name", "clip.start", "clip.count"), [COUNT]),
        (("identity.model", "identity.serial", "identity.version"), [Request("device info")]),
        (("transport", "clip.count"), [COUNT, TRANSPORT]),
        (("clips",), [COUNT, Request("clips get", (("clip id", "1"), ("count", "100")))]),
        (("identifying", "format.token", "dropped", "link.up", "no.such.point"), []),
    ],
)
def test_a_look_asks_no_more_than_it_needs(deck: Conversation, names: tuple[str, ...], commands: list[Request]) -> None:
    assert list(deck.looked(*names)) == commands


def test_every_point_but_the_unreadable_has_a_look(deck: Conversation) -> None:
    deck.hear(b"511 configuration:\naudio input channels: 4\n\n502 slot info:\nslot id: 1\nremaining size: 7\n\n")
    assert [name for name in deck.board.points("iso-1") if not deck.looked(name)] == [
        *("dropped", "format.token", "identifying")
    ]


def test_polled_points_exist_in_the_kind_of_box() -> None:
    for look in TextDeckDriver.looks:
        for name in look.names:
            assert name in BOX.capability.names()


READING = [
    *(Request(one) for one in ("ping", "device info", "uptime", "remote", "notify", "configuration", "transport info")),
    *(Request(one) for one in ("slot info", "clips count", "clips get", "disk list")),
    Request("slot info", (("slot id", "1"),)),
    Request("clips get", (("clip id", "1"), ("count", "2"), ("version", "2"))),
    Request("disk list", (("slot id", "1"),)),
    Request("notify", (("transport", "true"), ("display timecode", "false"))),
]
CHANGING = [
    *(Request(one) for one in ("record", "record spill", "stop", "play", "quit", "format", "no such command", "")),
    Request("remote", (("enable", "true"),)),
    Request("remote", (("override", "true"),)),
    Request("configuration", (("video input", "SDI"),)),
    Request("slot select", (("slot id", "2"),)),
    Request("slot info", (("slot id", "1"), ("blocked", "true"))),
    Request("watchdog", (("period", "5"),)),
    Request("identify", (("enable", "true"),)),
    Request("goto", (("clip id", "1"),)),
    Request("jog", (("timecode", "00:00:00:01"),)),
    Request("shuttle", (("speed", "100"),)),
    Request("format", (("prepare", "exFAT"),)),
    Request("ping", (("x", "y"),)),
    Request("notify", (("transport", "perhaps"),)),
]


@pytest.mark.parametrize("request_", READING)
def test_reading_is_declared(deck: Conversation, request_: Request) -> None:
    assert deck.driver.reads(request_)


@pytest.mark.parametrize("request_", CHANGING)
def test_changing_is_never_declared_as_reading(deck: Conversation, request_: Request) -> None:
    assert not deck.driver.reads(request_)


def test_nothing_is_sent_to_keep_the_line_alive(deck: Conversation) -> None:
    assert deck.driver.beat_s == 0
    assert deck.driver.beat(1.0) == ()


# -- clips ------------------------------------------------------------------------------------------------------------


def clips(first: int, last: int) -> bytes:
    lines = "".join(f"{one}: Take {one} 10:00:00:00 00:00:10:00\r\n" for one in range(first, last + 1))
    return f"205 clips info:\r\nclip count: {last - first + 1}\r\n{lines}\r\n".encode()


@pytest.mark.parametrize(("line", "name", "start", "duration"), [row[:4] for row in CLIP_LINES])
def test_a_line_of_the_list_is_read_in_either_version(line: str, name: str, start: str, duration: str) -> None:
    assert clip_row("3", line) == {"index": 3, "name": name, "start": start, "duration": duration}


def test_the_real_name_of_the_last_clip_follows_from_the_count(deck: Conversation) -> None:
    counted = deck.hear(b"214 clips count:\nclip count: 12\n\n", COUNT)
    assert counted is not None
    (last,) = counted.then
    assert last == Request("clips get", (("clip id", "12"), ("count", "1")))
    assert deck.driver.reads(last)
    assert deck.hear(clips(12, 12), last) == Reply()
    assert deck.known() == {
        "clip.count": 12,
        "clip.name": "Take 12",
        "clip.start": "10:00:00:00",
        "clip.length": "00:00:10:00",
    }


def test_a_long_list_is_read_by_pages(deck: Conversation) -> None:
    deck.hear(b"208 transport info:\nslot id: 2\n\n", TRANSPORT)
    deck.hear(b"214 clips count:\nclip count: 250\n\n", COUNT)
    page, rows = deck.looked("clips")[1], list[Mapping[str, Any]]()
    then: Sequence[Request] = (page,)
    for first in (1, 101, 201):
        assert page == Request("clips get", (("clip id", str(first)), ("count", str(CLIP_PAGE))))
        reply = deck.hear(clips(first, min(first + 99, 250)), page)
        assert reply is not None
        rows += reply.rows
        assert ("clip.name" in deck.known()) == (first == 201)  # the last of a page is not the last of all
        then = reply.then
        page = then[0] if then else page
    assert not then
    assert [row["index"] for row in rows] == [*range(1, 251)]
    assert rows[0] == {"index": 1, "name": "Take 1", "start": "10:00:00:00", "duration": "00:00:10:00", "slot": 2}


def test_a_list_that_shrank_meanwhile_ends_where_it_ends(deck: Conversation) -> None:
    deck.hear(b"214 clips count:\nclip count: 250\n\n", COUNT)
    for code in (107, 109, 112):
        assert (
            deck.hear(b"%d no more\n" % code, Request("clips get", (("clip id", "101"), ("count", "100")))) == Reply()
        )


def test_a_deck_that_repeats_a_page_is_not_asked_for_ever(deck: Conversation) -> None:
    deck.hear(b"214 clips count:\nclip count: 250\n\n", COUNT)
    reply = deck.hear(clips(1, 100), Request("clips get", (("clip id", "101"), ("count", "100"))))
    assert reply is not None
    assert not reply.then


def test_lines_of_the_list_that_nobody_knows_are_left_out(deck: Conversation) -> None:
    wire = b"205 clips info:\nclip count: 3\n1: A 10:00:00:00 00:00:01:00\n2: odd\n0: B 10:00:00:00 00:00:01:00\n\n"
    reply = deck.hear(wire, Request("clips get", (("clip id", "1"), ("count", "100"))))
    assert reply is not None
    assert [row["name"] for row in reply.rows] == ["A"]


def test_the_list_of_a_medium_not_in_use_tells_no_first_labels(deck: Conversation) -> None:
    (asked,) = deck.looked("slot.2.clips")
    assert asked == Request("disk list", (("slot id", "2"),))
    assert deck.driver.reads(asked)
    wire = b"206 disk list:\nslot id: 2\n1: Take  one QT 1080p25 00:00:10:00\n2: odd\n3: QT 1080p25 00:00:10:00\n\n"
    reply = deck.hear(wire, asked)
    assert reply is not None
    assert reply.rows == ({"index": 1, "name": "Take  one", "duration": "00:00:10:00", "slot": 2},)
    assert "clip.name" not in deck.known()


# -- verbs ------------------------------------------------------------------------------------------------------------

VERBS = [
    (Roll(), b"record\r\n"),
    (Roll("Masterclass 3"), b"record:\r\nname: Masterclass 3\r\n\r\n"),
    (Roll("///..."), b"record:\r\nname: ---\r\n\r\n"),
    (Roll(" . "), b"record\r\n"),
    (Roll("x\r\n\r\nstop"), b"record:\r\nname: x    stop\r\n\r\n"),
    (Cut(7), b"stop\r\n"),
    (Stop(), b"stop\r\n"),
    (Spill(), b"record spill\r\n"),
    (Play(), b"play\r\n"),
    (Play(0.5), b"play:\r\nspeed: 50\r\n\r\n"),
    (Play(-50), b"play:\r\nspeed: -5000\r\n\r\n"),
    (Shuttle(2), b"shuttle:\r\nspeed: 200\r\n\r\n"),
    (Shuttle(1), b"shuttle:\r\nspeed: 100\r\n\r\n"),
    (Cue(label="10:00:00:00"), b"goto:\r\ntimecode: 10:00:00:00\r\n\r\n"),
    (Cue(label="10:00:00;02"), b"goto:\r\ntimecode: 10:00:00;02\r\n\r\n"),
    (Cue(clip=3), b"goto:\r\nclip id: 3\r\n\r\n"),
    (Identify(), b"identify:\r\nenable: true\r\n\r\n"),
    (Identify(on=False), b"identify:\r\nenable: false\r\n\r\n"),
    (Set(INPUT_SOURCE, "SDI"), b"configuration:\r\nvideo input: SDI\r\n\r\n"),
    (Set(TIMECODE_SOURCE, "external"), b"configuration:\r\ntimecode input: external\r\n\r\n"),
    (Set(CODEC, "codec-a: b"), b"configuration:\r\nfile format: codec-a: b\r\n\r\n"),
    (Set(CHANNELS, 8), b"configuration:\r\naudio input channels: 8\r\n\r\n"),
    (Set(SLOT_ACTIVE, 2), b"slot select:\r\nslot id: 2\r\n\r\n"),
    (Format(2, "A1B2"), b"format:\r\nconfirm: A1B2\r\n\r\n"),
]


@pytest.mark.parametrize(("verb", "wire"), VERBS)
def test_each_verb_is_its_request(deck: Conversation, verb: Verb, wire: bytes) -> None:
    assert deck.wire(verb) == [wire]
    assert not any(map(deck.driver.reads, deck.driver.ask([verb])))


def test_several_verbs_are_as_many_requests_in_their_order(deck: Conversation) -> None:
    assert deck.wire(Set(INPUT_SOURCE, "SDI"), Roll()) == [b"configuration:\r\nvideo input: SDI\r\n\r\n", b"record\r\n"]


@pytest.mark.parametrize(
    ("verb", "why"),
    [
        (Set(REMOTE, True), "does not let stagectl switch"),
        (Set(REMOTE, False), "does not let stagectl switch"),
        (Set(CONTAINER, "a"), "no record container"),
        (Set(REFERENCE, True), "no reference locked"),
        (Recall("1"), "can't recall"),
        (Play(0), "from -50 to 50, but not 0"),
        (Play(50.01), "from -50 to 50"),
        (Play(float("nan")), "from -50 to 50"),
        (Shuttle(-51), "from -50 to 50"),
        (Cue(), "one of the two"),
        (Cue(label="10:00:00:00", clip=1), "one of the two"),
        (Cue(clip=-1), "count from 1"),
        (Cue(label="tea time"), "is no timecode"),
        (Cue(label="10:00:00:00\r\n\r\nstop"), "is no timecode"),
        (Format(1), "which one is in use is not known"),
    ],
)
def test_what_the_deck_can_not_do_is_refused_with_a_sentence(deck: Conversation, verb: Verb, why: str) -> None:
    with pytest.raises(RefusedError, match=why):
        deck.driver.ask([verb])


def test_remote_is_switched_where_the_site_lets_us() -> None:
    deck = Conversation({"may switch remote on": "yes"})
    assert deck.wire(Set(REMOTE, True)) == [b"remote:\r\nenable: true\r\n\r\n"]
    assert deck.wire(Set(REMOTE, False)) == [b"remote:\r\nenable: false\r\n\r\n"]


@pytest.mark.parametrize(
    "verb", [Play(), Shuttle(1), Stop(), Cue(clip=1), Identify(), Format(1), Set(SLOT_ACTIVE, 2), Set(CODEC, "x")]
)
def test_a_deck_that_rolls_is_sent_nothing_that_could_end_it(verb: Verb) -> None:
    deck = Conversation({"may switch remote on": "yes"})
    deck.hear(b"508 transport info:\nstatus: record\n\n")
    with pytest.raises(RefusedError, match="it records"):
        deck.driver.ask([Cut(1), verb])
    assert deck.wire(Cut(1), Spill(), Set(REMOTE, True)) == [
        *(b"stop\r\n", b"record spill\r\n", b"remote:\r\nenable: true\r\n\r\n")
    ]
    deck.hear(b"508 transport info:\nspeed: 100\n\n")
    with pytest.raises(RefusedError):
        deck.driver.ask([verb])
    deck.hear(b"508 transport info:\nslot id: 1\nstatus: stopped\n\n")
    assert deck.driver.ask([verb])


def test_erasing_takes_two_steps_and_only_the_slot_in_use(deck: Conversation) -> None:
    deck.hear(b"508 transport info:\nslot id: 1\n\n")
    with pytest.raises(RefusedError, match="slot 1 is in use") as refused:
        deck.driver.ask([Format(2)])
    assert refused.value.remedy == "Select slot 2 first."
    (prepare,) = deck.driver.ask([Format(1)])
    assert deck.codec.encode(prepare) == b"format:\r\nprepare: exFAT\r\n\r\n"
    assert deck.hear(b"216 format ready:\r\nA1B2\r\n\r\n", prepare) == Reply()
    assert deck.known()["format.token"] == "A1B2"
    deck.hear(b"508 transport info:\nslot id: none\n\n")
    with pytest.raises(RefusedError, match="not known"):
        deck.driver.ask([Format(1)])


def test_the_file_system_of_an_erased_medium_is_the_site_s() -> None:
    deck = Conversation({"format as": "HFS+"})
    deck.hear(b"508 transport info:\nslot id: 1\n\n")
    assert deck.wire(Format(1)) == [b"format:\r\nprepare: HFS+\r\n\r\n"]


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("Masterclass 3", "Masterclass 3"),
        ('a\\b/c:d*e?f"g<h>i|j', "a-b-c-d-e-f-g-h-i-j"),
        ("..hidden. ", "hidden"),
        ("tab\tand\x7fdel", "tab and del"),
        ("x" * 70, "x" * NAME_LENGTH),
        ("x" * 59 + " y", "x" * 59),
        ("B\u00fchne \u4e00", "B\u00fchne \u4e00"),
        ("\ud800", ""),
    ],
)
def test_a_name_is_cleaned_for_the_medium(asked: str, name: str) -> None:
    assert clip_name(asked) == name


# -- the kind of box --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("options", [{"may switch remote on": "perhaps"}, {"format as": "FAT12"}])
def test_an_option_with_a_wrong_word_is_refused_with_its_words(options: dict[str, str]) -> None:
    with pytest.raises(ValueError, match=r"can't be .* Write \S+ or \S+\."):
        BOX.make(options)


def test_the_box_is_what_its_entry_point_names() -> None:
    assert (BOX.name, BOX.port, BOX.capability.kind) == ("text-deck", 9993, "recorder")
    assert set(BOX.options) == {"may switch remote on", "format as"}
    assert isinstance(BOX.make({}), TextDeckDriver)
    assert isinstance(BOX.codec({}), TextDeckCodec)
