"""What happens to a take when the way to a recorder goes bad? Real processes and sockets.

One room, as many recorders as there are faults, each behind a wire of its own that fails in its own way at the same
time, and two healthy ones. So each fault also stands beside all others. Rows carry the ids of docs/faults.md.
"""

import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

import pytest

from tests.real import story
from tests.real.planted import STOP_ON_CONNECT, planted
from tests.real.room import Room
from tests.real.story import Findings
from tests.real.wire import Wire
from tests.stories.studio import until

pytestmark = pytest.mark.timeout(240)
Begin = Callable[[Wire], None]
HEALTHY: Final = 2
WATCHED_S: Final = 6.0


def late(seconds: float) -> Begin:
    return lambda wire: setattr(wire.back, "delay_s", seconds)


def cut(by: str, after: int) -> Begin:
    def begin(wire: Wire) -> None:
        wire.back.cut_by, wire.back.cut_after = by, after

    return begin


def swinging(wire: Wire) -> None:
    wire.back.jitter_s = wire.out.jitter_s = 1.0


def crumbs(wire: Wire) -> None:
    wire.back.slice_bytes, wire.back.slice_s = 1, 0.005


def glued(wire: Wire) -> None:
    wire.back.glue_s = 0.5


def doubled(wire: Wire) -> None:
    wire.back.twice = True


def swapped(wire: Wire) -> None:
    wire.back.swap = True


def flipped(wire: Wire) -> None:
    wire.back.flip = 0.02


def deaf(wire: Wire) -> None:
    wire.back.lose = True


def dumb(wire: Wire) -> None:
    wire.out.lose = True


def flapping(wire: Wire) -> None:
    wire.hang_up = True
    wire.cut()


def swallowed(wire: Wire) -> None:
    wire.swallow()
    wire.cut()


def narrow(wire: Wire) -> None:
    wire.out.rate = wire.back.rate = 1000.0


# fault: how it begins while all roll, and what must be shown of the recorder (None: nothing that is not so)
WHILE_ROLLING: Final[Mapping[str, tuple[Begin, Callable[[Room, str], None] | None]]] = {
    "N01 refused": (Wire.refuse, story.offline),
    "N02 a dial is swallowed": (swallowed, story.offline),
    "N03 reset": (Wire.cut, None),
    "N03 closed": (lambda wire: wire.cut("fin"), None),
    "N04 half-open": (Wire.half_open, story.offline),
    "N05 replies are lost": (deaf, story.stale),
    "N06 requests are lost": (dumb, story.stale),
    "N07 ten seconds late": (late(10.0), story.stale),
    "N08 jitter": (swinging, None),
    "N09 byte by byte": (crumbs, None),
    "N10 replies in one piece": (glued, None),
    "N13 replies come twice": (doubled, None),
    "N14 replies change places": (swapped, None),
    "N15 bits flip": (flipped, None),
    "N17 accepted and let go": (flapping, story.offline),
    "N22 a thousand bytes a second": (narrow, None),
}
# fault: how it stands when roll is pressed, and whether the recorder rolls all the same (None: it may)
AT_THE_PRESS: Final[Mapping[str, tuple[Begin, bool | None]]] = {
    "N04 half-open": (Wire.half_open, None),
    "N05 replies are lost": (deaf, True),
    "N06 requests are lost": (dumb, False),
    "N07 six seconds late": (late(6.0), True),
    "N08 jitter": (swinging, True),
    "N09 byte by byte": (crumbs, True),
    "N10 replies in one piece": (glued, True),
    "N13 replies come twice": (doubled, True),
    # `200 ok` and its line end are eight bytes; the ninth falls into the notice that follows
    **{f"N03 {by} after byte {k}": (cut(by, k), True) for by in ("rst", "fin") for k in (0, 1, 3, 7, 8, 9, 40)},
}


def room_of(rows: Sequence[str]) -> tuple[Room, dict[str, str], list[str]]:
    """A room with a recorder for each row behind its wire, row -> recorder, and the healthy ones."""
    folder = Path(tempfile.mkdtemp(prefix="stagectl-wires-"))
    decks = [f"iso-{number}" for number in range(1, len(rows) + 1)]
    room = Room(folder, len(rows) + HEALTHY, wired=decks)
    return room, dict(zip(rows, decks, strict=True)), room.decks[len(rows) :]


def test_while_rolling() -> None:
    """All roll, every wire goes bad, is looked at, heals; then the take is cut. Each that went wrong is named."""
    room, deck_of, healthy = room_of(list(WHILE_ROLLING))
    found = Findings()
    with room:
        room.start()
        story.roll(room)
        until(lambda: all(lane["clip"] for lane in room.get("takes/1")["lanes"]), story.SHOWN_S, "the clips are known")
        room.clear_wires()
        for name, (begin, _) in WHILE_ROLLING.items():
            begin(room.wires[deck_of[name]])
        for name, (_, shown) in WHILE_ROLLING.items():
            if shown is not None:
                found.see(name, lambda name=name, shown=shown: shown(room, deck_of[name]))
        end = time.monotonic() + WATCHED_S
        while time.monotonic() < end:
            for name, deck in deck_of.items():
                found.see(name, lambda deck=deck: story.never_wrong(room, deck))
        found.see("the others", lambda: story.others_obey(room))
        found.see("the others", lambda: story.well(room, *healthy, "hall"))
        for deck in deck_of.values():
            room.wires[deck].heal()
        for name, deck in [*deck_of.items(), *(("the others", deck) for deck in healthy)]:
            found.see(name, lambda deck=deck: story.healed(room, deck))
            found.see(name, lambda deck=deck: story.untouched(room, deck))
        found.see("the take", lambda: one_take(room, room.decks))
    found.none()


def one_take(room: Room, rolling: Sequence[str]) -> None:
    """One roll is one take, with all that roll; a cut ends it on all, and its bounds are the recorders' own."""
    same = until(
        lambda: sorted(room.get("takes/1")["rolling"]) == sorted(rolling), story.SHOWN_S, "all are in the take"
    )
    assert same
    assert [take["take"] for take in room.get("takes")["takes"]] == [1]
    status, ended = room.post("cut", {"take": 1})
    assert (status, ended["ended"]) == (200, "verified"), ended
    assert room.rolling() == []
    story.bounded(room, 1)


def test_at_the_press() -> None:
    """Every wire is bad when roll is pressed; it is pressed again; the wires heal; what rolls is cut."""
    room, deck_of, healthy = room_of(list(AT_THE_PRESS))
    found = Findings()
    with room:
        room.start()
        for name, (begin, _) in AT_THE_PRESS.items():
            begin(room.wires[deck_of[name]])
        answer = story.roll(room, but=list(deck_of.values()))
        for box in answer["boxes"]:
            name = next((name for name, deck in deck_of.items() if deck == box["device"]), "the others")
            found.see(name, lambda box=box: story.true(room, answer | {"boxes": [box]}))
        again = room.post("roll", {"name": "Evening"})[1]  # what rolls is left alone
        found.see("the others", lambda: story.true(room, again))
        found.see("the others", lambda: story.well(room, *healthy, "hall"))
        for deck in deck_of.values():
            room.wires[deck].heal()
        for name, deck in deck_of.items():
            found.see(name, lambda deck=deck: story.healed(room, deck))
            found.see(name, lambda name=name, deck=deck: rolled_once(room, deck, AT_THE_PRESS[name][1]))
        for deck in healthy:
            found.see("the others", lambda deck=deck: rolled_once(room, deck, True))
        found.see("the take", lambda: one_take(room, room.rolling()))
    found.none()


def rolled_once(room: Room, deck: str, rolled: bool | None) -> None:
    """It rolled at most once, and was not stopped."""
    history = room.truth(deck)["history"]
    assert room.rolls_of(deck) <= 1, history
    assert room.ends_of(deck) == 0, history
    if rolled is not None:
        assert room.rolls_of(deck) == rolled, history


def test_a_bug_on_purpose_is_named(tmp_path: Path) -> None:
    """A driver that stops what it finds rolling when it is connected again: a checker that never failed is untested."""
    with Room(tmp_path, 2, wired=["iso-1"]) as room:
        room.env = planted(tmp_path, STOP_ON_CONNECT)
        room.start()
        story.roll(room)
        room.clear_wires()
        room.wires["iso-1"].cut()
        until(lambda: room.ends_of("iso-1"), story.SHOWN_S, "the bug has struck")
        found = Findings()
        found.see("it", lambda: story.untouched(room, "iso-1"))
        found.see("the other", lambda: story.untouched(room, "iso-2"))
        assert list(found.of) == ["it"]
