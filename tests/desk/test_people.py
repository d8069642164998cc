"""Who may do what from the page: a login, the desk handed over, a viewer who only watches."""

import json
from pathlib import Path

import pytest

from stagectl.control import passwords
from stagectl.model.secret import Secret
from tests.desk.browser import Look, Looks
from tests.desk.hall import Hall
from tests.stories.studio import until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]
PASSWORD = "four canvas otters yawn"


@pytest.fixture
def people(own_hall: Hall) -> Hall:
    """A house with three accounts, as `stagectl people add` leaves the file."""
    kept = passwords.hashed(Secret(PASSWORD), b"0123456789abcdef")
    roles = {"ines": "operator", "tomas": "engineer", "mara": "viewer"}
    told = {"v": 1, "people": {name: {"role": role, "password": kept} for name, role in roles.items()}}
    fresh: Path = own_hall.studio.data / "people.json.new"
    fresh.touch(0o600)
    fresh.write_text(json.dumps(told))
    fresh.replace(own_hall.studio.data / "people.json")
    until(lambda: own_hall.studio.ask("GET", "/api/v1/now")[0] == 401, 10, "the house is closed")
    return own_hall


def come(look: Look, name: str) -> Look:
    look.page.goto(look.url)
    look.page.wait_for_selector(".login")
    look.page.fill("#name", name)
    look.page.fill("#password", PASSWORD)
    look.page.keyboard.press("Enter")
    look.live()
    return look


def test_two_people_hand_the_desk_over_and_a_viewer_finds_nothing_to_press(people: Hall, looks: Looks) -> None:
    closed = looks.at(people.url)
    closed.page.goto(people.url)
    closed.page.wait_for_selector(".login")
    assert "can roll" not in closed.page.content(), "nothing of the house is told"
    assert closed.axe() == []

    ines, tomas = come(looks.at(people.url), "ines"), come(looks.at(people.url), "tomas")
    ines.page.click("text=Hold the desk")
    tomas.page.wait_for_selector("text=ines holds the desk.")
    tomas.page.click("text=Ask for it")
    ines.page.click("text=Hand over to tomas")
    tomas.page.wait_for_selector("text=You hold the desk.")
    ines.page.wait_for_selector("text=tomas holds the desk.")

    ines.page.click("#act-roll")
    tomas.says("Take 1 rolls on 5 of 5")
    tomas.page.click("#act-end")
    tomas.page.click("#do-end")
    tomas.page.wait_for_selector("#ask-say:has-text('ines')", timeout=15_000)
    assert len(people.rolling()) == 5, "somebody else's take is asked about twice"
    tomas.page.wait_for_selector("#do-end[aria-disabled=false]")
    tomas.page.click("#do-end")
    ines.says("Ready")

    mara = come(looks.at(people.url), "mara")
    assert mara.page.locator(".writing button, .wrong-strip button, .holder button").count() == 0
    token = mara.page.evaluate("sessionStorage.getItem('stagectl-token')")
    assert all(token not in address for address in mara.asked), "never in an address"
    assert mara.page.context.cookies() == []
    status, _ = people.studio.ask("POST", "/api/v1/roll", {}, {"Authorization": f"Bearer {token}"})
    assert status == 403
