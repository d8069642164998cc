"""Does the kit's loop keep a box company as it promises: only looking, pairing replies, ageing, coming back?

Source of all rows: own construction, from `stagectl/driverkit/driver.py` and the house rules of DEVELOPERS.md.
"""

import asyncio
import random
from collections.abc import Callable, Collection, Sequence
from itertools import pairwise
from typing import Any

import pytest

from stagectl.driverkit.asked import Prepared
from stagectl.driverkit.box import BACKOFF_S, Box
from stagectl.driverkit.driver import BoxKind, Look
from stagectl.model.board import Board, BoardWriter
from stagectl.model.capabilities.base import HEALTH, HEALTH_WHY, LINK_UP, MODEL, Health
from stagectl.model.capabilities.recorder import Roll
from stagectl.model.conditions import YES, Truth
from stagectl.model.errors import DeviceError, RefusedError
from stagectl.model.points import PointSpec, Quality
from stagectl.model.verbs import Set, Verb
from tests.driverkit.memory import MemoryNetwork, Peer, VirtualClock, until, virtual
from tests.driverkit.shelf import LAMP, LONGEST, MAIN, Line, ShelfDriver, ShelfState, shelf_kind

FULL_LOOK = ["get model", "get main", "get lamp.1.on", "get lamp.2.on"]


class Bench:
    """A box on a network in memory, and the far end of it."""

    def __init__(self, kind: BoxKind | None = None, *, expect: dict[str, str] | None = None, chance: int = 7) -> None:
        loop = asyncio.get_running_loop()
        self.clock = VirtualClock(loop)
        self.board = Board(self.clock)
        self.far = ShelfState()
        self.network = MemoryNetwork(self.far.answers)
        self.links: list[tuple[str, str]] = []
        self.box = Box(
            "shelf-1",
            kind or shelf_kind(),
            {},
            ("10.0.0.9", 4000),
            self.board.writer("shelf-1"),
            clock=self.clock,
            network=self.network,
            chance=random.Random(chance),
            expect=expect,
            on_link=lambda what, why: self.links.append((what, why)),
        )
        self.task = asyncio.create_task(self.box.run())

    @property
    def peer(self) -> Peer:
        return self.network.peers[-1]

    async def adopted(self) -> "Bench":
        await until(lambda: self.box.adopted)
        return self

    async def seen(self, spec: PointSpec[Any], value: object, *, since: float = float("-inf")) -> None:
        told: asyncio.Future[None] = asyncio.get_running_loop().create_future()

        def tell(truth: Truth) -> None:
            if truth is YES and not told.done():
                told.set_result(None)

        watch = self.board.watch(spec.is_(value), tell, device="shelf-1", since=since)
        async with asyncio.timeout(60):
            await told
        watch.detach()

    def value(self, spec: PointSpec[Any]) -> tuple[object, Quality]:
        reading = self.board.get("shelf-1", spec)
        return reading.value, reading.quality

    def prepare(self, *verbs: Verb) -> tuple[Prepared, list[tuple[Any, ...]]]:
        """What the command path does; returns also what it is told: ("sent", index, at), ("no", index, words)."""
        told: list[tuple[Any, ...]] = []
        prepared = self.box.prepare(verbs)
        prepared.on_sent = lambda index, at: told.append(("sent", index, at))
        prepared.on_no = lambda index, words: told.append(("no", index, words))
        return prepared, told


def lamp(number: int, on: bool) -> Set[bool]:
    return Set(LAMP.at(number), on)


# -- connecting ----------------------------------------------------------------------------------------------------


@virtual
async def test_connecting_only_looks_and_then_adopts() -> None:
    bench = Bench()
    assert bench.value(LINK_UP) == (False, Quality.GOOD)
    assert bench.value(HEALTH) == (Health.FAILED, Quality.GOOD)
    await bench.adopted()
    assert bench.peer.heard == FULL_LOOK
    assert [what for what, _ in bench.links] == ["up", "adopted"]
    assert bench.value(LINK_UP) == (True, Quality.GOOD)
    assert bench.value(MODEL) == ("S2", Quality.GOOD)
    assert bench.value(HEALTH) == (Health.WELL, Quality.GOOD)
    assert bench.value(HEALTH_WHY) == ("", Quality.GOOD)


@virtual
async def test_a_box_is_not_driven_before_it_was_read_whole() -> None:
    bench = Bench()
    bench.far.silent = True
    await until(lambda: bench.box.up)
    with pytest.raises(RefusedError, match="still being read") as refused:
        bench.box.prepare([lamp(1, True)])
    assert refused.value.code == "not-adopted"


@virtual
async def test_a_box_without_a_link_refuses_and_says_why() -> None:
    bench = Bench()
    bench.network.refuse = ConnectionRefusedError(111, "Connection refused")
    await until(lambda: bool(bench.links))
    with pytest.raises(RefusedError, match=r"10\.0\.0\.9 port 4000: Connection refused") as refused:
        bench.box.prepare([lamp(1, True)])
    assert refused.value.code == "no-link"


@virtual
async def test_another_box_than_the_site_says_is_never_driven() -> None:
    bench = Bench(expect={"identity.model": "S3"})
    await until(lambda: bool(bench.links) and bench.links[-1][0] == "foreign")
    why = 'it answers as another box: model "S2", the site says "S3"'
    assert bench.value(HEALTH_WHY) == (why, Quality.GOOD)
    assert bench.value(HEALTH) == (Health.FAILED, Quality.GOOD)
    with pytest.raises(RefusedError, match="another box"):
        bench.box.prepare([lamp(1, True)])
    await asyncio.sleep(10)
    assert not bench.box.adopted
    assert [line for line in bench.peer.heard if line.startswith("put")] == []


@virtual
async def test_what_another_box_says_is_not_shown_as_the_own_one_s() -> None:
    bench = Bench(expect={"identity.model": "S3"})
    await until(lambda: bool(bench.links) and bench.links[-1][0] == "foreign")
    bench.peer.say(b"now lamp.2.on on\n")
    await asyncio.sleep(10)
    assert bench.box.up
    assert bench.value(LAMP.at(2)) == (False, Quality.STALE)
    assert bench.value(MODEL)[1] is Quality.STALE
    assert bench.value(LINK_UP) == (True, Quality.GOOD)


@virtual
async def test_a_box_that_says_nothing_of_its_identity_is_not_the_one_the_site_means() -> None:
    bench = Bench(expect={"identity.serial": "7"})
    await until(lambda: bool(bench.links) and bench.links[-1][0] == "foreign")
    assert not bench.box.adopted


@virtual
async def test_dials_come_slower_and_slower_up_to_five_seconds() -> None:
    bench = Bench()
    bench.network.refuse = ConnectionRefusedError(111, "Connection refused")
    await until(lambda: len(bench.network.dials) == 9)
    dials = bench.network.dials
    waits = [later - earlier for earlier, later in pairwise(dials)]
    wanted = [0.5, 1.0, 2.0, 4.0, 5.0, 5.0, 5.0, 5.0]
    assert all(0.8 * want <= wait <= 1.2 * want for wait, want in zip(waits, wanted, strict=True)), waits
    assert len({round(wait, 6) for wait in waits[4:]}) > 1  # never in step with its neighbours


@virtual
async def test_a_dial_that_is_swallowed_is_given_up() -> None:
    bench = Bench()
    bench.network.swallow = True
    await until(lambda: len(bench.network.dials) == 2)
    assert bench.links[0] == ("down", "10.0.0.9 port 4000 does not answer")
    bench.network.swallow = False
    await bench.adopted()


@virtual
async def test_a_box_that_hangs_up_before_it_was_read_is_dialled_slower_too() -> None:
    bench = Bench()
    bench.network.answers = lambda line: b"lost\n"
    await until(lambda: len(bench.network.dials) == 6)
    assert bench.network.dials[-1] - bench.network.dials[-2] > 0.8 * BACKOFF_S[1]


# -- loss and return -----------------------------------------------------------------------------------------------


@virtual
async def test_a_lost_link_keeps_the_values_stale_and_comes_back_reading_only() -> None:
    bench = await Bench().adopted()
    bench.peer.cut()
    await until(lambda: bench.box.counts.losses == 1)
    assert bench.value(LAMP.at(1)) == (False, Quality.STALE)
    assert bench.value(LINK_UP) == (False, Quality.GOOD)
    assert bench.value(HEALTH_WHY) == ("the box closed the link", Quality.GOOD)
    bench.far.values["lamp.1.on"] = "on"
    await bench.adopted()
    assert bench.value(LAMP.at(1)) == (True, Quality.GOOD)
    assert bench.peer.heard == FULL_LOOK
    assert (bench.box.counts.connects, bench.box.counts.losses) == (2, 1)


@virtual
async def test_what_was_prepared_for_a_link_that_is_gone_is_not_sent() -> None:
    bench = await Bench().adopted()
    prepared, _ = bench.prepare(lamp(1, True))
    bench.peer.cut()
    await until(lambda: bench.box.counts.losses == 1)
    await bench.adopted()
    assert bench.box.launch(prepared) is None
    with pytest.raises(RefusedError, match="can't reach it"):
        bench.box.enqueue(prepared)
    await asyncio.sleep(1)
    assert bench.far.values["lamp.1.on"] == "off"


@virtual
async def test_what_waited_to_be_sent_is_not_sent_after_the_return() -> None:
    """It stays as it ended: a command is never said twice, nor late."""
    bench = await Bench().adopted()
    bench.far.silent = True
    bench.box.look_now((MAIN.name,))  # fills the window
    prepared, told = bench.prepare(lamp(1, True))
    bench.box.enqueue(prepared)
    bench.peer.cut()
    await until(lambda: bench.box.counts.losses == 1)
    bench.far.silent = False
    await bench.adopted()
    await asyncio.sleep(2)
    assert told == []
    assert bench.far.values["lamp.1.on"] == "off"


@virtual
async def test_letting_go_sends_nothing() -> None:
    bench = await Bench().adopted()
    before = list(bench.peer.heard)
    bench.task.cancel()
    await asyncio.gather(bench.task, return_exceptions=True)
    await until(lambda: bench.peer.ended)
    assert bench.peer.heard == before
    assert bench.value(HEALTH_WHY) == ("stagectl does not drive it now", Quality.GOOD)


@virtual
async def test_an_unanswered_question_ends_the_link_and_all_is_read_anew() -> None:
    """A lost reply would shift every later one by one."""
    bench = await Bench().adopted()
    bench.far.silent = True
    await until(lambda: not bench.box.up)
    assert bench.links[-1] == ("down", "it left a question unanswered for 3 s")
    bench.far.silent = False
    await bench.adopted()
    assert bench.peer.heard == FULL_LOOK


# -- replies -------------------------------------------------------------------------------------------------------


@virtual
async def test_every_reply_meets_its_own_question() -> None:
    """Four questions in flight, answered late, in one segment, with a notice between them."""
    bench = await Bench(shelf_kind(window=4)).adopted()
    await until(lambda: bench.box.counts.requests == bench.box.counts.replies)
    asked: list[str] = []
    bench.peer.answers = asked.append
    done: list[str] = []
    for name in ("lamp.1.on", "main", "lamp.2.on"):
        bench.box.look_now((name,), lambda name=name: done.append(name))  # type: ignore[misc]
    prepared, told = bench.prepare(lamp(2, True))
    bench.box.enqueue(prepared)
    await until(lambda: len(asked) == 4)
    assert asked == ["get lamp.1.on", "get main", "get lamp.2.on", "put lamp.2.on on"]
    bench.peer.say(b"is lamp.1.on on\nnow lamp.2.on off\nis main on\nis lamp.2.on off\nno the bulb is out\n")
    await until(lambda: len(told) == 2)
    assert done == ["lamp.1.on", "main", "lamp.2.on"]
    assert told[1] == ("no", 0, "the bulb is out")
    assert bench.value(LAMP.at(1)) == (True, Quality.GOOD)


@virtual
async def test_an_answer_to_a_poll_that_was_on_its_way_is_no_evidence() -> None:
    """The poll left, then the roll; the poll's answer comes after and must not prove the roll."""
    bench = await Bench().adopted()
    asked: list[str] = []
    bench.peer.answers = asked.append
    bench.box.look_now(("lamp.1.on",))
    await asyncio.sleep(0.1)
    prepared, _ = bench.prepare(lamp(1, True))
    at = bench.box.launch(prepared)
    assert at is not None
    await until(lambda: len(asked) >= 2)
    told: list[Truth] = []
    bench.board.watch(LAMP.at(1).is_(True), told.append, device="shelf-1", since=at)
    bench.peer.say(b"is lamp.1.on on\nok\n")
    await until(lambda: bench.value(LAMP.at(1)) == (True, Quality.GOOD))
    assert bench.board.get("shelf-1", LAMP.at(1)).asked_at < at
    assert told == [Truth.UNKNOWN]
    bench.far.values["lamp.1.on"] = "on"
    bench.peer.answers = bench.far.answers
    bench.box.look_now(("lamp.1.on",))
    await until(lambda: told == [Truth.UNKNOWN, Truth.YES])


@virtual
async def test_a_notice_counts_from_when_it_came() -> None:
    bench = await Bench().adopted()
    sent = bench.clock.now()
    bench.peer.say(b"now lamp.2.on on\n")
    await bench.seen(LAMP.at(2), True, since=sent)


@virtual
async def test_an_old_answer_proves_nothing_for_the_points_behind_one_that_changed_the_health() -> None:
    bench = await Bench().adopted()
    bench.peer.answers = lambda line: None
    bench.box.look_now((MAIN.name,))
    await asyncio.sleep(0.1)
    at = bench.box.launch(bench.prepare(lamp(2, True))[0])
    assert at is not None
    bench.peer.say(b"is main off, lamp.2.on on\n")
    await until(lambda: bench.value(HEALTH) == (Health.LOCAL, Quality.GOOD))
    assert bench.value(LAMP.at(2)) == (True, Quality.GOOD)
    assert bench.board.get("shelf-1", LAMP.at(2)).asked_at < at


@virtual
async def test_followers_of_an_answer_belong_to_the_same_look() -> None:
    bench = await Bench().adopted()
    rows = await bench.box.list_rows("clips")
    assert rows == [{"name": "a"}, {"name": "b"}, {"name": "c"}]
    assert bench.peer.heard[-2:] == ["rows 1", "rows 3"]


@virtual
async def test_a_list_that_the_box_refuses_is_not_an_empty_list() -> None:
    bench = await Bench().adopted()
    bench.peer.answers = lambda line: b"no the slot is empty\n"
    with pytest.raises(DeviceError, match="the slot is empty"):
        await bench.box.list_rows("clips")


@virtual
async def test_a_list_is_not_waited_for_without_end() -> None:
    bench = await Bench(shelf_kind(reply_s=1000.0)).adopted()
    bench.far.silent = True
    with pytest.raises(TimeoutError):
        await bench.box.list_rows("clips", deadline_s=4)


@virtual
async def test_a_list_of_a_box_that_is_not_reached_is_refused() -> None:
    bench = Bench()
    bench.network.refuse = ConnectionRefusedError(111, "Connection refused")
    await until(lambda: bool(bench.links))
    with pytest.raises(RefusedError, match="not reached"):
        await bench.box.list_rows("clips")


@virtual
async def test_a_line_without_end_closes_the_link_and_the_box_comes_back() -> None:
    bench = await Bench().adopted()
    bench.peer.say(b"x" * (LONGEST + 1))
    await until(lambda: bench.box.counts.losses == 1)
    assert bench.links[-1] == ("down", "a line without end")
    await bench.adopted()


@virtual
async def test_what_silence_completes_is_heard_and_the_next_question_follows_at_once() -> None:
    bench = await Bench(shelf_kind(gap_s=0.05, looks=())).adopted()
    bench.peer.answers = lambda line: f"is {line.partition(' ')[2]} on".encode()  # no line end: silence ends it
    began = bench.clock.now()
    bench.box.look_now(("lamp.1.on", "lamp.2.on", "main"))
    await until(lambda: bench.value(LAMP.at(2)) == (True, Quality.GOOD))
    assert bench.clock.now() - began < 0.3  # three gaps; not a tick each


# -- sending -------------------------------------------------------------------------------------------------------


@virtual
async def test_the_window_holds_requests_back_and_a_command_goes_before_the_polls() -> None:
    bench = await Bench().adopted()
    asked: list[str] = []
    bench.peer.answers = asked.append
    bench.box.look_now(("lamp.1.on", "lamp.2.on"))
    prepared, told = bench.prepare(lamp(1, True))
    bench.box.enqueue(prepared)
    await asyncio.sleep(0.1)
    assert asked == ["get lamp.1.on"]
    assert told == []
    bench.peer.say(b"is lamp.1.on off\n")
    await until(lambda: len(asked) == 2)
    assert asked[1] == "put lamp.1.on on"
    assert [what[:2] for what in told] == [("sent", 0)]


@virtual
async def test_a_launched_command_passes_the_window() -> None:
    bench = await Bench().adopted()
    asked: list[str] = []
    bench.peer.answers = asked.append
    bench.box.look_now(("lamp.1.on", "lamp.2.on"))
    assert bench.box.launch(bench.prepare(lamp(1, True))[0]) is not None
    await until(lambda: len(asked) == 2)
    assert asked == ["get lamp.1.on", "put lamp.1.on on"]


@virtual
async def test_a_link_whose_buffer_is_not_empty_is_late_at_once() -> None:
    bench = await Bench().adopted()
    prepared, _ = bench.prepare(lamp(1, True))
    assert bench.peer.transport is not None
    bench.peer.transport.waiting = 5
    assert bench.box.launch(prepared) is None
    bench.peer.transport.waiting = 0
    await asyncio.sleep(1)
    assert bench.far.values["lamp.1.on"] == "off"


@virtual
async def test_several_verbs_each_learn_when_they_left_and_who_was_refused() -> None:
    bench = await Bench().adopted()
    bench.far.refuses = ""
    prepared, told = bench.prepare(lamp(1, True), lamp(2, True))
    bench.box.enqueue(prepared)
    await until(lambda: len(told) == 2)
    assert [what[:2] for what in told] == [("sent", 0), ("sent", 1)]
    bench.far.refuses = "the fuse is out"
    prepared, told = bench.prepare(lamp(1, False), lamp(2, False))
    bench.box.enqueue(prepared)
    await until(lambda: len(told) == 4)
    assert [what for what in told if what[0] == "no"] == [("no", 0, "the fuse is out"), ("no", 1, "the fuse is out")]


class SalvoDriver(ShelfDriver):
    """Packs all lamps of a call into one request."""

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Line]:
        lines = super().ask(verbs)
        return [Line(" and ".join(line.text for line in lines))]


@virtual
async def test_a_salvo_left_when_its_last_byte_did_and_its_refusal_is_everybody_s() -> None:
    bench = await Bench(shelf_kind(SalvoDriver)).adopted()
    bench.far.refuses = "the fuse is out"
    prepared, told = bench.prepare(lamp(1, True), lamp(2, True))
    bench.box.enqueue(prepared)
    await until(lambda: len(told) == 2)
    assert [what[:2] for what in told] == [("sent", None), ("no", None)]


@virtual
async def test_what_the_box_can_t_do_is_refused_before_a_byte_leaves() -> None:
    bench = await Bench().adopted()
    before = bench.box.counts.requests
    with pytest.raises(RefusedError, match="A shelf can't roll"):
        bench.box.prepare([Roll("x")])
    label: PointSpec[str] = PointSpec("lamp.1.label", str, settable=True)
    with pytest.raises(RefusedError, match="second command") as refused:
        bench.box.prepare([Set(label, "a\nput lamp.2.on on")])
    assert refused.value.code == "value"
    assert bench.box.counts.requests == before


@virtual
async def test_more_commands_than_may_wait_are_refused() -> None:
    bench = await Bench().adopted()
    bench.far.silent = True
    for _ in range(512):
        bench.box.enqueue(bench.prepare(lamp(1, True))[0])
    bench.box.enqueue(bench.prepare(lamp(1, True))[0])  # one is on its way by now
    with pytest.raises(RefusedError, match="too much is waiting"):
        bench.box.enqueue(bench.prepare(lamp(1, True))[0])


@virtual
async def test_polls_beyond_the_queue_are_shed_and_the_rest_is_answered() -> None:
    bench = await Bench().adopted()
    done: list[bool] = []
    reads = bench.box.look_now(("main",) * 1000, lambda: done.append(True))
    assert reads is not None
    assert reads.open <= 513
    await until(lambda: done == [True])


@virtual
async def test_a_glance_is_not_repeated_while_one_is_unanswered() -> None:
    bench = await Bench(shelf_kind(window=99)).adopted()
    asked: list[str] = []
    bench.peer.answers = asked.append
    for _ in range(5):
        bench.box.glance(("lamp.2.on",))
    await asyncio.sleep(0.01)
    assert asked == ["get lamp.2.on"]


# -- time ----------------------------------------------------------------------------------------------------------


@virtual
async def test_the_points_of_a_look_are_polled_and_no_others() -> None:
    bench = await Bench().adopted()
    bench.peer.heard.clear()
    await asyncio.sleep(10)
    assert set(bench.peer.heard) == {"get main", "get lamp.1.on"}
    assert 8 <= bench.peer.heard.count("get main") <= 11


@virtual
async def test_boxes_that_came_up_together_are_polled_apart_and_none_late() -> None:
    """Else a thousand of them are asked at once, for ever."""
    slow = ShelfDriver.looks[0].every_s * 10
    kind = shelf_kind(looks=(Look((MAIN.name,), slow),))
    benches = [await Bench(kind, chance=chance).adopted() for chance in range(8)]
    began = benches[0].clock.now()
    first = []
    for bench in benches:
        bench.peer.heard.clear()
    for bench in benches:
        await until(lambda bench=bench: "get main" in bench.peer.heard)  # type: ignore[misc]
        first.append(bench.board.get("shelf-1", MAIN).asked_at - began)
    assert max(first) < slow + 1
    assert max(first) - min(first) > slow / 4


@virtual
async def test_a_value_older_than_its_promise_is_stale_within_three_seconds() -> None:
    bench = await Bench(shelf_kind(reply_s=1000.0, window=99)).adopted()
    asked = bench.board.get("shelf-1", LAMP.at(1)).asked_at
    bench.peer.answers = lambda line: b"is main on\n" if line == "get main" else None
    await until(lambda: bench.value(LAMP.at(1))[1] is Quality.STALE)
    assert 2 < bench.clock.now() - asked <= 3.1
    assert bench.value(LAMP.at(1))[0] is False
    assert bench.value(MAIN) == (True, Quality.GOOD)
    assert bench.value(LAMP.at(2)) == (False, Quality.GOOD)  # kept by notices, and the link was heard


@virtual
async def test_a_silent_link_is_not_believed_and_all_is_read_again_when_it_speaks() -> None:
    """Points kept by notices have no other way back: nobody polls them."""
    bench = await Bench(shelf_kind(reply_s=1000.0)).adopted()
    bench.far.silent = True
    await until(lambda: bench.value(LAMP.at(2))[1] is Quality.STALE)
    bench.far.silent = False
    bench.far.values["lamp.2.on"] = "on"
    bench.peer.say(b"is main on\n")
    await until(lambda: bench.value(LAMP.at(2)) == (True, Quality.GOOD))
    assert bench.value(LAMP.at(1)) == (False, Quality.GOOD)
    assert bench.box.counts.losses == 0


class BeatingDriver(ShelfDriver):
    slips = False

    def beat(self, now_s: float) -> Sequence[Line]:
        if self.slips:
            raise RuntimeError("a slip in the beat")
        return [Line("get lamp.2.on")]


@virtual
async def test_the_beat_comes_as_often_as_the_driver_says() -> None:
    bench = await Bench(shelf_kind(BeatingDriver, beat_s=2.0)).adopted()
    bench.peer.heard.clear()
    await asyncio.sleep(20)
    assert 8 <= bench.peer.heard.count("get lamp.2.on") <= 10


# -- a driver's slips ----------------------------------------------------------------------------------------------


class SlippingDriver(ShelfDriver):
    where = ""

    def look(self, names: Collection[str] | None) -> Sequence[Line]:
        if names == ("boom",):
            raise RuntimeError("a slip")
        return [Line("get a\nget b")] if names == ("smuggle",) else super().look(names)

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Line]:
        raise KeyError("a slip")


SLIPS: list[tuple[str, type[ShelfDriver], dict[str, Any], Callable[[Bench], object]]] = [
    # where the driver slips, driver, what else it is, what brings it out
    ("hear", ShelfDriver, {}, lambda bench: bench.peer.say(b"boom\n")),
    ("put of a name nobody declared", ShelfDriver, {}, lambda bench: bench.peer.say(b"now lamp.9.on on\n")),
    ("look", SlippingDriver, {}, lambda bench: bench.box.look_now(("boom",))),
    ("encode of a look", SlippingDriver, {}, lambda bench: bench.box.look_now(("smuggle",))),
    ("beat", BeatingDriver, {"beat_s": 1.0, "slips": True}, lambda bench: None),
]


@pytest.mark.parametrize(
    ("driver", "change", "bring_out"), [row[1:] for row in SLIPS], ids=[row[0].replace(" ", "-") for row in SLIPS]
)
@virtual
async def test_a_driver_s_slip_ends_its_own_box_for_the_supervisor_to_count(
    driver: type[ShelfDriver], change: dict[str, Any], bring_out: Callable[[Bench], object]
) -> None:
    bench, neighbour = Bench(shelf_kind(driver, **change)), Bench()
    await bench.adopted()
    await neighbour.adopted()
    bring_out(bench)
    await until(bench.task.done)
    assert isinstance(bench.task.exception(), (RuntimeError, KeyError, ValueError))
    assert bench.value(LAMP.at(1)) == (False, Quality.STALE)
    assert bench.value(LINK_UP) == (False, Quality.GOOD)
    await asyncio.sleep(5)
    assert neighbour.box.adopted
    assert neighbour.value(LAMP.at(1)) == (False, Quality.GOOD)


@virtual
async def test_a_slip_in_ask_refuses_the_command_and_leaves_the_link_alone() -> None:
    """Nothing was sent; ending the link of a recorder that rolls would help nobody."""
    bench = await Bench(shelf_kind(SlippingDriver)).adopted()
    with pytest.raises(RefusedError, match="its driver failed") as refused:
        bench.box.prepare([lamp(1, True)])
    assert refused.value.code == "driver"
    assert bench.box.adopted


@virtual
async def test_a_doubt_of_the_kind_is_the_box_s_health_until_it_is_gone() -> None:
    bench = await Bench().adopted()
    bench.peer.say(b"now main off\n")
    await until(lambda: bench.value(HEALTH) == (Health.LOCAL, Quality.GOOD))
    assert bench.value(HEALTH_WHY) == ("its main switch is off", Quality.GOOD)
    bench.peer.say(b"now main on\n")
    await until(lambda: bench.value(HEALTH) == (Health.WELL, Quality.GOOD))


class BlindDriver(ShelfDriver):
    """A box that has nothing to be read."""

    looks = ()

    def look(self, names: Collection[str] | None) -> Sequence[Line]:
        return []

    def hear(self, event: Line, board: BoardWriter, awaiting: Line | None) -> None:
        return None


@virtual
async def test_a_box_that_can_t_be_read_is_adopted_when_its_link_is_open() -> None:
    bench = Bench(shelf_kind(BlindDriver))
    await bench.adopted()
    assert bench.peer.heard == []
