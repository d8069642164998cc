"""Does the doctor find each fault of an installation, and name a remedy? On this machine, with faults planted.

Source: own construction; the numbers are those of our own goals. What adjtimex returns is its manual page, from memory.
"""

import json
import socket
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from stagectl.cli import doctorchecks as checks
from stagectl.cli import main
from stagectl.cli.doctorchecks import Finding
from stagectl.site import MqttEntry
from tests.inlets.http.authority import NAME, issue

SITE = """\
site: Small hall
devices:
  iso-1: {{box: text-deck, at: "127.0.0.1:{port}", called: Rec 1}}
"""


def call(*words: str) -> Result:
    return CliRunner().invoke(main, ["doctor", *words], env={"NO_COLOR": "1"})


def stepping(by: float) -> Callable[[], float]:
    """A clock on which each look takes `by` seconds."""
    at = [0.0]

    def now() -> float:
        at[0] += by
        return at[0]

    return now


def bad(findings: list[Finding]) -> list[tuple[str, str]]:
    assert all(one.remedy for one in findings if not one.well), "whatever is wrong has a remedy"
    return [(one.what, one.say) for one in findings if one.well is False]


@pytest.fixture
def door() -> Any:
    """A port where somebody listens."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def test_an_old_python_and_a_missing_library_are_named() -> None:
    assert bad([checks.python((3, 10, 2))]) == [("python", "Python 3.10.2 is too old.")]
    assert bad([checks.python((3, 11, 0))]) == []
    assert bad(checks.libraries(["click>=8", "no-such-library>=1"])) == [
        ("libraries", "The library no-such-library is missing.")
    ]
    assert bad(checks.libraries()) == []


def test_a_driver_that_can_not_be_used_is_told_with_why(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checks, "find_kinds", lambda: ({}, {"odd": "The driver odd can't be loaded: slip."}))
    assert bad(checks.drivers()) == [("drivers", "The driver odd can't be loaded: slip.")]


@pytest.mark.parametrize(("state", "well"), [(0, True), (5, False), (-1, None)])
def test_a_clock_that_nobody_keeps_right_is_told(state: int, well: bool | None) -> None:
    assert checks.clock(lambda buffer: state).well is well


@pytest.mark.parametrize(("limit", "well"), [(1024, False), (8192, True), (-1, True)])
def test_too_few_file_handles_are_told(limit: int, well: bool) -> None:
    assert checks.handles(limit).well is well


def test_a_data_folder_that_others_may_read_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    assert bad(checks.data(tmp_path, stepping(0.001))) == [("data", f"{tmp_path} is open to others (mode 0755).")]
    tmp_path.chmod(0o700)
    assert bad(checks.data(tmp_path, stepping(0.001))) == []
    assert not list(tmp_path.iterdir()), "nothing is left behind"


def test_a_slow_disk_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    assert bad(checks.data(tmp_path, stepping(0.2))) == [("disk", "A line is safe on disk after 200.0 ms.")]


def test_a_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tmp_path.chmod(0o700)
    monkeypatch.setattr(checks.shutil, "disk_usage", lambda path: type("Usage", (), {"free": 12_000_000})())
    assert bad(checks.data(tmp_path, stepping(0.001))) == [("disk", f"0.0 GB are free at {tmp_path}.")]


def test_a_damaged_journal_is_told_with_its_place(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    (tmp_path / "journal-00000001.log").write_bytes(b"00000000 no\n")
    ((what, say),) = bad(checks.data(tmp_path, stepping(0.001)))
    assert (what, say.startswith("The journal is damaged: journal-00000001.log:1: ")) == ("journal", True)


def test_a_folder_that_is_not_there_yet_is_no_fault(tmp_path: Path) -> None:
    assert bad(checks.data(tmp_path / "new" / "data", stepping(0.001))) == []


async def test_a_taken_port_is_told_and_a_free_one_is_not(door: int) -> None:
    taken = await checks.web("127.0.0.1", door)
    assert (taken.well, taken.say) == (False, f"127.0.0.1:{door} is taken by another program.")
    assert (await checks.web("127.0.0.1", 0)).well
    assert not (await checks.web("192.0.2.1", 80)).well, "no address of this machine (RFC 5737)"


def test_a_certificate_that_ends_soon_or_fits_no_key_is_told(tmp_path: Path) -> None:
    tls = issue(tmp_path / "ca", NAME, days=20)
    now = datetime.now(UTC)
    assert bad([checks.certificate(tls, now - timedelta(days=30))]) == []
    ((what, say),) = bad([checks.certificate(tls, now)])
    assert (what, say.startswith(f"The certificate of {NAME} ends on ")) == ("certificate", True)
    ((_, say),) = bad([checks.certificate(replace(tls, key=tmp_path / "ca" / "ca.key"), now)])
    assert "can't be used" in say
    result = call("--tls", str(tls.certificate), str(tls.key))
    assert f"! The certificate of {NAME} ends on " in result.stdout
    site = tmp_path / "site.yaml"
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    files = f"certificate: {tls.certificate}, key: {tls.key}"
    site.write_text(f"site: Small hall\ndevices: {{}}\nhttp: {{at: 127.0.0.1:{port}, {files}}}\n")
    told = call(str(site)).stdout
    assert f"! The certificate of {NAME} ends on " in told
    assert f"127.0.0.1:{port}" in told, "its port is looked at too"


async def test_a_broker_that_is_missing_or_silent_is_told(door: int) -> None:
    class Site:
        mqtt = MqttEntry("managed")

    own: Any = Site()
    assert (await checks.mqtt(own, which=lambda name: None)).well is False
    assert (await checks.mqtt(own, which=lambda name: name)).well is True
    own.mqtt = MqttEntry("external", "127.0.0.1", door)
    assert (await checks.mqtt(own)).well is True
    own.mqtt = MqttEntry("external", "127.0.0.1", 1)
    assert (await checks.mqtt(own)).say == "The MQTT broker at 127.0.0.1:1 is not reached: connection refused."


def test_a_whole_installation_is_looked_at_from_the_terminal(tmp_path: Path, door: int) -> None:
    site = tmp_path / "site.yaml"
    site.write_text(SITE.format(port=door))
    told = json.loads(call(str(site), "--http", "127.0.0.1:0", "--data", str(tmp_path / "data"), "--json").stdout)
    found = {one["what"]: one for one in told["findings"]}
    assert found["boxes"]["say"] == f"Rec 1 answers at 127.0.0.1:{door}."
    assert {"python", "libraries", "drivers", "clock", "limits", "port", "data", "site", "mqtt"} <= set(found)


def test_a_box_that_is_not_reached_and_a_wrong_site_file_end_with_exit_6(tmp_path: Path) -> None:
    site = tmp_path / "site.yaml"
    site.write_text(SITE.format(port=1))
    result = call(str(site), "--http", "127.0.0.1:0")
    assert result.exit_code == 6
    assert "! Rec 1 is not reached at 127.0.0.1:1: connection refused. Check its power" in result.stdout
    site.write_text("site: Small hall\ndevices: {iso-1: {box: no-such}}\n")
    result = call(str(site), "--http", "127.0.0.1:0")
    assert result.exit_code == 6
    assert "site.yaml:2:" in result.stdout
