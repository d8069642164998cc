"""Is the page usable by all: does axe find nothing, in every view and state, both themes and each size?

Source: axe-core's rules for WCAG 2.0 to 2.2, A and AA, and its best practices. A theme changes colours alone, so the
dark one is asked about colours; a wide page is laid out as a laptop's, and only looked at while it is live.
"""

import os
import signal

import pytest

from tests.desk.browser import THEMES, VIEWS, Look, Looks
from tests.desk.hall import Hall

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]
TO_THE_END = ("laptop", "phone")
LIVE = ("wide", "tablet")


def found(pages: list[tuple[str, Look]], state: str) -> list[str]:
    slips = []
    for name, look in pages:
        for view in VIEWS:
            look.go(view)
            look.shot(f"{state}-{view}-{name}")
            slips += [f"{state} {view} {name}: {slip}" for slip in look.axe(colours=name.endswith("dark"))]
        look.go("sheet")
    return slips


def test_axe_finds_nothing_in_any_view_and_state(own_hall: Hall, looks: Looks) -> None:
    hall = own_hall
    hall.cut(hall.roll("First movement"))
    pages = [(f"{size}-{theme}", looks.at(hall.url, size, theme).open()) for size in TO_THE_END for theme in THEMES]
    live = [(size, looks.at(hall.url, size).open()) for size in LIVE]
    slips = found([*pages, *live], "well")
    hall.fault("iso-4", "never_roll")
    hall.roll("Third movement, from bar 40")
    for _, look in (*pages, *live):
        look.says("Rec 4 did not roll")
    slips += found([*pages, *live], "fault")
    for name, look in pages:
        look.page.click("#act-end")
        slips += [f"question {name}: {slip}" for slip in look.axe()]
        look.shot(f"question-sheet-{name}")
        look.page.click("#keep")
    os.kill(hall.studio.daemon_pid, signal.SIGSTOP)
    for _, look in pages:
        look.life("stale")
    slips += found(pages, "stale")
    os.kill(hall.studio.daemon_pid, signal.SIGCONT)
    hall.studio.kill()
    for _, look in pages:
        look.life("lost")
    slips += found(pages, "lost")
    assert not slips, "\n".join(slips)


def test_axe_finds_nothing_in_what_opens(hall: Hall, looks: Looks) -> None:
    take = hall.roll("Second movement")
    hall.cut(take)
    look = looks.at(hall.url).open("sheet", f"?take={take}")
    slips = both(look)
    look.page.keyboard.press("?")
    slips += both(look)
    look.open("kit", "?box=iso-1")
    slips += both(look)
    look.open("paths", "?look=table")
    slips += both(look)
    look.open("paths")
    look.page.click("text=change >> nth=0")
    slips += both(look)
    look.open("sound")
    look.page.click("text=to... >> nth=0")
    slips += both(look)
    hall.fault("iso-4", "never_roll")
    hall.roll("Third movement")
    look.go("sheet")
    look.page.click("[aria-label^='Put aside: Rec 4']")
    slips += both(look)
    assert not slips, "\n".join(slips)


def both(look: Look) -> list[str]:
    """What axe finds in it, by day and by night."""
    slips = look.axe()
    look.page.emulate_media(color_scheme="dark")
    slips += look.axe(colours=True)
    look.page.emulate_media(color_scheme="light")
    return slips
