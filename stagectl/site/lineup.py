"""What must be so before the first take? The wanted facts, thresholds, the day's plan and the site's own checks."""

import re
from dataclasses import replace
from typing import Any, Final

from stagectl.filetree import Node, Table, Text
from stagectl.model.sentences import Vocabulary
from stagectl.model.timecode import RATES, Label, rate_of_format
from stagectl.sentencefile import parse_node
from stagectl.site.draft import Draft, unknown
from stagectl.site.entries import CameraEntry, CheckEntry, LineupEntry, Pictures, PlannedTake
from stagectl.site.rules import members
from stagectl.site.schema import CameraShape, CheckShape, LineupShape, words_of
from stagectl.site.words import read_frames, read_line, read_name, read_size, read_span

MOST: Final = 200  # checks, takes of a day; own choice, ten times what is usual


def read_cameras(draft: Draft, pictures: Pictures) -> dict[str, CameraEntry]:
    """Read what is declared of cameras: how they are kept in step, and whether they move and are tracked."""
    cameras: dict[str, CameraEntry] = {}
    for name, key, value in draft.named(draft.root.get("cameras")):
        with draft.issues.gather():
            if name not in pictures.sources and name not in draft.doubtful:
                raise unknown(key, "picture source", pictures.sources)
            table = value.as_table()
            with draft.issues.gather():
                table.only(words_of(CameraShape))
            locked = table["reference"].as_text().one_of(("locked", "free"), "kind of reference") == "locked"
            moves = "head" in table and table["head"].as_text().one_of(("fixed", "moving"), "kind of head") == "moving"
            cameras[name] = CameraEntry(name, locked, moves, _yes(table, "tracked", default=False), key.line)
    return cameras


def read_lineup(draft: Draft, vocabulary: Vocabulary) -> LineupEntry:
    """Read the `line-up` of a site; what is left out is not checked, or has its usual bound."""
    table = draft.table(draft.root.get("line-up"))
    entry = LineupEntry()
    if table is None:
        return entry
    with draft.issues.gather():
        table.only(words_of(LineupShape))
    found: dict[str, Any] = {}
    for word, field, read in _FACTS:
        if word in table:
            with draft.issues.gather():
                found[field] = read(table[word].as_text())
    if "reference" in table:
        with draft.issues.gather():
            text = table["reference"].as_text()
            draft.must_be("recorder", text.value, text)
            found["reference"] = text.value
    found["lags"] = _lags(draft, table.get("lags"))
    found["rates"] = _rates(draft, table.get("rates"))
    found["plan"] = _plan(draft, table.get("plan"))
    found["checks"] = _checks(draft, table.get("checks"), vocabulary)
    found["leave_out"] = tuple(_names(draft, table.get("leave out")))
    return replace(entry, **found)


def _names(draft: Draft, node: Node | None) -> list[str]:
    names = []
    for item in draft.listed(node):
        with draft.issues.gather():
            names.append(read_name(item.as_text()))
    return names


def _lags(draft: Draft, node: Node | None) -> dict[str, int]:
    lags = {}
    for name, key, value in draft.named(node):
        with draft.issues.gather():
            draft.must_be("recorder", name, key)
            lags[name] = read_frames(value.as_text())
    return lags


def _rates(draft: Draft, node: Node | None) -> dict[str, float]:
    rates = {}
    table = draft.table(node)
    for codec, value in table.items() if table is not None else ():
        with draft.issues.gather():
            text = value.as_text()
            found = re.fullmatch(r"([0-9]{1,5}(?:\.[0-9]{1,3})?) Mb/s", " ".join(text.value.split()))
            if found is None or not float(found[1]):
                raise text.wrong(f'"{text.value[:40]}" can\'t be read.', "Write it like 12.5 Mb/s.")
            rates[codec] = float(found[1]) * 1e6 / 8
    return rates


def _plan(draft: Draft, node: Node | None) -> tuple[PlannedTake, ...]:
    plan = []
    for count, item in enumerate(draft.listed(node)):
        with draft.issues.gather():
            if count == MOST:
                raise item.wrong(f"these are more than {MOST} takes.", "Plan one day.")
            table = item.as_table()
            table.only(("take", "lasts", "times"))
            times = table["times"].as_text() if "times" in table else None
            if times is not None and not re.fullmatch("[1-9][0-9]?", times.value):
                raise times.wrong(f'"{times.value[:20]}" is no count.', "Write how often, from 1 to 99.")
            plan.append(
                PlannedTake(
                    read_line(table["take"].as_text()),
                    read_span(table["lasts"].as_text()),
                    int(times.value) if times is not None else 1,
                )
            )
    return tuple(plan)


def _checks(draft: Draft, node: Node | None, vocabulary: Vocabulary) -> tuple[CheckEntry, ...]:
    checks: list[CheckEntry] = []
    names: dict[tuple[str, str], int] = {}
    for count, item in enumerate(draft.listed(node)):
        with draft.issues.gather():
            if count == MOST:
                raise item.wrong(f"these are more than {MOST} checks.", "Say less.")
            table = item.as_table()
            with draft.issues.gather():
                table.only(words_of(CheckShape))
            name = read_name(table["name"].as_text())
            remedy = read_line(table["remedy"].as_text())
            must = _yes(table, "must", default=True)
            if draft.is_doubtful(table):
                continue
            for device in members(table.get("of"), vocabulary):
                if first := names.get((device, name)):
                    raise table.wrong(f'another check has the name "{name}", in line {first}.', "Give each its own.")
                names[device, name] = table.line
                condition = parse_node(table["check"], vocabulary, device)
                checks.append(CheckEntry(device, name, condition, remedy, must, table.line))
    return tuple(checks)


def _yes(table: Table, word: str, *, default: bool) -> bool:
    return table[word].as_text().one_of(("yes", "no"), "answer") == "yes" if word in table else default


def _format(text: Text) -> str:
    if rate_of_format(text.value) is None:
        raise text.wrong(f'"{text.value[:40]}" is no picture format.', "Write it like 1080p25 or 1080i50.")
    return text.value


def _label(text: Text) -> str:
    try:
        return str(Label.parse(text.value))
    except ValueError as error:
        raise text.wrong(str(error), "") from error


def _rate(text: Text) -> str:
    return text.one_of(tuple(RATES), "rate of timecode")


def _share(text: Text) -> float:
    """Read "15 %" as a ratio. Raises FileError."""
    found = re.fullmatch(r"([0-9]{1,3}) ?%", text.value.strip())
    if found is None:
        raise text.wrong(f'"{text.value[:40]}" can\'t be read.', "Write it like 15 %.")
    return int(found[1]) / 100


def _channels(text: Text) -> int:
    if not re.fullmatch("[0-9]{1,2}", text.value) or int(text.value) > 64:
        raise text.wrong(f'"{text.value[:20]}" is no count of channels.', "Write a number from 0 to 64.")
    return int(text.value)


_FACTS: Final = (
    # word in the file, field, reader
    ("format", "format", _format),
    ("codec", "codec", read_line),
    ("channels", "channels", _channels),
    ("timecode", "timecode", _rate),
    ("timecode source", "timecode_source", read_line),
    ("offset", "offset_frames", read_frames),
    ("jam", "jam", _label),
    ("spare", "spare", _share),
    ("reserve", "reserve_bytes", read_size),
    ("kept for", "kept_s", read_span),
)
