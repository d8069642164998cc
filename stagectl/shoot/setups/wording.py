"""How does a set-up speak? Subject, verb, object; the same on every door. Nothing here looks at the house."""

from stagectl.shoot.wording import closed

_ACTS = ("shows", "sees", "hears")  # a point whose last word is a verb needs no "is"


def point(*, called: str, name: str, part: bool) -> str:
    """Subject of a sentence: "Mixer strip 5 level", "Program shows"."""
    words = name.replace(".", " ")
    return words[:1].upper() + words[1:] if part else f"{called} {words}"


def _is(said: str, value: str) -> str:
    return f"{said} {value}" if said.rpartition(" ")[2] in _ACTS else f"{said} is {value}"


def differs(*, said: str, seen: str, wanted: str) -> str:
    """A value that is another one than wanted. `said`: as `point` gives it."""
    return f"{_is(said, seen)}, becomes {wanted}."


def not_seen(*, said: str, seen: str, wanted: str) -> str:
    """A value that can't be told. `seen`: the last one, empty if none."""
    last = f", was last {seen}" if seen else ""
    return f"{_is(said, 'not known now')}{last}, becomes {wanted}."


def by_hand(*, said: str, seen: str, wanted: str) -> str:
    """A value that only a person at the box can change. `seen`: empty: not known."""
    return f"{_is(said, seen or 'not known')}, wanted {wanted}: set it at the box."


def left(*, said: str, seen: str, wanted: str, why: str, remedy: str = "") -> str:
    """A value that would be left alone."""
    return closed(say=f"{_is(said, seen or 'not known')}, wanted {wanted}, and is left alone: {why}", remedy=remedy)


def whole(*, called: str, differ: int, unknown: int, by_hand: int, left: int, of: int) -> str:
    """A comparison in a sentence or two."""
    if not differ and not unknown:
        return f"{called}: all {of} values are as wanted."
    told = f"{called}: {_count(differ)} of {of} differ{'s' if differ == 1 else ''}" if differ else f"{called}: of {of}"
    parts = [told, f"{unknown} can't be told" if unknown else ""]
    more = [f"{by_hand} only at the box" if by_hand else "", f"{left} left alone" if left else ""]
    extra = f" Of these, {' and '.join(filter(None, more))}." if any(more) else ""
    return f"{', '.join(filter(None, parts))}.{extra}"


def _count(number: int) -> str:
    return f"{number} value{'' if number == 1 else 's'}"


def drifted(*, said: str, wanted: str, now: str, by: str, at: str) -> str:
    """A value that was right and is not any more. `by`: as `Reading.by`; `at`: empty: not known."""
    who = {"": "nobody here", "box": "a hand at the box"}.get(by, by)
    when = f" at {at}" if at else ""
    return f"{_is(said, now)}, was {wanted}; changed by {who}{when}."


def held(*, called: str, state: str, differ: int, unknown: int) -> str:
    """How the house stands to the set-up that was applied last."""
    match state:
        case "applying":
            return f"{called} is being applied."
        case "holds":
            return f"{called} holds."
        case "differs":
            more = f", {unknown} can't be told" if unknown else ""
            return f"{called}: {_count(differ)} differ{'s' if differ == 1 else ''} now{more}."
        case "unsure":
            return f"{called}: {_count(unknown)} can't be told."
    return "No set-up was applied."


def undone(*, called: str, back: int) -> str:
    """What an undo would do."""
    return f"{_count(back)} go{'es' if back == 1 else ''} back to what was there before {called}."


def captured(*, called: str, changed: int, added: int, unknown: int, path: str) -> str:
    """What was written into a set-up's file."""
    told = " and ".join(filter(None, [f"{changed} changed" if changed else "", f"{added} added" if added else ""]))
    more = f" {unknown} can't be told and stay{'s' if unknown == 1 else ''} as written." if unknown else ""
    return (
        f"{called}: {told or 'nothing to write, the boxes show it'}, in {path}.{more}"
        if told
        else (f"{called}: nothing to write, the boxes show what it wants.{more}")
    )
