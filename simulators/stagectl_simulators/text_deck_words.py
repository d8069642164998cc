"""Which words does a text deck know? Parameter names, codes, formats and codecs, in the sheet's order.

Everything here is from memory of public documentation (protocol versions 1.6 to 1.12) unless it says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from stagectl_simulators.house_clock import RATES, Rate

NOTIFY_FLAGS: Final = ("transport", "slot", "remote", "configuration", "dropped frames", "display timecode")

CONFIGURATION: Final[dict[str, tuple[str, ...]]] = {
    # parameter: the values it takes; () is free text, checked by the deck
    "video input": ("SDI", "HDMI", "component"),
    "audio input": ("embedded", "XLR", "RCA"),
    "file format": (),
    "timecode input": ("external", "embedded", "internal", "preset", "clip"),
    "timecode preset": (),
    "record prefix": (),
    "append timestamp": ("true", "false"),
    "record trigger": ("none", "recordbit", "timecoderun"),
}

REQUESTS: Final[dict[str, tuple[str, ...]]] = {
    # request: the parameters it takes
    "ping": (),
    "device info": (),
    "uptime": (),
    "remote": ("enable", "override"),
    "notify": NOTIFY_FLAGS,
    "transport info": (),
    "slot info": ("slot id",),
    "slot select": ("slot id", "video format"),
    "configuration": tuple(CONFIGURATION),
    "record": ("name",),
    "record spill": ("slot id",),
    "stop": (),
    "play": ("speed", "loop", "single clip"),
    "goto": ("clip id", "timecode", "slot id"),
    "jog": ("timecode",),
    "shuttle": ("speed",),
    "clips count": (),
    "clips get": ("clip id", "count", "version"),
    "disk list": ("slot id",),
    "format": ("prepare", "confirm"),
    "identify": ("enable",),
    "watchdog": ("period",),
    "quit": (),
}

FAILURES: Final = {
    100: "syntax error",
    101: "unsupported parameter",
    102: "invalid value",
    103: "unsupported",
    104: "disk full",
    105: "no disk",
    106: "disk error",
    107: "timeline empty",
    108: "internal error",
    109: "out of range",
    110: "no input",
    111: "remote control disabled",
    112: "clip not found",
    120: "connection rejected",
    150: "invalid state",
    151: "invalid codec",
    160: "invalid format",
    161: "invalid token",
    162: "format not prepared",
}


class Refusal(Exception):  # noqa: N818 - a deck's no is no fault of the program
    """The deck says no, with one of the sheet's codes."""

    def __init__(self, code: int) -> None:
        super().__init__(f"{code} {FAILURES[code]}")
        self.code = code


@dataclass(frozen=True, slots=True)
class VideoFormat:
    """A picture: its size in pixels, and its frames per second (of an interlaced format: whole frames)."""

    width: int
    height: int
    rate: Rate


_SPOKEN: Final = {"23976": "23.976", "2398": "23.976", "2997": "29.97", "5994": "59.94"}


def _formats() -> dict[str, VideoFormat]:
    sizes = {"720p": (1280, 720), "1080p": (1920, 1080), "4Kp": (3840, 2160)}
    rates = {
        "720p": ("50", "5994", "60"),
        "1080p": ("23976", "24", "25", "2997", "30", "50", "5994", "60"),
        "4Kp": ("23976", "24", "25", "2997", "30", "50", "5994", "60"),
    }
    table = {"NTSC": VideoFormat(720, 486, RATES["29.97"]), "PAL": VideoFormat(720, 576, RATES["25"])}
    for size, tokens in rates.items():
        for token in tokens:
            table[size + token] = VideoFormat(*sizes[size], RATES[_SPOKEN.get(token, token)])
    for fields, frames in (("50", "25"), ("5994", "29.97"), ("60", "30")):
        table[f"1080i{fields}"] = VideoFormat(1920, 1080, RATES[frames])
    return table


VIDEO_FORMATS: Final = _formats()

CODECS: Final = {
    # file format: bytes per 1920x1080 frame. VC-3: SMPTE ST 2019-1, from memory; the last: 50 Mb/s, common practice
    "VC3-HQ": 917_504,
    "VC3-SQ": 606_208,
    "VC3-LB": 188_416,
    "LongGOP-50": 250_000,
}
AUDIO_BYTES_PER_S: Final = 1_152_000  # 8 channels of 24 bits at 48 kHz


def bytes_per_second(codec: str, video: VideoFormat) -> float:
    """What a recording takes of its medium: picture scaled by its pixels, sound, 0.1 % for the container."""
    picture = CODECS[codec] * (video.width * video.height) / (1920 * 1080) * video.rate.num / video.rate.den
    return (picture + AUDIO_BYTES_PER_S) * 1.001
