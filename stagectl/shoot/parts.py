"""What is a house part? Something that owns computed points and takes verbs like a device."""

from collections.abc import Sequence
from typing import Protocol

from stagectl.model.capabilities.base import Capability
from stagectl.model.verbs import Ask, Verb


class Part(Protocol):
    """Takes, paths, stations: named and asked like a device, answered with a group."""

    name: str
    capability: Capability

    def expand(self, ask: Ask) -> Sequence[Ask]:
        """The asks that carry out this one: for devices, other parts, or `ask` itself (judged by the part's own point).

        Raises:
            RefusedError: it can't be done; nothing was sent.
        """

    def act(self, verb: Verb) -> None:
        """Do at go what needs no device, such as naming the next take."""
