"""What does the real world promise of its threads?"""

import os
import sys
import threading

import pytest

from stagectl.driverkit.real import BEHIND_NICE, RealOffload


def nice() -> int:
    return os.getpriority(os.PRIO_PROCESS, threading.get_native_id())


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a nice value is the whole process's")
async def test_threads_that_stay_behind_leave_the_loop_where_it_is() -> None:
    before = nice()
    offload = RealOffload(1, behind=True)
    assert await offload.run("nice", nice) == max(before, BEHIND_NICE)
    assert nice() == before
    offload.close()
