"""What do outside controllers ask? Nine words that every inlet shares, made into wishes."""

from collections.abc import Mapping
from typing import Any

from stagectl.control.access import Person
from stagectl.inlets.http.problems import ProblemError, refused
from stagectl.model.errors import RefusedError
from stagectl.shoot.house import House, Wish
from stagectl.shoot.routes.words import one_route

_TAKES: Mapping[str, tuple[str, ...]] = {
    "roll": ("name", "on"),
    "cut": ("take", "on"),
    "route": ("src", "dst", "level"),
    "level": ("of", "to", "device"),
    "stay": ("of", "device"),
    "mark": ("take", "good", "kind", "note"),
    "play": ("take", "recorder", "every", "station", "mark", "label"),
    "stop": (),
}


def wish(house: House, person: Person, inlet: str, asked: tuple[str, Mapping[str, Any]], identifier: str) -> Wish:
    """The wish of "roll", "cut", "route", "level", "stay", "play" or "stop"; "mark" and "scene" are the caller's.

    `asked` is the verb and its arguments: roll {name, on}; cut {take, on}; route {src, dst, level}; level {of:
    "strip 5", to: "-12 dB", device}; stay {of, device}; play {take, recorder, every, station, mark, label};
    stop, of the playback, {}.

    Raises:
        ProblemError: an argument is missing or unknown.
    """
    verb, args = asked
    check(verb, args)
    match verb:
        case "roll" | "cut":
            return Wish(person, inlet, "takes", verb, dict(args), identifier)
        case "play" | "stop":
            return Wish(person, inlet, "playback", verb, dict(args), identifier)
        case "route":
            dst, src = needed(verb, args, "dst"), needed(verb, args, "src")
            if not house.site.pictures.levels and "level" not in args:
                return Wish(person, inlet, "paths", "set", {"point": f"{dst}.shows", "value": src}, identifier)
            try:
                routes = one_route(dst, src, needed(verb, args, "level") if "level" in args else "")
            except RefusedError as error:
                raise refused(error) from error
            return Wish(person, inlet, "paths", "route", {"routes": routes}, identifier)
    of, to = needed(verb, args, "of"), args.get("to")
    point = f"{of.strip().replace(' ', '.')}.level"
    if verb == "stay":
        return Wish(person, inlet, _mixer(house, args), "stay", {"point": point}, identifier)
    if to is None:
        raise ProblemError(
            422, "argument", "level needs to.", remedy='Give to: "-12 dB".', fields=[("body.args.to", "")]
        )
    return Wish(person, inlet, _mixer(house, args), "set", {"point": point, "value": to}, identifier)


def check(verb: str, args: Mapping[str, Any]) -> None:
    """Refuse arguments that the verb does not take. Raises ProblemError."""
    for name in args:
        if name not in _TAKES[verb]:
            remedy = f"It takes {', '.join(_TAKES[verb])}."
            raise ProblemError(
                422, "argument", f'{verb} takes no "{name}".', remedy=remedy, fields=[(f"body.args.{name}", "unknown.")]
            )


def needed(verb: str, args: Mapping[str, Any], name: str) -> str:
    """A text argument that must be there. Raises ProblemError."""
    value = args.get(name)
    if not isinstance(value, str) or not value.strip():
        raise ProblemError(
            422, "argument", f"{verb} needs {name}.", remedy=f"Give {name}.", fields=[(f"body.args.{name}", "missing.")]
        )
    return value


def _mixer(house: House, args: Mapping[str, Any]) -> str:
    if isinstance(args.get("device"), str):
        return str(args["device"])
    mixers = [name for name, box in house.boxes.items() if box.capability.kind == "mixer"]
    if len(mixers) == 1:
        return mixers[0]
    say = "There is no mixer here." if not mixers else "There are several mixers here."
    raise ProblemError(422, "argument", say, remedy="Give device.", fields=[("body.args.device", "missing.")])
