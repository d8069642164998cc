"""Which tests are left out of the quick round? Those that run whole programs, sockets or seconds of it."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# how quick this machine is today is no property of the code
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")

HERE = Path(__file__).parent
# Folders and files of which every test is slow by its nature; single slow tests elsewhere carry the mark themselves.
SLOW = (
    "bench",
    "docs",
    "inlets",
    "real",
    "stories",
    "fuzz",
    "studio",
    "cli/test_watch.py",
    "cli/test_doctor.py",
    "control/test_command_stories.py",
    "control/test_journal.py",
    "driverkit/test_lag.py",
    "shoot/test_take_stories.py",
    "simulators/test_network.py",
    "simulators/test_process.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        where = item.path.relative_to(HERE).as_posix()
        if where.startswith(SLOW):
            item.add_marker(pytest.mark.slow)
