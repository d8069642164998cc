"""Is it seen by all eyes, and does it hurt none? States without colour, a twin in words for each mark, no flicker."""

from typing import Final

import pytest
from playwright.sync_api import Page

from tests.desk.browser import VIEWS, Look, Looks
from tests.desk.flicker import fast, luminance, opposing, traced
from tests.desk.hall import Hall
from tests.stories.studio import until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
# as Chromium simulates them: of the four kinds, all that shift or take away a hue whole
EYES: Final = ("protanopia", "deuteranopia", "tritanopia", "achromatopsia")
FLICKER_S: Final = 5.0  # at least; `python -m tests.desk.long` looks for 60
APART: Final = 0.25  # of relative luminance between a full cell and an empty one; own choice, 3:1 of the middle greys
# marks that are drawn and seen, without a word in the element they stand in
WORDLESS: Final = """() => [...document.querySelectorAll('.mark')]
    .filter((one) => one.firstElementChild && one.checkVisibility())
    .filter((one) => !/[a-z]{3}/i.test(one.closest('li, p, tr, button, .row')?.textContent ?? ''))
    .map((one) => one.parentElement.outerHTML.slice(0, 200))"""


def cell(look: Look, judge: Page, number: int) -> float:
    """How bright a recorder's cell of the band is; `judge`: a page whose policy lets it decode pictures."""
    return luminance(judge, look.page.locator(".band li").nth(number).screenshot())[0]


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_eyes_that_miss_a_hue_see_which_recorder_is_missing(hall: Hall, looks: Looks, theme: str) -> None:
    hall.fault("iso-4", "never_roll")
    hall.roll("Quintet in G")
    look = looks.at(hall.url, theme=theme).open()
    look.says("Rec 4 did not roll")
    judge = looks.at(hall.url).page
    session = look.page.context.new_cdp_session(look.page)
    for eyes in EYES:
        session.send("Emulation.setEmulatedVisionDeficiency", {"type": eyes})
        look.shot(f"fault-sheet-{theme}-{eyes}")
        rolls, fails = cell(look, judge, 0), cell(look, judge, 3)
        assert abs(rolls - fails) > APART, (eyes, rolls, fails)
        assert look.page.locator(".band li.failed .mark *").count() > 0
    assert "not rolling" in look.page.locator(".band li").nth(3).text_content()  # type: ignore[operator]


def test_each_mark_has_its_words_in_every_view(hall: Hall, looks: Looks) -> None:
    hall.fault("iso-4", "never_roll")
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    look.says("Rec 4 did not roll")
    seen = 0
    for view in VIEWS:
        look.go(view)
        assert look.page.evaluate(WORDLESS) == [], view
        seen += look.page.locator(".mark > *").count()
    assert seen > 8, "there are marks"


def test_nothing_flickers_while_alarms_come_and_go(hall: Hall, looks: Looks) -> None:
    """No part of the page brightens and darkens more than once in a second. Source: see `flicker`."""
    told = traced(looks.at(hall.url).open(), looks.at(hall.url).page, hall, FLICKER_S)
    assert told.frames >= 5, "it was looked at while it changed"
    assert told.alarms >= 3
    assert told.fast == []


def test_a_light_that_blinks_twice_a_second_is_found() -> None:
    """The judge of the test above can say no."""
    blinking = [(number * 0.25, float(number % 2)) for number in range(8)]
    assert fast(opposing(blinking))
    assert opposing([(float(number), 0.2 + 0.005 * number) for number in range(8)]) == []


def test_nothing_moves_by_itself_for_who_asked_for_stillness(hall: Hall, looks: Looks) -> None:
    """No transition and no animation of style runs in any view; the growth of a bar is no more than a step a second."""
    hall.roll("Quintet in G")
    look = looks.at(hall.url, reduced_motion="reduce").open()
    for view in VIEWS:
        look.go(view)
        until(lambda: look.page.evaluate("document.getAnimations().length") == 0, 5, f"{view} stands still")
        assert look.page.locator("marquee, blink, video, [autoplay]").count() == 0
