"""A box out of reach has its alarm in time, one that is not has none, and after the quiet none of them stands."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories, Seen
from tests.studio.rules.rule import LINKS, Breach

CUT_OFF: Final = ("refuse", "swallow", "half_open")  # nothing at all passes
IN_TIME_S: Final = 9.0  # silence of 3 s, an answer that is waited for 5 s, and the page's own half second
AFTER_S: Final = 20.0  # a link that was slow, and the wait before the next try


def check(run: Histories) -> Iterator[Breach]:
    told: set[str] = set()
    for seen in run.seen:
        for device in run.plan.devices:
            if device in told:
                continue
            on = f"{device}.unreached" in seen.alarms or any(name.startswith("net-") for name in seen.alarms)
            why = _missing(run, seen, device) if not on else _groundless(run, seen, device)
            if why:
                told.add(device)
                yield Breach(17, seen.at, f"{device} {why}")


def _missing(run: Histories, seen: Seen, device: str) -> str:
    since = seen.at - IN_TIME_S
    for kind in CUT_OFF:
        begun = [at for at, until in run.spans_of(kind, device) if at <= since and until > seen.at]
        healed = any(mark.what == "healed" and mark.dev == device and mark.at > since for mark in run.marks)
        if begun and not healed and not run.was_away(since, seen.at):
            return f"has been out of reach by {kind} since {begun[0]:.1f}, and no alarm says so"
    return ""


def _groundless(run: Histories, seen: Seen, device: str) -> str:
    if f"{device}.unreached" not in seen.alarms or run.was_away(seen.at - AFTER_S, seen.at):
        return ""
    return "" if run.faulty(seen.at - AFTER_S, seen.at, device, *LINKS) else "is called out of reach, and is not"
