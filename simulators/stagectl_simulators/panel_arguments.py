"""How are the arguments of an act on the front panel read? Counted from one, with a sentence for each that is wrong."""

from __future__ import annotations

from collections.abc import Sequence


class PanelArguments:
    """The arguments of one act. Take each by name, then call `done`: what is left over is refused.

    Every reader raises ValueError with a sentence that names the act and the argument.
    """

    def __init__(self, act: str, raw: dict[str, object]) -> None:
        self._act = act
        self._raw = dict(raw)

    def _take(self, name: str) -> object:
        if name not in self._raw:
            raise ValueError(f"{self._act}: argument {name!r} is missing.")
        return self._raw.pop(name)

    def place(self, name: str, count: int) -> int:
        """A place from 1 to `count` as a person counts. Returns it zero-based."""
        value = self._take(name)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= count:
            raise ValueError(f"{self._act}: {name} must be a whole number from 1 to {count}, not {value!r}.")
        return value - 1

    def level(self, name: str) -> float | None:
        """A level in dB; None for "off", minus infinity."""
        value = self._take(name)
        if value == "off":
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1000:
            raise ValueError(f'{self._act}: {name} must be a level in dB or "off", not {value!r}.')
        return float(value)

    def text(self, name: str, allowed: Sequence[str] = ()) -> str:
        """A text without control signs, one of `allowed` if that is given."""
        value = self._take(name)
        if not isinstance(value, str) or (allowed and value not in allowed):
            wanted = f"one of {', '.join(allowed)}" if allowed else "a text"
            raise ValueError(f"{self._act}: {name} must be {wanted}, not {value!r}.")
        if any(ord(letter) < 32 or ord(letter) == 127 for letter in value):
            raise ValueError(f"{self._act}: {name} holds a control sign. Leave it out.")
        return value

    def done(self) -> None:
        """Refuse what no reader asked for."""
        if self._raw:
            raise ValueError(f"{self._act}: no argument {', '.join(map(repr, self._raw))}.")
