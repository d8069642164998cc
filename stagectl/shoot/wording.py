"""In which words is it said? Every sentence that people read, from plain facts; `stagectl.shoot.teller` brings them.

All functions take keyword arguments that JSON can hold and return text, so that one golden file tests them all
(`tests/golden/sentences.txt`). Rules: the worst fact first, at most 20 words a sentence, present for what is, the
remedy at the end; "rolls" only if proven. Text travels with plain spaces and hyphens; a page may typeset them.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Final

SHOWN: Final = 3  # names in one sentence; the rest are counted

# -- numbers and lists -------------------------------------------------------------------------------------------------


def spell(*, seconds: float) -> str:
    """A duration in a sentence: "6 s", "12 min 40 s", "2 h 14 min"."""
    whole = max(0, int(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s" if whole % 60 else f"{whole // 60} min"
    return f"{whole // 3600} h {whole % 3600 // 60} min"


def clock(*, seconds: float) -> str:
    """A duration in a column: "00:12:40"."""
    whole = max(0, int(seconds))
    return f"{whole // 3600:02d}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


def listed(*, names: Sequence[str]) -> str:
    """Names in a row: "Rec 1, Rec 2 and Rec 3"; more than three are counted: "Rec 1, Rec 2, Rec 3 and 4 more"."""
    if len(names) > SHOWN:
        return f"{', '.join(names[:SHOWN])} and {len(names) - SHOWN} more"
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else "nobody"


def apart(*, frames: int, give: int = 0) -> str:
    """How far apart recorders began: "spread 1 frame", "spread 1, give or take 2 frames"."""
    if give:
        return f"spread {frames}, give or take {counted(give, 'frame')}"
    return f"spread {counted(frames, 'frame')}"


def counted(number: int, thing: str, things: str = "") -> str:
    """A number and its thing: "1 box", "4 boxes"."""
    return f"{number} {thing if number == 1 else things or f'{thing}s'}"


def _begun(clause: str) -> str:
    """As the beginning of a sentence."""
    return clause[:1].upper() + clause[1:]


def full_stop(text: str) -> str:
    """With a full stop, unless it ends in something to type."""
    return text if not text or text.endswith((".", "?")) else f"{text}."


def closed(*, say: str, remedy: str = "") -> str:
    """A sentence and its remedy as one text; what is to be typed stands at the end without a full stop."""
    typed = ": stagectl " in remedy
    return " ".join(filter(None, (full_stop(say), remedy if typed else full_stop(remedy))))


# -- the state of the house --------------------------------------------------------------------------------------------


def no_recorder() -> str:
    return "Nothing can roll: this site has no recorder."


def ready(*, can: int, of: int, left_s: float | None = None, left_on: str = "", fail: int = 0) -> str:
    """`left_s` on the shortest medium, of the recorder `left_on`; None: not known.

    `fail`: checks of a line-up that is not ready: a roll would go, and what it records may be wrong.
    """
    left = f" {spell(seconds=left_s)} left on the shortest medium, {left_on}." if left_s is not None else ""
    if fail:
        checks = f"{counted(fail, 'check')} fail{'s' if fail == 1 else ''}"
        return f"Not ready: {checks}, see the line-up. {can} of {of} can roll.{left}"
    return f"Ready: {can} of {of} can roll.{left}"


def not_ready(*, can: int, of: int, called: str, has: str, more: int = 0) -> str:
    """`has` goes on after the name: "has no medium". `more`: how many others can't roll either."""
    others = f", and {more} more can't roll" if more else ""
    return f"Not ready: {called} {has}{others}. {can} of {of} can roll."


def rolls(
    *,
    take: int,
    rolling: int,
    of: int,
    for_s: float,
    spread: int | None = None,
    give: int = 0,
    left_s: float | None = None,
    left_on: str = "",
) -> str:
    """A take runs; `spread` in frames, None: not known; `left_s` on the shortest medium."""
    wide = f", {apart(frames=spread, give=give)}" if spread is not None else ""
    left = f" {spell(seconds=left_s)} left, {left_on}." if left_s is not None else ""
    return f"Take {take} rolls on {rolling} of {of}. {clock(seconds=for_s)} so far{wide}.{left}"


def rolls_unseen(*, take: int, rolling: int, of: int, called: str, for_s: float) -> str:
    return f"Take {take} rolls on {rolling} of {of}. {unseen(called=called, for_s=for_s)}"


def unseen(*, called: str, for_s: float) -> str:
    return f"{called} not seen for {spell(seconds=for_s)}; it rolled when last seen."


def rolls_without(*, take: int, rolling: int, of: int, say: str) -> str:
    """`say`: the sentence about the recorder that is missing."""
    return f"Take {take} rolls on {rolling} of {of}. {full_stop(say)}"


def rolls_standing(*, take: int, called: str, since: str) -> str:
    return f"Take {take}: {called} says it rolls, but its timecode stands still since {since}."


def ended(*, take: int, ended: int, of: int, at: str, for_s: float, shared_s: float | None = None) -> str:
    """`shared_s`: what all recorders hold, by their labels; None: not known yet."""
    shared = f" All share {clock(seconds=shared_s)}." if shared_s is not None else ""
    return f"Take {take} ended on {ended} of {of} at {at}, {clock(seconds=for_s)} long.{shared}"


def left_take(*, called: str, at: str, by: str) -> str:
    """A recorder ended while the take goes on. `by`: "box" for its front, else a name or empty."""
    whose = {"box": " at its front", "": ""}.get(by, f", by {by}")
    return f"{called} stopped at {at}{whose}."


def not_rolled(*, called: str, why: str = "", known: bool = True) -> str:
    """A recorder of the take that does not roll. `why`: a clause; `known` False: nobody knows if it rolls."""
    if not known:
        return f"{called}: not known if it rolls. {_begun(why)}." if why else f"{called} is not known to roll."
    return f"{called} did not roll: {why}." if why else f"{called} did not roll."


# -- what is wrong -----------------------------------------------------------------------------------------------------


def unreached(*, called: str, why: str, since: str = "") -> str:
    when = f" since {since}" if since else ""
    return f"{called} is not reached{when}: {why}."


def not_driven(*, called: str, why: str) -> str:
    return f"{called} is not driven: {why}."


def set_aside(*, called: str, why: str) -> str:
    return f"{called} is left alone: {why}."


def doubt(*, called: str, says: str, since: str = "") -> str:
    """`says`: what the kind of box says of itself, "remote is off" or "says it rolls, but ..."."""
    when = f" since {since}" if since else ""
    return f"{called} {says}{when}." if says.startswith("says ") else f"{called}: {says}{when}."


def cannot_roll(*, called: str, has: str) -> str:
    return f"{called} can't roll: it {has}."


def no_input(*, called: str) -> str:
    return f"{called} has no input picture."


def filling(*, called: str, left_s: float) -> str:
    return f"{called} will be full in about {spell(seconds=left_s)}."


def came_stale(*, called: str, for_s: float) -> str:
    return f"{called} not seen for {spell(seconds=for_s)}; what is shown of it may be old."


def unreached_together(*, where: str, names: Sequence[str], since: str = "") -> str:
    """Many boxes of one network. `where`: "10.0.5.x"."""
    when = f" since {since}" if since else ""
    return f"{counted(len(names), 'box', 'boxes')} at {where} not reached{when}: {listed(names=names)}."


def over(*, say: str, for_s: float) -> str:
    """`say`: what was wrong; it is over, and nobody has seen it."""
    return f"Over after {spell(seconds=for_s)}: {full_stop(say)}"


def stalled(*, for_s: float, called: str = "", place: str = "") -> str:
    """The whole daemon stood still. `called`: whose driver it was; `place`: where in its code.

    A place in our own code tells people nothing: it is in the journal.
    """
    if not called:
        return f"Everything stood still for {for_s:.1f} s: it is not known who held it up."
    where = f" in {place}" if place else ""
    return f"Everything stood still for {for_s:.1f} s: the driver of {called} held it up{where}."


def known(*, say: str, more: int = 0) -> str:
    """Somebody has seen it. `more`: how many lie behind the same cause."""
    also = f", and {more} behind it" if more else ""
    return f"Known{also}: {full_stop(say)}"


def put_aside(*, say: str, until: str) -> str:
    return f"Put aside until {until}: {full_stop(say)}"


# -- why something did not happen --------------------------------------------------------------------------------------

# what a recorder lacks: how it goes on after the name; the bare reason; the remedy
LACKS: Final[Mapping[str, tuple[str, str, str]]] = {
    "remote": ("has remote off", "remote is off", "Switch remote on at its front"),
    "plays": ("plays", "it plays", "End the playback"),
    "medium": ("has no medium", "no medium", "Put one in"),
    "medium-full": ("has a full medium", "its medium is full", "Put in another medium"),
    "medium-error": ("has a medium in error", "its medium is in error", "Put in another medium"),
    "input": ("has no input", "no input", "Route a source to it"),
    "late": ("has a busy link", "its link is busy, nothing was sent", "Wait a second"),
    "link": ("is not reached", "it is not reached", "Check its power and network cable"),
}
_TELLS: Final = (  # a piece of the reason as the command path or the driver has it -> what is lacking
    ("remote is no", "remote"),
    ("remote control is off", "remote"),
    ("transport is playing", "plays"),
    ("no medium", "medium"),
    ("medium is full", "medium-full"),
    ("medium is in error", "medium-error"),
    ("state is error", "medium-error"),
    ("state is empty", "medium"),
    ("state is mounting", "medium"),
    ("no input", "input"),
    ("can't reach it", "link"),
    ("link is late", "late"),
)
_ROLLS: Final = re.compile(r"(?:([a-z][a-z0-9-]*) )?transport is recording\.?")
_REPORTS: Final = re.compile(r"transport is (?!recording)([a-z]+)")


def reason(*, verb: str, why: str, code: str = "", remedy: str = "") -> tuple[str, str]:
    """Why it did not happen, as (clause, remedy) in people's words.

    Args:
        verb: "roll", "cut", "set", ...
        why: as the verdict has it; a driver's may hold its own remedy after the first full stop.
        code: the verdict's.
        remedy: the verdict's, used where nothing better is known.
    """
    if verb == "roll":
        for piece, lack in _TELLS:
            if piece in why:
                return LACKS[lack][1], LACKS[lack][2] + "."
    if code == "seen-otherwise":
        return _seen_otherwise(verb, why.removeprefix("seen otherwise: ")), "Look at its front."
    if code == "needs" and verb == "set" and (found := _ROLLS.fullmatch(why)):
        return f"{found[1]} records, and keeps its picture" if found[1] else "it records", "Cut its take first."
    if code == "device":
        clause, _, own = why.partition(". ")
        return clause.rstrip("."), own or "Look at its front."
    if code == "no-link":
        return why.rstrip("."), LACKS["link"][2] + "."
    return why.rstrip("."), remedy


def not_known(*, verb: str, why: str, code: str = "", remedy: str = "") -> tuple[str, str]:
    """Why it is not known if it happened, where there is more to say than that; and the remedy. As `reason`."""
    then = "rolled when last seen" if verb == "roll" else "may roll on"
    match code:
        case "born-before":
            return why.rstrip("."), remedy
        case "no-link":
            return f"{LACKS['link'][1]}, and {then}", remedy
        case "not-adopted" | "late":
            return f"{why.rstrip('.')}, and it {then}", remedy
    return "", "Look at its front."


def again(*, remedy: str, device: str) -> str:
    """A remedy with what is to be typed once it is done."""
    return f"{remedy.rstrip('.')}, then: stagectl roll {device}"


def _seen_otherwise(verb: str, seen: str) -> str:
    if verb == "roll":
        found = _REPORTS.search(seen)
        return f"it still reports {found[1]}" if found else "it says it rolls, but its timecode stands still"
    if verb in ("cut", "stop"):
        return "it still records" if "recording" in seen else f"it reports {seen}"
    return f"it is {seen.partition(', not as wanted')[0].rpartition(' is ')[2]}"


# -- verdicts ----------------------------------------------------------------------------------------------------------

# of each verb: how it is told when proven, when failed, and when it is not known
_VERBS: Final[Mapping[str, tuple[str, str, str]]] = {
    "roll": ("rolls", "did not roll", "it rolls"),
    "cut": ("stopped", "did not stop", "it stopped"),
    "spill": ("went on to its next medium", "did not change its medium", "it changed its medium"),
    "play": ("plays", "does not play", "it plays"),
    "shuttle": ("shuttles", "does not shuttle", "it shuttles"),
    "stop": ("stopped", "did not stop", "it stopped"),
    "stay": ("stopped rising", "did not stop rising", "it stopped rising"),
    "cue": ("is cued", "is not cued", "it is cued"),
    "recall": ("recalled its memory", "did not recall its memory", "it recalled its memory"),
    "format": ("erased the medium", "did not erase the medium", "it erased the medium"),
    "identify": ("shows itself", "does not show itself", "it shows itself"),
}


@lru_cache(maxsize=256)  # a thousand recorders roll by the same word
def outcome(*, verb: str, ended: str, done: str = "") -> str:
    """One word or few for a column: "rolls", "did not roll", "not known if it rolls", "asked; it can't report".

    `done`: past tense for a verb that has no words here.
    """
    well, badly, open_ = _VERBS.get(verb, (done or f"{verb} done", f"did not {verb}", f"it {done or verb}"))
    if verb == "set":
        well, badly, open_ = "is set", "is not set", "it is set"
    match ended:
        case "verified":
            return well
        case "sent":
            return "asked; it can't report"
        case "unconfirmed":
            return f"not known if {open_}"
    return badly


def box(
    *,
    called: str,
    device: str,
    verb: str,
    ended: str,
    what: str = "",
    why: str = "",
    remedy: str = "",
    code: str = "",
    done: str = "",
    moot: bool = False,
) -> str:
    """How one command for one device ended, as a sentence with its remedy.

    `device` is its id, for what is to be typed; `what` is of a set: "output 3 source to 5"; `why`, `remedy`, `code`
    are the verdict's; `moot`: it was so already.
    """
    if verb == "set":
        return _set_box(called=called, what=what, ended=ended, why=why, remedy=remedy, code=code)
    if verb == "stay":
        return _stay_box(called=called, what=what, ended=ended, why=why, remedy=remedy, code=code)
    told = outcome(verb=verb, ended=ended, done=done)
    if ended == "verified":
        return f"{called} {told}{', as before' if moot else ''}."
    if ended == "sent":
        return f"{called} was asked to {verb}; it can't report."
    if ended == "unconfirmed":
        own, act = not_known(verb=verb, why=why, code=code, remedy=remedy)
        return f"{called}: {told}.{f' {full_stop(_begun(own))}' if own else ''} {act}"
    clause, act = reason(verb=verb, why=why, code=code, remedy=remedy)
    if verb == "roll" and act:
        act = again(remedy=act, device=device)
    return closed(say=f"{called} {told}: {clause}" if clause else f"{called} {told}", remedy=act)


def _set_box(*, called: str, what: str, ended: str, why: str, remedy: str, code: str) -> str:
    point, _, value = what.rpartition(" to ")
    if ended == "verified":
        return f"{called}: {point} is {value}."
    if ended == "sent":
        return f"{called}: {what} was asked; it can't report."
    if ended == "unconfirmed":
        return f"{called}: not known if {point} is {value}. Look at its front."
    clause, act = reason(verb="set", why=why, code=code, remedy=remedy)
    # a refusal is a sentence of its own, but for one that goes on about the box
    stop = ":" if code in ("seen-otherwise", "device", "overtaken") or clause.startswith("it ") else "."
    return closed(say=f"{called}: {point} was not set to {value}{stop} {clause}", remedy=act)


def _stay_box(*, called: str, what: str, ended: str, why: str, remedy: str, code: str) -> str:
    """`what`: "stop strip 4 level at -24 dB", without the level where nothing rises."""
    point, _, value = what.removeprefix("stop ").partition(" at ")
    match ended:
        case "verified":
            return f"{called}: {point} stopped at {value}."
        case "sent":
            return f"{called}: {point} was asked to stop at {value}; it can't report."
        case "unconfirmed":
            return f"{called}: not known if {point} stopped at {value}. Look at its front."
    clause, act = reason(verb="stay", why=why, code=code, remedy=remedy)
    if code == "still":
        return closed(say=f"{called}: {point} does not rise", remedy=act)
    return closed(say=f"{called}: {point} did not stop: {clause}", remedy=act)


def rolled(*, take: int | None, well: int, of: int, unknown: int = 0, spread: int | None = None, give: int = 0) -> str:
    """How a roll ended. `unknown`: of how many it is not known if they roll."""
    if not well:
        return f"Not known if anything rolls: 0 of {of} are proven." if unknown else f"Nothing rolls: 0 of {of}."
    wide = f", {apart(frames=spread, give=give)}" if spread is not None and well > 1 else ""
    return f"Take {take} rolls on {well} of {of}{wide}." if take is not None else f"{well} of {of} roll{wide}."


def cut(*, take: int, well: int, of: int, unknown: int = 0) -> str:
    """How a cut ended. `unknown`: of how many it is not known if they stopped."""
    if not unknown:
        return f"Take {take} ended on {well} of {of}."
    if not well:
        return f"Not known if take {take} ended: 0 of {of} are proven."
    return f"Take {take} ended on {well} of {of}, of {unknown} it is not known."


def done(*, say: str, well: int, of: int) -> str:
    """How any other group ended. `say`: the wish in words."""
    return f"{say[:1].upper()}{say[1:]}: {well} of {of} done."


def scene(*, called: str, count: str, ended: str = "", why: str = "", remedy: str = "") -> str:
    """How a run of a scene stands. `count`: "4 of 5" steps; `ended` empty: it runs; `why`, `remedy`: of a failure."""
    if not ended:
        return f"{called} runs, {count} steps passed so far."
    told = f"{called}: {count} steps passed."
    return f"{told} {closed(say=why, remedy=remedy)}" if why else told


def on_the_way(*, say: str, of: int) -> str:
    """Asked, not judged yet."""
    return f"{say[:1].upper()}{say[1:]}: asked of {of}, not yet proven."


# -- refusals ----------------------------------------------------------------------------------------------------------


def name_the_take(*, take: int, recorders: int, for_s: float) -> str:
    """A cut that names no take."""
    return (
        f"Take {take} rolls on {counted(recorders, 'recorder')} since {spell(seconds=for_s)}. "
        f"To end it: stagectl cut {take}"
    )


def nothing_to_cut() -> str:
    return "Nothing rolls: there is no take to end."


def taken(*, take: int, good: bool | None = None, kind: str = "", label: str = "") -> str:
    """A take was rated, or a place in it marked: `kind` is "good", "problem" or "note"; `label` its timecode."""
    at = f" at {label}" if label else ""
    match kind:
        case "note":
            return f"The note is written to take {take}{at}."
        case "good" | "problem":
            return f"Take {take} has the mark {kind}{at}."
    return f"Take {take} is marked good." if good else f"Take {take} is not marked good."


def slate(*, take: int, name: str) -> str:
    """The next take was named."""
    return f'Take {take} will be "{name}".' if name else f"Take {take} has no name yet."


def reslated(*, take: int, slate: str) -> str:
    """A take has another slate; `slate` with its number there: "Masterclass 3, take 2"."""
    return f"Take {take} is {slate} now." if slate else f"Take {take} has no slate now."


def mark_corrected(*, take: int, mark: int, struck: bool = False) -> str:
    return f"Mark {mark} of take {take} is {'struck out' if struck else 'corrected'}; how it was is kept."


SENTENCES: Final[Mapping[str, Callable[..., object]]] = {
    one.__name__: one
    for one in (
        *(spell, clock, listed, apart, closed),
        *(
            no_recorder,
            ready,
            not_ready,
            rolls,
            rolls_unseen,
            rolls_without,
            rolls_standing,
            ended,
            left_take,
            not_rolled,
        ),
        *(unreached, not_driven, set_aside, doubt, cannot_roll, no_input, filling, unseen, came_stale),
        *(unreached_together, over, stalled, known, put_aside),
        *(reason, again, outcome, box, rolled, cut, done, scene, on_the_way),
        *(name_the_take, nothing_to_cut, taken, slate, reslated, mark_corrected),
    )
}
