"""A box out of reach has its alarm in time, one that is not has none, and after the quiet none of them stands."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Histories, Seen
from tests.studio.rules.rule import LINKS, Breach

# nothing at all passes: how long until that is an alarm. Half open: silence of 3 s, an answer awaited for 5 s
IN_TIME_S: Final = {"refuse": 2.0, "swallow": 2.0, "half_open": 9.0}
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
    for kind, within_s in IN_TIME_S.items():
        since = seen.at - within_s
        begun = [at for at, until in run.spans_of(kind, device) if at <= since and until > seen.at]
        healed = any(mark.what == "healed" and mark.dev == device and since < mark.at <= seen.at for mark in run.marks)
        if begun and not healed and not run.was_away(since - 4.0, seen.at):
            return f"has been out of reach by {kind} since {begun[0]:.1f}, and no alarm says so"
    return ""


def _groundless(run: Histories, seen: Seen, device: str) -> str:
    if f"{device}.unreached" not in seen.alarms or run.was_away(seen.at - AFTER_S, seen.at):
        return ""
    return "" if run.faulty(seen.at - AFTER_S, seen.at, device, *LINKS) else "is called out of reach, and is not"
