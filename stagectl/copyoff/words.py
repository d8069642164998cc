"""In which words is copying off told? Sentences for terminal, page, journal and MQTT; pure."""

from collections.abc import Sequence
from datetime import time
from typing import Final

from stagectl.copyoff.job import COPIES_SAFE, Sums
from stagectl.shoot.wording import listed

_UNITS: Final = ((10**12, "TB"), (10**9, "GB"), (10**6, "MB"), (10**3, "kB"))


def size(count: float) -> str:
    """Bytes as people read them: "83.2 GB"; powers of ten, as media are sold."""
    for one, unit in _UNITS:
        if count >= one:
            return f"{count / one:.1f} {unit}"
    return f"{count:.0f} bytes"


def span(seconds: float) -> str:
    """As people say it: "40 s", "12 min", "3 h 05 min"."""
    whole = max(0, round(seconds))
    if whole < 90:
        return f"{whole} s"
    minutes = round(whole / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def clips(count: int) -> str:
    """Count clips in words."""
    return "1 clip" if count == 1 else f"{count} clips"


def no_place() -> str:
    return "Nothing is copied here: the site file names no place."


def unlisted() -> str:
    return "No recorder's clips were listed yet. To list them: stagectl copy plan"


def standing(sums: Sums, places: Sequence[str]) -> str:
    """How all recorders stand while nothing is copied."""
    if not sums.clips:
        return "The recorders hold no clips."
    if sums.failed:
        return f"{sums.failed} of {clips(sums.clips)} could not be copied. See: stagectl copy report"
    if sums.waiting:
        return f"{sums.waiting} of {clips(sums.clips)} are not copied. To copy them: stagectl copy run"
    if sums.clips == 1:
        return f"The 1 clip stands copied and verified at {listed(names=places)}."
    return f"All {sums.clips} clips stand copied and verified at {listed(names=places)}."


def answer(sums: Sums, *, goes: bool, left_s: float | None) -> str:
    """How it stands in a few words: "15 of 18 proven, 3 min left"."""
    told = f"{sums.published} of {sums.clips} proven" if sums.clips else "no clips known"
    if goes:
        return f"{told}, {span(left_s)} left" if left_s is not None else f"{told}, copying"
    return f"{told}, {sums.failed} failed" if sums.failed else told


def going(*, done: int, of: int, rate: float, left_s: float | None, waits: Sequence[str]) -> str:
    """A run under way; `waits`: recorders that keep all of it waiting."""
    if waits:
        return f"Copying waits for {listed(names=waits)}: a recorder is read when it rests."
    if not of:
        return "Copying: the recorders' clips are listed."
    told = [f"{size(done)} of {size(of)}", *([f"{size(rate)}/s"] if rate else [])]
    left = f", {span(left_s)} left" if left_s is not None else ""
    return f"Copying: {', '.join(told)}{left}."


def busy(word: str) -> str:
    """What a recorder does that is neither copied nor waited for, in a sentence; empty: nothing to say."""
    return {
        "listing": "Its clips are listed.",
        "looking": "Its clips are looked at twice, so that none is read that still grows.",
    }.get(word, "")


def ending() -> str:
    return "It ends: what stands is counted."


def ended(sums: Sums, places: Sequence[str], *, stopped: bool, says: str) -> str:
    """How a run ended, from what stands.

    Args:
        sums: of what was wanted.
        places: their names.
        stopped: somebody ended it.
        says: why it did not get through all it could have, sentences; empty: it did.
    """
    if stopped:
        left = f": {sums.waiting} of {clips(sums.clips)} are not copied" if sums.waiting else ""
        return f"Copying was stopped{left}. What is begun is kept."
    return " ".join(filter(None, (says, standing(sums, places) if sums.clips or not says else "")))


def recorder(called: str, sums: Sums, *, listed: bool) -> str:
    """One recorder in a sentence."""
    if not listed:
        return f"{called}: its clips were not listed yet."
    if not sums.clips:
        return f"{called} holds no clips."
    rest = [
        f"{sums.waiting} not copied" if sums.waiting else "",
        f"{sums.failed} failed" if sums.failed else "",
    ]
    more = "".join(f", {one}" for one in rest if one)
    return f"{called}: {sums.published} of {clips(sums.clips)} copied and verified{more}."


def clear(sums: Sums, *, fresh: bool, places: int) -> str:
    """May a person clear this recorder's media? Nothing here ever does."""
    if not sums.clips:
        return ""
    if not fresh:
        return "Not known if it is safe to clear: it may hold newer clips. To list them: stagectl copy plan"
    if sums.safe == sums.clips:
        return f"Safe to clear: {COPIES_SAFE} verified copies of each clip, on media of their own."
    if places < COPIES_SAFE:
        return "Not safe to clear: there is one place, and each clip must stand verified at two."
    lacking = sums.clips - sums.safe
    return f"Not safe to clear: {clips(lacking)} {'lacks' if lacking == 1 else 'lack'} a second verified copy."


def room(name: str, *, need: int, free: int | None) -> str:
    """Does it fit? Empty: it does, as far as the place can tell."""
    if free is None or need <= free:
        return ""
    return f"{name} has {size(free)} left, and {size(need)} are to come. Make room there, or copy fewer takes."


def schedule(at: time | None, after_wrap_s: float | None) -> str:
    """When runs begin by themselves."""
    told = [
        *([f"at {at:%H:%M}"] if at is not None else []),
        *([f"{span(after_wrap_s)} after the last take"] if after_wrap_s is not None else []),
    ]
    return f"A run begins by itself {' and '.join(told)}." if told else "No run begins by itself."


def checked(place: str, *, good: int, wrong: int, read: int) -> str:
    """A verification that went through."""
    if not wrong:
        files = "the 1 file is as it was" if good == 1 else f"all {good} files are as they were"
        return f"{place}: {files}, {size(read)} read."
    things = "1 thing is" if wrong == 1 else f"{wrong} things are"
    rest = "1 file is as it was" if good == 1 else f"{good} files are as they were"
    return f"{place}: {things} wrong, {rest}."


def checking(place: str, *, read: int, of: int) -> str:
    """A verification under way."""
    return f"Verifying {place}: {size(read)} of {size(of)}." if of else f"Verifying {place}: its histories are read."
