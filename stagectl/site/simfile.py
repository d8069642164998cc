"""How shall the simulators play the boxes of a site? Their options, beside the site file and as strictly read."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

from stagectl import yamlfile
from stagectl.filetree import Issues, Node, Rows, Table, Text
from stagectl.model.words import nearest
from stagectl.site.entries import Site

Check = Callable[[str, str, dict[str, Any]], object]
"""Told kind, device and options; ValueError in one sentence where a simulator refuses them."""

_WORDS: Final = {"yes": True, "no": False}
_WHOLE: Final = re.compile("-?(?:0|[1-9][0-9]{0,17})")
_NUMBER: Final = re.compile(r"-?(?:0|[1-9][0-9]{0,17})\.[0-9]{1,18}")


def sim_path(site_file: Path) -> Path:
    """Where the simulators' file of a site stands: beside it, "hall.sim.yaml" for "hall.yaml"."""
    return site_file.with_name(f"{site_file.stem}.sim.yaml")


def load_sim(path: Path, site: Site, check: Check | None = None) -> dict[str, dict[str, Any]]:
    """Read the options of simulated boxes.

    Args:
        path: of the file.
        site: whose devices are played.
        check: asks the simulator of each kind, so that what it refuses is told with its line.

    Returns: options by device, for every device of the site, in its order; empty where the file says nothing. Yes and
        no are bool, bare numbers int or float; what stands in quotes is text.
    Raises:
        FileError, FileErrors: one for each thing that is wrong, with file, line, column, field and remedy.
    """
    return read_sim(yamlfile.read(path), site, check)


def read_sim(root: Node, site: Site, check: Check | None = None) -> dict[str, dict[str, Any]]:
    """Read the options from a file's tree; arguments and errors as `load_sim`."""
    issues = Issues()
    file = root.as_table()
    with issues.gather():
        file.only(("devices",))
    found: dict[str, dict[str, Any]] = {name: {} for name in site.devices}
    with issues.gather():
        table = file["devices"].as_table()
        for name, value in table.items():
            with issues.gather():
                found[name] = _read_device(table.keys[name], value.as_table(), site, check)
    issues.finish()
    return found


def _read_device(key: Text, table: Table, site: Site, check: Check | None) -> dict[str, Any]:
    if key.value not in site.devices:
        raise key.wrong(f'the site has no device "{key.value[:40]}".', nearest(key.value, site.devices))
    options: dict[str, Any] = {name: _plain(value) for name, value in table.items()}
    if check is not None:
        try:
            check(site.devices[key.value].box, key.value, options)
        except ValueError as error:
            blamed = next((table.keys[name] for name in options if repr(name) in str(error)), key)
            raise blamed.wrong(str(error)) from error
    return options


def _plain(node: Node) -> Any:
    match node:
        case Table():
            return {name: _plain(value) for name, value in node.items()}
        case Rows():
            return [_plain(item) for item in node]
        case Text():
            return _scalar(node)
    raise node.wrong("here stands nothing that can be read.", "Write a value.")


def _scalar(text: Text) -> bool | int | float | str:
    if text.empty:
        raise text.wrong("the value is missing.", "Write it, or take the line out.")
    if text.quoted:
        return text.value
    if text.value in _WORDS:
        return _WORDS[text.value]
    if _WHOLE.fullmatch(text.value):
        return int(text.value)
    return float(text.value) if _NUMBER.fullmatch(text.value) else text.value
