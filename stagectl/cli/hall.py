"""How are the boxes of a site played? What the simulators are told, and which addresses they get."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from stagectl.cli.addresses import is_loopback, or_free, written
from stagectl.site import Site, load_sim, sim_path

DOOR = ("127.0.0.1", 8421)


def spec(site: Site, door: tuple[str, int], tell: Callable[[str], None]) -> dict[str, Any]:
    """What `stagectl_simulators` needs to know to play a site.

    A box keeps its address if that is this machine's own and free; else it gets a free port, and `tell` is told why.

    Raises:
        FileError, FileErrors: the simulators' file beside the site file is wrong.
    """
    from stagectl_simulators.kinds import KINDS

    file = sim_path(site.path)
    options = load_sim(file, site) if file.is_file() else {name: {} for name in site.devices}
    boxes = []
    for name, entry in site.devices.items():
        if entry.box not in KINDS:
            tell(f"{entry.called}: there is no simulator of {entry.box}, so it is not played.")
            continue
        host, port = entry.host, entry.port
        if is_loopback(host):
            host, port = or_free(host, port, tell, entry.called)
        else:
            tell(f"{entry.called}: {host} is not this machine's, so it is played at 127.0.0.1.")
            host, port = "127.0.0.1", 0
        boxes.append({"id": name, "kind": entry.box, "at": written(host, port), "options": options[name]})
    at = or_free(*door, tell, "The simulators' door")
    return {"door": written(*at), "house_start": "now", "boxes": boxes}


def as_line(told: Mapping[str, Any]) -> str:
    """A spec as the simulators read it from their standard input."""
    return json.dumps(told) + "\n"


def moved(site: Site, addresses: Mapping[str, str]) -> Site:
    """The site with its boxes at these addresses, "host:port" by device."""
    devices = {}
    for name, entry in site.devices.items():
        host, _, port = addresses.get(name, "").rpartition(":")
        devices[name] = replace(entry, host=host.strip("[]"), port=int(port)) if host else entry
    return replace(site, devices=devices)
