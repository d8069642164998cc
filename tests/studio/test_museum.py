"""Does the campaign find what it is there for? Old bugs still fit into the product, and some are caught here."""

import pytest

from tests.studio.faults import KINDS
from tests.studio.museum import BUGS, caught_by
from tests.studio.plan import PROFILES


@pytest.mark.parametrize("name", BUGS)
def test_an_old_bug_still_fits_into_the_product(name: str) -> None:
    with BUGS[name].plant():
        pass


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    ["stop-on-connect", "ok-is-proof", "ids-not-compared", "not-written-down", "epoch-stands-still"],
)
def test_a_planted_bug_is_caught_within_a_few_seeds(name: str) -> None:
    assert caught_by(name, (BUGS[name].first, *range(12))) is not None


def test_every_fault_that_may_be_drawn_is_known_and_some_plan_draws_it() -> None:
    drawn = {kind for table in PROFILES.values() for kind, _ in table}
    assert drawn == set(KINDS)
