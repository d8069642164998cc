"""Is the page usable by all: does axe find nothing, in every view and state, both themes and three sizes?

Source: axe-core's rules for WCAG 2.0 to 2.2, A and AA, and its best practices.
"""

import os
import signal

import pytest

from tests.desk.browser import SIZES, THEMES, VIEWS, Look, Looks
from tests.desk.hall import Hall

pytestmark = [pytest.mark.slow, pytest.mark.timeout(240)]


def found(looks: list[tuple[str, Look]], state: str) -> list[str]:
    slips = []
    for name, look in looks:
        for view in VIEWS:
            look.go(view)
            look.shot(f"{state}-{view}-{name}")
            slips += [f"{state} {view} {name}: {slip}" for slip in look.axe()]
    return slips


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_in_any_view_and_state(own_hall: Hall, looks: Looks, size: str) -> None:
    hall = own_hall
    hall.cut(hall.roll("First movement"))
    pages = [(f"{size}-{theme}", looks.at(hall.url, size, theme).open()) for theme in THEMES]
    slips = found(pages, "well")
    hall.fault("iso-4", "never_roll")
    hall.roll("Third movement, from bar 40")
    pages[0][1].go("sheet")
    pages[0][1].says("Rec 4 did not roll")
    pages[0][1].page.wait_for_selector("text=I know")
    slips += found(pages, "fault")
    pages[0][1].go("sheet")
    pages[0][1].page.click("#act-end")
    slips += [f"question {size}: {slip}" for slip in pages[0][1].axe()]
    pages[0][1].shot(f"question-sheet-{size}")
    pages[0][1].page.click("#keep")
    if size == "wide":  # what is stale or lost stands where it stands on a laptop
        assert not slips, "\n".join(slips)
        return
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


@pytest.mark.parametrize("theme", THEMES)
def test_axe_finds_nothing_in_what_opens(hall: Hall, looks: Looks, theme: str) -> None:
    take = hall.roll("Second movement")
    hall.cut(take)
    look = looks.at(hall.url, theme=theme).open("sheet", f"?take={take}")
    slips = look.axe()
    look.page.keyboard.press("?")
    slips += look.axe()
    look.open("kit", "?box=iso-1")
    slips += look.axe()
    look.open("paths", "?look=table")
    slips += look.axe()
    look.open("paths")
    look.page.click("text=change >> nth=0")
    slips += look.axe()
    assert not slips, "\n".join(slips)
