"""How is a text deck driven? `BOX` is what its entry point names."""

from typing import Final

from stagectl.driverkit.driver import BoxKind
from stagectl.model.capabilities.recorder import RECORDER
from stagectl_drivers.text_deck.codec import TextDeckCodec
from stagectl_drivers.text_deck.driver import OPTIONS, TextDeckDriver

BOX: Final = BoxKind(
    name="text-deck",
    capability=RECORDER,
    port=9993,
    make=TextDeckDriver,
    codec=lambda options: TextDeckCodec(),
    options=OPTIONS,
    about="A disk recorder that speaks lines of text: rolls, cuts, plays, reports its transport, slots and clips.",
)

__all__ = ["BOX", "TextDeckCodec", "TextDeckDriver"]
