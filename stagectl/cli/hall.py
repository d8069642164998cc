"""How are the boxes of a site played? What the simulators are told, and which addresses they get."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, TypeVar

from stagectl.cli.addresses import is_loopback, written
from stagectl.site import DeviceEntry, Site, StoreEntry, load_sim, sim_path

DOOR = ("127.0.0.1", 8421)
Placed = TypeVar("Placed", DeviceEntry, StoreEntry)


def spec(site: Site, door: tuple[str, int], tell: Callable[[str], None]) -> dict[str, Any]:
    """What `stagectl_simulators` needs to know to play a site.

    A box keeps its address if that is this machine's own; else it gets a free port, and `tell` is told why. One that is
    taken is only known when the simulators listen: they find room beside it, see `tell_moved`.

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
        if not is_loopback(host):
            tell(f"{entry.called}: {host} is not this machine's, so it is played at 127.0.0.1.")
            host, port = "127.0.0.1", 0
        told = options[name] if entry.store is None else _with_store(options[name], entry.store)
        boxes.append({"id": name, "kind": entry.box, "at": written(host, port), "options": told})
    return {"door": written(*door), "house_start": "now", "elsewhere": True, "boxes": boxes}


def _with_store(options: Mapping[str, Any], store: StoreEntry) -> dict[str, Any]:
    """Its clips are served where the site says; how, is said by the simulators' file."""
    folders = [store.folders.get(slot, str(slot)) for slot in (1, 2)]
    port = store.port if is_loopback(store.host) else 0
    return {**options, "clip_store": {"port": port, "folders": folders, **options.get("clip_store", {})}}


def tell_moved(
    site: Site, told: Mapping[str, Any], addresses: Mapping[str, str], door_url: str, tell: Callable[[str], None]
) -> None:
    """Say which boxes, and whether the door, listen elsewhere than `told` of `spec` asked for: that was taken."""
    for box in told["boxes"]:
        tell_taken(site.devices[box["id"]].called, box["at"], addresses[box["id"]], tell)
    tell_taken("The simulators' door", told["door"], door_url, tell)


def tell_taken(what: str, asked: str, got: str, tell: Callable[[str], None]) -> None:
    """Say it if `got` is not the port that was asked for; both are written host:port."""
    wanted = asked.rpartition(":")[2]
    if wanted not in ("0", got.rpartition(":")[2]):
        tell(f"{what}: {asked} can't be had, so a free port is used.")


def as_line(told: Mapping[str, Any]) -> str:
    """A spec as the simulators read it from their standard input."""
    return json.dumps(told) + "\n"


def moved(site: Site, addresses: Mapping[str, str], stores: Mapping[str, str]) -> Site:
    """The site with its boxes, and those clip stores that it knows, at these addresses, "host:port" by device."""
    devices = {}
    for name, entry in site.devices.items():
        store = entry.store and _moved(entry.store, stores.get(name, ""))
        devices[name] = replace(_moved(entry, addresses.get(name, "")), store=store)
    return replace(site, devices=devices)


def _moved(entry: Placed, address: str) -> Placed:
    host, _, port = address.rpartition(":")
    return replace(entry, host=host.strip("[]"), port=int(port)) if host else entry
