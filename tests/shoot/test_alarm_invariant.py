"""Does every cause give exactly one alarm, none without a cause, and does it return on heal, whatever the order?

Source: own construction; the claim is invariant 17 of our reliability goals. Faults come and go at random; what is
wrong is worked out beside the code under test, from the faults alone.
"""

from typing import Any, Final

from hypothesis import given, settings
from hypothesis import strategies as st

from stagectl.model.capabilities.recorder import INPUT_PRESENT, REMOTE, SLOT_STATE, SlotState
from stagectl.shoot.alarmrules import OFF_S
from tests.shoot.test_alarms import Hall

# what is done to a recorder: point, when ill, when well, and its alarm
ILLS: Final[dict[str, tuple[Any, Any, Any]]] = {
    "no-input": (INPUT_PRESENT, False, True),
    "remote-off": (REMOTE, False, True),
    "medium-in-error": (SLOT_STATE.at(2), SlotState.ERROR, SlotState.EMPTY),
}
BOXES: Final = ("iso-1", "iso-2", "iso-3", "iso-4", "hall")
STEPS = st.lists(
    st.tuples(
        st.sampled_from(BOXES),
        st.sampled_from(("lost", *ILLS)),
        st.sampled_from((0.02, 0.5, OFF_S + 1, 60.0)),
    ),
    max_size=25,
)


class Truth:
    """What is so, whoever knows it."""

    def __init__(self) -> None:
        self.lost: dict[str, float] = {}
        self.ill: dict[tuple[str, str], bool] = {}  # -> did the box tell it
        self.now = 0.0

    def wrong(self) -> set[str]:
        """What must be told now, causes only, where no three boxes were lost together."""
        found = {f"{box}.unreached" for box in self.lost}
        for (box, name), told in self.ill.items():
            if (
                told
                and box not in self.lost
                and not (name == "no-input" and box in ("iso-1", "iso-2") and "hall" in self.lost)
            ):
                found.add(f"{box}.{name}")
        return found


def read_anew(hall: Hall, truth: Truth, box: str) -> None:
    """A box is back: the kit reads all of it."""
    if box != "hall":
        for name, (spec, ill, well) in ILLS.items():
            hall.put(box, spec, ill if (box, name) in truth.ill else well)
            if (box, name) in truth.ill:
                truth.ill[box, name] = True
    far: Any = hall.house.boxes[box]
    for name in list(far.values):
        far._tell(name)


def turn(hall: Hall, truth: Truth, box: str, what: str) -> None:
    """A fault comes, or goes if it is there."""
    if what == "lost":
        if box in truth.lost:
            del truth.lost[box]
            read_anew(hall, truth, box)
            hall.well(box)
        else:
            truth.lost[box] = truth.now
            hall.lose(box)
    elif box != "hall":
        spec, ill, well = ILLS[what]
        gone = truth.ill.pop((box, what), None) is not None
        if not gone:
            truth.ill[box, what] = box not in truth.lost
        if box not in truth.lost:
            hall.put(box, spec, well if gone else ill)


@settings(max_examples=150, deadline=None)
@given(STEPS)
def test_each_cause_is_told_and_none_without_one_and_all_return(steps: list[tuple[str, str, float]]) -> None:
    hall, truth = Hall(4), Truth()
    for box, what, wait in steps:
        turn(hall, truth, box, what)
        hall.go(wait)
        truth.now += wait
        shown = set(hall.wrong())
        groups = {name for name in shown if name.startswith("net-")}
        if groups:
            assert len(truth.lost) >= 1
            folded = {alarm.id for alarm in hall.alarms.everything() if alarm.under in groups}
            assert shown - groups | {one for one in folded if one.endswith(".unreached")} >= {
                f"{name}.unreached" for name in truth.lost
            }
            assert shown - groups <= truth.wrong()
        else:
            assert shown == truth.wrong()
        assert len(shown) <= len(truth.lost) + len(truth.ill), "no alarm without a cause"
    for box in list(truth.lost):
        turn(hall, truth, box, "lost")
    for box, name in list(truth.ill):
        turn(hall, truth, box, name)
    hall.go(2 * OFF_S + 1)
    assert hall.wrong() == []
    assert all(not alarm.standing for alarm in hall.alarms.everything())
    assert all(alarm.state == "back" for alarm in hall.alarms.everything()), "only what nobody has seen is left"
    journal: Any = hall.house.chronicle._journal
    last = {data["alarm"]: data["what"] for kind, _, data in journal.records if kind == "alarm"}
    assert set(last.values()) <= {"off"}, "what was written down as on is written down as over"
