"""The trials of the page at their full length: `python -m tests.desk.long [flicker|aloud|paper]...`; about 7 minutes.

Flicker: 60 s of frames while alarms come and go (row A5). Aloud: 200 boxes that tell 10 times a second, for 5 min
(row A10). Paper: 60 takes printed (row A19). The shorter ones of every round of the tests are the same code.
"""

import argparse
import json
import shutil
import sys
import tempfile
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Final

from playwright.sync_api import sync_playwright

from bench.farend import FarEnd, build
from bench.process import Measured, write_site
from tests.desk.aloud import heard
from tests.desk.browser import CHROMIUM, Looks
from tests.desk.flicker import traced
from tests.desk.hall import Hall
from tests.desk.paper import day, printed, slips
from tests.stories.studio import Studio

BOXES: Final = 200
RATE: Final = 10  # notices a second of each box
EVENT_S: Final = 15.0
SICK: Final = (7, 60, 131)  # boxes that are stopped and don't roll again, one after the other


def flicker(looks: Looks, folder: Path, seconds: float) -> list[str]:
    with Studio(folder) as studio:
        studio.start()
        hall = Hall(studio)
        told = traced(looks.at(hall.url).open(), looks.at(hall.url).page, hall, seconds)
    _say(
        f"flicker: {told.frames} frames over {told.seconds:.0f} s, {told.alarms} alarms came and went, "
        f"{told.turns} turns of light by 10 % in 45 regions, {len(told.fast)} times two pairs within a second"
    )
    return told.fast


def aloud(looks: Looks, folder: Path, seconds: float) -> list[str]:
    with FarEnd(build(folder), BOXES) as far:
        site = write_site(folder / "site.yaml", far)
        with Measured("bench.daemon", str(site), f"{folder}/data") as measured:
            measured.wait_ready(far.number)
            look = looks.at(f"http://127.0.0.1:{measured.port}").open("kit")
            look.page.wait_for_selector("#act-roll")
            look.page.click("#act-roll")
            look.says(f"rolls on {BOXES} of {BOXES}")
            look.page.wait_for_timeout(6000)  # what a roll says has been said
            far.stream(RATE)

            def happens(number: int) -> None:
                """First nothing; then a box is stopped, does not roll again when asked, and rolls the next time."""
                box = SICK[number // 4 % len(SICK)]
                deck = f"deck-{box + 1}"
                match number % 4:
                    case 1:
                        _ask(look.url, "cut", {"take": 1, "on": [deck]})
                    case 2:
                        far.fault(box, "refuses")
                        _ask(look.url, "roll", {"on": [deck]})
                    case 3:
                        far.fault(box, "none")
                        _ask(look.url, "roll", {"on": [deck]})

            told = heard(look, seconds, happens, EVENT_S)
            sent = far.sent()
    _say(
        f"aloud: {BOXES} boxes told {sent} changes in {seconds:.0f} s, the page wrote {told.changes} times; "
        f"{len(told.polite)} sentences and {len(told.urgent)} times what is wrong was read aloud, "
        f"{len(told.rows)} rows came up"
    )
    for at, text in sorted((*told.polite, *told.urgent)):
        _say(f"  {at / 1000:6.1f} s  {text}")
    return told.slips()


def paper(looks: Looks, folder: Path, takes: int) -> list[str]:
    with Studio(folder) as studio:
        studio.start()
        pages = printed(looks.at(studio.url), day(takes))
    found = slips(pages, day(takes))
    _say(f"paper: {takes} takes on {len(pages)} pages of A4, {len(found)} slips")
    return found


def _ask(url: str, what: str, body: dict[str, object]) -> None:
    """Somebody at another page asks for something, and does not wait for its verdict."""
    head = {"Content-Type": "application/json"}
    asked = urllib.request.Request(f"{url}/api/v1/{what}", json.dumps(body).encode(), head, method="POST")
    with urllib.request.urlopen(asked, timeout=60) as answer:
        answer.read()


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def main() -> int:
    trials: dict[str, Callable[[Looks, Path], list[str]]] = {
        "flicker": lambda looks, folder: flicker(looks, folder, given.flicker_s),
        "aloud": lambda looks, folder: aloud(looks, folder, given.aloud_s),
        "paper": lambda looks, folder: paper(looks, folder, given.takes),
    }
    parser = argparse.ArgumentParser(prog="python -m tests.desk.long")
    parser.add_argument("trials", nargs="*", choices=[*trials, []], help="all, if none is named")
    parser.add_argument("--flicker-s", type=float, default=60.0)
    parser.add_argument("--aloud-s", type=float, default=300.0)
    parser.add_argument("--takes", type=int, default=60)
    given = parser.parse_args()
    slipped = 0
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which(CHROMIUM), args=["--no-sandbox"])
        for name in given.trials or trials:
            looks = Looks(browser)
            (Path(folder) / name).mkdir()
            found = trials[name](looks, Path(folder) / name)
            for slip in found:
                _say(f"  {name}: {slip}")
            slipped += len(found)
            looks.close()
        browser.close()
    return int(slipped > 0)


if __name__ == "__main__":
    sys.exit(main())
