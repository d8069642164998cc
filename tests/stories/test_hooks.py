"""Does an address alone roll the studio, and does no more? Simulators, daemon, terminal and curl as programs."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.stories.programs import stagectl
from tests.stories.studio import RECORDERS, Studio, until
from tests.stories.test_people import accounts, login

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


def curl(*words: str) -> tuple[int, dict[str, object]]:
    """Status and JSON of a request by curl."""
    program = shutil.which("curl")
    if program is None:
        pytest.fail("curl is not installed. On Debian: apt-get install curl")
    told = subprocess.run(
        [program, "-s", "-w", "\n%{http_code}", *words], capture_output=True, text=True, timeout=30, check=True
    )
    body, _, status = told.stdout.rpartition("\n")
    return int(status), json.loads(body)


def test_a_secret_address_rolls_five_recorders_until_it_is_revoked(tmp_path: Path) -> None:
    key = tmp_path / "token"
    env = {"STAGECTL_TOKEN_FILE": str(key), "NO_COLOR": "1"}
    with Studio(tmp_path) as studio:
        studio.start()
        env["STAGECTL_URL"] = studio.url
        accounts(studio.data, tomas="engineer")
        until(lambda: stagectl("now", STAGECTL_URL=studio.url).returncode == 4, 15, "the house is closed")
        assert login("tomas", studio.url, key).returncode == 0
        made = stagectl("hook", "new", "doorbell", "roll", "name=Rehearsal", **env)
        assert made.returncode == 0, made.stderr
        address = made.stdout.splitlines()[0]
        assert curl(address)[0] == 405, "a look at it does nothing"
        assert not any(studio.truth(box)["transport"] == "record" for box in RECORDERS)
        status, told = curl("-X", "POST", f"{address}?wait=verdict", "-d", '{"verb":"cut","args":{"take":1}}')
        assert (status, told["is"], told["count"]) == (200, "done", "5 of 5")
        assert all(studio.truth(box)["transport"] == "record" for box in RECORDERS)
        assert "doorbell" in stagectl("takes", **env).stdout + stagectl("journal", **env).stdout
        assert "hook" in stagectl("token", "list", **env).stdout
        assert stagectl("token", "revoke", "doorbell", **env).returncode == 0
        assert curl("-X", "POST", address)[0] == 404
        secret = address.rpartition("/")[2]
        left = [path for path in (*studio.data.iterdir(), studio.log) if secret.encode() in path.read_bytes()]
        assert left == [], "the address is written down nowhere"
        shown = stagectl("cut", "1", **env)  # it is the hook's take, not his
        assert (shown.returncode, "doorbell rolled take 1." in shown.stderr) == (4, True), shown.stderr
        assert stagectl("cut", "1", "--confirm", shown.stderr.split()[-1], **env).returncode == 0
