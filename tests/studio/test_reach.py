"""Is a campaign that reached too little told from one that proves something?"""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from tests.studio import campaign as campaigns
from tests.studio.campaign import Outcome, campaign
from tests.studio.reach import ENOUGH, awaits, ids
from tests.studio.run import SOMETIMES

EVERYTHING = dict.fromkeys((*SOMETIMES, *ids(), *(f"crash at {name}:{line}" for name, line, _ in awaits())), 1)
Play = Callable[..., int]


@pytest.fixture
def play(monkeypatch: pytest.MonkeyPatch) -> Play:
    """A campaign of so many runs, each of which reaches the same."""

    def go(runs: int, reached: dict[str, int], breaches: tuple[str, ...] = ()) -> int:
        def outcomes(tasks: Any, _: int) -> Iterator[Outcome]:
            for seed, profile in tasks:
                yield seed, profile, list(breaches), reached, 60.0, 0.1

        monkeypatch.setattr(campaigns, "_outcomes", outcomes)
        monkeypatch.setattr(campaigns, "_failure", lambda *_: "told")
        monkeypatch.setattr(campaigns, "crashes", lambda _: iter(()))
        return campaign(range(runs), "all", 1)

    return go


def test_a_campaign_that_reached_everything_and_broke_nothing_is_well(
    play: Play, capsys: pytest.CaptureFixture[str]
) -> None:
    assert play(ENOUGH, EVERYTHING) == 0
    out = capsys.readouterr().out
    assert f"{len(EVERYTHING)} of {len(EVERYTHING)} were reached" in out
    assert "seeds/s" in out
    assert "Never reached" not in out


@pytest.mark.parametrize("left_out", ["not durable", "N07", next(one for one in EVERYTHING if one.startswith("crash"))])
def test_what_a_long_campaign_never_reached_makes_it_fail_and_a_short_one_only_tells(
    play: Play, capsys: pytest.CaptureFixture[str], left_out: str
) -> None:
    reached = {what: count for what, count in EVERYTHING.items() if what != left_out}
    assert play(ENOUGH, reached) == 1
    assert left_out.removeprefix("crash at ") in capsys.readouterr().out.partition("Never reached: ")[2]
    assert play(ENOUGH - 1, reached) == 0
    assert "Never reached" in capsys.readouterr().out


def test_a_broken_rule_makes_any_campaign_fail(play: Play) -> None:
    assert play(1, EVERYTHING, ("rule 1 at 2.000: it stopped",)) == 1
