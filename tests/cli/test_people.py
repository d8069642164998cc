"""How do accounts and tokens look from the terminal? Against a folder of its own, and a stub that answers.

Source: own construction.
"""

import fcntl
import json
import os
import stat
import struct
import subprocess
import sys
import termios
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from stagectl.cli import main, squares
from stagectl.cli.client import Client, UnreachedError
from stagectl.control import passwords
from stagectl.inlets.http import qr
from stagectl.model.secret import Secret
from tests.cli.stub import Stub, problem
from tests.inlets.http.codes import read

PASSWORD = "four canvas otters yawn"
ISSUED = {
    "id": "01", "name": "ines", "kind": "person", "role": "operator", "verbs": None, "devices": None,
    "by": "ines", "made": "2027-03-12T14:00:00.000Z", "until": "2027-03-13T02:00:00.000Z", "say": "x",
    "token": "T" * 43,
}  # fmt: skip
LINK = f"https://stage.example:8443/guest#{'T' * 43}"
GUEST = ISSUED | {"name": "guest", "kind": "guest", "verbs": ["call", "roll"], "link": LINK, "qr": qr.rows(LINK)}


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(passwords, "N", 2**4)  # the real number has its own test
    folder = tmp_path / "data"
    monkeypatch.setenv("STAGECTL_DATA", str(folder))
    return folder


@pytest.fixture
def key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    return tmp_path / "stagectl" / "token"


def call(*args: str, typed: str = "") -> Result:
    return CliRunner().invoke(main, list(args), input=typed)


def add(name: str, role: str, *more: str) -> Result:
    return call("people", "add", name, "--role", role, *more, typed=f"{PASSWORD}\n{PASSWORD}\n")


# -- accounts ---------------------------------------------------------------------------------------------------------


def test_an_account_is_made_in_the_folder_and_its_password_is_nowhere(data: Path) -> None:
    result = add("tomas", "engineer")
    assert result.exit_code == 0, result.stderr
    assert "The house is closed now" in result.stdout
    assert PASSWORD not in result.output
    file = data / "people.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert PASSWORD not in file.read_text()
    kept = json.loads(file.read_text())["people"]["tomas"]["password"]
    assert passwords.matches(Secret(PASSWORD), kept)
    assert add("ines", "operator").exit_code == 0
    assert call("people", "list").stdout.split() == ["ines", "operator", "tomas", "engineer"]
    assert json.loads(call("people", "list", "--json").stdout)["people"] == {"ines": "operator", "tomas": "engineer"}


def test_a_password_is_no_argument() -> None:
    assert call("people", "add", "x", "--role", "viewer", "--data", "d", "--password", "y").exit_code == 2


def test_the_first_account_is_an_engineers_and_the_last_engineer_stays(data: Path) -> None:
    result = add("ines", "operator")
    assert (result.exit_code, (data / "people.json").exists()) == (2, False)
    assert "must be an engineer's" in result.stderr
    add("tomas", "engineer")
    assert call("people", "remove", "tomas").exit_code == 2
    add("ada", "engineer")
    assert call("people", "remove", "tomas").exit_code == 0
    assert call("people", "list").stdout.split() == ["ada", "engineer"]


def test_an_account_that_is_there_is_only_replaced_when_that_is_said(data: Path) -> None:
    add("tomas", "engineer")
    before = (data / "people.json").read_bytes()
    assert add("tomas", "engineer").exit_code == 2
    assert (data / "people.json").read_bytes() == before
    assert add("tomas", "engineer", "--replace").exit_code == 0
    assert (data / "people.json").read_bytes() != before


@pytest.mark.parametrize(
    ("typed", "says"), [("short\nshort\n", "12 characters"), ("password1234\npassword1234\n", "tried first")]
)
def test_a_password_that_is_not_taken_makes_no_account(data: Path, typed: str, says: str) -> None:
    result = call("people", "add", "tomas", "--role", "engineer", typed=typed)
    assert result.exit_code == 2
    assert says in result.stderr
    assert not (data / "people.json").exists()


def test_a_name_or_a_folder_that_can_t_be_is_a_sentence(data: Path, tmp_path: Path) -> None:
    assert "is no name for an account" in add("Tomás", "engineer").stderr
    assert 'There is no account "x"' in call("people", "remove", "x").stderr
    (tmp_path / "file").write_text("")
    assert call("people", "list", "--data", str(tmp_path / "file")).exit_code == 2
    add("tomas", "engineer")
    (data / "people.json").chmod(0o644)
    result = call("people", "list")
    assert (result.exit_code, "chmod 600" in result.stderr) == (2, True)


# -- tokens -----------------------------------------------------------------------------------------------------------


def test_who_logs_in_has_the_token_in_a_file_of_their_own(stub: Stub, key: Path) -> None:
    stub.routes["POST /api/v1/login"] = (200, dict(ISSUED))
    result = CliRunner().invoke(main, ["login", "ines"], input=f"{PASSWORD}\n", env={"STAGECTL_URL": stub.url})
    assert result.exit_code == 0, result.stderr
    assert stub.heard[0][2] == {"name": "ines", "password": PASSWORD}
    assert key.read_text().strip() == ISSUED["token"]
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert ISSUED["token"] not in result.output
    assert PASSWORD not in result.output


def log_in(stub: Stub) -> Result:
    return CliRunner().invoke(main, ["login", "ines"], input=f"{PASSWORD}\n", env={"STAGECTL_URL": stub.url})


def test_who_logs_in_again_ends_the_token_of_before(stub: Stub, key: Path) -> None:
    stub.routes["POST /api/v1/login"] = (200, ISSUED)
    stub.routes["POST /api/v1/logout"] = (200, {"say": "ines has left."})
    log_in(stub)
    log_in(stub)
    assert [path for _, path, _ in stub.heard] == ["/api/v1/login", "/api/v1/login", "/api/v1/logout"]
    assert stub.came[-1]["Authorization"] == f"Bearer {'T' * 43}"
    stub.routes["POST /api/v1/logout"] = (401, problem(401, "token", "This token has ended."))
    assert log_in(stub).exit_code == 0, "one that is over is let be"
    assert key.exists()


def test_every_verb_comes_with_the_token_and_logout_forgets_it(stub: Stub, key: Path) -> None:
    key.parent.mkdir()
    key.write_text("T" * 43 + "\n")
    key.chmod(0o600)
    stub.routes["POST /api/v1/logout"] = (200, {"say": "ines has left."})
    result = stub.run("logout", STAGECTL_WHO="ines")
    assert result.exit_code == 0
    assert stub.came[-1]["Authorization"] == f"Bearer {'T' * 43}"
    assert "X-Stage-Who" not in stub.came[-1]
    assert not key.exists()


def test_a_token_that_others_can_read_is_not_used(stub: Stub, key: Path) -> None:
    key.parent.mkdir()
    key.write_text("T" * 43)
    key.chmod(0o640)
    result = stub.run("now")
    assert (result.exit_code, stub.heard) == (4, [])
    assert "chmod 600" in result.stderr


def test_a_token_file_that_was_named_must_be_there(stub: Stub, tmp_path: Path) -> None:
    result = stub.run("now", STAGECTL_TOKEN_FILE=str(tmp_path / "none"))
    assert (result.exit_code, stub.heard) == (4, [])
    assert "stagectl login" in result.stderr


def test_a_token_is_not_sent_in_clear_to_another_machine() -> None:
    with pytest.raises(UnreachedError, match="not sent in clear"):
        Client("http://192.0.2.1:8420", token="T" * 43).get("now")
    assert "TTT" not in repr(Client("http://127.0.0.1:1", token="T" * 43))


def test_without_a_token_where_one_is_needed_the_remedy_is_told(stub: Stub, key: Path) -> None:
    assert not key.exists()
    stub.routes["GET /api/v1/now"] = (401, problem(401, "token", "This needs a token.", "Log in: stagectl login"))
    result = stub.run("now")
    assert (result.exit_code, result.stderr) == (4, "This needs a token. Log in: stagectl login\n")


@pytest.mark.usefixtures("key")
def test_a_token_for_a_program_is_shown_once_and_ended_by_name(stub: Stub) -> None:
    made = ISSUED | {"name": "pedal", "kind": "machine", "verbs": ["roll"], "devices": ["iso-1"]}
    stub.routes["POST /api/v1/tokens"] = (200, made)
    result = stub.run("token", "new", "pedal", "--role", "operator", "--verbs", "roll, good", "--devices", "iso-1")
    assert result.stdout.splitlines()[0] == "T" * 43
    assert stub.heard[-1][2] == {
        "name": "pedal", "role": "operator", "verbs": ["roll", "good"], "devices": ["iso-1"], "days": 90,
    }  # fmt: skip
    shown = {name: value for name, value in made.items() if name not in ("token", "say")}
    stub.routes["GET /api/v1/tokens"] = (200, {"tokens": [shown]})
    assert "pedal" in stub.run("token", "list").stdout
    stub.routes["POST /api/v1/tokens/01/revoke"] = (200, {"say": "The token of pedal has ended."})
    assert stub.run("token", "revoke", "pedal").stdout == "The token of pedal has ended.\n"
    assert stub.run("token", "revoke", "nobody").exit_code == 2
    assert stub.run("token", "new", "x", "--role", "engineer").exit_code == 2


@pytest.mark.usefixtures("key")
def test_a_guest_gets_a_link_whose_token_is_never_sent_by_a_browser(stub: Stub) -> None:
    stub.routes["POST /api/v1/guests"] = (200, GUEST)
    result = stub.run("guest", "new", "--acts", "roll,call", "--hours", "2")
    assert result.stdout.splitlines()[0] == LINK, "behind the hash: no server sees it in a line"
    assert result.stdout.splitlines()[1].endswith("to end it: stagectl token revoke 01"), result.stdout
    assert stub.heard[-1][2] == {"name": "guest", "acts": ["roll", "call"], "hours": 2}
    told = json.loads(stub.run("--json", "guest", "new").stdout)
    assert (told["link"], "token" in told) == (LINK, False)


@pytest.mark.usefixtures("key")
@pytest.mark.parametrize("columns", [80, 40])
def test_at_a_terminal_the_link_is_a_code_that_a_phone_reads(stub: Stub, columns: int) -> None:
    stub.routes["POST /api/v1/guests"] = (200, GUEST)
    shown = at_a_terminal(["guest", "new"], stub.url, columns).splitlines()
    drawn = [line.removeprefix(squares.INK).partition("\x1b")[0] for line in shown if line.startswith(squares.INK)]
    assert LINK in shown
    if columns < 45:
        assert drawn == []
        assert shown[0] == "Make the window 45 columns wide, and the link is shown as a code for a phone."
        return
    halves = {" ": "00", "▀": "10", "▄": "01", "█": "11"}
    rows = ["".join(halves[sign][half] for sign in line) for line in drawn for half in (0, 1)]
    assert read(rows[: len(rows[0])]) == LINK


def at_a_terminal(args: list[str], url: str, columns: int) -> str:
    """What a verb prints at a terminal of that width."""
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 60, columns, 0, 0))
    environment = {**os.environ, "STAGECTL_URL": url}
    for name in ("COLUMNS", "NO_COLOR"):
        environment.pop(name, None)
    child = subprocess.Popen([sys.executable, "-m", "stagectl", *args], stdout=theirs, env=environment)
    os.close(theirs)
    text = b""
    with suppress(OSError):  # the child has closed its end
        while more := os.read(ours, 65536):
            text += more
    os.close(ours)
    assert child.wait(30) == 0
    return text.decode().replace("\r\n", "\n")


@pytest.mark.usefixtures("key")
def test_the_desk_is_held_asked_for_and_given(stub: Stub) -> None:
    stub.routes["POST /api/v1/desk"] = (
        200,
        {"holder": "ines", "asker": "", "free_s": None, "say": "ines holds the desk."},
    )
    assert stub.run("hold").stdout == "ines holds the desk.\n"
    for args, body in (
        (["hold"], {"act": "take", "to": ""}),
        (["hold", "ask"], {"act": "ask", "to": ""}),
        (["hold", "give", "otto"], {"act": "give", "to": "otto"}),
        (["hold", "leave"], {"act": "give", "to": ""}),
        (["hold", "keep"], {"act": "keep", "to": ""}),
    ):
        assert stub.run(*args).exit_code == 0
        assert stub.heard[-1][2] == body
    assert stub.run("hold", "give").exit_code == 2
    stub.routes["POST /api/v1/desk"] = (409, problem(409, "held", "ines holds the desk.", "Ask for it first."))
    assert stub.run("hold").exit_code == 4


def test_who_holds_the_desk_is_told_with_what_is_happening(stub: Stub) -> None:
    now = {"say": "Ready: 5 of 5 can roll.", "wrong": [], "take": None, "last": "", "desk": "ines holds the desk."}
    stub.routes["GET /api/v1/now"] = (200, now)
    assert stub.run("now").stdout == "Ready: 5 of 5 can roll.\nines holds the desk.\n"
    stub.routes["GET /api/v1/now"] = (200, now | {"desk": ""})
    assert stub.run("now").stdout == "Ready: 5 of 5 can roll.\n"
