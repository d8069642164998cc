"""Where does the web door open? An address, and what proves whose it is."""

import ipaddress
import re
from pathlib import Path
from typing import Final

from stagectl.filetree import Table
from stagectl.site.draft import Draft
from stagectl.site.entries import HttpEntry
from stagectl.site.schema import HttpShape, words_of
from stagectl.site.words import read_address

HTTP_PORT: Final = 8420
_NAME: Final = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


def read_http(draft: Draft, folder: Path) -> HttpEntry | None:
    """Read the entry `http`; paths in it begin at `folder`. None: there is none, or it is wrong and that was told."""
    table = draft.table(draft.root.get("http"))
    if table is None:
        return None
    with draft.issues.gather():
        table.only(words_of(HttpShape))
    entry, names = None, _read_names(draft, table)
    with draft.issues.gather():
        host, port = read_address(table["at"].as_text(), HTTP_PORT)
        certificate, key = _read_files(table, folder)
        if certificate is None and not _is_loopback(host):
            raise table["at"].wrong(
                "others could reach this address, and what they send could be read.",
                "Add certificate and key (`stagectl ca` makes them), or write 127.0.0.1.",
            )
        entry = HttpEntry(host, port, names, certificate, key)
    return entry  # noqa: RET504 - what is wrong is gathered, and then there is none


def _read_files(table: Table, folder: Path) -> tuple[Path, Path] | tuple[None, None]:
    """Certificate and key. Raises FileError: one without the other."""
    for one, other in (("certificate", "key"), ("key", "certificate")):
        if one in table and other not in table:
            raise table[one].wrong(f"it stands here without its {other}.", f"Add `{other}:`.")
    if "certificate" not in table:
        return None, None
    certificate, key = table["certificate"].as_text(), table["key"].as_text()
    return folder / certificate.value, folder / key.value


def _read_names(draft: Draft, table: Table) -> tuple[str, ...]:
    names: dict[str, None] = {}
    for node in draft.listed(table.get("names")):
        with draft.issues.gather():
            name = node.as_text().value
            if not _NAME.fullmatch(name) or not name.strip("0123456789."):
                raise node.wrong(f'"{name[:60]}" is no name for a door.', "Write one such as stage.example.")
            names[name] = None
    return tuple(names)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
