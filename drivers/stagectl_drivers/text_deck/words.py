"""Which wire word is which value, and what does each refusal mean? Tables in the order of README.md.

Source: from memory of public documentation, versions 1.6 to 1.12, unless a line says otherwise.
"""

import re
from collections.abc import Callable
from types import MappingProxyType
from typing import Any, Final

from stagectl.model.capabilities.recorder import SlotState, Transport
from stagectl.model.timecode import Label

Reader = Callable[[str], Any]  # KeyError or ValueError: a word we don't know, its point is shown as unknown

_WHOLE: Final = re.compile(r"[+-]?[0-9]{1,18}")
_LABEL: Final = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9][:;][0-5][0-9]")
_FORBIDDEN: Final = re.compile(r'[\\/:*?"<>|]')
NAME_LENGTH: Final = 60  # characters; media are exFAT or HFS+, which take more: the rest is for the deck's suffix

STATUS: Final = MappingProxyType(
    {
        "preview": Transport.PREVIEW,
        "stopped": Transport.STOPPED,
        "play": Transport.PLAYING,
        "forward": Transport.SHUTTLING,
        "rewind": Transport.SHUTTLING,
        "jog": Transport.CUEING,
        "shuttle": Transport.SHUTTLING,
        "record": Transport.RECORDING,
    }
)
SLOT_STATUS: Final = MappingProxyType(
    {
        "empty": SlotState.EMPTY,
        "mounting": SlotState.MOUNTING,
        "error": SlotState.ERROR,
        "mounted": SlotState.READY,
    }
)
TRUTH: Final = MappingProxyType({"true": True, "false": False})


def whole(wire: str) -> int:
    """Read a whole number. Raises ValueError."""
    if _WHOLE.fullmatch(wire) is None:
        raise ValueError(wire)
    return int(wire)


def count(wire: str) -> int:
    """Read a number that counts from one, such as a slot. Raises ValueError: less, or a word such as "none"."""
    number = whole(wire)
    if number < 1:
        raise ValueError(wire)
    return number


def amount(wire: str) -> int:
    """Read seconds or bytes, 0 or more. Raises ValueError."""
    number = whole(wire)
    if number < 0:
        raise ValueError(wire)
    return number


def ratio(wire: str) -> float:
    """Read a speed, percent on the wire. Raises ValueError."""
    return whole(wire) / 100


def label(wire: str) -> str:
    """Read a timecode; drop-frame stays marked with a semicolon. Raises ValueError: dashes, the sign of no signal."""
    return wire if _LABEL.fullmatch(wire) else str(Label.parse(wire))


def word(wire: str) -> str:
    """Read a token in the deck's own spelling. Raises ValueError: empty."""
    if not wire:
        raise ValueError(wire)
    return wire


def present(wire: str) -> bool:
    """Does an input format say that there is a picture? Raises ValueError: empty."""
    return word(wire).lower() != "none"


# wire parameter: (point, reader into the point's unit)
TRANSPORT_INFO: Final[MappingProxyType[str, tuple[str, Reader]]] = MappingProxyType(
    {
        "status": ("transport", STATUS.__getitem__),
        "speed": ("speed", ratio),
        "slot id": ("slot.active", count),
        "clip id": ("clip.at", count),
        "display timecode": ("timecode", label),
        "timecode": ("timecode", label),  # only where the deck knows no display timecode
        "input video format": ("input.format", word),
    }
)
# wire parameter: (last word of the point slot.N., reader)
SLOT_INFO: Final[MappingProxyType[str, tuple[str, Reader]]] = MappingProxyType(
    {
        "status": ("state", SLOT_STATUS.__getitem__),
        "volume name": ("name", str),
        "recording time": ("left", amount),
        "remaining size": ("free", amount),  # bytes (?)
    }
)
REMOTE_INFO: Final[MappingProxyType[str, tuple[str, Reader]]] = MappingProxyType(
    {"enabled": ("remote", TRUTH.__getitem__)}
)
CONFIGURATION: Final[MappingProxyType[str, tuple[str, Reader]]] = MappingProxyType(
    {
        "video input": ("input.source", word),
        "file format": ("record.codec", word),
        "timecode input": ("timecode.source", word),
        "audio input channels": ("record.channels", amount),  # newer (?)
    }
)
SETTINGS: Final = MappingProxyType({point: parameter for parameter, (point, _) in CONFIGURATION.items()})

# code: (what it means, what to do)
FAILURES: Final = MappingProxyType(
    {
        100: ("it can't read this request", "Look whether its firmware is older than this driver knows."),
        101: ("it does not know a parameter of this request", "Look whether its firmware is older."),
        102: ("it does not take this value", "Ask for a value that its own menu offers."),
        103: ("it can't do this", "Do it at its front, or on another recorder."),
        104: ("its medium is full", "Put in another medium, or select the other slot."),
        105: ("it has no medium", "Put one in."),
        106: ("its medium is in error", "Put in another medium."),
        107: ("its list of clips is empty", "Record something, or select the other slot."),
        108: ("it failed inside", "Look at its front, and switch it off and on when nothing records."),
        109: ("the value is out of its range", "Ask for a value that its own menu offers."),
        110: ("it has no input picture", "Look at its input and at the router."),
        111: ("remote control is off at its front", "Switch remote on."),
        112: ("it does not find this clip", "Read its list of clips again."),
        150: ("it can't do this in the state it is in", "Stop what it does, then ask again."),
        151: ("it can't handle this codec", "Choose a file format that it offers."),
        160: ("it can't make this kind of file system", "Set the option `format as` to one it offers."),
        161: ("this token is not the one it gave", "Begin the erasing of the medium anew."),
        162: ("the erasing of the medium was not prepared", "Begin it anew."),
    }
)


def refusal(code: int, text: str) -> str:
    """Say a failure reply as one sentence with its remedy; a code nobody knows keeps the deck's own words."""
    if known := FAILURES.get(code):
        return f"{known[0]} ({code}). {known[1]}"
    shown = "".join(char if char.isprintable() else " " for char in text[:100])
    return f'it says "{shown}" ({code}). Look at its front.'


def clip_name(asked: str) -> str:
    """Make a name that exFAT and HFS+ take: forbidden signs become a hyphen, control characters a space.

    Returns: at most NAME_LENGTH characters, no dots or spaces at its ends; empty if nothing is left: the deck names it.
    """
    plain = "".join(char if char.isprintable() else " " for char in asked)
    return _FORBIDDEN.sub("-", plain).strip(" .")[:NAME_LENGTH].strip(" .")


def disk_row(number: str, line: str) -> dict[str, Any]:
    """Read a line of a disk list, `NAME FILEFORMAT VIDEOFORMAT DURATION`, split from the right since names hold spaces.

    Returns: index, name and duration (a label); its first label is not told.

    Raises:
        ValueError: it is none.
    """
    index = count(number)
    name, *told = line.rsplit(" ", 3)
    if len(told) != 3 or not name or not _LABEL.fullmatch(told[2]):
        raise ValueError(line)
    return {"index": index, "name": name, "duration": told[2]}


def clip_row(number: str, line: str) -> dict[str, Any]:
    """Read a line of a clip list, either version, into index, name, start and duration (labels).

    Version 1 is `NAME START DURATION`, split from the right since names hold spaces; version 2 is
    `START DURATION IN OUT NAME`. A name holds no colon, so the two can't be mixed up.

    Raises:
        ValueError: neither.
    """
    index = count(number)
    name, *times = line.rsplit(" ", 2)
    if len(times) == 2 and all(_LABEL.fullmatch(time) for time in times):
        return {"index": index, "name": name, "start": times[0], "duration": times[1]}
    *times, name = line.split(" ", 4)
    if len(times) == 4 and all(_LABEL.fullmatch(time) for time in times):
        return {"index": index, "name": name, "start": times[0], "duration": times[1]}
    raise ValueError(line)
