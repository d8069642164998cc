"""Which levels rise now, and how is one stopped where it is?

A stop never lifts anything: the level stays at the last step that left, is set to that at once, and is then seen in
readings like any other value. What it stops fails, as overtaken by who stopped it.
"""

from dataclasses import dataclass, replace
from typing import Any

from stagectl.control.judging import Judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Ask, Set, Stay


@dataclass(frozen=True, slots=True)
class Rise:
    """A level on its way up.

    Attributes:
        device, point: of the level.
        to: where it goes, in the point's unit.
        who: asked for it.
        reached: the last step that left.
    """

    device: str
    point: PointSpec[Any]
    to: float
    who: str
    reached: float


class Rises:
    """The rises of all boxes, as the command path has them."""

    def __init__(self, judge: Judge) -> None:
        self._judge = judge

    def now(self) -> list[Rise]:
        """In the order in which they began."""
        found = []
        for command in self._judge.rising():
            verb, ramp = command.ask.verb, command.ramp
            assert isinstance(verb, Set)
            assert ramp is not None
            found.append(Rise(command.ask.target, verb.point, verb.value, command.ask.who, ramp.reached))
        return found

    def guard(self, ask: Ask) -> Ask:
        """A `Stay` with the value that its level has got to.

        Raises:
            RefusedError: code "still": it does not rise.
        """
        verb = ask.verb
        assert isinstance(verb, Stay)
        name = verb.point.name
        rise = next((one for one in self.now() if (one.device, one.point.name) == (ask.target, name)), None)
        if rise is None:
            raise RefusedError(
                f"{ask.target} {name.replace('.', ' ')} does not rise.",
                remedy="Look where it stands; to lower it, set it.",
                code="still",
            )
        return replace(ask, verb=Stay(replace(verb.point, ramp_per_s=0), round(rise.reached, 2)))
