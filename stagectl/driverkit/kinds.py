"""Which kinds of box can be driven here? Those that installed packages name in the entry-point group.

A package of anybody's is found as our own drivers are. One that can't be used is reported and left out: a broken
driver costs its own boxes and nothing else.
"""

from collections.abc import Iterable
from importlib.metadata import EntryPoint, entry_points
from typing import Any, Final

from stagectl.driverkit.driver import BoxKind
from stagectl.model.capabilities.base import EVERY_BOX, Capability
from stagectl.model.capabilities.mixer import MIXER
from stagectl.model.capabilities.recorder import RECORDER
from stagectl.model.capabilities.router import ROUTER
from stagectl.model.points import PointSpec

GROUP: Final = "stagectl.drivers"
HOUSE: Final = (RECORDER, ROUTER, MIXER)  # what the rest of the house knows by name


def find_kinds() -> tuple[dict[str, BoxKind], dict[str, str]]:
    """Look for drivers among the installed packages.

    Returns: the kinds by the word of a site's `box:`, and those left out: the word -> one sentence that says why.
    """
    by_name: dict[str, list[EntryPoint]] = {}
    for entry in entry_points(group=GROUP):
        by_name.setdefault(entry.name, []).append(entry)
    kinds: dict[str, BoxKind] = {}
    broken: dict[str, str] = {}
    for name in sorted(by_name):
        try:
            kinds[name] = _load(name, by_name[name], kinds.values())
        except _UnusableError as unusable:
            broken[name] = str(unusable)
    return kinds, broken


class _UnusableError(Exception):
    """A driver can't be used; one sentence."""


def _load(name: str, entries: list[EntryPoint], others: Iterable[BoxKind]) -> BoxKind:
    if len({entry.value for entry in entries}) > 1:
        # which of two drives a box must not hang on the order of a search path
        owners = " and ".join(sorted(_owner(entry) for entry in entries))
        raise _UnusableError(f'The driver "{name}" is in two packages, {owners}. Remove one of them.')
    entry = entries[0]
    where = f'The driver "{name}" of {_owner(entry)}'
    try:
        kind = entry.load()
    except (Exception, SystemExit) as error:
        raise _UnusableError(
            f"{where} can't be loaded: {type(error).__name__}: {error}. Update or remove that package."
        ) from error
    if not isinstance(kind, BoxKind):
        raise _UnusableError(f"{where} names a {type(kind).__name__}, not a BoxKind. Let its entry point name one.")
    _check(where, name, kind)
    for other in others:
        clash = _clash(kind.capability, other.capability)
        if clash:
            raise _UnusableError(f'{where} {clash} in kind "{other.capability.kind}". Name the point differently.')
    return kind


def _check(where: str, name: str, kind: BoxKind) -> None:
    parts: tuple[object, object, object] = (kind.capability, kind.make, kind.codec)  # what a dataclass doesn't check
    if kind.name != name:
        raise _UnusableError(f'{where} calls itself "{kind.name}". Give its entry point the same name.')
    if not isinstance(parts[0], Capability):
        raise _UnusableError(f"{where} has no Capability, but a {type(parts[0]).__name__}. Give it one.")
    if not all(map(callable, parts[1:])):
        raise _UnusableError(f"{where} has no function that makes its driver or codec. Give it both.")
    for house in HOUSE:
        if kind.capability.kind == house.kind and kind.capability is not house:
            raise _UnusableError(
                f'{where} brings a "{house.kind}" of its own. Use stagectl\'s, or call the kind something else.'
            )
        clash = _clash(kind.capability, house)
        if clash:
            raise _UnusableError(f'{where} {clash} in kind "{house.kind}". Name the point differently.')


def _clash(mine: Capability, other: Capability) -> str:
    """One point name means one type and one unit in all kinds: pages and scenes read by name. Empty: no clash."""
    if mine is other:
        return ""
    specs: tuple[PointSpec[Any], ...] = (*EVERY_BOX, *other.points)
    known = {spec.name: spec for spec in specs}
    for spec in mine.points:
        there = known.get(spec.name)
        if there is not None and (there.type, there.unit) != (spec.type, spec.unit):
            seen, has = _typed(there.type, there.unit), _typed(spec.type, spec.unit)
            return f'has a point "{spec.name}" that is {has}, but it is {seen}'
    return ""


def _typed(kind: type, unit: str) -> str:
    return f"{kind.__name__} in {unit}" if unit else kind.__name__


def _owner(entry: EntryPoint) -> str:
    return f"{entry.dist.name} {entry.dist.version}" if entry.dist is not None else "an unnamed package"
