"""How is a password or token carried without ever being told? In a type that shows nothing of itself."""

from typing import Final, NoReturn

HIDDEN: Final = "(secret)"


class Secret:
    """A text that logs, journals, errors and tracebacks show as "(secret)". Only `reveal` gives it."""

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def reveal(self) -> str:
        """The text itself: to hash it, or to show it once to whom it belongs."""
        return self._text

    def __repr__(self) -> str:
        return HIDDEN

    __str__ = __repr__

    def __format__(self, spec: str) -> str:
        return HIDDEN

    def __bool__(self) -> bool:
        return bool(self._text)

    def __reduce__(self) -> NoReturn:
        raise TypeError("a secret is not copied into files")
