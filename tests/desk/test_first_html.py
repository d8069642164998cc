"""Is the page true before any script runs, and does it ask nobody else for anything?"""

import re

import pytest

from tests.desk.browser import VIEWS, Looks, path, plain
from tests.desk.hall import Hall

pytestmark = pytest.mark.slow


def test_without_scripts_the_sentence_stands_with_its_time_and_says_it_is_not_live(hall: Hall, looks: Looks) -> None:
    take = hall.roll("Warm-up")
    look = looks.at(hall.url, java_script_enabled=False)
    look.page.goto(hall.url)
    assert plain(look.page.inner_text("h1")).startswith(f"Take {take} rolls on 5 of 5.")
    assert re.search(r"As of \d\d:\d\d:\d\d, not live", look.page.inner_text("body"))
    assert "Warm-up" in look.page.inner_text("body")


def test_a_refused_socket_leaves_what_was_served(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url)
    look.page.route_web_socket(re.compile("live"), lambda socket: socket.close())
    look.page.goto(hall.url)
    look.page.wait_for_timeout(700)
    assert "not live" in look.page.inner_text("body")
    assert look.page.locator("button").count() == 0, "nothing to press"


@pytest.mark.parametrize("view", VIEWS)
def test_every_address_is_served_under_a_strict_policy(hall: Hall, view: str) -> None:
    import http.client

    connection = http.client.HTTPConnection("127.0.0.1", hall.studio.port, timeout=10)
    connection.request("GET", path(view))
    answer = connection.getresponse()
    policy, text = answer.getheader("Content-Security-Policy") or "", answer.read().decode()
    connection.close()
    assert answer.status == 200
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert not re.search(r"<script(?![^>]* src=)|<style|\son[a-z]+=|\sstyle=", text), "nothing inline"


def test_nothing_is_asked_of_another_host_and_the_policy_has_nothing_to_report(hall: Hall, looks: Looks) -> None:
    look = looks.at(hall.url)
    look.page.add_init_script(
        "window.reports = []; addEventListener('securitypolicyviolation', e => reports.push(e.blockedURI))"
    )
    look.open()
    for view in VIEWS:
        look.go(view)
    assert look.page.evaluate("window.reports") == []
    assert {address.split("/")[2] for address in look.asked} == {f"127.0.0.1:{hall.studio.port}"}
    assert look.complaints == []
    assert look.page.context.cookies() == []


def test_the_first_view_is_light(hall: Hall, looks: Looks) -> None:
    """Bound: 130 kB packed for HTML, CSS, script and face. Source: the desk's brief, own choice."""
    look = looks.at(hall.url)
    sizes: list[int] = []
    session = look.page.context.new_cdp_session(look.page)
    session.send("Network.enable")
    session.on("Network.loadingFinished", lambda event: sizes.append(int(event["encodedDataLength"])))
    look.open()
    assert sum(sizes) < 130_000 + 40_000, f"{sum(sizes)} bytes with what was read of the house"
