"""Does a house close while it runs, and open to who has a password? Daemon and terminal as programs of their own."""

import json
import os
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from stagectl.control import passwords
from stagectl.model.secret import Secret
from tests.stories.programs import WAIT_S, program, refused, stagectl
from tests.stories.studio import until
from tests.stories.test_serve import served, url_of

PASSWORD = "four canvas otters yawn"
SITE = """
site: Small room
devices:
  deck-1: {box: text-deck, at: "127.0.0.1:9", called: Deck 1}
"""
pytestmark = pytest.mark.slow


def accounts(data: Path, **roles: str) -> None:
    """As `stagectl people add` leaves the file; its prompt has its own test."""
    kept = passwords.hashed(Secret(PASSWORD), b"0123456789abcdef")
    people = {name: {"role": role, "password": kept} for name, role in roles.items()}
    fresh = data / "people.json.new"
    fresh.touch(0o600)
    fresh.write_text(json.dumps({"v": 1, "people": people}))
    fresh.replace(data / "people.json")


def closed_to(url: str, token: str = "") -> bool:
    """Does the house ask whoever has this token for another one?"""
    asked = urllib.request.Request(f"{url}/api/v1/now", headers={"Authorization": f"Bearer {token}"} if token else {})
    try:
        with urllib.request.urlopen(asked, timeout=10):
            return False
    except urllib.error.HTTPError as error:
        return error.code == 401


def login(name: str, url: str, key: Path) -> subprocess.CompletedProcess[str]:
    told = {**os.environ, "STAGECTL_URL": url, "STAGECTL_TOKEN_FILE": str(key)}
    return subprocess.run(
        [sys.executable, "-m", "stagectl", "login", name], start_new_session=True,
        input=f"{PASSWORD}\n", text=True, capture_output=True, env=told, timeout=60, check=False,
    )  # fmt: skip


def test_a_house_that_gets_accounts_while_it_runs_asks_for_tokens_and_remembers_them(tmp_path: Path) -> None:
    site, data, key = tmp_path / "room.yaml", tmp_path / "data", tmp_path / "token"
    site.write_text(SITE, encoding="utf-8")
    with program(served(site, data), tmp_path) as daemon:
        url = url_of(daemon)
        assert stagectl("slate", "Evening", STAGECTL_URL=url).returncode == 0
        accounts(data, tomas="engineer", ines="operator")
        until(lambda: closed_to(url), WAIT_S, "the daemon sees the new file")
        nobody = stagectl("slate", "Night", STAGECTL_URL=url)
        assert (nobody.returncode, nobody.stderr) == (4, "This needs a token. Log in: stagectl login\n")
        came = login("ines", url, key)
        assert came.returncode == 0, came.stderr
        assert stagectl("slate", "Night", STAGECTL_URL=url, STAGECTL_TOKEN_FILE=str(key)).returncode == 0
        assert daemon.end() == 0
    with program(served(site, data), tmp_path) as again:
        url = url_of(again)
        assert stagectl("now", STAGECTL_URL=url).returncode == 4
        assert stagectl("slate", "Day", STAGECTL_URL=url, STAGECTL_TOKEN_FILE=str(key)).returncode == 0
        accounts(data, tomas="engineer")
        token = key.read_text().strip()
        until(lambda: closed_to(url, token), WAIT_S, "the daemon sees that she has no account any more")
        gone = stagectl("slate", "Dawn", STAGECTL_URL=url, STAGECTL_TOKEN_FILE=str(key))
        assert (gone.returncode, "has ended" in gone.stderr) == (4, True)
        assert again.end() == 0
    everything = b"".join(path.read_bytes() for path in data.iterdir())
    assert PASSWORD.encode() not in everything

    everywhere = ["serve", str(site), "--http", "0.0.0.0:0", "--data", str(data)]
    assert "without TLS" in refused(*everywhere)
    assert "knows no accounts" in refused(*everywhere[:-1], str(tmp_path / "fresh"))
    (data / "people.json").chmod(0o644)
    assert "chmod 600" in refused(*served(site, data))
