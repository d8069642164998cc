"""Where are the boxes of a site played, and what if their places are taken?"""

import socket
from dataclasses import replace
from pathlib import Path

import pytest

from stagectl.cli.hall import as_line, moved, spec, tell_moved
from stagectl.daemon import PARTS
from stagectl.driverkit.kinds import find_kinds
from stagectl.site import Site, StoreEntry, load_site
from stagectl_simulators.__main__ import read_spec
from stagectl_simulators.kinds import KINDS

FREE = ("127.0.0.1", 0)


@pytest.fixture
def site() -> Site:
    return load_site(Path(__file__).parents[2] / "scenes" / "tidewater-hall.yaml", find_kinds()[0], PARTS)


def test_every_box_is_played_with_the_options_of_the_file_beside_the_site(site: Site) -> None:
    told = spec(site, FREE, lambda text: None)
    assert [box["id"] for box in told["boxes"]] == list(site.devices)
    deck = told["boxes"][0]
    assert (deck["kind"], deck["options"]["roll_delay_s"]) == ("text-deck", 0.24)
    assert told["door"] == "127.0.0.1:0"


async def test_a_box_whose_address_is_taken_meanwhile_gets_a_free_port_beside_it(site: Site) -> None:
    """Another hall that starts in the same moment takes it after the spec is made, and before the boxes listen."""
    with socket.socket() as other, socket.socket() as door:
        for one in (other, door):
            one.bind(("127.0.0.1", 0))
        port, doors = other.getsockname()[1], door.getsockname()
        site = moved(site, dict.fromkeys(site.devices, "127.0.0.1:0") | {"iso-1": f"127.0.0.1:{port}"}, {})
        told = spec(site, doors, lambda text: None)
        other.listen()
        door.listen()
        async with read_spec(as_line(told)) as played:
            addresses = {name: f"{host}:{port}" for name, (host, port) in played.addresses.items()}
            said: list[str] = []
            tell_moved(site, told, addresses, played.door_url, said.append)
    assert said == [
        f"Rec 1: 127.0.0.1:{port} can't be had, so a free port is used.",
        f"The simulators' door: 127.0.0.1:{doors[1]} can't be had, so a free port is used.",
    ]
    assert addresses["iso-1"].rpartition(":")[0] == "127.0.0.1"


def test_a_box_elsewhere_is_played_here(site: Site) -> None:
    said: list[str] = []
    told = spec(moved(site, {"hall": "10.0.5.21:9990"}, {}), FREE, said.append)
    assert next(box["at"] for box in told["boxes"] if box["id"] == "hall") == "127.0.0.1:0"
    assert "Hall router: 10.0.5.21 is not this machine's, so it is played at 127.0.0.1." in said


def test_a_box_that_nobody_simulates_is_left_out_and_told(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(KINDS, "mixer-text")
    said: list[str] = []
    told = spec(site, FREE, said.append)
    assert "mixer" not in [box["id"] for box in told["boxes"]]
    assert "Mixer: there is no simulator of mixer-text, so it is not played." in said


def test_a_moved_site_has_its_boxes_where_they_listen(site: Site) -> None:
    there = moved(site, {"iso-1": "127.0.0.1:4711", "hall": "[::1]:4712"}, {})
    assert (there.devices["iso-1"].host, there.devices["iso-1"].port) == ("127.0.0.1", 4711)
    assert (there.devices["hall"].host, there.devices["hall"].port) == ("::1", 4712)
    assert there.devices["iso-2"] == site.devices["iso-2"]


async def test_a_clip_store_is_served_where_the_site_says_or_beside_it(site: Site) -> None:
    """Its port is taken: the daemon is told where it is instead. How it is served, the simulators' file says."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        entry = StoreEntry("127.0.0.1", other.getsockname()[1], folders={2: "B"})
        site = moved(site, dict.fromkeys(site.devices, "127.0.0.1:0"), {})
        deck = replace(site.devices["iso-1"], store=entry)
        site = replace(site, devices={**site.devices, "iso-1": deck})
        told = spec(site, FREE, lambda text: None)
        assert told["boxes"][0]["options"]["clip_store"]["folders"] == ["1", "B"]
        async with read_spec(as_line(told)) as played:
            host, port = played.stores["iso-1"]
    there = moved(site, {}, {"iso-1": f"{host}:{port}"}).devices["iso-1"]
    assert there.store == replace(entry, port=port)
    assert port not in (0, entry.port)
