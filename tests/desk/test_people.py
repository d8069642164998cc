"""Who may do what from the page: a login, the desk handed over, a viewer who only watches."""

import pytest

from tests.desk.browser import Looks, bare
from tests.desk.hall import Hall
from tests.stories.studio import until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


def test_two_people_hand_the_desk_over_and_a_viewer_finds_nothing_to_press(people: Hall, looks: Looks) -> None:
    closed = looks.at(people.url)
    closed.page.goto(people.url)
    closed.page.wait_for_selector(".login")
    assert "can roll" not in closed.page.content(), "nothing of the house is told"
    assert closed.axe() == []

    ines, tomas = looks.at(people.url).come("ines"), looks.at(people.url).come("tomas")
    ines.page.click("text=Hold the desk")
    tomas.page.wait_for_selector("text=ines holds the desk.")
    tomas.page.click("text=Ask for it")
    ines.page.click("text=Hand over to tomas")
    tomas.page.wait_for_selector("text=You hold the desk.")
    ines.page.wait_for_selector("text=tomas holds the desk.")
    assert people.terminal("ines", "hold", "who") == "tomas holds the desk."

    ines.page.click("#act-roll")
    tomas.says("Take 1 rolls on 5 of 5")
    tomas.page.wait_for_selector("text=spread")  # exact once every recorder told its start
    until(lambda: tomas.words() == ines.words() == bare(people.now()["say"]), 15, "both pages say the same")
    assert bare(people.terminal("mara", "now")) == ines.words()
    tomas.page.click("#act-end")
    tomas.page.click("#do-end")
    tomas.page.wait_for_selector("#ask-say:has-text('ines')", timeout=15_000)
    assert len(people.rolling()) == 5, "somebody else's take is asked about twice"
    tomas.page.wait_for_selector("#do-end[aria-disabled=false]")
    tomas.page.click("#do-end")
    ines.says("Ready")
    people.terminal("ines", "hold", "ask")
    tomas.page.click("text=Hand over to ines")
    ines.page.wait_for_selector("text=You hold the desk.")
    assert people.terminal("mara", "hold", "who") == "ines holds the desk."

    mara = looks.at(people.url).come("mara")
    assert mara.page.locator(".writing button, .wrong-strip button, .holder button").count() == 0
    token = mara.page.evaluate("sessionStorage.getItem('stagectl-token')")
    assert all(token not in address for address in mara.asked), "never in an address"
    assert mara.page.context.cookies() == []
    status, _ = people.studio.ask("POST", "/api/v1/roll", {}, {"Authorization": f"Bearer {token}"})
    assert status == 403
