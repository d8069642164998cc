"""Which boxes and groups of boxes stand in a site file?"""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from stagectl.driverkit.driver import BoxKind
from stagectl.filetree import Node, Table, Text
from stagectl.model.words import nearest
from stagectl.site.copyoff import read_store
from stagectl.site.draft import Draft
from stagectl.site.entries import DeviceEntry
from stagectl.site.schema import DeviceShape, words_of
from stagectl.site.words import read_address, read_line

MAX_NESTED: Final = 8  # groups within groups; own choice, three are met


def read_devices(draft: Draft, node: Node, folder: Path) -> None:
    """Fill `draft.devices`; what is wrong goes to its issues, its name to `doubtful`. Paths begin at `folder`."""
    addresses: dict[tuple[str, int], DeviceEntry] = {}
    for name, key, value in draft.named(node):
        draft.names[name] = key
        draft.doubtful[name] = None
        with draft.issues.gather():
            _free(draft, key)
            table = value.as_table()
            entry = _read_device(draft, key, table, folder)
            if entry is None:
                continue
            first = addresses.setdefault((entry.host, entry.port), entry)
            if first is not entry:
                said = f"this is the address of {first.id} too, in line {first.line}."
                raise table["at"].wrong(said, "Give each device its own.")
            del draft.doubtful[name]
            draft.devices[name] = entry
    _see_called(draft, node)


def _read_device(draft: Draft, key: Text, table: Table, folder: Path) -> DeviceEntry | None:
    """Read one box; None if anything of it is wrong, which is told."""
    issues, known = draft.issues, len(draft.issues.errors)
    box, host, port, called, store = "", "", 0, key.value, None
    options: dict[str, str] = {}
    expect: dict[str, str] = {}
    with issues.gather():
        word = table["box"].as_text()
        box, kind = word.value, draft.kinds.get(word.value)
        if kind is None:
            raise word.wrong(f'there is no kind of box "{box[:40]}".', nearest(box, draft.kinds))
        port = kind.port
        with issues.gather():
            table.only((*words_of(DeviceShape), *kind.options))
        options = {one: table.text(one) for one in table if one in kind.options}
        _try_options(kind, options, table)
    with issues.gather():
        host, port = read_address(table["at"].as_text(), port or 1)
    for one in ("model", "serial"):
        with issues.gather():
            if one in table:
                expect[f"identity.{one}"] = read_line(table[one].as_text())
    with issues.gather():
        if "called" in table:
            called = read_line(table["called"].as_text())
    with issues.gather():
        if "clip store" in table and host and box in draft.kinds:
            store = read_store(draft, table["clip store"], host, draft.kinds[box].capability.kind, folder)
    if len(issues.errors) > known:
        return None
    return DeviceEntry(key.value, box, host, port, called, options, expect, key.line, store)


def _try_options(kind: BoxKind, options: Mapping[str, str], table: Table) -> None:
    """Make a driver and a codec once, to hear what they say of the options."""
    try:
        kind.make(options)
        kind.codec(options)
    except ValueError as error:
        said = str(error)
        blamed = next((table[one] for one in options if one in said), table)
        raise blamed.wrong(said if said.endswith(".") else f"{said}.") from error


def _see_called(draft: Draft, node: Node) -> None:
    """Two devices must not answer to one name, however it is spelt."""
    answers = {name.casefold(): name for name in draft.devices}
    for name, entry in draft.devices.items():
        other = answers.setdefault(entry.called.casefold(), name)
        if other != name:
            table = node.as_table()[name].as_table()
            at = table.get("called") or table
            draft.issues.add(at.wrong(f"{other} answers to this name too.", "Call each by its own."))


def _free(draft: Draft, key: Text) -> None:
    if key.value in draft.parts:
        raise key.wrong(f'"{key.value}" is a part of the house.', "Take another name.")


def read_groups(draft: Draft) -> None:
    """Fill `draft.groups` with devices alone, groups within groups resolved; needs the devices."""
    written: dict[str, list[Text]] = {}
    for name, key, value in draft.named(draft.root.get("groups")):
        with draft.issues.gather():
            _free(draft, key)
            if first := draft.names.get(name):
                raise key.wrong(f'"{name}" is a device, in line {first.line}.', "Take another name.")
            draft.doubtful[name] = None
            members = [item.as_text() for item in value.as_rows()]
            if not members:
                raise value.wrong("this group is empty.", "Write its devices, or take it out.")
            written[name] = members
    settled: dict[str, tuple[str, ...] | None] = {}
    for name, members in written.items():
        if not _see_members(draft, written, members):
            settled[name] = None
    for name in written:
        with draft.issues.gather():
            found = _flat(draft, written, settled, name, ())
            if found is not None:
                draft.groups[name] = found
                del draft.doubtful[name]


def _see_members(draft: Draft, written: Mapping[str, list[Text]], members: list[Text]) -> bool:
    """Is each member known and listed once? What is wrong is told."""
    known = len(draft.issues.errors)
    listed: dict[str, None] = {}
    for member in members:
        one = member.value
        if one in listed:
            draft.issues.add(member.wrong(f"{one} stands here twice.", "Keep one."))
        elif not any(one in names for names in (written, draft.devices, draft.doubtful)):
            remedy = nearest(one, (*draft.names, *written))
            draft.issues.add(member.wrong(f'there is no device or group "{one[:40]}".', remedy))
        listed[one] = None
    return len(draft.issues.errors) == known


def _flat(
    draft: Draft,
    written: Mapping[str, list[Text]],
    settled: dict[str, tuple[str, ...] | None],
    name: str,
    above: tuple[str, ...],
) -> tuple[str, ...] | None:
    """Devices of a group in order, each once; None if a part of it is wrong and told already."""
    if name in settled:
        return settled[name]
    found: dict[str, None] = {}
    sound = True
    for member in written[name]:
        one = member.value
        if one in (*above, name) or len(above) == MAX_NESTED:
            settled.update(dict.fromkeys((*above, name)))
            if one in (*above, name):
                raise member.wrong(f"{one} is a group that holds itself.", "Take it out.")
            raise member.wrong(f"groups stand more than {MAX_NESTED} deep.", "List the devices.")
        inner = _flat(draft, written, settled, one, (*above, name)) if one in written else (one,)
        sound = sound and inner is not None and (one in written or one in draft.devices)
        found.update(dict.fromkeys(inner or ()))
    settled[name] = tuple(found) if sound else None
    return settled[name]
