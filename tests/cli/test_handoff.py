"""Is a hand-off whole, never over something else, and clear about what it leaves out?"""

import json
from pathlib import Path
from typing import Any

import pytest

from tests.cli.answers import lane, take
from tests.cli.stub import Stub

ENDED = {"ended": "2026-11-25T15:17:02.000Z", "length": "00:12:49:10"}


def whole(number: int = 15, **more: Any) -> dict[str, Any]:
    closed = {"closed": "2026-11-25T15:17:02.000Z", "running": False, "rolling": []}
    return take([lane(1, 0, **ENDED), lane(2, 1, **ENDED)], take=number, **closed | more)


@pytest.fixture
def sheet(stub: Stub) -> Stub:
    stub.routes = {
        "GET /api/v1/takes": (200, {"next": {"take": 17, "name": ""}, "takes": [whole(16), whole()]}),
        "GET /api/v1/site": (200, {"name": "Tidewater Hall"}),
    }
    return stub


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_day_goes_into_a_new_folder_and_again_changes_nothing(sheet: Stub, tmp_path: Path) -> None:
    to = tmp_path / "edit"
    said = sheet.run("handoff", "--day", "2026-11-25", "--to", str(to))
    assert said.exit_code == 0, said.output
    stem = "2026-11-25"
    files = [f"{stem}_{what}" for what in ("25.otio", "ISO1_25.edl", "ISO2_25.edl", "clips.csv", "log.html", "log.pdf")]
    assert names(to) == files
    assert said.stdout.splitlines() == [str(to / name) for name in files]
    before = {path: path.read_bytes() for path in to.iterdir()}
    again = sheet.run("--json", "handoff", "--day", stem, "--to", str(to))
    assert (again.exit_code, [one["new"] for one in json.loads(again.stdout)["files"]]) == (0, [False] * 6)
    assert {path: path.read_bytes() for path in to.iterdir()} == before


def test_the_timeline_names_the_copies_that_stand(sheet: Stub, tmp_path: Path) -> None:
    """The recorder tells a clip without its ending; the copy of another clip of that name stands beside the first."""
    lanes = whole()["lanes"]
    clip = lanes[0]["clip"]
    copies = [{"place": "a", "path": "x", "state": "failed"}, {"place": "b", "path": "d 1/é.mov", "state": "published"}]
    row = {"recorder": lanes[0]["device"], "clip": f"1/{clip}.mov", "copies": copies}
    sheet.routes["GET /api/v1/copy/report"] = (200, {"copied": {"count": 1, "rows": [row]}})
    assert sheet.run("handoff", "--take", "15", "--to", str(tmp_path)).exit_code == 0
    made = json.loads((tmp_path / "take-15_25.otio").read_text())
    urls = [
        media["target_url"]
        for track in made["tracks"]["children"]
        for one in track["children"]
        for media in one["media_references"].values()
    ]
    assert urls == ["d%201/%C3%A9.mov", f"{lanes[1]['device']}/{lanes[1]['clip']}"]


def test_a_slate_is_handed_over_however_it_is_written(sheet: Stub, tmp_path: Path) -> None:
    takes = [whole(16, name="third  MOVEMENT/2: ü"), whole(15, name="Third movement")]
    sheet.routes["GET /api/v1/takes"] = (200, {"next": {}, "takes": takes})
    said = sheet.run("handoff", "--slate", "Third movement/2: Ü", "--to", str(tmp_path))
    assert said.exit_code == 0, said.output
    assert "slate-third-movement-2-ü_clips.csv" in names(tmp_path)
    table = (tmp_path / "slate-third-movement-2-ü_clips.csv").read_text(encoding="utf-8").splitlines()
    assert {row.split(",")[1] for row in table[1:]} == {"16"}


def test_a_file_of_another_content_stops_all_before_a_byte_is_written(sheet: Stub, tmp_path: Path) -> None:
    (tmp_path / "takes-15-16_log.html").write_text("mine")
    said = sheet.run("handoff", "--take", "15", "--take", "16", "--to", str(tmp_path))
    assert said.exit_code == 1
    assert "takes-15-16_log.html stands there with another content" in said.stderr
    assert names(tmp_path) == ["takes-15-16_log.html"]
    assert (tmp_path / "takes-15-16_log.html").read_text() == "mine"


@pytest.mark.parametrize(
    ("args", "code", "told"),
    [
        ((), 2, "Which takes?"),
        (("--day", "2026-11-25", "--take", "15"), 2, "Which takes?"),
        (("--slate", "Songs", "--take", "15"), 2, "Which takes?"),
        (("--slate", "Encore"), 2, 'No take has the slate "Encore".'),
        (("--slate", " "), 2, "Which takes?"),
        (("--day", "yesterday"), 2, '"yesterday" is no day.'),
        (("--day", "2026-11-24"), 2, "No take was rolled on 2026-11-24."),
        (("--take", "9"), 2, "There is no take 9."),
    ],
)
def test_what_is_not_clear_writes_nothing(
    sheet: Stub, tmp_path: Path, args: tuple[str, ...], code: int, told: str
) -> None:
    said = sheet.run("handoff", *args, "--to", str(tmp_path / "edit"))
    assert (said.exit_code, told in said.stderr) == (code, True), said.stderr
    assert not (tmp_path / "edit").exists()


def test_a_take_that_rolls_is_not_handed_over(sheet: Stub, tmp_path: Path) -> None:
    sheet.routes["GET /api/v1/takes"] = (200, {"next": {}, "takes": [whole(running=True)]})
    said = sheet.run("handoff", "--take", "15", "--to", str(tmp_path))
    assert (said.exit_code, said.stderr) == (
        4,
        "Take 15 still rolls: its clips are not whole. Hand over when it has ended.\n",
    )


def test_without_the_extra_all_but_the_timeline_is_written(
    sheet: Stub, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "opentimelineio", None)
    said = sheet.run("handoff", "--take", "15", "--to", str(tmp_path))
    assert said.exit_code == 0
    assert 'pip install "stagectl[editorial]"' in said.stdout
    lists = ["take-15_ISO1_25.edl", "take-15_ISO2_25.edl", "take-15_clips.csv"]
    assert names(tmp_path) == [*lists, "take-15_log.html", "take-15_log.pdf"]


def test_without_the_extra_all_but_the_printed_sheet_is_written(
    sheet: Stub, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    modules = __import__("sys").modules
    for name in [one for one in modules if one.startswith(("reportlab", "stagectl.handoff.faces"))]:
        monkeypatch.delitem(modules, name)
    monkeypatch.setitem(modules, "reportlab", None)
    said = sheet.run("handoff", "--take", "15", "--to", str(tmp_path))
    assert said.exit_code == 0
    assert 'The PDF is left out: it needs the extra. Install it: pip install "stagectl[print]"' in said.stdout
    assert "take-15_log.html" in names(tmp_path)
    assert "take-15_log.pdf" not in names(tmp_path)


def test_what_the_pdf_can_not_set_is_told_with_a_remedy(sheet: Stub, tmp_path: Path) -> None:
    sheet.routes["GET /api/v1/takes"] = (200, {"next": {}, "takes": [whole(name="שיר")]})
    bad = tmp_path / "face.ttf"
    bad.write_text("no face")
    said = sheet.run("handoff", "--take", "15", "--font", str(bad), "--to", str(tmp_path / "edit"))
    assert said.exit_code == 0
    assert f"{bad} is no TrueType file that can be set, and is not used." in said.stdout
    assert "The PDF shows 3 signs by number, such as [U+05D9]: no face here sets them." in said.stdout


def test_a_folder_that_can_not_be_made_is_named(sheet: Stub, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    said = sheet.run("handoff", "--take", "15", "--to", str(tmp_path / "file" / "edit"))
    assert said.exit_code == 1
    assert "Give a folder that can be written." in said.stderr
