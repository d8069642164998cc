"""Is it seen by all eyes, and does it hurt none? States without colour, a twin in words for each mark, no flicker."""

import base64
from typing import Any, Final

import pytest
from playwright.sync_api import Page

from tests.desk.browser import VIEWS, Look, Looks
from tests.desk.hall import Hall
from tests.stories.studio import until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
# as Chromium simulates them: of the four kinds, all that shift or take away a hue whole
EYES: Final = ("protanopia", "deuteranopia", "tritanopia", "achromatopsia")
APART: Final = 0.25  # of relative luminance between a full cell and an empty one; own choice, 3:1 of the middle greys
STEP: Final = (
    0.1  # of relative luminance, where the darker is below BRIGHT. Source: WCAG 2.2, definition of general flash
)
BRIGHT: Final = 0.8
GRID: Final = (9, 5)  # cells of 152 x 154 px: the least area of a flash that counts, 21 824 px by the same definition
# Relative luminance of each cell's mean, row by row. Source: WCAG 2.2, definition of relative luminance.
CELLS: Final = """async ([data, columns, rows]) => {
    const image = new Image();
    image.src = `data:image/png;base64,${data}`;
    await image.decode();
    const canvas = new OffscreenCanvas(columns, rows);
    const pen = canvas.getContext("2d", { willReadFrequently: true });
    pen.imageSmoothingQuality = "high";
    pen.drawImage(image, 0, 0, columns, rows);
    const line = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
    const found = [], bytes = pen.getImageData(0, 0, columns, rows).data;
    for (let i = 0; i < bytes.length; i += 4)
        found.push([0.2126, 0.7152, 0.0722].reduce((sum, share, k) => sum + share * line(bytes[i + k] / 255), 0));
    return found;
}"""
# marks that are drawn and seen, without a word in the element they stand in
WORDLESS: Final = """() => [...document.querySelectorAll('.mark')]
    .filter((one) => one.firstElementChild && one.checkVisibility())
    .filter((one) => !/[a-z]{3}/i.test(one.closest('li, p, tr, button, .row')?.textContent ?? ''))
    .map((one) => one.parentElement.outerHTML.slice(0, 200))"""


def luminance(page: Page, png: bytes, columns: int = 1, rows: int = 1) -> list[float]:
    """Of each cell of a picture."""
    return list(page.evaluate(CELLS, [base64.b64encode(png).decode(), columns, rows]))


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
    """No part of the page brightens and darkens more than once in a second, where three are the limit.

    Source: WCAG 2.2, 2.3.1 and its definition of a general flash: a pair of opposing changes of 10 % or more.
    """
    look = looks.at(hall.url).open()
    frames: list[tuple[float, bytes]] = []
    session = look.page.context.new_cdp_session(look.page)

    def shown(event: Any) -> None:
        frames.append((event["metadata"]["timestamp"], base64.b64decode(event["data"])))
        session.send("Page.screencastFrameAck", {"sessionId": event["sessionId"]})

    session.on("Page.screencastFrame", shown)
    session.send("Page.startScreencast", {"format": "png", "maxWidth": 683, "maxHeight": 384})
    hall.fault("iso-4", "never_roll")
    take = hall.roll("Quintet in G")
    look.says("Rec 4 did not roll")
    for box in ("iso-1", "iso-2"):
        hall.studio.hand(box, "stop")
        look.page.wait_for_selector(f".wrong-strip :text('Rec {box[-1]} ')")
    hall.cut(take)
    look.says("can roll")
    session.send("Page.stopScreencast")
    judge = looks.at(hall.url).page
    assert len(frames) >= 5, "it was looked at while it changed"
    lights = [(at, luminance(judge, png, *GRID)) for at, png in frames]
    for spot in range(GRID[0] * GRID[1]):
        turns = opposing([(at, light[spot]) for at, light in lights])
        fast = [(one, two) for one, two in zip(turns, turns[2:], strict=False) if two - one < 1.0]
        assert not fast, f"cell {spot % GRID[0]}, {spot // GRID[0]} flickers: {fast}"


def opposing(seen: list[tuple[float, float]]) -> list[float]:
    """When the light of one place turned by a step or more, up and down by turns."""
    turns: list[float] = []
    way = 0  # of the last turn
    edge = seen[0][1]  # the brightest since a turn up, the darkest since a turn down
    for at, light in seen[1:]:
        if abs(light - edge) >= STEP and min(light, edge) < BRIGHT and way != (1 if light > edge else -1):
            way = 1 if light > edge else -1
            turns.append(at)
            edge = light
        elif way == 0 or (light > edge) == (way == 1):
            edge = light
    return turns


def test_a_light_that_blinks_twice_a_second_is_found() -> None:
    """The judge of the test above can say no."""
    blinking = [(number * 0.25, float(number % 2)) for number in range(8)]
    turns = opposing(blinking)
    assert next(two - one for one, two in zip(turns, turns[2:], strict=False)) < 1.0
    assert opposing([(float(number), 0.2 + 0.005 * number) for number in range(8)]) == []


def test_nothing_moves_by_itself_for_who_asked_for_stillness(hall: Hall, looks: Looks) -> None:
    """No transition and no animation of style runs in any view; the growth of a bar is no more than a step a second."""
    hall.roll("Quintet in G")
    look = looks.at(hall.url, reduced_motion="reduce").open()
    for view in VIEWS:
        look.go(view)
        until(lambda: look.page.evaluate("document.getAnimations().length") == 0, 5, f"{view} stands still")
        assert look.page.locator("marquee, blink, video, [autoplay]").count() == 0
