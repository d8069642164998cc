"""In which words is the desk's page written, beyond the sentence? Each recorder's state, acts, questions, answers.

As `stagectl.shoot.wording`: keyword arguments that JSON can hold, text out, one golden file for all.
"""

from collections.abc import Callable, Mapping
from typing import Final

from stagectl.shoot.wording import counted, spell

# -- a recorder in a word or few ---------------------------------------------------------------------------------------


def recorder(*, state: str, why: str = "", for_s: float = 0.0) -> str:
    """What stands between a recorder's name and its lane.

    `state`: "proven", "asked", "failed", "unconfirmed", "doubtful", "stale", "unknown", "apart" or "ready"; `why`: a
    clause, of "failed" and "unknown"; `for_s`: how old the newest sight is, of "stale".
    """
    match state:
        case "proven":
            return "rolls"
        case "asked":
            return "asked, not yet proven"
        case "failed":
            return f"not rolling: {why}" if why else "not rolling"
        case "unconfirmed":
            return "not known if it rolls"
        case "doubtful":
            return "says it rolls, timecode stands still"
        case "stale":
            return f"rolled when last seen, {spell(seconds=for_s)} ago"
        case "unknown":
            return why or "not known"
        case "apart":
            return "not in this take"
    return why or "ready"


# -- acts and questions ------------------------------------------------------------------------------------------------


def act_roll(*, can: int, of: int, take: int, called: str = "", has: str = "") -> str:
    """The label of the roll; `called`, `has`: the first that can't: "Rec 3", "has no medium"."""
    if can < of:
        return f"Roll {can} of {of}: {called} {has}" if can else f"Nothing can roll: {called} {has}"
    return f"Roll {'both' if of == 2 else f'all {of}' if of > 1 else called or 'it'}: take {take}"


def act_join(*, called: str, take: int) -> str:
    """The label of rolling a recorder that is missing."""
    return f"Roll {called} into take {take}"


def act_end(*, take: int) -> str:
    """Opens the question."""
    return f"End take {take}..."


def ask_end(*, take: int, recorders: int, for_s: float) -> str:
    """The question."""
    return f"End take {take} on {counted(recorders, 'recorder')}? It has run {spell(seconds=for_s)}."


def do_end(*, take: int, recorders: int) -> str:
    """The label of what ends it."""
    return f"End take {take} on {counted(recorders, 'recorder')}"


def rise(*, called: str, point: str, to: str, who: str = "") -> str:
    """A level is on its way up: `point` "strip 4 level", `to` with its unit."""
    return f"{called} {point} rises to {to}{f', asked by {who}' if who else ''}."


# -- the answers in the contents ---------------------------------------------------------------------------------------


def answer_sheet(*, takes: int, rolls: bool) -> str:
    return f"{counted(takes, 'take')}{', one rolls' if rolls else ''}" if takes else "no take yet"


def answer_lineup(*, failed: int, unknown: int, ready: bool = True, rolls: bool = False) -> str:
    """`failed`, `unknown`: checks that don't pass; `ready`: those that must, do, or somebody let them.

    `rolls`: a take does, and "ready" says nothing then.
    """
    if not failed and not unknown:
        return "all pass"
    told = f"{failed} fail" if failed else f"{unknown} not known"
    return f"{told}, {'none that must' if rolls else 'ready all the same'}" if ready else told


def answer_setups(*, held: str, differs: int = 0) -> str:
    """`held`: what people call the set-up applied last; empty: none."""
    if not held:
        return "none is held"
    return (
        f"{held}: {differs} differ"
        if differs > 1
        else f"{held}: {differs} differs"
        if differs
        else f"{held}, as set up"
    )


def answer_paths(*, destinations: int, unknown: int) -> str:
    told = counted(destinations, "destination")
    return f"{told}, {unknown} not known" if unknown else told


def answer_sound(*, strips: int, muted: int, unknown: int = 0, rising: int = 0) -> str:
    """`rising`: how many levels are on their way up."""
    told = counted(strips, "strip")
    told += f", {muted} muted" if muted else ""
    told += f", {rising} {'rises' if rising == 1 else 'rise'}" if rising else ""
    return f"{told}, {unknown} not known" if unknown else told


def answer_kit(*, boxes: int, doubtful: int) -> str:
    """`doubtful`: how many are anything but well."""
    return f"{counted(boxes, 'box', 'boxes')}, {doubtful} doubtful" if doubtful else counted(boxes, "box", "boxes")


def answer_journal(*, at: str, who: str = "") -> str:
    return f"last {at}, {who}" if who else f"last {at}"


# -- above the pictures ------------------------------------------------------------------------------------------------


def picture_left(*, called: str, for_s: float, at: str = "") -> str:
    """`at`: the time of day when it is full, about; empty: nothing rolls."""
    if at:
        return f"{called} runs out first, at about {at}."
    return f"{called} would run out first, after {spell(seconds=for_s)}."


def picture_spread(*, takes: int, frames: int, take: int) -> str:
    """`frames`: the widest spread of so many takes, of `take`."""
    if takes == 1:
        return f"Take {take} began with a spread of {counted(frames, 'frame')}."
    return f"The widest spread of {takes} takes is {counted(frames, 'frame')}, of take {take}."


SENTENCES: Final[Mapping[str, Callable[..., object]]] = {
    one.__name__: one
    for one in (
        *(recorder, act_roll, act_join, act_end, ask_end, do_end, rise),
        *(answer_sheet, answer_lineup, answer_setups, answer_paths, answer_sound, answer_kit, answer_journal),
        *(picture_left, picture_spread),
    )
}
