"""Is whoever watches the process fed while commands are judged in time, and not when they hang?

Source: own construction, after P09 of the reliability goals.
"""

from stagectl.control.watchdog import OVERDUE_S, Watchdog
from tests.model.hand_clock import HandClock


def test_it_is_fed_while_verdicts_come_in_time_and_starved_while_one_is_overdue() -> None:
    clock, fed, late = HandClock(), [0], [0.0]

    def feed() -> None:
        fed[0] += 1

    dog = Watchdog(clock, lambda: late[0], feed, 3.0)
    dog.start()
    clock.go(31)
    assert fed[0] == 11
    late[0] = OVERDUE_S + 1
    clock.go(30)
    assert fed[0] == 11, "the loop turns, but the command path hangs"
    late[0] = 0.0
    clock.go(3.1)
    assert fed[0] == 12
    dog.stop()
    dog.stop()
    clock.go(30)
    assert fed[0] == 12
    assert clock.waiting == 0
