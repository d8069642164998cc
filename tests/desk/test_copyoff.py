"""Does the page say which clips are copied, begin and stop a run, and stay usable by all while one goes?

A browser on the demo hall. Sources: the daemon's own points, and axe-core's rules as in test_axe.py.
"""

import pytest

from tests.desk.browser import Looks
from tests.desk.hall import Hall
from tests.stories.studio import until

pytestmark = [pytest.mark.slow, pytest.mark.timeout(120)]


def test_a_run_is_begun_followed_and_told_on_the_page(hall: Hall, looks: Looks) -> None:
    hall.cut(hall.roll("Prelude"))
    look = looks.at(hall.url, "laptop").open("copyoff")
    look.page.get_by_role("button", name="Copy what is not copied").click()
    look.page.get_by_text("Stop copying").wait_for()
    until(lambda: hall.studio.get("copy")["run"] is not None, 10, "the run is begun")
    look.page.locator("ul[aria-label='What goes on'] li").first.wait_for()
    assert look.axe() == []
    until(lambda: hall.studio.get("copy")["run"]["outcome"], 40, "the run has ended")
    look.page.get_by_text("stand copied and verified at shelf").first.wait_for()
    assert "Not safe to clear: there is one place" in look.page.inner_text("main")
    assert "proven" in look.page.inner_text("nav.contents")
    look.shot("copyoff-laptop")
    phone = looks.at(hall.url, "phone", "dark").open("copyoff")
    phone.page.get_by_text("Rec 5").first.wait_for()
    assert phone.axe() == []
    phone.shot("copyoff-phone")


def test_who_may_only_watch_has_no_key_to_copy(people: Hall, looks: Looks) -> None:
    look = looks.at(people.url, "laptop").come("mara")
    look.go("copyoff")
    look.page.locator("ul[aria-label='Recorders'] li").first.wait_for()
    assert look.page.get_by_role("button", name="Copy what is not copied").count() == 0
