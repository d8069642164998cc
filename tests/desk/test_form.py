"""Can it be read, reached and printed? Contrast, sizes, focus, zoom, forced colours, names of all kinds, paper."""

import re

import pytest

from tests.desk.aloud import Heard, heard
from tests.desk.browser import ROOT, SIZES, VIEWS, Looks, plain
from tests.desk.hall import Hall
from tests.desk.paper import day, printed, slips

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
TOKENS = (ROOT / "stagectl" / "desk" / "src" / "style" / "tokens.css").read_text(encoding="utf-8")
LINE, TEXT = 3.0, 4.5  # WCAG 2.2, 1.4.11 and 1.4.3
# what stands on what, and how far apart the two must be; roles of the brief's table of colours
PAIRS = [
    *((front, back, TEXT) for front in ("ink", "pencil", "stamp") for back in ("paper", "card", "well")),
    *((front, back, LINE) for front in ("rule", "roll") for back in ("paper", "card", "well")),
    *(("on-now", "now", TEXT), ("on-soon", "soon", TEXT), ("soon-edge", "soon", LINE), ("on-roll", "roll", TEXT)),
    *(("now-edge", "paper", LINE), ("paper", "ink", TEXT)),
]


def tokens(theme: str) -> dict[str, str]:
    block = re.search(
        r":root\[data-light=\"night\"\] \{(.*?)\}" if theme == "night" else r":root \{(.*?)\}", TOKENS, re.DOTALL
    )
    assert block
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block[1]))


def luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("theme", ["paper", "night"])
@pytest.mark.parametrize(("front", "back", "least"), PAIRS)
def test_colours_stand_apart(theme: str, front: str, back: str, least: float) -> None:
    """Source: WCAG 2.2, definition of contrast ratio."""
    known = tokens(theme)
    light, dark = sorted((luminance(known[front]), luminance(known[back])), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= least, f"{front} on {back}"


def test_black_on_white_is_21_by_the_formula() -> None:
    """Source: WCAG 2.2, the range of contrast ratios."""
    assert (luminance("#ffffff") + 0.05) / (luminance("#000000") + 0.05) == pytest.approx(21)


@pytest.mark.parametrize("theme", ["paper", "night"])
def test_reds_are_no_saturated_red(theme: str) -> None:
    """R / (R + G + B) of linear light below 0.8. Source: WCAG 2.2, definition of general flash and red flash."""
    for role in ("stamp", "now"):
        colour = tokens(theme)[role]
        red, green, blue = (luminance(f"#{part * 3}") for part in (colour[1:3], colour[3:5], colour[5:7]))
        assert red / (red + green + blue) < 0.8


BOXES = """() => [...document.querySelectorAll('button, a, input, select, summary')]
    .filter(one => one.checkVisibility() && !one.closest('.skip'))
    .map(one => [one, one.getBoundingClientRect()])
    .map(([one, box]) => [one.className + ' ' + one.innerText.slice(0, 30), box.width, box.height])"""


# Pairs of buttons that are nearer to each other than so many px, in both ways.
NEAR = """(least) => {
    const seen = (one) => one.checkVisibility({ visibilityProperty: true });
    const all = [...document.querySelectorAll('button')].filter(seen);
    const found = [];
    all.forEach((one, i) => all.slice(i + 1).forEach(two => {
        if (one.closest('#view') !== two.closest('#view')) return;  // one is scrolled away under the other
        const a = one.getBoundingClientRect(), b = two.getBoundingClientRect();
        const gap = Math.max(b.left - a.right, a.left - b.right, b.top - a.bottom, a.top - b.bottom);
        if (gap < least - 0.5) found.push(`${one.innerText.trim()} / ${two.innerText.trim()}: ${gap.toFixed(1)} px`);
    }));
    return found;
}"""


@pytest.mark.parametrize("size", SIZES)
def test_what_can_be_pressed_is_large_enough_and_apart(hall: Hall, looks: Looks, size: str) -> None:
    """24 px at least, acts 44. Source: WCAG 2.2, 2.5.8 and 2.5.5. Buttons 8 px apart: the desk's brief, own choice."""
    hall.fault("iso-4", "never_roll")
    hall.roll("Quintet in G")
    look = looks.at(hall.url, size).open()
    look.says("Rec 4 did not roll")
    slips = []
    for view in VIEWS:
        look.go(view)
        for name, wide, high in look.page.evaluate(BOXES):
            least = 44 if name.startswith("act ") else 24
            if high < least - 0.5 or wide < 23.5:
                slips.append(f"{view}: {name} {wide:.0f} x {high:.0f}")
        slips += [f"{view}: {pair}" for pair in look.page.evaluate(NEAR, 8)]
    look.go("sheet")
    look.page.click("#act-end")
    slips += [f"question: {pair}" for pair in look.page.evaluate(NEAR, 8)]
    assert not slips, "\n".join(slips)


@pytest.mark.parametrize("size", ["laptop", "phone"])
def test_what_has_the_focus_is_seen_whole(hall: Hall, looks: Looks, size: str) -> None:
    hall.fault("iso-4", "never_roll")
    hall.roll("Quintet in G")
    look = looks.at(hall.url, size).open("paths")
    look.page.wait_for_selector("text=I know")
    hidden, seen = [], set()
    for _ in range(45):
        look.page.keyboard.press("Tab")
        told = look.page.evaluate(
            """() => { const one = document.activeElement; const r = one.getBoundingClientRect();
                const at = document.elementFromPoint(r.x + r.width / 2, Math.min(r.y + r.height / 2, innerHeight - 2));
                const name = one.tagName + ' ' + one.className + ' ' + one.innerText.slice(0, 20);
                return [name, one === at || one.contains(at)]; }"""
        )
        seen.add(told[0])
        if not told[1] and not told[0].startswith(("BODY", "MAIN")):
            hidden.append(told[0])
    assert hidden == []
    assert len(seen) > 8


@pytest.mark.parametrize("view", VIEWS)
def test_zoomed_to_400_percent_nothing_is_lost_sideways(hall: Hall, looks: Looks, view: str) -> None:
    """1280 px at 400 % are 320. Source: WCAG 2.2, 1.4.10."""
    hall.roll("Quintet in G")
    look = looks.at(hall.url)
    look.page.set_viewport_size({"width": 320, "height": 256})
    look.open(view)
    assert look.page.evaluate("document.documentElement.scrollWidth") <= 320
    spaced = "* { line-height: 1.5 !important; letter-spacing: .12em !important; word-spacing: .16em !important }"
    sheet = (
        f"() => {{ const s = new CSSStyleSheet(); s.replaceSync(`{spaced}`); document.adoptedStyleSheets.push(s); }}"
    )
    look.page.evaluate(sheet)  # text spacing, WCAG 2.2, 1.4.12
    assert look.page.evaluate("document.documentElement.scrollWidth") <= 320


def test_states_are_told_apart_without_colour(hall: Hall, looks: Looks) -> None:
    hall.fault("iso-4", "never_roll")
    hall.roll("Quintet in G")
    look = looks.at(hall.url, forced_colors="active", reduced_motion="reduce", contrast="more").open()
    look.says("Rec 4 did not roll")
    cells = look.page.locator(".band li")
    words = [plain(cells.nth(number).inner_text()) for number in range(cells.count())]
    assert [word.partition(": ")[2] for word in words][:3] == ["rolls"] * 3
    assert "not rolling" in words[3]
    assert look.page.locator(".band li.failed .mark *").count() > 0
    look.shot("fault-sheet-forced-colours")
    assert look.page.evaluate("document.getAnimations().length") == 0


NAMES = [
    "<b>bold</b><script>window.hurt = 1</script>",
    "Suite \u05d0\u05d1\u05d2 \u0645\u0631\u062d\u0628\u0627 in one name",
    "\U0001f3bb\U0001f3bc Quartett f\u00fcr B\u0159etislav \u0141",
    "W" * 200,
]


@pytest.mark.parametrize("size", ["laptop", "phone"])
def test_names_of_all_kinds_are_shown_as_they_are(hall: Hall, looks: Looks, size: str) -> None:
    look = looks.at(hall.url, size).open()
    for name in NAMES:
        take = hall.roll(name)
        look.says(f"Take {take} rolls")
        hall.cut(take)
        look.page.wait_for_selector(f"#take-{take} .title")
        assert look.page.text_content(f"#take-{take} .title") == name
        look.page.wait_for_selector("#act-roll")
    assert look.page.evaluate("window.hurt") is None
    assert look.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    view = "document.getElementById('view')"
    assert look.page.evaluate(f"{view}.scrollWidth <= {view}.clientWidth")


def test_a_picture_shows_what_its_table_says(hall: Hall, looks: Looks) -> None:
    hall.cut(hall.roll("First movement"))
    hall.cut(hall.roll("Second movement"))
    look = looks.at(hall.url).open("journal")
    look.page.wait_for_selector(".columns text")
    look.page.click("text=Spread of each take as table")
    rows = look.page.locator(".picture tbody tr")
    table = [plain(rows.nth(number).locator("td").first.inner_text()).split()[0] for number in range(rows.count())]
    texts = look.page.locator(".columns text")
    drawn = [texts.nth(number).text_content() for number in range(0, texts.count(), 2)]
    assert drawn == table
    takes = {take["take"]: take["spread"]["frames"] for take in hall.studio.get("takes")["takes"] if take["spread"]}
    assert [str(takes[number]) for number in sorted(takes)][-40:] == table


def test_every_view_has_one_heading_of_the_first_order_and_its_landmarks(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url).open()
    for view in VIEWS:
        look.go(view)
        assert look.page.locator("h1").count() == 1
        assert look.page.locator("main").count() == 1
        assert look.page.get_attribute("html", "lang") == "en"
        assert "Tidewater Hall" in look.page.title()
    assert (
        look.page.locator("svg:not([aria-hidden=true]):not([role=img])").evaluate_all(
            "all => all.filter(one => !one.closest('[aria-hidden=true]') && one.ownerSVGElement === null).length"
        )
        == 0
    )


def test_the_sentence_is_read_aloud_when_its_words_change_and_what_is_wrong_once(hall: Hall, looks: Looks) -> None:
    """First only a clock runs; then a recorder is stopped, and another. `tests.desk.long` goes on for 5 min."""
    look = looks.at(hall.url).open()
    hall.roll("Quintet in G")
    look.says("rolls on 5 of 5")
    polite = "document.querySelector('[aria-live=polite]').textContent"
    look.page.wait_for_function(f"() => {polite}.includes('rolls on')")  # after the pause between two announcements

    def stopped(number: int) -> None:
        if number:
            hall.studio.hand(f"iso-{number}", "stop")

    told = heard(look, 7.5, stopped, every_s=2.5)
    assert told.slips() == []
    assert told.changes > 5, "the clock went on"
    assert [text for at, text in (*told.polite, *told.urgent) if at < 2400] == [], "a clock that runs is no news"
    assert len(told.rows) == 2
    assert all(any(f"Rec {number}" in text for _, text in told.urgent) for number in (1, 2))


def test_two_sentences_at_once_and_a_row_unsaid_are_found() -> None:
    """The judge of the test above can say no."""
    told = Heard(polite=[(0, "Ready."), (900, "Take 1 rolls.")], rows=[(0, "Rec 1 stopped.")])
    assert len(told.slips()) == 2


def test_a_log_sheet_prints_whole(hall: Hall, looks: Looks) -> None:
    names = [f"Movement {number}" for number in range(1, 4)]
    for name in names:
        hall.cut(hall.roll(name))
    look = looks.at(hall.url).open("sheet", "?look=print")
    look.page.get_by_text(names[-1]).first.wait_for()
    look.page.emulate_media(media="print")
    text = look.page.inner_text("body")
    assert all(name in text for name in names)
    lanes = [lane for take in hall.studio.get("takes?count=3")["takes"] for lane in take["lanes"]]
    assert len(lanes) == 15
    assert [lane["clip"] for lane in lanes if lane["clip"] not in text or lane["start"] not in text] == []
    assert look.page.locator("button:visible").count() == 0
    assert look.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    view = "document.getElementById('view')"
    assert look.page.evaluate(f"{view}.scrollHeight <= {view}.clientHeight + 1"), "nothing is scrolled away"
    assert look.page.pdf(format="A4").startswith(b"%PDF")


def test_a_day_of_sixty_takes_is_whole_on_paper(hall: Hall, looks: Looks) -> None:
    """No entry is cut in two, no text is missing, nothing but greys. Source: pypdf reads what the browser printed."""
    takes = day(60)
    pages = printed(looks.at(hall.url), takes)
    assert len(pages) > 10
    assert slips(pages, takes) == []
    assert slips(pages, day(61))[0] == "take 61 stands on pages []", "the judge can say no"
