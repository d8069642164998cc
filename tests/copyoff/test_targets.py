"""Does every kind of target keep what the contract of targets promises?

Sources of the other sides: OpenSSH `sshd` 9.2 of Debian 12 with its `internal-sftp`; moto's S3 server 5, with the one
condition it leaves out added from Amazon's API reference (tests/copyoff/bucketserver.py).
"""

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from stagectl.copyoff import s3, sftp
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.folder import Folder
from stagectl.copyoff.mhlhistory import Wrong
from stagectl.copyoff.mhlverify import verify
from stagectl.copyoff.places import place_of
from stagectl.copyoff.target import Target
from stagectl.model.secret import Secret
from stagectl.site import TargetEntry
from tests.copyoff.historytree import CLIPS, SEALING, copy, told
from tests.copyoff.reftool import reference
from tests.copyoff.targetservers import KEY, Place, SshServer, bucket, bucket_server, ssh_server
from tests.real.wire import Wire, Wires

pytestmark = pytest.mark.slow

JOB = "01KB0000000000000000000000"
PATH = "iso-1/CAM1_T001.mov"
MTIME = datetime(2026, 11, 25, 5, 13, 12, tzinfo=UTC)
ODD = ["iso-1/Säle & <Türen> [1];%.mov", "a~b#c?d.mov", " sp .mov", "a%20b.mov", "日本/x.mov"]


@pytest.fixture(scope="module")
def ssh(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SshServer]:
    with ssh_server(tmp_path_factory.mktemp("ssh")) as server:
        yield server


@pytest.fixture(scope="module")
def buckets() -> Iterator[str]:
    with bucket_server() as url:
        yield url


@pytest.fixture(params=["folder", "sftp", "s3"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    match request.param:
        case "folder":
            return Place(lambda: Folder("rushes", tmp_path), resumes=True)
        case "sftp":
            server: SshServer = request.getfixturevalue("ssh")
            account = replace(server.account, folder=str(tmp_path))
            return Place(lambda: sftp.Sftp("rushes", account, server.key), resumes=True)
    url: str = request.getfixturevalue("buckets")
    into, uploads = bucket(url, f"b{abs(hash(tmp_path))}", "day/one"), s3.Uploads()
    return Place(lambda: s3.S3("rushes", into, KEY, uploads), resumes=False)


@pytest.fixture
def target(place: Place) -> Iterator[Target]:
    with closing(place.open()) as opened:
        yield opened


def write(target: Target, path: str, data: bytes, job: str = JOB) -> None:
    with closing(target.open_part(path, job)) as part:
        part.cut(0)
        for at in range(0, len(data), 1 << 20):
            part.write(memoryview(data)[at : at + (1 << 20)])
        assert part.size == len(data)
        part.sync()


def lay(target: Target, path: str, data: bytes, job: str = JOB) -> None:
    write(target, path, data, job)
    target.publish(path, job, MTIME)


def read(target: Target, path: str) -> bytes:
    return b"".join(target.read_back(path))


def refused(target: Target, path: str, job: str = JOB) -> Reason:
    with pytest.raises(CopyError) as caught:
        target.publish(path, job, None)
    assert str(caught.value).startswith("rushes")
    return caught.value.reason


def test_a_copy_stands_when_it_is_published_and_not_before(target: Target) -> None:
    write(target, PATH, b"abcd")
    assert target.at(PATH) is None
    assert list(target.tree()) == []
    target.publish(PATH, JOB, MTIME)
    standing = target.at(PATH)
    assert standing is not None
    assert standing.size == 4
    assert standing.mtime in (MTIME, None)
    assert read(target, PATH) == b"abcd"
    assert [(one.path, one.size) for one in target.tree()] == [(PATH, 4)]


@pytest.mark.parametrize("path", ODD)
def test_any_name_is_kept(target: Target, path: str) -> None:
    lay(target, path, b"abcd")
    assert read(target, path) == b"abcd"
    assert [one.path for one in target.tree()] == [path]


@pytest.mark.parametrize("size", [0, 1, (4 << 20) + 1, 20_000_000])
def test_any_size_is_kept(target: Target, size: int) -> None:
    data = os.urandom(size)
    lay(target, PATH, data)
    assert read(target, PATH) == data


def test_nothing_is_ever_overwritten(target: Target) -> None:
    lay(target, PATH, b"first")
    write(target, PATH, b"second", "other")
    assert refused(target, PATH, "other") is Reason.OCCUPIED
    assert read(target, PATH) == b"first"
    target.discard(PATH, "other")
    assert read(target, PATH) == b"first"


def test_a_part_that_is_discarded_is_gone_and_nothing_else(target: Target) -> None:
    lay(target, "iso-1/other.mov", b"stays")
    write(target, PATH, b"abcd")
    target.discard(PATH, JOB)
    target.discard(PATH, JOB)
    assert refused(target, PATH) in (Reason.TARGET, Reason.SHORT)
    assert [one.path for one in target.tree()] == ["iso-1/other.mov"]


def test_a_part_is_begun_by_one_session_and_named_by_another(place: Place) -> None:
    """One thread fetches, another reads back and publishes."""
    with closing(place.open()) as one:
        write(one, PATH, b"abcd")
    with closing(place.open()) as other:
        other.publish(PATH, JOB, MTIME)
        assert read(other, PATH) == b"abcd"


def test_a_part_is_gone_on_with_where_the_target_can(place: Place) -> None:
    if not place.resumes:
        return
    data = os.urandom(6_000_000)
    with closing(place.open()) as one:
        write(one, PATH, data[:5_000_000])
    with closing(place.open()) as other, closing(other.open_part(PATH, JOB)) as part:
        assert part.size == 5_000_000
        assert b"".join(part.read(4_500_000)) == data[:4_500_000]
        part.cut(4_500_000)
        part.write(memoryview(data)[4_500_000:])
        part.sync()
        assert b"".join(other.read_part(PATH, JOB)) == data
        other.publish(PATH, JOB, None)
        assert read(other, PATH) == data


def test_manifests_are_written_whole_and_replaced_only_where_they_may(target: Target) -> None:
    chain = "ascmhl/ascmhl_chain.xml"
    assert target.read_small(chain) is None
    target.write_small(chain, b"one", replace=False)
    with pytest.raises(CopyError) as caught:
        target.write_small(chain, b"two", replace=False)
    assert caught.value.reason is Reason.OCCUPIED
    assert target.read_small(chain) == b"one"
    target.write_small(chain, b"2", replace=True)
    assert target.read_small(chain) == b"2"
    assert [one.path for one in target.tree("ascmhl")] == [chain]
    assert list(target.tree("nowhere")) == []


def test_what_is_not_there_is_told_as_that(target: Target) -> None:
    with pytest.raises(CopyError):
        read(target, "iso-1/nowhere.mov")
    assert target.at("iso-1/nowhere.mov") is None


def test_room_is_told_where_there_is_a_number(target: Target) -> None:
    free = target.free()
    assert free is None or free > 0


def test_a_history_is_written_and_verified_there(target: Target) -> None:
    for path, data in CLIPS.items():
        lay(target, path, data)
    SEALING(target, (copy(path, data) for path, data in CLIPS.items()))
    assert verify(target).whole
    lay(target, "iso-9/stranger.mov", b"x")
    SEALING(target, [copy("iso-9/never.mov", b"y")])
    report = verify(target)
    assert report.generations == 2
    assert told(report) == {(Wrong.NEW, "iso-9/stranger.mov"), (Wrong.MISSING, "iso-9/never.mov")}


# --- SFTP -------------------------------------------------------------------------------------------------------------


def test_the_standard_s_tool_verifies_what_went_there_by_sftp(ssh: SshServer, tmp_path: Path) -> None:
    with closing(sftp.Sftp("rushes", replace(ssh.account, folder=str(tmp_path)), ssh.key)) as target:
        for path, data in CLIPS.items():
            lay(target, path, data)
        SEALING(target, (copy(path, data) for path, data in CLIPS.items()))
    assert reference("ascmhl-debug", "verify", tmp_path).returncode == 0
    assert (tmp_path / "iso-2/empty.mov").stat().st_mtime == MTIME.timestamp()
    assert not [path for path in tmp_path.rglob("*") if ".part-" in path.name]


def test_a_server_with_another_key_gets_nothing(ssh: SshServer, tmp_path: Path) -> None:
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", tmp_path / "other"], check=True, timeout=30)
    known = tmp_path / "known_hosts"
    known.write_text(f"[127.0.0.1]:{ssh.account.port} {(tmp_path / 'other.pub').read_text()}")
    with pytest.raises(CopyError, match="not the one that is known") as caught:
        sftp.Sftp("rushes", replace(ssh.account, known_hosts=known), ssh.key)
    assert caught.value.reason is Reason.TARGET
    with pytest.raises(CopyError, match="ssh-keyscan") as caught:
        sftp.Sftp("rushes", replace(ssh.account, known_hosts=tmp_path / "none"), ssh.key)
    assert caught.value.reason is Reason.TARGET


def test_a_key_that_is_not_known_there_does_not_get_in(ssh: SshServer, tmp_path: Path) -> None:
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", tmp_path / "other"], check=True, timeout=30)
    with pytest.raises(CopyError, match="does not take our key"):
        sftp.Sftp("rushes", ssh.account, Secret((tmp_path / "other").read_text()))
    with pytest.raises(CopyError, match="no private key") as caught:
        sftp.Sftp("rushes", ssh.account, Secret("nonsense"))
    assert "nonsense" not in str(caught.value)


def test_a_folder_or_server_that_is_not_there_is_told(ssh: SshServer, tmp_path: Path) -> None:
    with pytest.raises(CopyError, match="no such file or folder"):
        sftp.Sftp("rushes", replace(ssh.account, folder=str(tmp_path / "nowhere")), ssh.key)
    with pytest.raises(CopyError, match="can't reach"):
        sftp.Sftp("rushes", replace(ssh.account, port=9), ssh.key)


def test_a_path_that_leads_out_is_refused(ssh: SshServer, tmp_path: Path) -> None:
    with closing(sftp.Sftp("rushes", replace(ssh.account, folder=str(tmp_path)), ssh.key)) as target:
        for path in ("../x", "/etc/passwd", "a/../../x"):
            with pytest.raises(CopyError, match="no path below"):
                target.at(path)


@pytest.mark.skipif(os.geteuid() != 0, reason="mounts a small disk, which takes root")
def test_a_full_disk_there_is_told_as_full(ssh: SshServer, tmp_path: Path) -> None:
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=4m", "stagectl-test", tmp_path], check=True, timeout=30)
    try:
        with (
            closing(sftp.Sftp("rushes", replace(ssh.account, folder=str(tmp_path)), ssh.key)) as target,
            closing(target.open_part(PATH, JOB)) as part,
            pytest.raises(CopyError, match="full") as caught,
        ):
            part.write(memoryview(bytes(8 << 20)))
        assert caught.value.reason is Reason.FULL
    finally:
        subprocess.run(["umount", "-l", tmp_path], check=True, timeout=30)


# --- S3 ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [4, 12 << 20])
def test_who_comes_second_to_a_key_overwrites_nothing(buckets: str, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Between the look and the completion another writer may come: the store itself must say no."""
    monkeypatch.setattr(s3, "PIECE", 5 << 20)
    target = s3.S3("rushes", bucket(buckets, f"second{size}"), KEY, s3.Uploads())
    write(target, PATH, bytes(size))
    lay(target, PATH, b"first", "other")
    with monkeypatch.context() as patch:
        patch.setattr(target, "at", lambda path: None)
        assert refused(target, PATH) is Reason.TARGET  # looked at again, and then it is in the way
    assert read(target, PATH) == b"first"


def test_an_upload_in_several_pieces_is_one_object(buckets: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(s3, "PIECE", 5 << 20)
    target = s3.S3("rushes", bucket(buckets, "pieces"), KEY, s3.Uploads())
    data = os.urandom(17_000_000)
    lay(target, PATH, data)
    assert read(target, PATH) == data


def test_a_copy_that_reads_back_wrong_is_withdrawn(buckets: str) -> None:
    target = s3.S3("rushes", bucket(buckets, "withdrawn"), KEY, s3.Uploads())
    lay(target, PATH, b"wrong")
    target.withdraw(PATH, JOB)
    assert target.at(PATH) is None


def test_an_upload_is_lost_with_the_program_and_copied_anew(buckets: str) -> None:
    into = bucket(buckets, "restart")
    write(s3.S3("rushes", into, KEY, s3.Uploads()), PATH, b"abcd")
    after = s3.S3("rushes", into, KEY, s3.Uploads())
    assert refused(after, PATH) is Reason.SHORT
    lay(after, PATH, b"abcd")
    assert read(after, PATH) == b"abcd"


def test_a_bucket_or_store_that_is_not_there_is_told(buckets: str) -> None:
    into = bucket(buckets, "there")
    with pytest.raises(CopyError, match="no such bucket"):
        s3.S3("rushes", replace(into, name="not-there"), KEY, s3.Uploads())
    with pytest.raises(CopyError, match="did not answer") as caught:
        s3.S3("rushes", replace(into, url="http://127.0.0.1:9"), KEY, s3.Uploads())
    assert "not-a-secret" not in str(caught.value)


@pytest.mark.parametrize("size", [4, 12 << 20])
def test_a_store_that_knows_no_condition_is_written_to_with_a_look_before(
    buckets: str, monkeypatch: pytest.MonkeyPatch, size: int
) -> None:
    monkeypatch.setattr(s3, "PIECE", 5 << 20)
    target = s3.S3("rushes", bucket(buckets, "old"), KEY, s3.Uploads())
    with pytest.raises(CopyError, match="knows no create-only") as caught:
        lay(target, f"{size}.mov", bytes(size))
    assert caught.value.again
    lay(target, f"{size}.mov", bytes(size))  # the engine's next try
    write(target, f"{size}.mov", b"second", "other")
    assert refused(target, f"{size}.mov", "other") is Reason.OCCUPIED
    assert read(target, f"{size}.mov") == bytes(size)


# --- bad wires --------------------------------------------------------------------------------------------------------


@pytest.fixture
def wires() -> Iterator[Wires]:
    with Wires() as made:
        yield made


def cut(wire: Wire) -> None:
    wire.cut()


def half_open(wire: Wire) -> None:
    wire.half_open()


def pour(target: Target) -> None:
    """Write more than the buffers on the way hold."""
    with closing(target.open_part(PATH, JOB)) as part:
        for _ in range(200):
            part.write(memoryview(bytes(1 << 20)))


def broken(target: Target) -> CopyError:
    with pytest.raises(CopyError) as caught:
        pour(target)
    return caught.value


@pytest.mark.parametrize("breaks", [cut, half_open])
def test_a_server_that_is_lost_in_mid_copy_is_told_and_the_part_gone_on_with(
    ssh: SshServer, wires: Wires, tmp_path: Path, breaks: Callable[[Wire], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sftp, "CALL_S", 1.0)
    monkeypatch.setattr(sftp, "CONNECT_S", 5.0)
    wire = wires.add("ssh", (ssh.account.host, ssh.account.port))
    known = tmp_path / "known_hosts"
    known.write_text(ssh.account.known_hosts.read_text().replace(str(ssh.account.port), str(wire.address[1])))
    (tmp_path / "tree").mkdir()
    account = replace(ssh.account, port=wire.address[1], folder=str(tmp_path / "tree"), known_hosts=known)
    with closing(sftp.Sftp("rushes", account, ssh.key)) as target:
        write(target, PATH, b"ab")
        breaks(wire)
        error = broken(target)
    assert error.reason is Reason.TARGET
    assert error.again
    wire.heal()
    wire.cut()
    with closing(sftp.Sftp("rushes", account, ssh.key)) as again, closing(again.open_part(PATH, JOB)) as part:
        part.cut(2)
        part.write(memoryview(b"cd"))
        part.sync()
        again.publish(PATH, JOB, None)
        assert read(again, PATH) == b"abcd"


@pytest.mark.parametrize("breaks", [cut, half_open])
def test_a_store_that_is_lost_in_mid_copy_is_told(
    buckets: str, wires: Wires, breaks: Callable[[Wire], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(s3, "CALL_S", 1)
    monkeypatch.setattr(s3, "PIECE", 5 << 20)
    address = urlsplit(buckets)
    wire = wires.add("s3", (str(address.hostname), int(address.port or 0)))
    into = bucket(buckets, f"lost-{breaks.__name__.replace('_', '-')}")
    target = s3.S3("rushes", replace(into, url=f"http://127.0.0.1:{wire.address[1]}"), KEY, s3.Uploads())
    write(target, "first.mov", b"abcd")
    wire.refuse() if breaks is cut else breaks(wire)
    error = broken(target)
    assert error.reason is Reason.TARGET
    assert error.again
    wire.heal()
    lay(target, PATH, b"abcd", "again")
    assert read(target, PATH) == b"abcd"


# --- as the site file has them ----------------------------------------------------------------------------------------


def entries(ssh: SshServer, buckets: str, tmp_path: Path) -> list[TargetEntry]:
    """A place of each kind, with its key file."""
    (tmp_path / "tree").mkdir()
    for name, text in (("ssh-key", ssh.key.reveal()), ("s3-key", f"{KEY[0]}\n{KEY[1].reveal()}\n")):
        (tmp_path / name).write_text(text)
        (tmp_path / name).chmod(0o600)
    into, account = bucket(buckets, "site", "rushes"), ssh.account
    return [
        TargetEntry("a", "folder", "copies"),
        TargetEntry(
            "b",
            "sftp",
            str(tmp_path / "tree"),
            host=account.host,
            port=account.port,
            user=account.user,
            key=tmp_path / "ssh-key",
            known_hosts=account.known_hosts,
        ),
        TargetEntry("c", "s3", into.folder, url=into.url, bucket=into.name, key=tmp_path / "s3-key"),
    ]


def test_each_kind_of_place_opens_as_the_site_file_has_it(ssh: SshServer, buckets: str, tmp_path: Path) -> None:
    for entry in entries(ssh, buckets, tmp_path):
        place = place_of(entry, tmp_path / "data")
        for path, data in CLIPS.items():  # a target for each copy, and another to publish it, as the engine does
            with closing(place.open()) as target:
                write(target, path, data)
            with closing(place.open()) as target:
                target.publish(path, JOB, MTIME)
        with closing(place.open()) as target:
            SEALING(target, (copy(path, data) for path, data in CLIPS.items()))
            assert verify(target).whole, entry.kind
    assert (tmp_path / "data/copies/iso-1/CAM1_T001.mov").read_bytes() == b"abcd"


def test_a_key_that_others_can_read_is_not_used(ssh: SshServer, buckets: str, tmp_path: Path) -> None:
    for entry in entries(ssh, buckets, tmp_path)[1:]:
        assert entry.key is not None
        entry.key.chmod(0o640)
        with pytest.raises(CopyError, match="chmod 600") as caught:
            place_of(entry, tmp_path).open()
        assert caught.value.reason is Reason.TARGET
        entry.key.unlink()
        with pytest.raises(CopyError, match="can't be read"):
            place_of(entry, tmp_path).open()


# --- without the libraries --------------------------------------------------------------------------------------------


def by_sftp(folder: Path) -> Target:
    return sftp.Sftp("rushes", sftp.Account("127.0.0.1", 9, "copy", "/", folder), Secret(""))


def to_s3(_: Path) -> Target:
    return s3.S3("rushes", s3.Bucket("http://127.0.0.1:9", "b", "", ""), KEY, s3.Uploads())


@pytest.mark.parametrize(("library", "extra", "opened"), [("asyncssh", "sftp", by_sftp), ("obstore", "s3", to_s3)])
def test_without_the_library_a_clear_line_says_what_to_install(
    library: str, extra: str, opened: Callable[[Path], Target], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(CopyError, match=rf"stagectl\[{extra}\]") as caught:
        opened(tmp_path)
    assert caught.value.reason is Reason.TARGET
