"""Does a press do what it says, and nothing else? Rolling is one press; ending is two deliberate acts in two places."""

import os
import re
import signal

import pytest

from tests.desk.browser import Look, Looks, bare
from tests.desk.hall import Hall
from tests.stories.studio import RECORDERS, until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
WITHIN_S = 15.0
# All that a page hears of the house comes so many milliseconds late.
LATE = """(() => {
    const Plain = WebSocket;
    window.WebSocket = class extends Plain {
        set onmessage(hear) { super.onmessage = (event) => setTimeout(() => hear(event), %d); }
    };
})()"""
# every key of a plain keyboard that a page can hear and a browser leaves alone; Tab alone only moves
KEYS = [
    *"abcdefghijklmnopqrstuvwxyz1234567890/?.,-",
    *("Enter", "Space", "Escape", "Backspace", "Delete", "Home", "End", "PageUp", "PageDown", "Tab"),
    *("ArrowUp", "ArrowDown", "ArrowLeft", "ArrowRight", "Insert"),
]


def test_one_press_rolls_all_and_page_terminal_and_another_page_say_the_same(hall: Hall, looks: Looks) -> None:
    one, two = looks.at(hall.url).open(), looks.at(hall.url, "phone", "dark").open()
    one.page.click("#act-roll")
    one.page.wait_for_selector("text=Asked.")
    two.says("rolls on 5 of 5")
    one.says("rolls on 5 of 5")

    def words() -> set[str]:
        """What all doors say; the spread becomes exact a moment after the roll, on all of them."""
        terminal = hall.studio.cli("now").stdout.splitlines()[0]
        return {one.words(), two.words(), bare(hall.now()["say"]), bare(terminal)}

    until(lambda: len(words()) == 1, WITHIN_S, "two pages, REST and the terminal say the same")


def test_ending_asks_first_with_the_safe_answer_under_the_hand(hall: Hall, looks: Looks) -> None:
    take = hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    place = look.page.locator("#act-end").bounding_box()
    look.page.click("#act-end")
    asked = look.page.inner_text("#ask-say").replace("\u00a0", " ")
    assert re.fullmatch(rf"End take {take} on 5 recorders\? It has run .+ s\.", asked), asked
    keep = look.page.locator("#keep").bounding_box()
    assert place is not None
    assert keep is not None
    assert keep["x"] < place["x"] + place["width"] / 2 < keep["x"] + keep["width"]
    assert keep["y"] < place["y"] + place["height"] / 2 < keep["y"] + keep["height"]
    assert look.page.evaluate("document.activeElement.id") == "keep"
    look.page.click("#do-end")
    look.says("Ready")
    assert hall.rolling() == []
    assert f"Take {take} ended on 5 of 5" in look.page.inner_text(".writing").replace("\u00a0", " ")


@pytest.mark.parametrize("size", ["laptop", "phone"])
def test_ten_quick_clicks_where_the_end_is_end_nothing(hall: Hall, looks: Looks, size: str) -> None:
    hall.roll("Quintet in G")
    look = looks.at(hall.url, size).open()
    box = look.page.locator("#act-end").bounding_box()
    assert box is not None
    for _ in range(10):
        look.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert look.sent == []
    assert hall.rolling() == list(RECORDERS)


@pytest.mark.parametrize("view", ["sheet", "paths", "sound", "kit", "journal", "wall", "card"])
def test_no_key_pressed_or_held_asks_for_anything(hall: Hall, looks: Looks, view: str) -> None:
    """From the page's own focus; a held key is many presses to a browser, told apart only by their repeat."""
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open(view)
    for key in KEYS:
        look.page.evaluate("document.activeElement?.blur()")
        look.page.keyboard.down(key)
        for _ in range(3):
            look.page.keyboard.down(key)  # the second and later ones carry repeat
        look.page.keyboard.up(key)
        if look.page.url != f"{hall.url}/{'' if view == 'sheet' else view}":
            look.go(view)
    assert look.sent == []
    assert hall.rolling() == list(RECORDERS)


def test_every_act_of_the_writing_line_goes_by_keyboard_alone(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url).open()
    look.page.wait_for_selector("#act-roll")  # who this is was read
    keys = look.page.keyboard
    keys.press("r")
    keys.press("Enter")
    look.says("rolls on 5 of 5")
    take = int(hall.now()["take"]["take"])
    keys.press("g")
    keys.press("Enter")
    until(lambda: hall.studio.get(f"takes/{take}")["good"], WITHIN_S, "marked good")
    keys.press("n")
    keys.press("Enter")
    look.page.wait_for_selector("#small-text")
    keys.type("Page turn at bar 30, e r g")
    keys.press("Enter")
    until(lambda: hall.studio.get(f"takes/{take}")["notes"], WITHIN_S, "the note is kept")
    keys.press("e")
    keys.press("Enter")
    look.page.wait_for_selector("#keep")
    keys.press("Shift+Tab")
    look.page.wait_for_selector("#do-end:not([aria-disabled=true])")  # held for a moment where the question changed
    keys.press("Enter")
    look.says("Ready")
    assert hall.rolling() == []


def test_keys_switched_off_do_nothing(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url).open()
    look.page.click("text=Keys: on")
    before = look.page.evaluate("document.activeElement.innerText")
    for key in "regnwst/?12":
        look.page.keyboard.press(key)
    assert look.page.evaluate("document.activeElement.innerText").replace("off", "on") == before.replace("off", "on")
    assert "Keys: off" in look.page.inner_text(".contents")
    assert look.page.url == f"{hall.url}/"


def test_a_key_may_be_another_one_and_two_acts_never_share_one(hall: Hall, looks: Looks) -> None:
    """Source: WCAG 2.2, 2.1.4: what acts on a character can be turned off or remapped."""
    look = looks.at(hall.url).open()
    focus = "document.activeElement?.id"
    look.page.wait_for_selector("#act-roll")
    look.page.keyboard.press("?")
    look.page.fill("[aria-label^='Key: go to the roll']", "x")
    look.page.fill("[aria-label^='Key: go to writing']", "x")
    look.page.wait_for_selector("text=x has another place already")
    look.page.fill("[aria-label^='Key: find']", "5")
    look.page.wait_for_selector("text=A key is one letter or sign")
    look.open().page.wait_for_selector("#act-roll")
    look.page.keyboard.press("r")
    assert look.page.evaluate(focus) != "act-roll", "its letter is another one now, also after loading anew"
    look.page.keyboard.press("x")
    assert look.page.evaluate(focus) == "act-roll"
    look.page.keyboard.press("?")
    look.page.click("text=Have the usual keys")
    look.page.keyboard.press("r")
    assert look.page.evaluate(focus) == "act-roll"
    assert look.sent == []


def test_what_is_wrong_is_put_aside_with_a_reason_and_an_end(hall: Hall, looks: Looks) -> None:
    hall.fault("iso-4", "never_roll")
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    look.page.click("[aria-label^='Put aside: Rec 4 did not roll']")
    look.page.click("text=Put it aside")
    assert look.sent == [], "not without a reason"
    look.page.fill("#reason", "Rec 4 is lent to the foyer")
    look.page.select_option("#hours", label="8 h")
    look.page.click("text=Put it aside")
    look.page.wait_for_function("() => !document.querySelector('.wrong-strip')?.innerText.includes('did not roll')")
    row = next(one for one in hall.studio.get("alarms")["alarms"] if one["is"] == "aside")
    assert row["aside"]["reason"] == "Rec 4 is lent to the foyer"
    look.go("kit")
    look.page.wait_for_selector(".aside-row:has-text('Put aside by desk until'):has-text('lent to the foyer')")


def test_a_recorder_that_drops_out_rewrites_the_question_and_holds_its_end(hall: Hall, looks: Looks) -> None:
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    look.page.click("#act-end")
    hall.studio.hand("iso-2", "stop")
    look.page.wait_for_selector("#ask-changed:has-text('no longer rolls')")
    assert look.page.get_attribute("#do-end", "aria-disabled") == "true"
    look.page.evaluate("document.getElementById('do-end').click()")
    assert look.sent == [], "it can't be pressed yet"
    assert "on 4 recorders" in look.page.inner_text("#ask-say").replace("\u00a0", " ")
    look.page.wait_for_selector("#do-end[aria-disabled=false]")
    look.page.click("#do-end")
    look.says("Ready")


def frozen(look: Look, hall: Hall) -> None:
    os.kill(hall.studio.daemon_pid, signal.SIGSTOP)
    look.life("stale")


def test_a_frozen_daemon_makes_all_old_and_no_press_arrives_later(own_hall: Hall, looks: Looks) -> None:
    hall = own_hall
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    before = hall.commands()
    frozen(look, hall)
    assert look.sentence().startswith("Was: Take 1 rolls")
    assert "This page has lost stagectl." in look.page.inner_text(".lost-banner")
    shown = look.page.inner_text(".writing .clock")
    for place in ("#act-end", "#act-good", "#act-note"):
        look.page.click(place, force=True)
    assert look.page.locator(".question").count() == 0
    look.page.wait_for_timeout(1200)
    assert look.page.inner_text(".writing .clock") == shown, "no clock runs on alone"
    os.kill(hall.studio.daemon_pid, signal.SIGCONT)
    look.live()
    assert look.sent == []
    assert hall.commands() == before
    assert hall.rolling() == list(RECORDERS)


def test_a_press_that_was_kept_on_its_way_is_refused(own_hall: Hall, looks: Looks) -> None:
    """The page is still live by its own lights; the daemon stands still just then, and hears the press too late."""
    hall = own_hall
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    look.page.click("#act-end")
    os.kill(hall.studio.daemon_pid, signal.SIGSTOP)
    look.page.click("#do-end")
    assert len(look.sent) == 1
    look.life("stale")
    look.page.wait_for_timeout(1000)
    os.kill(hall.studio.daemon_pid, signal.SIGCONT)
    look.page.wait_for_selector("text=This was asked on a page that has lost stagectl since.")
    assert hall.rolling() == list(RECORDERS)


def test_a_killed_daemon_is_told_and_the_page_comes_back_by_itself(own_hall: Hall, looks: Looks) -> None:
    hall = own_hall
    hall.roll("Quintet in G")
    look = looks.at(hall.url).open()
    hall.studio.kill()
    look.life("lost")
    look.page.click("#act-end", force=True)
    assert look.sent == []
    hall.studio.start()
    look.live()
    look.says("Take 1 rolls on 5 of 5")


def test_a_slow_way_is_said_and_what_is_pressed_still_counts(hall: Hall, looks: Looks) -> None:
    """All that comes is 840 ms late: half the round trip is 420 ms, and a bit."""
    look = looks.at(hall.url)
    look.page.add_init_script(LATE % 840)
    look.open()
    look.page.wait_for_selector(".lag.slow:has-text('slow: ')")
    assert int(re.findall(r"\d+", look.page.inner_text(".lag"))[0]) >= 420
    look.page.click("#act-roll")
    look.says("rolls on 5 of 5")


def test_a_computer_that_slept_shows_nothing_as_fresh(hall: Hall, looks: Looks) -> None:
    """Its wall clock has gone on when it wakes; the page must not need to hear anything to know."""
    look = looks.at(hall.url)
    look.page.add_init_script(LATE % 300)  # so that a frame is drawn before the house is heard again
    look.open()
    look.page.evaluate("""() => {
        window.lives = [];
        const root = document.documentElement;
        new MutationObserver(() => lives.push(root.dataset.life)).observe(root, { attributes: true });
        const real = Date.now;
        Date.now = () => real() + 60000;
        document.dispatchEvent(new Event("visibilitychange"));
    }""")
    look.page.wait_for_function("() => window.lives.includes('stale')")
    look.live()


def test_a_route_that_two_change_has_one_effect_each_and_is_seen_by_both(hall: Hall, looks: Looks) -> None:
    one, two = looks.at(hall.url).open("paths"), looks.at(hall.url).open("paths")
    for look, source, word in ((one, "Wide", "wide"), (two, "Titles", "titles")):
        look.page.click("[aria-label='Change what Director shows']")
        look.page.click(f".choose button:has-text('{source}')")
        until(lambda wanted=word: hall.studio.point("paths", "director.shows")["value"] == wanted, WITHIN_S, source)
        for other in (one, two):
            other.page.wait_for_selector(f".row:has-text('Director') strong:has-text('{source}')")


def test_a_route_is_put_back_until_something_else_changes_it(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url).open("paths")
    before = hall.studio.point("paths", "bench.shows")["value"]
    look.page.click("[aria-label='Change what Bench shows']")
    look.page.click(".choose button:has-text('Stage right')")
    until(lambda: hall.studio.point("paths", "bench.shows")["value"] == "stage-right", WITHIN_S, "stage right")
    look.page.click("text=put back")
    until(lambda: hall.studio.point("paths", "bench.shows")["value"] == before, WITHIN_S, before)


def test_a_level_goes_where_it_was_asked(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url).open("sound")
    look.page.click("[aria-label='Set Ch\u00a04 Winds to a level']")
    look.page.fill("#db", "-18")
    look.page.keyboard.press("Enter")
    until(lambda: hall.studio.point("mixer", "strip.4.level")["value"] == -18.0, WITHIN_S, "the level")


def rises(hall: Hall, point: str, to: float) -> None:
    """Bring it down, and ask for a rise of seconds; nobody waits for it."""
    hall.studio.post("commands", {"target": "mixer", "verb": "set", "args": {"point": point, "value": -60.0}})
    asked = {"target": "mixer", "verb": "set", "args": {"point": point, "value": to}}
    assert hall.studio.ask("POST", "/api/v1/commands", asked)[0] == 202


def test_a_rise_is_stopped_where_it_is_from_any_page_and_the_terminal(hall: Hall, looks: Looks) -> None:
    """From -60 to -20 dB at 6 dB a second."""
    point = "strip.4.level"
    one, two = looks.at(hall.url).open("sound"), looks.at(hall.url, "phone", "dark").open("sound")
    row = ".level:has-text('Ch\u00a04 Winds')"
    rises(hall, point, -20.0)
    for look in (one, two):
        look.page.wait_for_selector(f"{row} .about:has-text('rises to \u221220.0\u00a0dB, desk')")
    one.shot("rise-sound-laptop-light")
    assert "1 rises" in one.page.inner_text("nav.contents")
    told = hall.studio.cli("now").stdout.splitlines()
    say = "Mixer strip 4 level rises to -20 dB, asked by desk."
    assert f'{say} To stop it there: stagectl level "strip 4" stop' in told
    two.page.click(f"{row} .halt")
    for look in (one, two):
        look.page.wait_for_selector(f"{row} .about:has-text('since')")
        assert look.page.locator(f"{row} .halt").is_hidden()
    stands = hall.studio.point("mixer", point)
    assert -60.0 < stands["value"] < -21.0
    rises(hall, point, -20.0)
    ended = hall.studio.cli("level", "4", "stop")
    assert re.fullmatch(r"Mixer: strip 4 level stopped at -[0-9.]+ dB\.\n", ended.stdout), ended
    assert ended.returncode == 0
    assert hall.studio.truth("mixer")["strips"][3]["level_db"] < -21.0
    again = hall.studio.cli("level", "4", "stop")
    assert "strip 4 level does not rise" in again.stdout + again.stderr
    assert again.returncode in {1, 4}
    hall.studio.post("commands", {"target": "mixer", "verb": "set", "args": {"point": point, "value": -20.0}})


def test_a_rise_that_has_no_row_is_told_above_them_and_stopped_there(hall: Hall, looks: Looks) -> None:
    """What a station hears goes over sends, which the page has no rows for."""
    point = "strip.1.send.4.level"
    look = looks.at(hall.url, "phone").open("sound")
    rises(hall, point, -20.0)
    row = look.page.locator(".rises .row")
    row.get_by_text("Mixer strip 1 send 4 level rises to \u221220\u00a0dB, asked by desk.").wait_for()
    look.shot("rise-send-sound-phone-light")
    assert look.axe() == []
    row.get_by_role("button", name="Stop here").click()
    row.wait_for(state="detached")
    assert -60.0 < hall.studio.point("mixer", point)["value"] < -21.0
    hall.studio.post("commands", {"target": "mixer", "verb": "set", "args": {"point": point, "value": "off"}})


def test_a_ceiling_is_shown_and_kept(hall: Hall, looks: Looks) -> None:
    """The demo hall keeps the monitor at the piano bench at 0 dB at most."""
    look = looks.at(hall.url).open("sound")
    row = look.page.locator(".level", has_text="Bus\u00a03")
    assert "ceiling 0.0\u00a0dB" in row.inner_text()
    row.locator("text=to...").click()
    assert look.page.get_attribute("#db", "max") == "0"
    look.page.fill("#db", "-0.5")
    look.page.keyboard.press("Enter")
    for shown in ("\u22120.5", "0.0", "0.0"):
        row.locator(".value", has_text=f"{shown}\u00a0dB ceiling").wait_for()
        row.locator("> .about", has_text="since").wait_for()  # no press is under way
        row.locator("text=+1").click()
    row.locator("> .about", has_text="since").wait_for()
    assert hall.studio.point("mixer", "bus.3.level")["value"] == 0.0, "no further than the ceiling"
    row.locator("text=to...").click()
    look.page.locator("#db").evaluate("field => field.removeAttribute('max')")
    look.page.fill("#db", "3")
    look.page.keyboard.press("Enter")
    row.locator("text=The site keeps").wait_for()
    assert hall.studio.point("mixer", "bus.3.level")["value"] == 0.0


def test_a_hand_at_the_mixer_is_seen_and_said(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url).open("sound")
    hall.studio.hand("mixer", "fader", strip=1, db=-9.0)
    look.page.wait_for_selector(".level:has-text('Ch\u00a01 Piano') :text('changed at the box')", timeout=20_000)


def test_the_card_has_three_acts_at_most_each_a_wide_sentence(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url, "phone").open("card")
    hall.roll("Quintet in G")
    look.says("rolls on 5 of 5")
    acts = look.page.locator("#view .acts button")
    assert 1 <= acts.count() <= 3
    for number in range(acts.count()):
        box = acts.nth(number).bounding_box()
        assert box is not None
        assert box["height"] >= 64
        assert box["width"] >= 300
