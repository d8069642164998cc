"""What do 50,000 clips and 100 GiB cost in memory, from the list to the plan? Sparse files behind a real server."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from stagectl.copyoff.job import Wanted
from tests.copyoff.copier import House, copying
from tests.copyoff.servers import vsftpd

CLIPS = 50_000
SIZE = -(-100 * 2**30 // CLIPS)
MEMORY = Path("/dev/shm")  # where 50,000 names are quickly made
MOST_BYTES = 12_000_000  # more than before; all rows together would be about 60 MB


@pytest.mark.slow
@pytest.mark.timeout(180)  # seconds: each 200 clips of the list are on the disk before the next
async def test_a_plan_of_100_gib_in_50_000_clips_is_made_in_flat_memory(tmp_path: Path) -> None:
    for name in ("data", "shuttle"):
        (tmp_path / name).mkdir()
    with vsftpd(disk=str(MEMORY) if os.access(MEMORY, os.W_OK) else None) as server:
        house = House(str(tmp_path / "data"), {"iso-1": server.address}, {"shuttle": str(tmp_path / "shuttle")})
        for slot in ("1", "2"):
            (server.top / slot).mkdir()
        async with copying(house) as copier:
            server.put("1/T.mov", SIZE)
            assert await copier.engine.refresh(Wanted()) == {}
            before = resident()
            for number in range(CLIPS - 1):
                made = os.open(server.top / str(1 + number % 2) / f"T{number:05d}.mov", os.O_CREAT | os.O_WRONLY)
                os.ftruncate(made, SIZE)
                os.close(made)
            assert await copier.engine.refresh(Wanted()) == {}
            grown = resident() - before
            sums = copier.jobs.sums(Wanted())["iso-1"]
            first = copier.jobs.to_fetch("iso-1", Wanted(), ())
    assert (sums.clips, sums.waiting) == (CLIPS, CLIPS)
    assert sums.bytes >= 100 * 2**30
    assert first is not None
    assert grown < MOST_BYTES


def resident() -> int:
    """Bytes of this process in memory. Source: proc(5), statm."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")
