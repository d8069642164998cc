"""In which words does the journal tell what happened? As `stagectl.shoot.wording`, for records."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from stagectl.shoot.wording import full_stop, listed


def _person(who: str) -> str:
    """A name at the start of a sentence: account names are lower case."""
    return f"{who[:1].upper()}{who[1:]}" if who else "Somebody"


def daemon(*, what: str) -> str:
    return {"start": "Stagectl started.", "stop": "Stagectl ended; what rolls goes on."}.get(what, "")


def link(*, called: str, what: str, why: str = "") -> str:
    """Of a box's link: "adopted" and "down" are told; the rest is for programs."""
    match what:
        case "adopted":
            return f"{called} is read whole."
        case "down":
            return f"{called} is not reached: {full_stop(why)}" if why else f"{called} is not reached."
        case "quarantined":
            return f"{called} is left alone: {full_stop(why)}"
        case "retry":
            return f"{called} is taken up again."
    return ""


def asked(*, who: str, say: str, of: int, name: str = "") -> str:
    """Somebody asked for something, of so many boxes; `name`: of the take it begins."""
    if name:
        say = say.replace(f"name {name}", f'"{name}"')
    return f"{_person(who)} asked: {say}{f', {of} boxes' if of > 1 else ''}."


def judged(*, ended: str, count: str, names: Sequence[str] = ()) -> str:
    """How that ended. `names`: what did not do it, or is not known to have."""
    words = {"verified": "Done and proven", "sent": "Sent", "failed": "Not done", "unconfirmed": "Not known if done"}
    if not names:
        return f"{words.get(ended, ended)}: {count}."
    return f"{words.get(ended, ended)} on {listed(names=names)}: {count} done."


def by_hand(*, called: str, point: str, value: str) -> str:
    return f"{called}: {point} became {value} at the box."


def slated(*, name: str) -> str:
    return f'The next take is named "{name}".' if name else "The next take has no name any more."


def headed(*, take: int, name: str = "", by: str = "", closed: bool = False, good: bool = False) -> str:
    """A take began, ended or was marked."""
    told = "ended" if closed else f"rolls, asked by {by}" if by else "rolls"
    named = f': "{name}"' if name else ""
    return f"Take {take}{', marked good,' if good else ''} {told}{named}."


def marked(*, take: int, kind: str, who: str = "", text: str = "", label: str = "") -> str:
    """A place in a take was marked: `kind` is "good", "problem" or "note"."""
    at = f" at {label}" if label else ""
    return full_stop(f"{_person(who)} marked take {take}{at}: {kind}{f', {text}' if text else ''}")


def corrected(*, take: int, what: str, was: str, now: str, who: str = "") -> str:
    """A take was corrected; a rating is told as one."""
    if what == "good":
        rated = f"rated take {take} good" if now == "yes" else f"took the rating good from take {take}"
        return f"{_person(who)} {rated}."
    return f"{_person(who)} corrected take {take}, {what}: {now or 'none'}; it was {was or 'none'}."


def alarmed(*, what: str, say: str, who: str = "") -> str:
    match what:
        case "known":
            return f"{_person(who)} knows: {full_stop(say)}"
        case "aside":
            return f"{_person(who)} put aside: {full_stop(say)}"
        case "off":
            return f"Over: {full_stop(say)}"
    return full_stop(say)


def desk_passed(*, what: str, who: str, holder: str) -> str:
    match what:
        case "asked":
            return f"{_person(who)} asked {holder} for the desk."
        case "kept":
            return f"{_person(holder)} keeps the desk."
        case "given":
            return f"{_person(who)} gave the desk to {holder}." if holder else f"{_person(who)} left the desk."
    return f"{_person(holder)} holds the desk."


def scene_told(*, what: str, who: str, scene: str, count: str = "") -> str:
    match what:
        case "start":
            return f"{_person(who)} started {scene}."
        case "end":
            return f"{scene} has ended, {count} steps passed."
        case "answer":
            return f"{_person(who)} answered."
        case "stop":
            return f"{_person(who)} stopped a scene after its step."
    return ""


def played(*, what: str, take: int, station: str = "") -> str:
    """A playback began, with what the station had before, or is over and that is back."""
    match what:
        case "before":
            return f"Take {take} is played{f', what {station} had is kept' if station else ''}."
        case "over":
            return f"The playback of take {take} is over."
    return ""


def rung(*, who: str, say: str = "") -> str:
    return f"{_person(who)} calls the desk: {full_stop(say)}" if say else f"{_person(who)} calls the desk."


def access(*, what: str, who: str, why: str = "") -> str:
    match what:
        case "login":
            return f"{_person(who)} came in."
        case "refused":
            return f"{_person(who)} was refused: {full_stop(why)}"
        case "token":
            return f"{_person(who)} made a token."
        case "guest":
            return f"{_person(who)} made a link for a guest."
        case "revoked":
            return f"{_person(who)} ended a token."
    return ""


def seen_later(*, called: str, seen: str) -> str:
    return f"{called}: what was asked is seen after its deadline." if seen == "yes" else f"{called}: not seen later."


SENTENCES: Final[Mapping[str, Callable[..., object]]] = {
    one.__name__: one
    for one in (
        *(daemon, link, asked, judged, by_hand, slated, headed, marked, corrected, alarmed),
        *(desk_passed, scene_told, played, rung, access, seen_later),
    )
}
