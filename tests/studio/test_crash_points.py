"""Does the daemon survive a death before any outside effect? A sample here, all of them with `python -m ... crash`."""

import pytest

from tests.studio.crashes import crashes

EVERY = 23  # no divisor of the polls' rhythm, so that every kind of effect is met


@pytest.mark.slow
@pytest.mark.timeout(180)
def test_no_rule_breaks_whenever_it_dies() -> None:
    told = [f"{crash.how} before effect {crash.at}: {result.breaches[0]}" for crash, result in crashes(0, EVERY)
            if result.breaches]  # fmt: skip
    assert told == []
