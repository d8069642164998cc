"""What must hold whatever happens to a box that rolls? Checked from the recorders' own record."""

from collections.abc import Callable, Collection
from typing import Any, Final

from tests.real.room import Room
from tests.stories.studio import until

HEALED_S: Final = 20.0  # a box is back after its link returns: 10 s is the bar, the rest is this machine's
SHOWN_S: Final = 12.0  # stale within 3 s, offline within 5 s, and this machine


def roll(room: Room, *, but: Collection[str] = ()) -> dict[str, Any]:
    """Roll all; all but those must be verified."""
    status, answer = room.post("roll", {"name": "Evening"})
    assert status == 200, answer
    ended = {box["device"]: box["ended"] for box in answer["boxes"]}
    assert {deck: ended[deck] for deck in room.decks if deck not in but} == {
        deck: "verified" for deck in room.decks if deck not in but
    }, answer
    true(room, answer)
    return dict(answer)


def true(room: Room, answer: dict[str, Any]) -> None:
    """What was called verified is so, by the recorders' own record."""
    want = answer["verb"] == "roll"
    for box in answer["boxes"]:
        if box["ended"] == "verified":
            assert (room.truth(box["device"])["transport"] == "record") is want, box


def untouched(room: Room, deck: str) -> None:
    """It rolls on since its one roll, and since the wire log was cleared was told nothing but to look."""
    truth = room.truth(deck)
    assert truth["transport"] == "record", truth["history"]
    assert (room.rolls_of(deck), room.ends_of(deck)) == (1, 0), truth["history"]
    assert room.acts(deck) == []


def bounded(room: Room, take: int) -> None:
    """The take log has every clip's own first label and length."""

    def differ() -> list[str]:
        lanes = room.get(f"takes/{take}")["lanes"]
        clips = {lane["device"]: room.truth(lane["device"])["clips"][-1] for lane in lanes}
        return [
            f"{lane} has {clips[lane['device']]}"
            for lane in lanes
            if (lane["clip"], lane["start"]) != (clips[lane["device"]]["name"], clips[lane["device"]]["start"])
            or not lane["length"]
        ]

    try:
        until(lambda: not differ(), SHOWN_S, "")
    except AssertionError:
        raise AssertionError(f"the take log differs from the recorders: {differ()}") from None


def is_shown(room: Room, deck: str) -> bool:
    """It is adopted, and what is shown of it is fresh and so."""
    if not room.device(deck)["adopted"]:
        return False
    shown, records = room.point(deck, "transport"), room.truth(deck)["transport"] == "record"
    return bool(shown["quality"] == "good" and (shown["value"] == "recording") is records)


def healed(room: Room, *decks: str) -> None:
    """These recorders (none named: all) are shown as they are."""
    for deck in decks or room.decks:
        until(lambda deck=deck: is_shown(room, deck), HEALED_S, f"{deck} is shown as it is")


def offline(room: Room, deck: str) -> None:
    """Out of reach, and what was known last is shown as old."""
    until(lambda: not room.device(deck)["up"], SHOWN_S, f"{deck} is out of reach")
    stale(room, deck)


def stale(room: Room, deck: str) -> None:
    """It is said that this is old news, and the last known value stays in sight."""
    until(lambda: room.quality(deck) == "stale", SHOWN_S, f"{deck} is shown stale")
    assert room.point(deck, "transport")["value"] == "recording"


def never_wrong(room: Room, deck: str) -> None:
    """What is shown is so, or said to be old."""
    shown = room.point(deck, "transport")
    assert shown["quality"] != "good" or shown["value"] == "recording", shown


def well(room: Room, *boxes: str) -> None:
    """These are good: adopted, never lost."""
    for name in boxes:
        device = room.device(name)
        assert device["adopted"], device
        assert device["counts"]["losses"] == 0, device["counts"]


def others_obey(room: Room) -> None:
    """An act on a healthy box is carried out and proved, whatever another one does."""
    status, answer = _switched(room)
    assert status == 200, answer
    assert answer["ended"] == "verified", answer


def obeys(room: Room) -> bool:
    """Is an act on a healthy box carried out and proved?"""
    status, answer = _switched(room)
    return status == 200 and answer["ended"] == "verified"


def _switched(room: Room) -> tuple[int, dict[str, Any]]:
    before = room.point("hall", "output.2.source")["value"]
    wish = {"point": "output 2 source", "value": 1 if before != 1 else 2}
    return room.post("commands", {"target": "hall", "verb": "set", "args": wish})


class Findings:
    """What went wrong for each of many that are looked at together."""

    def __init__(self) -> None:
        self.of: dict[str, list[str]] = {}

    def see(self, name: str, look: Callable[[], object]) -> None:
        """Look; what fails is kept under that name, and the others go on."""
        try:
            look()
        except AssertionError as error:
            self.of.setdefault(name, []).append(str(error)[:1500])

    def none(self) -> None:
        """Fail with all that was found, by name."""
        assert not self.of, "\n".join(f"{name}: {'; '.join(found)}" for name, found in self.of.items())
