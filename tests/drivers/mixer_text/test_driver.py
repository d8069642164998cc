"""Does the text mixer's driver say of a mixer what its lines say, and never take one answer for another?"""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.driverkit.driver import Reply
from stagectl.model.board import Board
from stagectl.model.capabilities.mixer import (
    BUS_LEVEL,
    BUS_MUTED,
    BUS_NAME,
    MEMORY,
    SEND_LEVEL,
    STRIP_LEVEL,
    STRIP_METER,
    STRIP_MUTED,
    STRIP_NAME,
    STRIP_PAN,
    Recall,
)
from stagectl.model.capabilities.recorder import Roll
from stagectl.model.conditions import Truth, judge
from stagectl.model.errors import ProtocolError, RefusedError
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Set, Verb
from stagectl_drivers.mixer_text import BOX, MixerTextCodec
from stagectl_drivers.mixer_text.codec import (
    CurrentMemory,
    DeviceInfo,
    Event,
    Get,
    No,
    Noise,
    Notify,
    Ok,
    Put,
    RecallMemory,
    Request,
)
from stagectl_drivers.mixer_text.driver import PAGE
from stagectl_drivers.mixer_text.profile import SIXTEEN_STRIPS
from tests.drivers.stepped_clock import SteppedClock
from tests.vectors.mixer_text import FEED, INTERLEAVED, LEVEL, NAME, ON, PARAMETERS, REFUSALS


class Desk:
    """A mixer behind a driver, without loop or socket; `open` are the requests it has not answered."""

    def __init__(self, **options: str) -> None:
        self.clock = SteppedClock()
        self.board = Board(self.clock)
        self.writer = self.board.writer("mixer")
        self.driver = BOX.make(options)
        self.codec = MixerTextCodec()
        self.open: list[Request] = []
        self.hear(Noise("welcome"))

    def hear(self, event: Event) -> Reply[Request] | None:
        self.writer.asked_at = self.writer.read_at = self.clock.now()
        reply = self.driver.hear(event, self.writer, self.open[0] if self.open else None)
        if reply is not None:
            self.open.pop(0)
        return reply

    def wire(self, data: bytes) -> list[Reply[Request]]:
        return [reply for event in self.codec.feed(data) if (reply := self.hear(event)) is not None]

    def value(self, name: str) -> Any:
        return self.board.points("mixer")[name].value

    def quality(self, name: str) -> Quality:
        return self.board.points("mixer")[name].quality

    def read_all(self, requests: list[Request]) -> list[Request]:
        """Answer `requests` and whatever follows from the answers; returns all that were asked."""
        asked: list[Request] = []
        while requests:
            request, *requests = requests
            asked.append(request)
            self.open = [request]
            reply = self.hear(echo(request))
            assert reply is not None
            requests += reply.then
        return asked


def echo(request: Request) -> Ok:
    """What a healthy mixer answers; every level is -20 dB, every switch on."""
    match request:
        case Get(path, x, y):
            value: int | str = 1 if path.endswith("On") else "" if path.endswith("Name") else 0
            return Ok("get", path, x, y, -2000 if path.endswith("Level") else value)
        case Put(path, x, y, value):
            return Ok("set", path, x, y, value)
        case DeviceInfo(what):
            return Ok("devinfo", what, value="MX16" if what == "productname" else "1.0")
        case CurrentMemory():
            return Ok("sscurrent", value="A 1")
        case RecallMemory(memory):
            return Ok("ssrecall", value=memory)


@pytest.fixture
def desk() -> Desk:
    return Desk()


# -- reading ---------------------------------------------------------------------------------------------------------


def test_connecting_reads_identity_memory_and_every_parameter_by_pages(desk: Desk) -> None:
    first = list(desk.driver.look(None))
    assert first[:3] == [DeviceInfo("productname"), DeviceInfo("version"), CurrentMemory()]
    assert len(first) == PAGE
    asked = desk.read_all(first)
    wanted = {Get(one.parameter.path, one.x, one.y) for one in SIXTEEN_STRIPS.addresses(16, 8)}
    assert set(asked[3:]) == wanted
    assert len(asked) == 3 + 16 * 13 + 8 * 3
    assert all(desk.driver.reads(one) for one in asked)
    for name, point in desk.board.points("mixer").items():
        assert point.quality is Quality.GOOD, name
        assert BOX.capability.point(name) is not None
    assert (desk.value("identity.model"), desk.value("identity.version")) == ("MX16", "1.0")
    assert (desk.value("strips"), desk.value("buses"), desk.value("memory")) == (16, 8, "A 1")


@pytest.mark.parametrize("row", PARAMETERS)
def test_a_parameter_is_its_point(desk: Desk, row: tuple[str, int, int, int | str, str, object]) -> None:
    path, x, y, wire, name, value = row
    assert desk.driver.look([name]) == [Get(path, x, y)]
    desk.open = [Get(path, x, y)]
    assert desk.hear(Ok("get", path, x, y, wire)) == Reply()
    assert (desk.value(name), desk.quality(name)) == (value, Quality.GOOD)
    assert desk.hear(Notify("set", path, x, y, 5)) is None
    assert desk.board.points("mixer")[name].raw == 5


@pytest.mark.parametrize(
    ("path", "x", "wire", "name"),
    [
        (ON, 0, 2, "strip.1.muted"),
        (ON, 0, "OFF", "strip.1.muted"),
        (LEVEL, 0, -40000, "strip.1.level"),
        ("DEV:Strip/Pan/Position", 0, 64, "strip.1.pan"),
        (LEVEL, 0, None, "strip.1.level"),
    ],
)
def test_a_value_the_tables_lack_is_unknown(desk: Desk, path: str, x: int, wire: int | str | None, name: str) -> None:
    desk.open = [Get(path, x, 0)]
    assert desk.hear(Ok("get", path, x, 0, wire)) == Reply()
    assert desk.quality(name) is Quality.UNKNOWN
    assert desk.board.points("mixer")[name].raw == (wire if wire is not None else "")


def test_a_look_asks_each_thing_once_and_nothing_the_mixer_does_not_have(desk: Desk) -> None:
    names = [
        "memory",
        "strip.1.level",
        "strip.1.level",
        "identity.model",
        "identity.version",
        "strip.17.level",
        "strips",
    ]
    assert desk.driver.look(names) == [
        CurrentMemory(),
        Get(LEVEL, 0, 0),
        DeviceInfo("productname"),
        DeviceInfo("version"),
    ]


def test_a_mixer_without_a_memory_says_so(desk: Desk) -> None:
    desk.open = [CurrentMemory()]
    assert desk.wire(b"OK sscurrent\n") == [Reply()]
    assert desk.quality("memory") is Quality.UNKNOWN


def test_two_gets_with_a_notice_between_are_paired_and_change_once(desk: Desk) -> None:
    desk.open = [Get(LEVEL, 0, 0), Get(LEVEL, 1, 0)]
    assert desk.wire(INTERLEAVED) == [Reply(), Reply()]
    assert (desk.value("strip.1.level"), desk.value("strip.2.level")) == (-20.0, -5.0)
    assert desk.board.points("mixer")["strip.2.level"].changes == 1


def test_a_fader_moved_on_the_panel_is_a_change_of_the_point(desk: Desk) -> None:
    assert desk.wire(b'NOTIFY set DEV:Strip/Fader/Level 7 0 -32768 "-INF"\n') == []
    assert desk.value("strip.8.level") == "off"


def test_unknown_lines_and_parameters_change_nothing(desk: Desk) -> None:
    rev = desk.board.rev
    desk.open = [Get(LEVEL, 0, 0)]
    assert desk.wire(b"hello\nNOTIFY set DEV:Strip/Colour 0 0 3\nNOTIFY set DEV:Strip/Fader/Level 16 0 0\n") == []
    assert desk.wire(b"NOTIFY prompt X\nMETER 00 7F\n") == []
    assert desk.board.rev == rev


def test_a_storm_of_notices_leaves_the_last_value_and_no_more_points(desk: Desk) -> None:
    points = len(desk.board.points("mixer"))
    storm = "".join(f"NOTIFY set DEV:Strip/Fader/Level {n % 16} 0 {-n}\n" for n in range(500))
    desk.wire(storm.encode())
    assert desk.value("strip.4.level") == -4.99
    assert len(desk.board.points("mixer")) == points


# -- asking ----------------------------------------------------------------------------------------------------------

ASKED: list[tuple[Verb, bytes]] = [
    (Set(STRIP_LEVEL.at(5), -12.0), b"set DEV:Strip/Fader/Level 4 0 -1200\n"),
    (Set(STRIP_LEVEL.at(16), "off"), b"set DEV:Strip/Fader/Level 15 0 -32768\n"),
    (Set(STRIP_MUTED.at(5), True), b"set DEV:Strip/Fader/On 4 0 0\n"),
    (Set(STRIP_MUTED.at(5), False), b"set DEV:Strip/Fader/On 4 0 1\n"),
    (Set(STRIP_NAME.at(5), "Host 1"), b'set DEV:Strip/Label/Name 4 0 "Host 1"\n'),
    (Set(STRIP_PAN.at(1), -1.0), b"set DEV:Strip/Pan/Position 0 0 -63\n"),
    (Set(STRIP_PAN.at(1), 0.5), b"set DEV:Strip/Pan/Position 0 0 32\n"),
    (Set(SEND_LEVEL.at(16, 8), 3.5), b"set DEV:Strip/ToMix/Level 15 7 350\n"),
    (Set(BUS_LEVEL.at(3), 0.0), b"set DEV:Mix/Fader/Level 2 0 0\n"),
    (Set(BUS_MUTED.at(8), True), b"set DEV:Mix/Fader/On 7 0 0\n"),
    (Set(BUS_NAME.at(1), "Bench"), b'set DEV:Mix/Label/Name 0 0 "Bench"\n'),
    (Recall("A 3"), b"ssrecall A 3\n"),
    (Recall("B 100"), b"ssrecall B 100\n"),
]


@pytest.mark.parametrize(("verb", "wire"), ASKED)
def test_an_act_is_one_line(desk: Desk, verb: Verb, wire: bytes) -> None:
    (request,) = desk.driver.ask([verb])
    assert desk.codec.encode(request) == wire
    assert not desk.driver.reads(request)


def test_acts_keep_their_order(desk: Desk) -> None:
    verbs = [verb for verb, _ in ASKED]
    assert b"".join(map(desk.codec.encode, desk.driver.ask(verbs))) == b"".join(wire for _, wire in ASKED)


REFUSED: list[tuple[Verb, str]] = [
    (Set(STRIP_LEVEL.at(17), 0.0), "The mixer has no strip 17 level to set: it has 16 strips and 8 buses."),
    (Set(STRIP_LEVEL.at(0), 0.0), "The mixer has no strip 0 level to set: it has 16 strips and 8 buses."),
    (Set(SEND_LEVEL.at(1, 9), 0.0), "The mixer has no strip 1 send 9 level to set: it has 16 strips and 8 buses."),
    (Set(STRIP_LEVEL.at(1), 12.0), "strip 1 level can't be 12: it goes from -138 to 10 dB."),
    (Set(STRIP_METER.at(1), 0.0), "strip 1 meter can only be read."),
    (Set(STRIP_NAME.at(1), 'x"'), "A mixer can't take '\"' in a name. Write it without."),
    (Set(STRIP_NAME.at(1), "x\\"), "A mixer can't take '\\\\' in a name. Write it without."),
    (Set(STRIP_NAME.at(1), "x\nset"), "strip 1 name can't hold control characters or line ends."),
    (Set(STRIP_NAME.at(1), "x" * 65), "strip 1 name holds at most 64 characters."),
    *(
        (
            Recall(memory),
            f'The mixer has no memory "{memory}": a memory is one of A, B and a number up to 100, such as "A 3".',
        )
        for memory in ["C 3", "A", "A 101", "A x", "A 3 4", "3", "", "A 03", "A -1", "A 3\nssrecall A 4"]
    ),
    (Roll("x"), "A mixer can't roll."),
]


@pytest.mark.parametrize(("verb", "why"), REFUSED)
def test_what_this_mixer_can_not_do_is_refused_with_a_sentence(desk: Desk, verb: Verb, why: str) -> None:
    with pytest.raises(RefusedError) as refused:
        desk.driver.ask([verb])
    assert str(refused.value) == why


def test_the_echo_sets_the_point_to_the_value_in_force(desk: Desk) -> None:
    verb = Set(STRIP_LEVEL.at(1), 10.0)
    desk.open = list(desk.driver.ask([verb]))
    assert desk.wire(b'OKm set DEV:Strip/Fader/Level 0 0 600 "6.00"\n') == [Reply()]
    assert desk.value("strip.1.level") == 6.0
    assert judge(desk.board, verb.effect(), "mixer") is Truth.NO  # clamped: the verdict says what the mixer did


@pytest.mark.parametrize(("step", "truth"), [(-1190, Truth.YES), (-1230, Truth.YES), (-1231, Truth.NO)])
def test_a_step_of_the_mixers_own_table_is_within_tolerance(desk: Desk, step: int, truth: Truth) -> None:
    verb = Set(STRIP_LEVEL.at(1), -12.0)
    desk.open = list(desk.driver.ask([verb]))
    desk.wire(f"OKm set DEV:Strip/Fader/Level 0 0 {step}\n".encode())
    assert judge(desk.board, verb.effect(), "mixer") is truth


def test_a_bare_ok_sets_no_point(desk: Desk) -> None:
    desk.open = [Put(LEVEL, 0, 0, 0)]
    assert desk.wire(b"OK set DEV:Strip/Fader/Level 0 0\n") == [Reply()]
    assert desk.board.points("mixer")["strip.1.level"].raw is None


# -- pairing ---------------------------------------------------------------------------------------------------------

CROSSED: list[tuple[str, Request | None, Event]] = [
    ("another strip", Get(LEVEL, 0, 0), Ok("get", LEVEL, 1, 0, 0)),
    ("another bus", Get("DEV:Strip/ToMix/Level", 0, 0), Ok("get", "DEV:Strip/ToMix/Level", 0, 1, 0)),
    ("another parameter", Get(LEVEL, 0, 0), Ok("get", ON, 0, 0, 0)),
    ("another verb", Get(LEVEL, 0, 0), Ok("set", LEVEL, 0, 0, 0)),
    ("set asked, get told", Put(LEVEL, 0, 0, 0), Ok("get", LEVEL, 0, 0, 0)),
    ("another question of identity", DeviceInfo("version"), Ok("devinfo", "productname", value="MX16")),
    ("a memory told, a recall asked", RecallMemory("A 3"), Ok("sscurrent", value="A 3")),
    ("an answer that can't be read", Get(LEVEL, 0, 0), Ok("")),
    ("nothing was asked", None, Ok("get", LEVEL, 0, 0, 0)),
    ("a refused set when a get is open", Get(LEVEL, 0, 0), No("InvalidArgument", "set")),
    ("an unprompted unknown command", Get(LEVEL, 0, 0), No("UnknownCommand", "unknown")),
    ("the same when a set is open", Put(LEVEL, 0, 0, 0), No("UnknownCommand", "unknown")),
    ("a refusal of another path", Get(LEVEL, 0, 0), No("InvalidArgument", "get", ON)),
    ("a refused get when a recall is open", RecallMemory("A 3"), No("InvalidArgument", "get")),
]


@pytest.mark.parametrize(("story", "awaiting", "event"), CROSSED)
def test_an_answer_to_something_else_ends_the_conversation(
    desk: Desk, story: str, awaiting: Request | None, event: Event
) -> None:
    desk.open = [awaiting] if awaiting is not None else []
    rev = desk.board.rev
    with pytest.raises(ProtocolError, match=r"the mixer (answered|refused) .* was open\."):
        desk.hear(event)
    assert desk.board.rev == rev, story  # nothing it said was believed


BELONGS: list[tuple[Request, No]] = [
    (Get(LEVEL, 0, 0), No("InvalidArgument", "get")),
    (Put(LEVEL, 0, 0, 0), No("AccessDenied", "set", LEVEL)),
    (Get(LEVEL, 0, 0), No("Busy", "")),
    (RecallMemory("A 9"), No("InvalidArgument", "ssrecall", "A")),
    (RecallMemory("A 9"), No("UnknownCommand", "unknown")),
    (CurrentMemory(), No("UnknownCommand", "unknown")),
    (DeviceInfo("version"), No("UnknownCommand", "devinfo")),
]


@pytest.mark.parametrize(("awaiting", "event"), BELONGS)
def test_a_refusal_belongs_to_the_request_that_waits(desk: Desk, awaiting: Request, event: No) -> None:
    desk.open = [awaiting]
    reply = desk.hear(event)
    assert reply is not None
    assert f"({event.reason})" in reply.no


def test_an_unprompted_refusal_is_found_out_by_the_next_echo(desk: Desk) -> None:
    desk.open = [Get(LEVEL, 0, 0), Get(LEVEL, 1, 0)]
    with pytest.raises(ProtocolError):
        desk.wire(b"ERROR get InvalidArgument\nOK get DEV:Strip/Fader/Level 0 0 0\n")


def test_a_refusal_when_nothing_is_open_is_let_pass(desk: Desk) -> None:
    assert desk.wire(b"ERROR unknown UnknownCommand\n") == []


@pytest.mark.parametrize("reason", [*REFUSALS, "NeverHeardOf", ""])
def test_each_word_of_refusal_has_a_sentence_and_a_remedy(desk: Desk, reason: str) -> None:
    desk.open = [Put(LEVEL, 0, 0, 0)]
    reply = desk.hear(No(reason, "set"))
    assert reply is not None
    assert reply.no.startswith("the mixer ")
    assert reason in reply.no
    assert reply.no.endswith(".")
    assert reply.no.count(". ") == 1
    assert ("Look at its panel" in reply.no) is (reason not in REFUSALS)


def test_a_path_the_mixer_does_not_have_is_asked_for_once(desk: Desk) -> None:
    names = ["strip.1.meter", "strip.2.meter", "strip.1.level"]
    desk.open = [Get("DEV:Meter/Strip", 0, 0)]
    assert desk.wire(b"ERROR get UnknownAddress\n")[0].no
    assert desk.driver.look(names) == [Get(LEVEL, 0, 0)]
    desk.open = [Get(LEVEL, 0, 0)]
    desk.wire(b"ERROR get Busy\n")
    assert desk.driver.look(names) == [Get(LEVEL, 0, 0)]  # busy is for now only


# -- memories --------------------------------------------------------------------------------------------------------


def parameters() -> set[Request]:
    return {Get(one.parameter.path, one.x, one.y) for one in SIXTEEN_STRIPS.addresses(16, 8)}


def test_a_recall_states_its_memory_and_everything_is_read_again(desk: Desk) -> None:
    verb = Recall("A 3")
    desk.open = list(desk.driver.ask([verb]))
    (reply,) = desk.wire(b"OK ssrecall A 3\n")
    assert judge(desk.board, verb.effect(), "mixer") is Truth.YES
    assert set(desk.read_all(list(reply.then))) == parameters()


def test_a_recall_by_somebody_else_is_read_with_the_next_answer(desk: Desk) -> None:
    desk.wire(b"NOTIFY ssrecall B 7\n")
    assert desk.value("memory") == "B 7"
    assert set(desk.read_all([CurrentMemory()])) == parameters() | {CurrentMemory()}
    assert desk.read_all([CurrentMemory()]) == [CurrentMemory()]


def test_many_recalls_in_a_row_are_one_more_full_read(desk: Desk) -> None:
    desk.wire(b"NOTIFY ssrecall A 1\n")
    desk.open = [CurrentMemory()]
    (reply,) = desk.wire(b"OK sscurrent A 1\n")
    desk.wire(b"NOTIFY ssrecall A 2\nNOTIFY ssrecall A 3\nNOTIFY ssrecall A 4\n")
    asked = desk.read_all(list(reply.then))
    assert len(asked) == 2 * len(parameters())  # the one under way, and one for all that came in between


def test_what_a_recall_changed_is_looked_at_although_nobody_tells() -> None:
    looked = {name: look.every_s for look in BOX.make({}).looks for name in look.names}
    heard = [looked[point.name] for point in (STRIP_LEVEL, STRIP_MUTED, BUS_LEVEL, BUS_MUTED)]
    assert max(heard) <= 5.0  # what people hear is at most ten seconds old, told or not
    assert looked[MEMORY.name] <= 2.5  # also the keep-alive
    assert BOX.make({}).beat(0) == []


# -- options ---------------------------------------------------------------------------------------------------------


def test_the_site_says_how_large_the_mixer_is() -> None:
    desk = Desk(strips="4", buses="2")
    assert (desk.value("strips"), desk.value("buses")) == (4, 2)
    assert "strip.5.level" not in desk.board.points("mixer")
    asked = desk.read_all(list(desk.driver.look(None)))
    assert len(asked) == 3 + 4 * (5 + 2) + 2 * 3
    with pytest.raises(RefusedError, match="it has 4 strips and 2 buses"):
        desk.driver.ask([Set(STRIP_LEVEL.at(5), 0.0)])


@pytest.mark.parametrize(
    ("option", "text", "why"),
    [
        ("profile", "nine strips", 'There is no mixer profile "nine strips". Choose one of: sixteen strips.'),
        ("strips", "0", '"strips" is a number from 1 to 128, not "0".'),
        ("strips", "many", '"strips" is a number from 1 to 128, not "many".'),
        ("buses", "65", '"buses" is a number from 1 to 64, not "65".'),
        ("buses", "9" * 5000, '"buses" is a number from 1 to 64, not'),
        ("buses", "", '"buses" is a number from 1 to 64, not "".'),
    ],
)
def test_an_option_that_can_not_be_is_refused_with_a_sentence(option: str, text: str, why: str) -> None:
    with pytest.raises(ValueError, match=r"\.") as refused:
        BOX.make({option: text})
    assert str(refused.value).startswith(why)


def test_the_largest_mixer_is_read_whole() -> None:
    desk = Desk(strips="128", buses="64")
    assert len(desk.read_all(list(desk.driver.look(None)))) == 3 + 128 * (5 + 64) + 64 * 3


def test_the_entry_point_takes_the_profile() -> None:
    assert (BOX.name, BOX.port) == ("mixer-text", 49280)
    assert set(BOX.options) == {"profile", "strips", "buses"}
    options = {"profile": "sixteen strips"}
    assert BOX.make(options) is not BOX.make(options)
    assert BOX.codec(options).feed(b"x\n") == [Noise("x")]


AWAITED: list[Request | None] = [
    None,
    Get(LEVEL, 0, 0),
    Put(NAME, 4, 0, "Host 1"),
    DeviceInfo("version"),
    CurrentMemory(),
    RecallMemory("A 3"),
]


@given(
    st.lists(
        st.tuples(st.sampled_from([row[1] for row in FEED]) | st.binary(max_size=60), st.sampled_from(AWAITED)),
        max_size=12,
    )
)
def test_no_stream_raises_anything_but_a_protocol_error(said: list[tuple[bytes, Request | None]]) -> None:
    desk = Desk(strips="8", buses="2")
    points = len(desk.board.points("mixer"))
    for data, awaiting in said:
        desk.open = [awaiting] if awaiting is not None else []
        try:
            for event in desk.codec.feed(data):
                desk.hear(event)
        except ProtocolError:
            return
    assert len(desk.board.points("mixer")) == points


def specs() -> list[PointSpec[Any]]:
    return [one.point for one in SIXTEEN_STRIPS.addresses(16, 8)]


def test_every_point_that_can_be_set_has_a_line() -> None:
    driver = BOX.make({})
    for spec in specs():
        if spec.settable:
            value = {str: "x", bool: True, float: 0.5}[spec.type]
            assert len(driver.ask([Set(spec, value)])) == 1
