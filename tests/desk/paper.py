"""Is a long day whole on paper? A log sheet of many takes, printed as the browser prints it and read back.

Source: pypdf, which shares no line with what drew the pages; the desk's brief, row A19.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from playwright.sync_api import Route
from pypdf import PageObject, PdfReader

from tests.desk.browser import Look, plain

DECKS: Final = {"iso-1": "Rec 1", "iso-2": "Rec 2", "iso-3": "Rec 3", "iso-4": "Rec 4", "mix-rec": "Rec 5"}
LONG: Final = "Third movement, from the pick-up to bar 88 to the end, with both repeats and without the cadenza, " * 2


def day(count: int) -> list[dict[str, Any]]:
    """Takes of a day, oldest first: whole ones, good ones, some with notes, a missing recorder, a long name."""
    return [_take(number) for number in range(1, count + 1)]


def _take(number: int) -> dict[str, Any]:
    begin = 8 * 3600 + number * 420
    opened, closed = _stamp(begin), _stamp(begin + 300)
    missing = {"iso-4"} if number % 9 == 4 else set()
    lanes = [
        {
            "device": device,
            "called": called,
            "rolled": opened,
            "give_s": 0.02,
            "start": f"{_label(begin)}:{lane:02d}",
            "start_exact": True,
            "clip": f"T{number:03d}_{device}",
            "slot": 1,
            "format": "1080p25",
            "length": "00:05:00:00",
            "ended": closed,
            "end": f"{_label(begin + 300)}:{lane:02d}",
            "ended_by": "",
            "note": "",
            "offset": lane,
        }
        for lane, (device, called) in enumerate(DECKS.items())
        if device not in missing
    ]
    return {
        "take": number,
        "name": LONG.strip() if number % 11 == 5 else f"Movement {number}",
        "by": "ines",
        "opened": opened,
        "closed": closed,
        "running": False,
        "wanted": list(DECKS),
        "rolling": [],
        "good": number % 7 == 0,
        "notes": [f"{opened} ines: Page turn at bar {number}"] if number % 5 == 0 else [],
        "marks": [],
        "unseen": [],
        "spread": {"frames": 4, "give": 0, "of": len(lanes), "exact": True},
        "common": {"first": f"{_label(begin)}:04", "last": f"{_label(begin + 300)}:00", "frames": 7496},
        "lanes": lanes,
        "say": f"Take {number} ended on {len(lanes)} of 5.",
    }


def _label(second: int) -> str:
    return f"{second // 3600:02d}:{second % 3600 // 60:02d}:{second % 60:02d}"


def _stamp(second: int) -> str:
    return f"2026-11-28T{_label(second)}.000Z"


@dataclass(frozen=True)
class Paper:
    """One page: its text without spaces, and its colours: "grey" for all from black to white, else their parts."""

    text: str
    colours: set[str]


def printed(look: Look, takes: Sequence[dict[str, Any]]) -> list[Paper]:
    """The log sheet of these takes, which the page is told instead of the hall's own, as pages of A4."""

    def answer(route: Route) -> None:
        """The newest first, as many as were asked for: as the daemon does."""
        count = int(re.findall(r"count=(\d+)", route.request.url)[0])
        route.fulfill(json={"takes": takes[-1 : -count - 1 : -1], "next": {}})

    look.page.route("**/api/v1/takes?**", answer)
    look.open("sheet", "?look=print")
    look.page.wait_for_selector(f"#take-{takes[0]['take']}")
    look.page.wait_for_selector(f"#take-{takes[-1]['take']}")
    whole = look.page.pdf(prefer_css_page_size=True, print_background=True)
    return [_read(page) for page in PdfReader(io.BytesIO(whole)).pages]


def slips(pages: Sequence[Paper], takes: Sequence[dict[str, Any]]) -> list[str]:
    """What is missing, cut in two or not black on white."""
    found = []
    for take in takes:
        wanted = [f"Take {take['take']} ", take["name"], take["say"]]
        wanted += [note.partition(": ")[2] for note in take["notes"]]
        wanted += [lane[what] for lane in take["lanes"] for what in ("clip", "start", "end")]
        on = [number for number, page in enumerate(pages, 1) if _bare(take["say"]) in page.text]
        if len(on) != 1:
            found.append(f"take {take['take']} stands on pages {on}")
            continue
        text = pages[on[0] - 1].text
        found += [f"take {take['take']}, page {on[0]}: no {one!r}" for one in wanted if _bare(one) not in text]
    for number, page in enumerate(pages, 1):
        if f"page{number}of{len(pages)}" not in page.text:
            found.append(f"page {number} does not say which it is")
        if not page.colours:
            found.append(f"no colour was found on page {number}: is it read at all?")
        found += [f"page {number} has the colour {one}" for one in sorted(page.colours - {"grey"})]
    return found


def _bare(text: str) -> str:
    """Without spaces: a line that breaks on paper is the same text."""
    return re.sub(r"\s", "", plain(text))


def _read(page: PageObject) -> Paper:
    colours: set[str] = set()

    def seen(operator: Any, operands: Any, *_: Any) -> None:
        if operator in (b"rg", b"RG", b"sc", b"SC", b"scn", b"SCN"):
            parts = [round(float(one), 3) for one in operands if isinstance(one, int | float)]
            colours.add("grey" if len(set(parts)) <= 1 else " ".join(map(str, parts)))

    return Paper(_bare(page.extract_text(visitor_operand_before=seen)), colours)
