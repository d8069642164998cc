"""Do the verbs of simulators reach their door? Against a stub door (shapes: the simulators' README)."""

import pytest

from tests.cli.stub import Stub

FAULTS = {"never_roll": True, "roll_late": 2.5, "silent": False}


@pytest.fixture
def door(stub: Stub) -> Stub:
    stub.routes = {
        "PUT /boxes/iso-2/faults/never_roll": (200, FAULTS),
        "PUT /boxes/iso-2/faults/roll_late": (200, FAULTS),
        "GET /boxes/iso-2/faults": (200, FAULTS),
        "POST /boxes/hall/panel/route": (200, {"truth": {"routing": [1, 2, 7]}}),
        "GET /boxes/iso-2": (200, {"truth": {"transport": "record", "remote": True}}),
        "GET /boxes/iso-2/wire": (
            200,
            {"last": 7, "entries": [{"n": 7, "at_s": 1.5, "client": 1, "way": "in", "text": "record\\r\\n"}]},
        ),
        "POST /boxes/mixer/panel/fader": (
            200,
            {
                "truth": {
                    "memory": 1,
                    "history": [
                        {"n": 1, "at_s": 1.0, "what": "strip 5 level is -14.00", "cause": "wire:1"},
                        {"n": 2, "at_s": 2.0, "what": "strip 5 level is -9.50", "cause": "panel"},
                    ],
                },
            },
        ),
        "GET /boxes": (
            200,
            {
                "boxes": [
                    {
                        "id": "iso-2",
                        "kind": "text-deck",
                        "address": "127.0.0.1:9",
                        "faults_on": {"silent": True},
                        "store": "127.0.0.1:21",
                    }
                ]
            },
        ),
    }
    return stub


CALLS = [
    # typed, request, body, printed
    (
        ("fault", "iso-2", "never_roll", "on"),
        ("PUT", "/boxes/iso-2/faults/never_roll", {"on": True}),
        "iso-2: never_roll is on.\n",
    ),
    (
        ("fault", "iso-2", "never_roll", "off"),
        ("PUT", "/boxes/iso-2/faults/never_roll", {"on": False}),
        "iso-2: never_roll is on.\n",
    ),
    (
        ("fault", "iso-2", "roll_late", "2.5"),
        ("PUT", "/boxes/iso-2/faults/roll_late", {"on": 2.5}),
        "iso-2: roll_late is 2.5.\n",
    ),
    (
        ("faults", "iso-2"),
        ("GET", "/boxes/iso-2/faults", None),
        "never_roll  true\nroll_late   2.5\nsilent      false\n",
    ),
    (
        ("panel", "hall", "route", "output=3", "input=7", "state=true", "text=A b"),
        ("POST", "/boxes/hall/panel/route", {"output": 3, "input": 7, "state": True, "text": "A b"}),
        "routing  [1, 2, 7]\n",
    ),
    (
        ("panel", "mixer", "fader", "strip=5", "db=-9.5"),
        ("POST", "/boxes/mixer/panel/fader", {"strip": 5, "db": -9.5}),
        "mixer: strip 5 level is -9.50.\n",
    ),
    (("truth", "iso-2"), ("GET", "/boxes/iso-2", None), "transport  record\nremote     true\n"),
    (("wire", "iso-2", "--since", "6"), ("GET", "/boxes/iso-2/wire?since=6", None), "7  1.500  1  in  record\\r\\n\n"),
    (("boxes",), ("GET", "/boxes", None), "iso-2  text-deck  127.0.0.1:9  clips at 127.0.0.1:21  silent True\n"),
]


@pytest.mark.parametrize(("typed", "request_", "printed"), CALLS, ids=[" ".join(row[0][:4]) for row in CALLS])
def test_what_is_typed_reaches_the_door(door: Stub, typed: tuple[str, ...], request_: object, printed: str) -> None:
    result = door.run("simulate", *typed, STAGECTL_SIM_URL=door.url)
    assert result.exit_code == 0, result.stderr
    assert door.heard == [request_]
    assert result.stdout == printed


def test_a_door_that_refuses_is_exit_2_in_its_own_words(door: Stub) -> None:
    door.routes["GET /boxes/iso-9/faults"] = (404, {"error": "There is no box 'iso-9'. Known boxes: iso-2."})
    result = door.run("simulate", "faults", "iso-9", STAGECTL_SIM_URL=door.url)
    assert (result.exit_code, result.stderr) == (2, "There is no box 'iso-9'. Known boxes: iso-2.\n")


def test_a_door_that_is_not_there_is_exit_5(door: Stub) -> None:
    result = door.run("simulate", "faults", "iso-2", STAGECTL_SIM_URL="http://127.0.0.1:1")
    assert result.exit_code == 5
    assert "STAGECTL_SIM_URL" in result.stderr


@pytest.mark.parametrize(
    "typed",
    [
        ("fault", "iso-2", "never_roll", "perhaps"),
        ("panel", "hall", "route", "3"),
        ("panel", "hall", "route", "url=x"),
        (),
    ],
)
def test_what_is_not_understood_is_exit_2_and_asks_nothing(door: Stub, typed: tuple[str, ...]) -> None:
    result = door.run("simulate", *typed, STAGECTL_SIM_URL=door.url)
    assert result.exit_code == 2
    assert door.heard == []
