"""Does it survive a death at every point? One story of roll and cut, ended before each outside effect in turn.

Between two effects nothing outside changes, so effects are enough. Each is tried with SIGKILL and with a power cut.
"""

from collections.abc import Iterator

from tests.studio.plan import Op, Plan
from tests.studio.run import Crash, Result, run


def story(seed: int) -> Plan:
    """Two decks and a router: roll, route, cut, each with an id that is sent again when nobody answers."""
    ops = (
        Op(2.0, "ines", "roll", "", "k000"),
        Op(3.5, "ben", "set", "hall", "k001", arg=1 + seed % 8),
        Op(5.0, "ines", "cut", "", "k002", take="seen"),
        Op(6.5, "ben", "roll", "iso-1", "k003"),
    )
    return Plan(seed, "crash-points", 2, 9.0, ops, ())


def crashes(seed: int, every: int = 1) -> Iterator[tuple[Crash, Result]]:
    """Run the story once for each effect and each way to die; `every` takes every n-th effect only."""
    plan = story(seed)
    whole = run(plan)
    before_quiet = len([at for at, *_ in whole.run.sent])  # only to be sure that it did something
    assert before_quiet
    for at in range(1, until(whole) + 1, every):
        for how in ("kill", "power_cut"):
            crash = Crash(at, how)
            yield crash, run(plan, crash)


def until(whole: Result) -> int:
    """The number of the last effect before the quiet at the end: later ones are polls like those before."""
    return whole.effects_by(whole.plan.length)
