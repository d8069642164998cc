"""How does a playback speak? Subject, verb, object; the same on every door. Nothing here looks at the house."""

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from stagectl.shoot.wording import listed, spell


def plays(
    *,
    take: int,
    on: Sequence[str],
    label: str,
    for_s: float | None,
    station: str = "",
    picture: str = "",
    sound: str = "",
) -> str:
    """A take that is seen to play. `for_s`: until its end; None: that is not known."""
    long = f", {spell(seconds=for_s)}" if for_s is not None else ""
    told = f"Take {take} plays on {listed(names=on)} from {label}{long}."
    gets = [f"sees {picture}" if picture else "", f"hears {sound}" if sound else ""]
    return f"{told} {station} {' and '.join(filter(None, gets))}." if any(gets) else told


def failed(*, take: int, why: str) -> str:
    """A take that is not played. `why`: a sentence or two."""
    return f"Take {take} is not played. {why}"


def stopped(*, take: int, station: str, sees: str, hears: str, bad: int, left: Sequence[str]) -> str:
    """A playback that has ended.

    `sees`, `hears`: before it; `bad`: values that are not seen to be back; `left`: clauses, of what stays.
    """
    told = f"The playback of take {take} has ended"
    gets = [f"sees {sees}" if sees else "", f"hears {hears}" if hears else ""]
    if bad:
        told += f", but {bad} of what {station} had before {'is' if bad == 1 else 'are'} not seen to be back"
    elif any(gets) and not left:
        told += f"; {station} {' and '.join(filter(None, gets))} again"
    return f"{', '.join([told, *left])}."


def stands(*, state: str, take: int, on: Sequence[str], station: str) -> str:
    """How a playback stands."""
    where = f" for {station}" if station else ""
    match state:
        case "cueing":
            return f"Take {take} is being cued on {listed(names=on)}{where}."
        case "plays":
            return f"Take {take} plays on {listed(names=on)}{where}."
        case "over":
            more = f", and what {station} had before is not back yet" if station else ""
            return f"Take {take} plays no more on {listed(names=on)}{more}. To end it: stagectl play stop"
    return "Nothing is played back."


SENTENCES: Final[Mapping[str, Callable[..., object]]] = {one.__name__: one for one in (plays, failed, stopped, stands)}
