"""How does a word and its arguments, from any door, become a verb?"""

from collections.abc import Mapping
from dataclasses import MISSING, fields
from typing import Any, cast

from stagectl.model.capabilities.base import Capability
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Set, Stay, Verb, checked
from stagectl.model.words import nearest


def build(who: str, capability: Capability, verb: str, arguments: Mapping[str, Any]) -> Verb:
    """Make the verb of a device or part called `who`.

    Args:
        who: for sentences.
        capability: its kind.
        verb: "roll", "set", ...
        arguments: by name, as JSON or text; "set" takes `point` ("output 3 source" or "output.3.source") and `value`,
            "stay" takes `point`.
    Raises:
        RefusedError: code "verb", "argument", "point" or what the point says of the value.
    """
    if verb == "set":
        return _set(who, capability, arguments)
    if verb == "stay":
        return _stay(who, capability, arguments)
    made = capability.verb(verb)
    if made is None:
        known = [one.spec.name for one in capability.verbs] + ["set", "stay"]
        raise RefusedError(f'{who} has no verb "{verb}".', remedy=nearest(verb, known), code="verb")
    return _fill(who, made, arguments)


def _set(who: str, capability: Capability, arguments: Mapping[str, Any]) -> Set[Any]:
    _only(who, "set", arguments, ("point", "value"))
    for name in ("point", "value"):
        if name not in arguments:
            raise RefusedError(f"set needs {name}.", remedy="Give point and value.", code="argument")
    spec = point_of(who, capability, str(arguments["point"]))
    value = arguments["value"]
    return checked(spec, spec.read(value) if isinstance(value, str) else value)


def _stay(who: str, capability: Capability, arguments: Mapping[str, Any]) -> Stay[Any]:
    _only(who, "stay", arguments, ("point",))
    if "point" not in arguments:
        raise RefusedError("stay needs point.", remedy="Give point.", code="argument")
    spec = point_of(who, capability, str(arguments["point"]))
    if not spec.ramp_per_s:
        say = f"{who} {spec.name.replace('.', ' ')} never rises by itself: there is nothing to stop."
        raise RefusedError(say, remedy="Name a level.", code="argument")
    return Stay(spec, None)


def point_of(who: str, capability: Capability, text: str) -> PointSpec[Any]:
    """The point people or programs name. Raises RefusedError."""
    name = text.strip().replace(" ", ".")
    spec = capability.point(name)
    if spec is None:
        raise RefusedError(f'{who} has no point "{text}".', remedy=nearest(name, capability.names()), code="point")
    return spec


def _fill(who: str, made: type[Verb], arguments: Mapping[str, Any]) -> Verb:
    wanted = {one.name: one for one in fields(cast("Any", made))}
    _only(who, made.spec.name, arguments, tuple(wanted))
    given: dict[str, Any] = {}
    for name, one in wanted.items():
        if name in arguments:
            spec: PointSpec[Any] = PointSpec(name, cast("type[Any]", one.type))
            value = arguments[name]
            given[name] = spec.read(value) if isinstance(value, str) else spec.check(value)
        elif one.default is MISSING:
            raise RefusedError(f"{made.spec.name} needs {name}.", remedy=f"Give {name}.", code="argument")
    return made(**given)


def _only(who: str, verb: str, arguments: Mapping[str, Any], known: tuple[str, ...]) -> None:
    for name in arguments:
        if name not in known:
            raise RefusedError(f'{verb} on {who} takes no "{name}".', remedy=nearest(name, known), code="argument")
