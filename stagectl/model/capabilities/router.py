"""What can be known and asked of a matrix router: it has nothing but `Set`."""

from enum import StrEnum
from typing import Final

from stagectl.model.capabilities.base import Capability, Doubt, Health
from stagectl.model.points import PointSpec


class Lock(StrEnum):
    """Who holds an output."""

    FREE = "free"
    OURS = "ours"
    THEIRS = "theirs"


PRESENT: Final[PointSpec[bool]] = PointSpec("present", bool)
INPUTS: Final[PointSpec[int]] = PointSpec("inputs", int)
OUTPUTS: Final[PointSpec[int]] = PointSpec("outputs", int)
INPUT_NAME: Final[PointSpec[str]] = PointSpec("input.{input}.name", str, settable=True)
OUTPUT_NAME: Final[PointSpec[str]] = PointSpec("output.{output}.name", str, settable=True)
OUTPUT_SOURCE: Final[PointSpec[int]] = PointSpec("output.{output}.source", int, low=1, settable=True, deadline_s=1)
OUTPUT_LOCK: Final[PointSpec[Lock]] = PointSpec("output.{output}.lock", Lock, settable=True)

ROUTER: Final = Capability(
    "router",
    1,
    (PRESENT, INPUTS, OUTPUTS, INPUT_NAME, OUTPUT_NAME, OUTPUT_SOURCE, OUTPUT_LOCK),
    (),
    (Doubt(PRESENT.is_(False), Health.FAILED, "the router behind the link is not usable", "Look at the router."),),
)
