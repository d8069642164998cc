"""What of the daemon that died: are its ids remembered, its open commands judged by what is seen, nothing sent again?

Source of all rows: own construction, from the rule that open commands of a dead daemon are judged by the first full
look, else unconfirmed.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import pytest

from stagectl.control.recovery import KEEP, SEEN_S, Recovery
from stagectl.model.capabilities.recorder import TRANSPORT
from stagectl.model.capabilities.router import OUTPUT_SOURCE
from stagectl.model.errors import RefusedError
from stagectl.model.verbs import Ended
from tests.control.booth import Booth, deck, plain_kind, put, roll, router
from tests.driverkit.memory import virtual


@dataclass
class Record:
    """A journal record as far as recovery looks at it."""

    kind: str
    n: int
    data: dict[str, Any] = field(default_factory=dict)
    who: str = "ines"

    def __or__(self, data: dict[str, Any]) -> "Record":
        return Record(self.kind, self.n, self.data | data, self.who)


def command(n: int, verb: str, *targets: str, id: str = "", **data: Any) -> Record:  # noqa: A002
    return Record(
        "command",
        n,
        {"id": id or f"id{n}", "inlet": "http", "verb": verb, "say": f"{verb} all", "content": f"[{verb}]"}
        | {"targets": list(targets), "take": None, "args": {}}
        | data,
    )


def verdict(n: int, of: Record, **boxes: str) -> Record:
    told = {name.replace("_", "-"): [ended, "", 0.3] for name, ended in boxes.items()}
    return Record("verdict", n, {"id": of.data["id"], "boxes": told})


async def judged(booth: Booth, records: Iterable[Record]) -> Recovery:
    recovery = Recovery.read(records, booth.clock.now())
    for group in recovery.groups.values():
        booth.commands.remember(group)
    await recovery.judge(booth.commands, booth.clock, booth.log)
    return recovery


def ends(recovery: Recovery, identifier: str) -> list[tuple[str, str]]:
    return [(str(one.ended), one.code) for one in recovery.groups[identifier].verdicts]


@virtual
async def test_ids_of_the_dead_daemon_are_answered_with_their_verdicts() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck()).up()
    one = command(1, "roll", "iso-1", "iso-2", take=7)
    recovery = await judged(booth, [one, verdict(2, one, iso_1="verified", iso_2="failed")])
    group = booth.commands.known("id1", "[roll]")
    assert group is recovery.groups["id1"]
    assert (group.ended, group.worst, group.count, group.take) == (True, Ended.FAILED, "1 of 2", 7)
    assert await group.wait(0) is True
    with pytest.raises(RefusedError, match="was used for something else: roll all"):
        booth.commands.known("id1", "[cut]")
    assert booth.log.records == []


@virtual
async def test_open_commands_are_judged_by_what_is_seen_and_never_sent_again() -> None:
    booth = Booth(iso_1=deck(), iso_2=deck(), hall=router())
    booth.far["iso-1"].values["transport"] = "recording"
    booth.far["hall"].values["output.1.source"] = 3
    route = {"point": "output 1 source", "value": 3}
    recovery = await judged(
        booth,
        [
            command(1, "roll", "iso-1", "iso-2"),
            command(2, "cut", "iso-1", "iso-2"),
            command(3, "set", "hall", args=route),
            command(4, "set", "hall", args=route | {"value": 4}),
            command(5, "set", "paths", "hall", args={"point": "program shows", "value": "wide"}),
            command(6, "play", "iso-1"),
        ],
    )
    assert ends(recovery, "id1") == [("verified", ""), ("failed", "seen-otherwise")]
    assert ends(recovery, "id2") == [("failed", "seen-otherwise"), ("verified", "")]
    assert ends(recovery, "id3") == [("verified", "")]
    assert ends(recovery, "id4") == [("failed", "seen-otherwise")]
    assert ends(recovery, "id5") == [("unconfirmed", "not-known"), ("unconfirmed", "not-known")]
    assert ends(recovery, "id6") == [("failed", "seen-otherwise")]  # it records, so it does not play
    assert [booth.acts(name) for name in booth.boxes] == [[], [], []]
    assert [data["id"] for data in booth.log.of("verdict")] == [f"id{n}" for n in range(1, 7)]
    assert recovery.open == {}


@virtual
async def test_what_can_not_be_seen_is_unconfirmed_and_does_not_wait_for_ever() -> None:
    booth = Booth(iso_1=deck(), iso_2=deck())
    booth.wires["iso-2"].refuse = ConnectionRefusedError(111, "Connection refused")
    booth.far["iso-1"].values["transport"] = "recording"
    begun = booth.clock.now()
    recovery = await judged(booth, [command(1, "roll", "iso-1", "iso-2"), command(2, "roll", "iso-1")])
    assert SEEN_S <= booth.clock.now() - begun < SEEN_S + 1
    assert ends(recovery, "id1") == [("verified", ""), ("unconfirmed", "not-known")]
    assert recovery.groups["id2"].ended_at is not None
    assert recovery.groups["id2"].ended_at - begun < 1  # it had not to wait for the other's deck
    assert [booth.acts(name) for name in booth.boxes] == [[], []]


@virtual
async def test_another_box_at_the_decks_address_proves_nothing() -> None:
    booth = Booth(iso_1=plain_kind())
    booth.boxes["iso-1"]._expect = {"identity.model": "Another"}
    booth.far["iso-1"].values["transport"] = "recording"
    recovery = await judged(booth, [command(1, "roll", "iso-1")])
    assert booth.board.get("iso-1", TRANSPORT).value == "recording"
    assert ends(recovery, "id1") == [("unconfirmed", "not-known")]


@virtual
async def test_a_device_that_left_the_site_is_unconfirmed() -> None:
    booth = await Booth(iso_1=deck()).up()
    recovery = await judged(booth, [command(1, "roll", "iso-9")])
    assert ends(recovery, "id1") == [("unconfirmed", "not-known")]


@virtual
async def test_a_second_start_reads_the_verdict_of_the_first() -> None:
    booth = await Booth(iso_1=deck()).up()
    one = command(1, "roll", "iso-1")
    await judged(booth, [one])
    (data,) = booth.log.of("verdict")
    again = Recovery.read([one, Record("verdict", 2, data)], 0.0)
    assert again.open == {}
    assert ends(again, "id1") == [("failed", "")]


@virtual
async def test_doubled_records_open_nothing_again() -> None:
    one, two = command(1, "roll", "iso-1"), command(2, "roll", "iso-1")
    done = verdict(3, one, iso_1="verified")
    for records in ([one, one, two, done, done], [one, two, done, one, two, done], [one, two, done, one]):
        recovery = Recovery.read(records, 0.0)
        assert list(recovery.open) == ["id2"]
        assert ends(recovery, "id1") == [("verified", "")]


@pytest.mark.parametrize("odd", [{"targets": 5}, {"args": "x"}, {"take": []}, {"id": ["x"]}, {"args": [1]}])
def test_a_command_that_makes_no_sense_is_left_out_and_the_start_goes_on(odd: dict[str, Any]) -> None:
    one = command(1, "roll", "iso-1")
    late = Record("verdict", 3, {"id": odd.get("id", "id1"), "boxes": {"iso-1": ["verified", "", float("inf")]}})
    recovery = Recovery.read([one, command(2, "cut", "iso-1") | odd, late, command(4, "roll", "iso-1")], 0.0)
    assert "id4" in recovery.open
    assert recovery.groups["id1"].verb == "roll"


@virtual
async def test_an_id_that_was_forgotten_and_used_again_is_the_newer_wish() -> None:
    old, new = command(1, "roll", "iso-1", id="x"), command(9, "cut", "iso-1", id="x")
    recovery = Recovery.read([old, verdict(2, old, iso_1="verified"), new], 0.0)
    assert (recovery.groups["x"].verb, list(recovery.open)) == ("cut", ["x"])


@virtual
async def test_only_the_newest_ids_are_kept() -> None:
    records = [command(n, "roll", "iso-1") for n in range(1, KEEP + 4)]
    recovery = Recovery.read(records, 0.0)
    assert len(recovery.groups) == len(recovery.open) == KEEP
    assert next(iter(recovery.groups)) == "id4"


@pytest.mark.parametrize(
    "boxes",
    [
        {"iso-1": ["a-newer-word", "", 0.1]},
        {"iso-1": ["verified"]},
        {"iso-1": 7},
        {"iso-1": ["verified", "", None]},
        [],
    ],
)
def test_a_verdict_that_can_not_be_read_does_not_stop_the_start(boxes: Any) -> None:
    @virtual
    async def story() -> None:
        one = command(1, "roll", "iso-1")
        recovery = Recovery.read([one, Record("verdict", 2, {"id": "id1", "boxes": boxes})], 0.0)
        assert ends(recovery, "id1")[0][0] == "unconfirmed"
        assert recovery.open == {}

    story()


@virtual
async def test_records_of_a_real_press_are_read_back() -> None:
    booth = await Booth(iso_1=deck(), iso_2=deck(), hall=router()).up()
    booth.far["iso-2"].deaf = True
    booth.far["hall"].limp.add("output.1.source")
    rolled = booth.press(roll(booth), roll(booth, "iso-2"))
    salvo = await booth.settled(*(put(booth, "hall", OUTPUT_SOURCE.at(output), 4) for output in (1, 2)))
    assert await rolled.wait(30)
    assert await salvo.wait(30)
    late = booth.press(roll(booth, "iso-2"))  # the power goes here
    records = [Record(kind, n, data, who) for n, (kind, who, data) in enumerate(booth.log.records, 1)]
    recovery = Recovery.read(records, 0.0)
    assert list(recovery.open) == [late.id]
    for group in (rolled, salvo):
        again = recovery.groups[group.id]
        assert (again.worst, again.say, again.content, again.who) == (Ended.FAILED, group.say, group.content, "ines")
    assert recovery.groups[rolled.id].count == rolled.count == "1 of 2"
