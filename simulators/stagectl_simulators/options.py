"""How are a box's options read? Typed, with a sentence for each that is wrong or unknown."""

from __future__ import annotations

from collections.abc import Sequence


class Options:
    """The options of one box. Take each by name, then call `done`: what is left over is unknown and refused.

    Every reader raises ValueError with a sentence that names the box and the option.
    """

    def __init__(self, box: str, raw: dict[str, object]) -> None:
        self._box = box
        self._raw = dict(raw)
        self._known: list[str] = []

    def _take(self, name: str) -> object:
        self._known.append(name)
        return self._raw.pop(name, None)

    def _wrong(self, name: str, wanted: str, value: object) -> ValueError:
        return ValueError(f"{self._box}: option {name!r} must be {wanted}, not {value!r}.")

    def flag(self, name: str, default: bool = False) -> bool:
        """True or false."""
        value = self._take(name)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise self._wrong(name, "true or false", value)
        return value

    def number(self, name: str, default: float, low: float = 0.0, high: float = float("inf")) -> float:
        """A number from `low` to `high`, both included."""
        value = self._take(name)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self._wrong(name, f"a number from {low:g} to {high:g}", value)
        return float(value)

    def whole(self, name: str, default: int, low: int = 0, high: int = 2**53) -> int:
        """A whole number from `low` to `high`, both included."""
        value = self._take(name)
        if value is None:
            return default
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self._wrong(name, f"a whole number from {low} to {high}", value)
        return value

    def text(self, name: str, default: str, allowed: Sequence[str] = ()) -> str:
        """A text, one of `allowed` if that is given."""
        value = self._take(name)
        if value is None:
            return default
        if not isinstance(value, str) or (allowed and value not in allowed):
            raise self._wrong(name, f"one of {', '.join(allowed)}" if allowed else "a text", value)
        return value

    def items(self, name: str) -> list[object] | None:
        """A list, unread; None if it is not given."""
        value = self._take(name)
        if value is not None and not isinstance(value, list):
            raise self._wrong(name, "a list", value)
        return value

    def table(self, name: str) -> dict[str, object] | None:
        """A JSON object, unread; None if it is not given."""
        value = self._take(name)
        if value is None:
            return None
        if not isinstance(value, dict) or not all(isinstance(key, str) for key in value):
            raise self._wrong(name, "a table of names and values", value)
        return value

    def done(self) -> None:
        """Refuse what no reader asked for."""
        if self._raw:
            unknown = ", ".join(repr(name) for name in self._raw)
            known = ", ".join(self._known) or "none"
            raise ValueError(f"{self._box}: no option {unknown}. Known options: {known}.")
