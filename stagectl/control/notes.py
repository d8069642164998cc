"""What is wrong with a part of the house itself? Sentences by part, and who is told when one comes or goes."""

from collections.abc import Callable
from typing import Any


class Notes(dict[str, str]):
    """Part -> sentence. Whoever listens in `on_change` is told the part after each change of its sentence."""

    def __init__(self) -> None:
        super().__init__()
        self.on_change: list[Callable[[str], None]] = []

    def __setitem__(self, part: str, text: str) -> None:
        changed = self.get(part) != text
        super().__setitem__(part, text)
        if changed:
            self._tell(part)

    def __delitem__(self, part: str) -> None:
        super().__delitem__(part)
        self._tell(part)

    def pop(self, part: str, *default: Any) -> Any:
        """As of a dict; nobody is told if there was nothing."""
        was = part in self
        gone = super().pop(part, *default)
        if was:
            self._tell(part)
        return gone

    def _tell(self, part: str) -> None:
        for tell in self.on_change:
            tell(part)
