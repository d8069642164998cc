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
    parts = [
        f"{differ} differ{'s' if differ == 1 else ''}" if differ else "",
        f"{unknown} can't be told" if unknown else "",
    ]
    more = [f"{by_hand} can be set only at the box" if by_hand else "", _left(left)]
    extra = "".join(f" {one}." for one in filter(None, more))
    return f"{called}: of {_count(of)}, {' and '.join(filter(None, parts))}.{extra}"


def _left(number: int) -> str:
    return f"{number} would be left alone" if number else ""


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
    return "No set-up is held."


def applied(*, called: str, right: int, of: int, before: int, by_hand: int) -> str:
    """How an apply ended. `of`: values that were asked for; `before`: right already; `by_hand`: only at the box."""
    if not of:
        told = f"{called}: nothing to do, {_count(before)} {'is' if before == 1 else 'are'} as wanted."
    elif right == of:
        told = f"{called}: {_count(of)} put right, {before} {'was' if before == 1 else 'were'} right already."
    else:
        told = f"{called}: {right} of {_count(of)} put right."
    more = f" {_count(by_hand)} differ{'s' if by_hand == 1 else ''} that can be set only at the box." if by_hand else ""
    return told + more


def undoing(*, called: str, back: int, left: int) -> str:
    """What an undo would do."""
    if not back:
        return f"Nothing of {called} is left to put back."
    more = f", {left} stay{'s' if left == 1 else ''} as {'it is' if left == 1 else 'they are'}" if left else ""
    return f"{_count(back)} would go back to what was there before {called}{more}."


def undone(*, called: str, right: int, of: int) -> str:
    """How an undo ended."""
    if not of:
        return f"Nothing of {called} was left to put back."
    return f"{called[:1].upper()}{called[1:]} is undone: {right} of {_count(of)} put back."


def captured(
    *, called: str, changed: int, added: int, unknown: int, path: str, version: str = "", dry: bool = False
) -> str:
    """What was written into a set-up's file, or would be."""
    if dry:
        counts = [f"change {_count(changed)}" if changed else "", f"add {_count(added)}" if added else ""]
    else:
        counts = [f"{_count(changed)} changed" if changed else "", f"{_count(added)} added" if added else ""]
    told = " and ".join(filter(None, counts))
    said = f"{'would ' if dry else ''}{told}, in {path}." if told else "nothing to write, the boxes show what it wants."
    kept = f" Kept as {version}." if version and not dry else ""
    more = f" {_count(unknown)} can't be told and stay{'s' if unknown == 1 else ''} as written." if unknown else ""
    return f"{called}: {said}{kept}{more}"
