"""What does a site file say? Reads it whole, or says with lines all that is wrong with it."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Final, Literal

from stagectl import yamlfile
from stagectl.control.access import Role
from stagectl.driverkit.driver import BoxKind
from stagectl.filetree import Node, Table
from stagectl.model.capabilities.base import Capability
from stagectl.site.alarms import read_alarms
from stagectl.site.copyoff import read_copy
from stagectl.site.devices import read_devices, read_groups
from stagectl.site.door import read_http
from stagectl.site.draft import Draft
from stagectl.site.entries import MqttEntry, Site
from stagectl.site.lineup import read_cameras, read_lineup
from stagectl.site.rules import read_limits, read_protect
from stagectl.site.schema import MqttShape, SiteName, SiteShape, words_of
from stagectl.site.wiring import read_pictures, read_playback, read_sound_places, read_stations
from stagectl.site.words import read_address, read_line, slug_of

MQTT_PORT: Final = 1883
MQTTS_PORT: Final = 8883
_EXTERNAL: Final = {"at": "has no address", "login": "asks for no login", "ca": "speaks no TLS"}
NO_PARTS: Final[Mapping[str, Capability]] = MappingProxyType({})


def load_site(path: Path, kinds: Mapping[str, BoxKind], parts: Mapping[str, Capability] = NO_PARTS) -> Site:
    """Read a site file.

    Args:
        path: of the file.
        kinds: boxes that can be driven, by the word after `box:`.
        parts: house parts that sentences of the file may speak of: takes, paths, stations.

    Raises:
        FileError, FileErrors: one for each thing that is wrong, with file, line, column, field and remedy.
    """
    return read_site(yamlfile.read(path), path, kinds, parts)


def read_site(root: Node, path: Path, kinds: Mapping[str, BoxKind], parts: Mapping[str, Capability] = NO_PARTS) -> Site:
    """Read a site from a file's tree; arguments and errors as `load_site`."""
    draft = Draft(root.as_table(), kinds, parts)
    issues, file = draft.issues, draft.root
    with issues.gather():
        file.only(words_of(SiteShape))
    name, slug = "", ""
    with issues.gather():
        name, slug = _read_site_name(file["site"])
    with issues.gather():
        read_devices(draft, file["devices"], path.parent)
    read_groups(draft)
    pictures, sound = read_pictures(draft), read_sound_places(draft)
    stations = read_stations(draft, pictures, sound)
    site = Site(
        name=name,
        slug=slug,
        path=path,
        devices=draft.devices,
        groups=draft.groups,
        pictures=pictures,
        sound=sound,
        stations=stations,
        playback=read_playback(draft, pictures, sound),
        limits=(),
        protect=(),
        people=_read_people(draft),
        mqtt=_read_mqtt(draft, path.parent),
        http=read_http(draft, path.parent),
        scenes=_read_folder(draft, path),
        cameras=read_cameras(draft, pictures),
        copy=read_copy(draft, path.parent),
        numbered=_read_numbered(draft),
    )
    vocabulary = site.vocabulary(kinds, parts)
    limits, protect = read_limits(draft, vocabulary), read_protect(draft, vocabulary)
    alarms = read_alarms(draft, vocabulary)
    lineup = read_lineup(draft, vocabulary)
    issues.finish()
    return replace(site, limits=limits, protect=protect, alarms=alarms, lineup=lineup)


def _read_site_name(node: Node) -> tuple[str, str]:
    if isinstance(node, Table):
        node.only(words_of(SiteName))
        slug = node["id"].as_text()
        if slug.value != slug_of(slug.value) or not slug.value:
            raise slug.wrong(f'"{slug.value[:40]}" is no id.', "Write small letters, digits and hyphens, 32 at most.")
        return read_line(node["name"].as_text()), slug.value
    name = read_line(node.as_text())
    slug_made = slug_of(name)
    if not slug_made:
        raise node.wrong("no letter of this name serves in a topic.", "Write `site: {id: my-hall, name: ...}`.")
    return name, slug_made


def _read_numbered(draft: Draft) -> Literal["per slate", "per day"]:
    node = draft.root.get("takes numbered")
    if node is not None:
        with draft.issues.gather():
            return "per slate" if node.as_text().one_of(("per slate", "per day"), "way") == "per slate" else "per day"
    return "per day"


def _read_people(draft: Draft) -> dict[str, Role]:
    people: dict[str, Role] = {}
    for name, _, value in draft.named(draft.root.get("people")):
        with draft.issues.gather():
            people[name] = Role(value.as_text().one_of([role.value for role in Role], "role"))
    return people


def _read_mqtt(draft: Draft, folder: Path) -> MqttEntry:
    entry = MqttEntry()
    table = draft.table(draft.root.get("mqtt"))
    if table is None:
        return entry
    with draft.issues.gather():
        table.only(words_of(MqttShape))
    with draft.issues.gather():
        match table["broker"].as_text().one_of(("off", "external", "managed"), "broker"):
            case "external":
                port = MQTTS_PORT if "ca" in table else MQTT_PORT
                login, ca = (
                    folder / table[name].as_text().value if name in table else None for name in ("login", "ca")
                )
                entry = MqttEntry("external", *read_address(table["at"].as_text(), port), login=login, ca=ca)
            case word:
                for name, what in _EXTERNAL.items():
                    if name in table:
                        raise table[name].wrong(f"a broker that is {word} {what}.", "Take it out, or say external.")
                entry = MqttEntry("managed" if word == "managed" else "off")
    return entry


def _read_folder(draft: Draft, path: Path) -> Path:
    node = draft.root.get("scenes")
    folder = path.parent
    if node is not None:
        with draft.issues.gather():
            folder = path.parent / node.as_text().value
            if not folder.is_dir():
                raise node.wrong("there is no such folder.", "Write where set-ups and scenes are, from this file.")
    return folder
