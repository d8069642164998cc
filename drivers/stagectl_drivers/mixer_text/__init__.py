"""How is a text mixer driven? `BOX` is what its entry point names."""

from typing import Final

from stagectl.driverkit.driver import BoxKind
from stagectl.model.capabilities.mixer import MIXER
from stagectl_drivers.mixer_text.codec import MixerTextCodec
from stagectl_drivers.mixer_text.driver import MixerTextDriver
from stagectl_drivers.mixer_text.options import OPTIONS, make, profile_of

BOX: Final = BoxKind(
    name="mixer-text",
    capability=MIXER,
    port=49280,
    make=make,
    codec=lambda options: MixerTextCodec(profile_of(options).encoding),
    options=OPTIONS,
    about="A digital mixer that speaks in text lines: levels, mutes, names, pan, sends and its own memories.",
)

__all__ = ["BOX", "MixerTextCodec", "MixerTextDriver"]
