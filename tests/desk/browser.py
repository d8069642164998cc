"""Pages as people have them: sizes, themes, and what each page complained of."""

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, BrowserContext, Page

from tests.desk.hall import PASSWORD

CHROMIUM: Final = "chromium"
SIZES: Final = {"laptop": (1366, 768), "wide": (1920, 1080), "tablet": (820, 1180), "phone": (360, 740)}
THEMES: Final = ("light", "dark")
VIEWS: Final = ("sheet", "lineup", "setups", "paths", "sound", "copyoff", "kit", "journal", "wall", "card")
LIVE_MS: Final = 15_000
ROOT: Final = Path(__file__).resolve().parents[2]
AXE: Final = ROOT / "stagectl" / "desk" / "node_modules" / "axe-core" / "axe.min.js"
TAGS: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

COLOURS: Final = ["color-contrast", "link-in-text-block"]  # the rules that a theme can break


@dataclass
class Look:
    """One page and what it did.

    Attributes:
        asked: addresses of all requests. sent: methods and addresses of those that act. complaints: of its console.
    """

    page: Page
    url: str
    asked: list[str] = field(default_factory=list)
    sent: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def open(self, view: str = "sheet", query: str = "") -> "Look":
        """Load a view and wait until it is live."""
        self.page.goto(f"{self.url}{path(view)}{query}")
        self.live()
        return self

    def come(self, name: str) -> "Look":
        """Log in at the page of a house with accounts."""
        self.page.goto(self.url)
        self.page.wait_for_selector(".login")
        self.page.fill("#name", name)
        self.page.fill("#password", PASSWORD)
        self.page.keyboard.press("Enter")
        self.live()
        return self

    def live(self) -> None:
        self.page.wait_for_selector("html[data-life=live] #sentence", timeout=LIVE_MS)

    def life(self, word: str) -> None:
        """Wait until the page says it is so: live, stale or lost."""
        self.page.wait_for_selector(f"html[data-life={word}]", timeout=LIVE_MS)

    def go(self, view: str) -> None:
        """To another view without loading anew, as a link in the contents does."""
        self.page.evaluate(
            "path => { history.pushState(null, '', path); dispatchEvent(new PopStateEvent('popstate')); }", path(view)
        )
        self.page.wait_for_selector(f"html[data-view={view}]", timeout=LIVE_MS)

    def sentence(self) -> str:
        return plain(self.page.inner_text("#sentence"))

    def words(self) -> str:
        """The sentence without the clocks in it, which go on between two looks."""
        return bare(self.sentence())

    def says(self, text: str) -> None:
        """Wait until the sentence holds it."""
        self.page.wait_for_function(
            "text => document.getElementById('sentence')?.innerText.replaceAll('\\u00a0', ' ').includes(text)",
            arg=text,
            timeout=LIVE_MS,
        )

    def theme(self, name: str) -> None:
        """Turn to the other theme without loading anew, as a system does at dusk."""
        self.page.emulate_media(color_scheme="dark" if name == "dark" else "light")

    def axe(self, rules: Sequence[str] = ()) -> list[str]:
        """What axe finds wrong: rule and element each; `rules`: these alone."""
        if not self.page.evaluate("() => 'axe' in window"):
            self.page.evaluate(AXE.read_text(encoding="utf-8"))
        only = {"type": "rule", "values": list(rules)} if rules else {"type": "tag", "values": TAGS}
        options = {"runOnly": only, "resultTypes": ["violations"]}
        # what passed stays in the page
        found: Any = self.page.evaluate("options => axe.run(document, options).then(one => one.violations)", options)
        return [
            f"{one['id']}: {node['target']} {node.get('failureSummary', '')[:200]}"
            for one in found
            for node in one["nodes"]
        ]

    def shot(self, name: str) -> None:
        """Keep a picture where CI keeps them; nothing if it does not."""
        folder = os.environ.get("STAGECTL_SHOTS")
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=str(Path(folder) / f"{name}.png"))


class Looks:
    """Opens pages in contexts of their own, as other people's browsers are."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._contexts: list[BrowserContext] = []

    def at(self, url: str, size: str = "laptop", theme: str = "light", **more: Any) -> Look:
        wide, high = SIZES[size]
        context = self._browser.new_context(
            viewport={"width": wide, "height": high}, color_scheme="dark" if theme == "dark" else "light", **more
        )
        self._contexts.append(context)
        look = Look(context.new_page(), url)
        page = look.page
        page.on("request", lambda request: look.asked.append(request.url))
        page.on(
            "request",
            lambda request: look.sent.append(f"{request.method} {request.url}") if request.method == "POST" else None,
        )
        page.on("console", lambda told: look.complaints.append(told.text) if told.type == "error" else None)
        page.on("pageerror", lambda error: look.complaints.append(str(error)))
        return look

    def close(self) -> None:
        for context in self._contexts:
            context.close()


def path(view: str) -> str:
    return "/" if view == "sheet" else f"/{view}"


def bare(text: str) -> str:
    """A sentence without what runs in it."""
    return re.sub(r"\d\d:\d\d:\d\d so far|\d+ h \d+ min", "", text)


def plain(text: str) -> str:
    """As the daemon wrote it: the page only typesets spaces."""
    return " ".join(text.replace("\u00a0", " ").split())
