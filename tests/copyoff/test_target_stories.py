"""Do whole runs of the engine end with two copies where a server and a bucket are the places?

The other sides are Debian's sshd and moto's buckets, as in test_targets.py; recorders are in memory.
"""

import asyncio
import os
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from stagectl.copyoff import s3, sftp
from stagectl.copyoff.job import State, Wanted
from stagectl.copyoff.mhlverify import Report, verify
from stagectl.copyoff.record import Published
from stagectl.copyoff.target import Target
from tests.copyoff.deckstore import DeckStore, House, house
from tests.copyoff.historytree import SEALING
from tests.copyoff.targetservers import KEY, SshServer, bucket, bucket_server, ssh_server

pytestmark = pytest.mark.slow

CLIPS = {"1/T001_wide.mov": os.urandom(300_000), "1/T002 [&] %.mov": os.urandom(70_000), "2/empty.mov": b""}


@pytest.fixture(scope="module")
def ssh(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SshServer]:
    with ssh_server(tmp_path_factory.mktemp("ssh")) as server:
        yield server


@pytest.fixture(scope="module")
def buckets() -> Iterator[str]:
    with bucket_server() as url:
        yield url


class Places:
    """A server and a bucket, opened by name; a new one has forgotten all uploads, as a new process has."""

    def __init__(self, ssh: SshServer, into: s3.Bucket) -> None:
        self._ssh, self._into, self._uploads = ssh, into, s3.Uploads()

    def __call__(self, name: str, top: Path) -> Target:
        if name == "nas":
            return sftp.Sftp(name, replace(self._ssh.account, folder=str(top)), self._ssh.key)
        return s3.S3(name, self._into, KEY, self._uploads)


def states(of: House) -> set[State]:
    return {copy.state for job in of.all() for copy in job.copies}


def sealed_and_verified(opened: Places, name: str, data: Path, copies: list[Published]) -> Report:
    with closing(opened(name, data / "nas")) as target:
        SEALING(target, (copy for copy in copies if copy.target == name))
        return verify(target)


def held(opened: Places, name: str, data: Path) -> dict[str, bytes]:
    with closing(opened(name, data / "nas")) as target:
        return {one.path: b"".join(target.read_back(one.path)) for one in target.tree()}


async def test_a_run_ends_with_a_copy_on_the_server_and_one_in_the_bucket(
    ssh: SshServer, buckets: str, tmp_path: Path
) -> None:
    opened = Places(ssh, bucket(buckets, "run"))
    decks = {"iso-1": DeckStore(dict(CLIPS)), "iso-2": DeckStore(dict(CLIPS))}
    async with house(tmp_path, decks, ("nas", "cloud"), make=opened) as of:
        await of.whole_run()
        assert states(of) == {State.PUBLISHED}
        assert len(of.published) == 2 * 2 * len(CLIPS)
    for name in ("nas", "cloud"):
        report = await asyncio.to_thread(sealed_and_verified, opened, name, tmp_path, of.published)
        assert report.whole
        assert report.good == 2 * len(CLIPS)
    assert decks["iso-1"].clips == CLIPS


@pytest.mark.parametrize("first", ["nas", "cloud"])
async def test_a_run_that_was_broken_off_is_whole_after_a_restart(
    ssh: SshServer, buckets: str, tmp_path: Path, first: str
) -> None:
    second = "cloud" if first == "nas" else "nas"
    into = bucket(buckets, f"broken-{first}")
    decks = {"iso-1": DeckStore({"1/T001_wide.mov": os.urandom(3_000_000)})}
    async with house(tmp_path, decks, (first, second), make=Places(ssh, into)) as of:
        await of.engine.run(Wanted())
        await of.until(lambda: of.engine.progress().done > 1_000_000)
    opened = Places(ssh, into)
    async with house(tmp_path, decks, (first, second), make=opened) as of:  # it goes on with the run by itself
        await of.ended()
        assert states(of) == {State.PUBLISHED}
    for name in (first, second):
        found = await asyncio.to_thread(held, opened, name, tmp_path)
        assert found == {"iso-1/T001_wide.mov": decks["iso-1"].clips["1/T001_wide.mov"]}
