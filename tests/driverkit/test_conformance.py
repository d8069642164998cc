"""Does the conformance suite see what it is there to see? One planted fault a row, on the toy driver of the docs.

Source of all rows: own construction. Each fault is one that a driver author could make in an afternoon.
"""

import sys
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from stagectl.driverkit.conformance import Act, ConformanceError, Fault, Hand, Outcome, Report, check
from stagectl.driverkit.driver import BoxKind, Reply
from stagectl.driverkit.proxy import Proxy
from stagectl.model.verbs import Set

TOY = Path(__file__).parents[2] / "docs" / "toy_driver"


class Toy:
    """The toy's driver and its simulated box, by the names the tests use."""

    def __init__(self) -> None:
        import cue_light_box
        import cue_light_simulator

        self.driver: Any = cue_light_box.CueLightDriver
        self.codec: Any = cue_light_box.CueLightCodec
        self.kind: BoxKind = cue_light_box.BOX
        self.light, self.label = cue_light_box.LIGHT, cue_light_box.LABEL
        self.box: Any = cue_light_simulator.CueLightBox

    def kind_with(self, driver: Mapping[str, Any], codec: Mapping[str, Any]) -> BoxKind:
        made_driver = type("Planted", (self.driver,), dict(driver))
        made_codec = type("PlantedCodec", (self.codec,), dict(codec))
        return replace(self.kind, make=lambda options: made_driver(), codec=lambda options: made_codec())

    async def check(self, kind: BoxKind | None = None, *only: str, **change: Any) -> Report:
        async with self.box() as box:
            for name, value in change.items():
                setattr(box, name, value)
            red, green = self.light.at("red"), self.light.at("green")
            return await check(
                kind or self.kind,
                *box.address,
                acts=[
                    Act(Set(red, True), undo=Set(red, False)),
                    Act(Set(self.label, "a name that is far too long for such a little window"), refused=True),
                ],
                hand=Hand(lambda: box.press("green"), green.is_(True)),
                faults=[Fault("mute", lambda: setattr(box, "mute", True), lambda: setattr(box, "mute", False))],
                only=only,
                patience_s=4,
            )


@pytest.fixture
def toy(monkeypatch: pytest.MonkeyPatch) -> Iterator[Toy]:
    monkeypatch.syspath_prepend(str(TOY))
    yield Toy()
    for name in ("cue_light_box", "cue_light_simulator"):
        sys.modules.pop(name, None)


def hear_then(change: Callable[..., Any]) -> Callable[[Toy], dict[str, Any]]:
    """A driver that hears as the toy does, unless `change(driver, event[, board[, awaiting]])` returns something."""

    def made(toy: Toy) -> dict[str, Any]:
        def hear(self: Any, event: str, board: Any, awaiting: Any) -> Any:
            done = change(self, event, *(board, awaiting)[: change.__code__.co_argcount - 2])
            return toy.driver.hear(self, event, board, awaiting) if done is None else done

        return {"hear": hear}

    return made


def puts_words(_: Any, event: str, board: Any, awaiting: Any) -> Any:
    if event.startswith("red") and board.has("light.red.on"):
        board.put("light.red.on", event.partition(" ")[2])
        return Reply() if awaiting else None
    return None


def guesses(_: Any, event: str, board: Any, awaiting: Any) -> Any:
    if event.startswith("red") and board.has("light.red.on"):
        board.put("light.red.on", event.partition(" ")[2], lambda said: said != "off")
        return Reply() if awaiting else None
    return None


def ignores_notices(_: Any, event: str) -> Any:
    return () if event.startswith("*") else None


def falls_over_the_unheard(_: Any, event: str) -> Any:
    {"red": 1, "green": 1, "label": 1, "model": 1, "*": 1, "no": 1}[event.partition(" ")[0]]


def keeps_all(self: Any, event: str) -> Any:
    self.__dict__.setdefault("log", []).append(f"heard {event}")


def puts_a_stranger(_: Any, event: str, board: Any) -> Any:
    if event.startswith("green"):
        board.put("light.blue.on", "on")


def no_sentence(_: Any, event: str) -> Any:
    return Reply("E7") if event.startswith("no") else None


def gives_up_the_reading(toy: Toy) -> dict[str, Any]:
    connections: list[object] = []

    def look(self: Any, names: Any) -> Any:
        if names is None:
            connections.append(self)
        return [] if len(connections) > 1 and names is None else toy.driver.look(self, names)

    return {"look": look, "looks": ()}


def never_limits(self: Any, data: bytes) -> list[str]:
    *lines, self._tail = (self._tail + data).split(b"\n")
    return [line.decode(errors="replace") for line in lines]


def forgets_the_tail(_: Any, data: bytes) -> list[str]:
    return [line.decode(errors="replace") for line in data.split(b"\n") if line]


def takes_one_a_read(self: Any, data: bytes) -> list[str]:
    self._tail += data
    line, end, rest = self._tail.partition(b"\n")
    self._tail = rest if end else line
    return [line.decode(errors="replace")] if end else []


def gives_up_late_answers(toy: Toy) -> dict[str, Any]:
    """A beat while a question is open makes it throw the answer away."""

    def look(self: Any, names: Any) -> Any:
        asked = toy.driver.look(self, names)
        self.open = getattr(self, "open", 0) + len(asked)
        return asked

    def beat(self: Any, _: float) -> list[str]:
        self.given_up = self.open > 0
        return []

    def hear(self: Any, event: str, board: Any, awaiting: Any) -> Any:
        if getattr(self, "given_up", False):
            self.given_up = False
            return None
        reply = toy.driver.hear(self, event, board, awaiting)
        self.open -= reply is not None and awaiting is not None
        return reply

    return {"look": look, "beat": beat, "hear": hear, "beat_s": 0.1, "looks": ()}


NO_CODEC: dict[str, Any] = {}


def plain(**methods: Any) -> Callable[[Toy], dict[str, Any]]:
    return lambda toy: methods


PLANTED: list[tuple[str, str, Callable[[Toy], dict[str, Any]], dict[str, Any], str]] = [
    # what is planted, the claim that must fail, driver's change, codec's change, words of what was seen
    (
        "sets a lamp on connecting",
        "connects reading only",
        lambda toy: {"look": lambda self, names: ["set red off", *toy.driver.look(self, names)]},
        NO_CODEC,
        "'set red off', which is no read",
    ),
    (
        "puts a name nobody declared",
        "connects reading only",
        hear_then(puts_a_stranger),
        NO_CODEC,
        "KeyError: 'light.blue.on'",
    ),
    (
        "sets a lamp in its beat",
        "looks are reads",
        plain(beat_s=60.0, beat=lambda self, now_s: ["set red off"]),
        NO_CODEC,
        "'set red off', which is no read",
    ),
    (
        "puts words where yes or no belong",
        "points keep their specs",
        hear_then(puts_words),
        NO_CODEC,
        "light.red.on is 'off', it should be of type bool",
    ),
    (
        "reads and calls it setting",
        "acts are seen",
        plain(ask=lambda self, verbs: ["get red" for _ in verbs]),
        NO_CODEC,
        "ended failed, seen: light red on is no",
    ),
    (
        "calls everything a read",
        "acts are no reads",
        plain(reads=lambda self, request: True),
        NO_CODEC,
        "'set red on', which is declared as a read",
    ),
    (
        "raises for a verb it does not know",
        "refusals are sentences",
        plain(ask=lambda self, verbs: [f"set red {verb.value}" for verb in verbs]),
        NO_CODEC,
        "made the driver raise instead of refuse",
    ),
    (
        "refuses in a code",
        "refusals are sentences",
        hear_then(no_sentence),
        NO_CODEC,
        "its refusal is no sentence: 'E7'",
    ),
    (
        "lets a line end through",
        "line ends are refused",
        plain(),
        {"encode": lambda self, request: f"{request}\n".encode()},
        "was let through as b'set label a\\r\\nsmuggled\\n'",
    ),
    (
        "is deaf to notices and does not poll",
        "a hand is seen",
        lambda toy: {**hear_then(ignores_notices)(toy), "looks": ()},
        NO_CODEC,
        '"light green on is yes" was not seen',
    ),
    (
        "does not read again after a loss",
        "a lost link comes back",
        gives_up_the_reading,
        NO_CODEC,
        "was not read again after the return",
    ),
    (
        "throws late answers away",
        "slow answers meet their questions",
        gives_up_late_answers,
        NO_CODEC,
        "is not adopted",
    ),
    ("drops half a line", "single bytes make whole answers", plain(), {"feed": forgets_the_tail}, "is not adopted"),
    (
        "takes one line a read",
        "answers in one piece are taken apart",
        plain(),
        {"feed": takes_one_a_read},
        "the link was lost: it left a question unanswered",
    ),
    (
        "falls over what it never heard",
        "noise is survived",
        hear_then(falls_over_the_unheard),
        NO_CODEC,
        "the driver raised KeyError",
    ),
    (
        "has no limit for a line",
        "an endless line is ended",
        plain(),
        {"feed": never_limits},
        "bytes without a line end left",
    ),
    ("keeps all it heard", "a flood leaves nothing", hear_then(keeps_all), NO_CODEC, "bytes of notices left"),
    (
        "drops half a line at a split",
        "any split gives the same events",
        plain(),
        {"feed": forgets_the_tail},
        "in pieces of 1 bytes event 1 is another one",
    ),
    (
        "takes a word it lacks for on",
        "a word it lacks is unknown",
        hear_then(guesses),
        NO_CODEC,
        "light.red.on is True, which is a guess",
    ),
    (
        "falls over a damaged word",
        "a word it lacks is unknown",
        hear_then(falls_over_the_unheard),
        NO_CODEC,
        "the driver raised KeyError",
    ),
    (
        "falls over a damaged byte",
        "damaged bytes are no slip",
        hear_then(falls_over_the_unheard),
        NO_CODEC,
        "the driver raised KeyError",
    ),
]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("claim", "driver", "codec", "seen"),
    [row[1:] for row in PLANTED],
    ids=[row[0].replace(" ", "-") for row in PLANTED],
)
async def test_a_planted_fault_fails_its_claim(
    toy: Toy, claim: str, driver: Callable[[Toy], dict[str, Any]], codec: dict[str, Any], seen: str
) -> None:
    with pytest.raises(ConformanceError) as failed:
        (await toy.check(toy.kind_with(driver(toy), codec), claim)).demand()
    rows = {row.name: row.seen for row in failed.value.report.failed}
    assert seen in rows[claim]
    assert claim in str(failed.value)
    assert seen in str(failed.value)


@pytest.mark.slow
async def test_a_box_that_says_yes_and_does_nothing_is_not_believed(toy: Toy) -> None:
    report = await toy.check(None, "acts are seen", stuck=True)
    assert [row.name for row in report.failed] == ["acts are seen"]


async def test_a_box_that_does_not_answer_leaves_nothing_to_check(toy: Toy) -> None:
    async with Proxy("127.0.0.1", 1) as nobody:  # port 1 is nobody's: the wire hangs up
        with pytest.raises(ConformanceError, match="the box is not adopted"):
            await check(toy.kind, *nobody.address, patience_s=1)


async def test_what_nothing_was_given_for_is_not_asked(toy: Toy) -> None:
    async with toy.box() as box:
        report = await check(toy.kind, *box.address, only=["acts are seen", "a hand is seen"])
    assert [(row.name, row.outcome) for row in report.rows[1:]] == [
        ("acts are seen", Outcome.NOT_ASKED),
        ("a hand is seen", Outcome.NOT_ASKED),
    ]
    assert report.demand() is report
    assert "no acts were given" in str(report)


async def test_a_claim_that_does_not_exist_is_named(toy: Toy) -> None:
    with pytest.raises(ValueError, match=r'There is no claim "acts are sene"\. There are: connects reading only, '):
        await check(toy.kind, "127.0.0.1", 1, only=["acts are sene"])
