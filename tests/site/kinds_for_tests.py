"""Kinds of box and parts of the house for the site's tests: capabilities are real, drivers are not needed."""

from collections.abc import Mapping
from typing import Any, Final

from stagectl.driverkit.driver import BoxKind, Codec, Driver
from stagectl.model.capabilities.base import Capability
from stagectl.model.capabilities.mixer import MIXER
from stagectl.model.capabilities.recorder import RECORDER
from stagectl.model.capabilities.router import ROUTER
from stagectl.model.points import PointSpec


class NoDriver(Driver[Any, Any]):
    """Says what its options may be, and nothing else."""

    def __init__(self, options: Mapping[str, str]) -> None:
        if (value := options.get("may switch remote on", "no")) not in ("yes", "no"):
            raise ValueError(f'"may switch remote on" can\'t be "{value}". Write no or yes')


class NoCodec(Codec[Any, Any]):
    def __init__(self, options: Mapping[str, str]) -> None: ...


def kind(name: str, capability: Capability, port: int, **options: str) -> BoxKind:
    spoken = {one.replace("_", " "): text for one, text in options.items()}
    return BoxKind(name, capability, port, NoDriver, NoCodec, spoken)


KINDS: Final = {
    "text-deck": kind("text-deck", RECORDER, 9993, may_switch_remote_on="yes or no"),
    "block-router": kind("block-router", ROUTER, 9990),
    "mixer-text": kind("mixer-text", MIXER, 49280, profile="its make"),
}
RUNNING: Final[PointSpec[bool]] = PointSpec("running", bool)
SHOWS: Final[PointSpec[str]] = PointSpec("{destination}.shows", str, settable=True)
SEES: Final[PointSpec[str]] = PointSpec("{station}.sees", str, settable=True)
PARTS: Final = {
    "takes": Capability("takes", 1, (RUNNING,), ()),
    "paths": Capability("paths", 1, (SHOWS,), ()),
    "stations": Capability("stations", 1, (SEES,), ()),
}
