"""Pictures of every view in every state, to be looked at: `python -m tests.desk.shots FOLDER [--sizes phone,laptop]`.

Well, one fault with its question, stale, lost; both themes; laptop, wide, tablet and phone. Beside them the login, a
guest's card, what opens, the log sheet as it prints.
"""

import argparse
import os
import shutil
import signal
import sys
import tempfile
import threading
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.desk.browser import CHROMIUM, SIZES, THEMES, VIEWS, Look, Looks
from tests.desk.hall import Hall
from tests.stories.studio import Studio

TAKE_S = 4.0
PAPER = {"width": 794, "height": 1123}  # A4 at 96 px an inch


def whole_day(hall: Hall, looks: Looks, sizes: list[str]) -> None:
    """The four states, one after the other, on all pages at once."""
    for name in ("First movement", "Second movement, from bar 12", "Quintet in G, whole"):
        take = hall.roll(name)
        threading.Event().wait(TAKE_S)  # long enough for its sentences to say something
        hall.cut(take)
    pages = [
        (f"{size}-{theme}", looks.at(hall.url, size, theme, reduced_motion="reduce").open())
        for size in sizes
        for theme in THEMES
    ]
    every(pages, "well")
    opened(looks.at(hall.url).open())
    hall.fault("iso-4", "never_roll")
    hall.roll("Third movement, from bar 40")
    for name, look in pages:
        look.says("Rec 4 did not roll")
        look.go("sheet")
        if "phone" not in name:  # there it is offered once it is known
            look.page.click(".wrong-strip .later")
            look.shot(f"aside-sheet-{name}")
            look.page.keyboard.press("Escape")
        look.page.click("#act-end")
        look.shot(f"question-sheet-{name}")
        look.page.click("#keep")
    every(pages, "fault")
    os.kill(hall.studio.daemon_pid, signal.SIGSTOP)
    for _, look in pages:
        look.life("stale")
    every(pages, "stale")
    os.kill(hall.studio.daemon_pid, signal.SIGCONT)
    hall.studio.kill()
    for _, look in pages:
        look.life("lost")
    every(pages, "lost")


def every(pages: list[tuple[str, Look]], state: str) -> None:
    for name, look in pages:
        for view in VIEWS:
            look.go(view)
            if state in ("well", "fault"):
                look.page.wait_for_timeout(300)  # a picture is of what has come; nothing is judged by it
            look.shot(f"{state}-{view}-{name}")
        look.go("sheet")


def opened(look: Look) -> None:
    """What opens on a press, and the sheet as it prints."""
    look.page.keyboard.press("?")
    look.shot("open-keys")
    look.open("sheet", "?take=1")
    look.shot("open-take")
    look.open("setups", "?setup=masterclass")
    look.page.wait_for_selector(".differences .row")
    look.shot("open-setup")
    look.open("paths", "?look=table")
    look.page.wait_for_selector(".crosspoints tbody td")
    look.shot("open-table")
    look.open("paths")
    look.page.click("text=change >> nth=0")
    look.shot("open-sources")
    look.open("kit", "?box=iso-1")
    look.shot("open-box")
    look.open("sound")
    look.page.click("text=to... >> nth=0")
    look.shot("open-level")
    look.open("sheet", "?look=print")
    look.page.set_viewport_size(PAPER)
    look.page.emulate_media(media="print")
    look.page.pdf(path=str(Path(os.environ["STAGECTL_SHOTS"]) / "print-sheet.pdf"), format="A4")
    look.shot("print-sheet")


def closed(hall: Hall, looks: Looks) -> None:
    """A house with accounts: its login, a guest's card."""
    asked = {"name": "presenter", "acts": ["roll", "good", "call"]}
    _, guest = hall.close().studio.ask("POST", "/api/v1/guests", asked, hall.token("ines"))
    for size in ("laptop", "phone"):
        for theme in THEMES:
            look = looks.at(hall.url, size, theme)
            look.page.goto(hall.url)
            look.page.wait_for_selector(".login")
            look.shot(f"login-{size}-{theme}")
            look.page.goto(f"{hall.url}/guest#{guest['token']}")
            look.page.wait_for_selector("#acts button")
            look.shot(f"guest-{size}-{theme}")


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.desk.shots")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sizes", default="laptop,wide,tablet,phone")
    given = parser.parse_args()
    os.environ["STAGECTL_SHOTS"] = str(given.folder)
    given.folder.mkdir(parents=True, exist_ok=True)
    sizes = [size for size in given.sizes.split(",") if size in SIZES]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which(CHROMIUM), args=["--no-sandbox"])
        for name, play in (("day", lambda hall, looks: whole_day(hall, looks, sizes)), ("closed", closed)):
            looks = Looks(browser)
            (Path(folder) / name).mkdir()
            with Studio(Path(folder) / name) as studio:
                studio.start()
                play(Hall(studio), looks)
            looks.close()
        browser.close()
    sys.stdout.write(f"{len(list(given.folder.glob('*.png')))} pictures in {given.folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
