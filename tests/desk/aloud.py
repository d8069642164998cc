"""What is read aloud while the house goes on? The sentence when its words change, what is wrong now at once and once.

Source: the desk's brief, row A10: own choice, so that a screen reader is never talked over by clocks and values.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from tests.desk.browser import Look, bare, plain

EVERY_MS: Final = 5000.0
AT_ONCE_MS: Final = 500.0
SLACK_MS: Final = 60.0  # the page's timer may come a frame or few early by our clock
# Notes each text of a live region, each row that needs hands at once, and how often the page wrote anything.
EARS: Final = """() => {
    window.told = [];
    window.changes = 0;
    const begin = performance.now(), all = { childList: true, characterData: true, subtree: true };
    const note = (where, text) => text && told.push([performance.now() - begin, where, text]);
    for (const one of document.querySelectorAll('[aria-live]')) {
        const where = one.getAttribute('aria-live');
        new MutationObserver(() => note(where, one.textContent)).observe(one, all);
    }
    const rows = new Set();
    const strip = () => {
        changes += 1;
        const seen = [...document.querySelectorAll('.wrong-strip li.now')];
        for (const one of seen) if (!rows.has(one.dataset.alarm)) note('row', one.querySelector('strong').textContent);
        rows.clear();
        for (const one of seen) rows.add(one.dataset.alarm);
    };
    strip();
    told.length = 0;  // what stood there before is no news
    new MutationObserver(strip).observe(document.querySelector('.desk'), all);
}"""


@dataclass
class Heard:
    """What was read aloud.

    Attributes:
        changes: how often the page wrote anything at all.
        polite, urgent: (milliseconds, text) of the sentence, and of what is wrong now.
        rows: (milliseconds, text) of each row that came up as one that needs hands now.
    """

    changes: int = 0
    polite: list[tuple[float, str]] = field(default_factory=list)
    urgent: list[tuple[float, str]] = field(default_factory=list)
    rows: list[tuple[float, str]] = field(default_factory=list)

    def slips(self) -> list[str]:
        """What should not have been said so."""
        found = []
        for (one, before), (two, after) in zip(self.polite, self.polite[1:], strict=False):
            if two - one < EVERY_MS - SLACK_MS:
                found.append(f"two sentences within {two - one:.0f} ms: {before} / {after}")
            if bare(before) == bare(after):
                found.append(f"said again though no word changed: {after}")
        for at, row in self.rows:  # its words may change while it stands: it is said once all the same
            said = [when for when, text in self.urgent if row in text and abs(when - at) < AT_ONCE_MS]
            if len(said) != 1:
                found.append(f"came up and was said {len(said)} times: {row}")
        for at, text in self.urgent:
            if not any(abs(when - at) < AT_ONCE_MS for when, _ in self.rows):
                found.append(f"said though nothing came up: {text}")
        return found


def heard(look: Look, seconds: float, happens: Callable[[int], None], every_s: float = 10.0) -> Heard:
    """Listen to a live page for so long; `happens(n)` is called every `every_s`, n from 0."""
    look.page.evaluate(EARS)
    for number in range(max(1, round(seconds / every_s))):
        happens(number)
        look.page.wait_for_timeout(1000 * min(seconds, every_s))
    told = Heard(changes=int(look.page.evaluate("window.changes")))
    kinds: dict[str, list[tuple[float, str]]] = {"polite": told.polite, "assertive": told.urgent, "row": told.rows}
    noted: list[Any] = look.page.evaluate("window.told")
    for at, where, text in noted:
        kinds[where].append((float(at), plain(re.sub(r"\s+", " ", text))))
    return told
