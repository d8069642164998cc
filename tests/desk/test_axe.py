"""Is the page usable by all: does axe find nothing, in every view and state, both themes and each size?

Source: axe-core's rules for WCAG 2.0 to 2.2, A and AA, and its best practices. A theme changes colours alone, so by
night a page is asked about colours, without loading anew; a tablet and a wide page are laid out as a laptop's, and only
looked at while they are live, by day.
"""

import os
import signal

import pytest

from tests.desk.browser import COLOURS, VIEWS, Look, Looks
from tests.desk.hall import Hall

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]
TO_THE_END = ("laptop", "phone")
LIVE = ("wide", "tablet")


def found(pages: dict[str, Look], state: str) -> list[str]:
    """What axe finds in every view of pages that are in this state, by day and by night."""
    slips = []
    for size, look in pages.items():
        for view in VIEWS:
            look.go(view)
            slips += [f"{state} {view} {size}: {slip}" for slip in look.axe()]
            look.shot(f"{state}-{view}-{size}-light")
            if size in TO_THE_END:
                look.theme("dark")
                slips += [f"{state} {view} {size} dark: {slip}" for slip in look.axe(COLOURS)]
                look.shot(f"{state}-{view}-{size}-dark")
                look.theme("light")
        look.go("sheet")
    return slips


def test_axe_finds_nothing_in_any_view_and_state(own_hall: Hall, looks: Looks) -> None:
    hall = own_hall
    hall.cut(hall.roll("First movement"))
    every = {size: looks.at(hall.url, size).open() for size in (*TO_THE_END, *LIVE)}
    pages = {size: every[size] for size in TO_THE_END}
    slips = found(every, "well")
    hall.fault("iso-4", "never_roll")
    hall.roll("Third movement, from bar 40")
    for look in every.values():
        look.says("Rec 4 did not roll")
    slips += found(every, "fault")
    for size, look in pages.items():
        look.page.click("#act-end")
        slips += [f"question {size}: {slip}" for slip in both(look)]
        look.shot(f"question-sheet-{size}")
        look.page.click("#keep")
    for size in LIVE:
        every[size].page.close()
    os.kill(hall.studio.daemon_pid, signal.SIGSTOP)
    for look in pages.values():
        look.life("stale")
    slips += found(pages, "stale")
    os.kill(hall.studio.daemon_pid, signal.SIGCONT)
    hall.studio.kill()
    for look in pages.values():
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
    look.theme("dark")
    slips += look.axe(COLOURS)
    look.theme("light")
    return slips
