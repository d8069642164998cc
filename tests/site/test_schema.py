"""Does the schema that editors get say the same as the reader?

Source of all rows: own construction.
"""

from importlib.metadata import entry_points
from pathlib import Path
from typing import Any, Final

import pytest
from pydantic import ValidationError

from stagectl.filetree import FileError, FileErrors
from stagectl.site import load_site, read_site, site_schema
from stagectl.site.schema import SiteShape
from stagectl.yamlfile import parse, read
from tests.site.kinds_for_tests import KINDS, PARTS

HALL: Final = Path(__file__).parent.parent.parent / "scenes" / "tidewater-hall.yaml"
HEAD: Final = "site: Hall\ndevices: {hall: {box: block-router, at: 10.0.5.21}}\n"


def test_the_demo_hall_has_the_shape_that_editors_know() -> None:
    SiteShape.model_validate(read(HALL).plain())


def test_the_schema_is_closed_but_for_the_options_of_boxes() -> None:
    schema = site_schema()
    tables: dict[str, Any] = {"SiteShape": schema, **schema["$defs"]}
    open_tables = [name for name, table in tables.items() if table.get("additionalProperties") is not False]
    assert open_tables == ["DeviceShape"]
    assert schema["required"] == ["site", "devices"]
    assert {"tie-lines", "on air"} <= set(tables["PicturesShape"]["properties"])
    assert {"while", "may lift"} <= set(tables["ProtectShape"]["properties"])


SHAPES: Final = [
    # id, what stands below HEAD
    ("an unknown key", "grups: {}"),
    ("groups as a list", "groups: [hall]"),
    ("a group as text", "groups: {kit: hall}"),
    ("a group in capitals", "groups: {Kit: [hall]}"),
    ("pictures as text", "pictures: hall"),
    ("an unknown key of pictures", "pictures: {sorces: {}}"),
    ("a tie-line as a table", "pictures: {tie-lines: [{hall: gallery}]}"),
    ("sound as a list", "sound: []"),
    ("an unknown key of a station", "stations: {a: {sees: a, smells: b}}"),
    ("a limit as a table", "limits: [{hall: 1}]"),
    ("a protection without points", "protect: [{because: it is}]"),
    ("a protection a viewer may lift", "protect: [{points: [hall output 1 source], because: it is, may lift: viewer}]"),
    ("an alarm without a remedy", "alarms: [{of: hall, when: health is failed, grade: now, says: It is gone.}]"),
    ("an alarm of an unknown grade", "alarms: [{of: hall, when: health is failed, grade: red, says: a, remedy: b}]"),
    ("an unknown role", "people: {ines: boss}"),
    ("an unknown broker", "mqtt: {broker: on}"),
    ("a folder as a list", "scenes: []"),
]


@pytest.mark.parametrize("below", [row[1] for row in SHAPES], ids=[row[0] for row in SHAPES])
def test_what_has_the_wrong_shape_is_wrong_for_editors_and_reader(below: str) -> None:
    root = parse(HEAD + below, "site.yaml")
    with pytest.raises(ValidationError):
        SiteShape.model_validate(root.plain())
    with pytest.raises((FileError, FileErrors)):
        read_site(root, Path("site.yaml"), KINDS, PARTS)


def test_the_installed_drivers_take_the_demo_hall() -> None:
    kinds = {one.name: one.load() for one in entry_points(group="stagectl.drivers") if one.name in KINDS}
    site = load_site(HALL, kinds, PARTS)
    assert {entry.box for entry in site.devices.values()} == set(kinds) == set(KINDS)
    assert [entry.port for entry in site.devices.values()] == [kinds[entry.box].port for entry in site.devices.values()]
