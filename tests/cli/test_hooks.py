"""Does `stagectl hook new` print an address once, and refuse what a hook can't do? Against a stub daemon."""

import json

import pytest

from tests.cli.stub import Stub

MADE = {
    "id": "01",
    "name": "doorbell",
    "kind": "hook",
    "role": "operator",
    "verbs": ["roll"],
    "devices": None,
    "does": {"verb": "roll", "args": {"name": "Act one", "on": ["iso-1", "mix-rec"]}},
    "by": "tomas",
    "made": "2026-11-25T15:00:00.000Z",
    "until": "2027-02-23T15:00:00.000Z",
    "url": "/api/v1/hooks/" + "k" * 43,
    "say": "This is the address of doorbell, shown once.",
}


def test_the_address_is_whole_and_told_once(stub: Stub) -> None:
    stub.routes = {"POST /api/v1/hooks": (200, MADE)}
    result = stub.run("hook", "new", "doorbell", "roll", "name=Act one", "on=iso-1, mix-rec")
    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines() == [
        f"{stub.url}/api/v1/hooks/{'k' * 43}",
        "Shown once, until 2027-02-23T15:00:00.000Z. To end it: stagectl token revoke doorbell",
    ]
    assert stub.heard[0][2] == {
        "name": "doorbell",
        "verb": "roll",
        "args": {"name": "Act one", "on": ["iso-1", "mix-rec"]},
        "days": 90,
    }
    told = json.loads(stub.run("--json", "hook", "new", "doorbell", "roll").stdout)
    assert told["url"].startswith("http://")


@pytest.mark.parametrize(
    "words",
    [
        ("cut", "take=1"),
        ("mark", "good"),
        ("mark", "good=maybe"),
        ("roll", "name=a", "name=b"),
    ],
)
def test_what_no_hook_does_is_not_asked(stub: Stub, words: tuple[str, ...]) -> None:
    assert stub.run("hook", "new", "doorbell", *words).exit_code == 2
    assert stub.heard == []
