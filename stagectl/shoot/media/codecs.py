"""How many bytes a second does a recording take of its medium?

Sources: VC-3: SMPTE ST 2019-1, sizes of compressed frames by profile (formula from memory, checked against the sizes of
an open encoder), fixed sizes at 1280x720; AVC intra classes: sizes measured on an open encoder; DV: ITU-R BT.1618;
uncompressed 10 bit 4:2:2 in groups of 16 bytes. The number in a codec's name is not its rate: class 100 is 113.8 Mb/s.
"""

import re
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from stagectl.model.timecode import Rate, rate_of_format

SOUND_BYTES: Final = 48_000 * 3  # a channel of 24 bit at 48 kHz, a second
CONTAINER: Final = 0.001  # what the file itself takes beside picture and sound
USUAL_CHANNELS: Final = 8  # where a box does not tell how many it records; own choice, on the safe side

_PROFILES: Final = MappingProxyType({"lb": 5_888, "sq": 18_944, "hq": 28_672, "hqx": 28_672, "444": 57_344})
_AT_720: Final = MappingProxyType({"sq": 303_104, "hq": 458_752, "hqx": 458_752})
_RASTERS: Final = (
    # beginning of a format word: width and height
    ("4kdci", (4096, 2160)),
    ("2160", (3840, 2160)),
    ("4k", (3840, 2160)),
    ("2kdci", (2048, 1080)),
    ("2k", (2048, 1080)),
    ("1080", (1920, 1080)),
    ("720", (1280, 720)),
    ("pal", (720, 576)),
    ("ntsc", (720, 480)),
)
_FIXED: Final = MappingProxyType(
    {
        # family and raster: bytes of a frame, by frames a second where it matters
        ("avci100", (1920, 1080)): ((25.0, 568_832), (29.97, 472_576), (30.0, 472_576)),
        ("avci100", (1280, 720)): ((50.0, 284_672),),
        ("avci50", (1920, 1080)): ((25.0, 281_088),),
        ("dv25", (720, 576)): ((0.0, 144_000),),
        ("dv25", (720, 480)): ((0.0, 120_000),),
        ("uncompressed10", (1920, 1080)): ((0.0, 5_529_600),),
        ("uncompressed10", (1280, 720)): ((0.0, 2_488_320),),
    }
)
_VC3: Final = re.compile(r"vc3(lb|sq|hqx|hq|444)")
_GOP: Final = re.compile(r"(?:long)?gop([0-9]{1,4})")  # megabits a second in its name


@dataclass(frozen=True, slots=True)
class Takes:
    """What a recording takes. `constant`: every frame the same, so that a measured fall must agree with it."""

    bytes_per_s: float
    constant: bool


def raster_of_format(word: str) -> tuple[int, int] | None:
    """Width and height that a format word such as `1080p25` names; None: none."""
    low = word.casefold()
    return next((size for begin, size in _RASTERS if low.startswith(begin)), None)


def takes(codec: str, form: str, channels: int | None, known: dict[str, float]) -> Takes | None:
    """What a recording takes a second; None: this codec or format is not known.

    Args:
        codec: in the box's own spelling; signs and capitals don't matter, nor what a box writes before the name.
        form: picture format, such as `1080p25`.
        channels: of sound; None: not told.
        known: codec -> bytes a second in all, as the site says.
    """
    if codec in known:
        return Takes(known[codec], constant=False)
    rate, raster = rate_of_format(form), raster_of_format(form)
    if rate is None or raster is None:
        return None
    plain = re.sub("[^a-z0-9]", "", codec.casefold()).replace("avcintra", "avci")
    sound = (USUAL_CHANNELS if channels is None else channels) * SOUND_BYTES
    if found := _GOP.search(plain):
        return Takes((int(found[1]) * 1e6 / 8 + sound) * (1 + CONTAINER), constant=False)
    frame = _frame_bytes(plain, raster, rate)
    if frame is None:
        return None
    return Takes((frame * rate.frames / rate.seconds + sound) * (1 + CONTAINER), constant=True)


def _frame_bytes(plain: str, raster: tuple[int, int], rate: Rate) -> int | None:
    if found := _VC3.search(plain):
        return vc3_frame(found[1], *raster)
    for (family, size), rows in _FIXED.items():
        if size == raster and family in plain:
            per_s = rate.frames / rate.seconds
            return next((count for at, count in rows if not at or abs(at - per_s) < 0.01), None)
    return None


def vc3_frame(profile: str, width: int, height: int) -> int:
    """Bytes of a compressed frame: a share of each block of 16x16, in steps of 4096. Source: SMPTE ST 2019-1."""
    if (width, height) == (1280, 720) and profile in _AT_720:
        return _AT_720[profile]
    blocks = -(-width // 16) * -(-height // 16)
    return max(8_192, (2 * blocks * _PROFILES[profile] + 255 * 4_096) // (2 * 255 * 4_096) * 4_096)
