"""How are names, addresses and places on a router or mixer written in a site file?"""

import ipaddress
import re
from typing import Final

from stagectl.filetree import FileError, Text

NAME: Final = "[a-z][a-z0-9-]{0,31}"  # stands in URLs, topics and sentences as it is
RESERVED: Final = (
    *("takes", "paths", "stations", "setups", "clock", "media", "lineup", "copy"),  # parts of the house
    *("every", "any", "all", "set"),  # words of sentences
)
MAX_NUMBER: Final = 9999  # inputs of a router, strips of a mixer; own choice

_SPANS: Final = {"s": 1, "min": 60, "h": 3600}
_SIZES: Final = {"MB": 10**6, "GB": 10**9, "TB": 10**12}
_HOST: Final = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)(?:\.(?!-)[a-z0-9-]{1,63}(?<!-))*")
_SOCKET: Final = re.compile(rf"({NAME}) ([0-9]{{1,5}})")
_TIE: Final = re.compile(rf"({NAME}) ([0-9]{{1,5}}) to ({NAME}) ([0-9]{{1,5}})")
_SOUND: Final = re.compile(rf"({NAME}) (strip|bus) ([0-9]{{1,5}})")


def read_name(key: Text) -> str:
    """Read what something is called in sentences, URLs and topics.

    Raises:
        FileError: it is no such name, or a word of the house.
    """
    name = key.value
    if not re.fullmatch(NAME, name):
        remedy = "Write small letters, digits and hyphens, a letter first, 32 at most."
        raise key.wrong(f'"{name[:40]}" is no name.', remedy)
    if name in RESERVED:
        raise key.wrong(f'"{name}" is a word of the house.', "Take another name.")
    return name


def read_line(text: Text) -> str:
    """Read what people read: one line that is not empty.

    Raises:
        FileError: it is none.
    """
    words = " ".join(text.value.split())
    if not words:
        raise text.wrong("the text is missing.", "Write it.")
    if len(words) > 200:
        raise text.wrong("this text is longer than 200 letters.", "Write less.")
    return words


def read_address(text: Text, port: int) -> tuple[str, int]:
    """Read "10.0.5.11", "rec-1.local:9993" or "[fd00::11]:9993"; `port` where none is written, 0: one must be.

    Raises:
        FileError: it is no address.
    """
    written = text.value
    host, number = written, ""
    if found := re.fullmatch(r"\[([^\]]*)\](?::([^:]*))?", written):
        host, number = found[1], found[2] if found[2] is not None else str(port)
    elif written.count(":") == 1:
        host, _, number = written.partition(":")
    else:
        number = str(port)
    if not re.fullmatch("[0-9]{1,5}", number) or not 0 < int(number) < 65536:
        raise text.wrong(f'"{written[:60]}" has no port.', "Write the address, a colon and a port from 1 to 65535.")
    return _host(host, text), int(number)


def _host(host: str, text: Text) -> str:
    try:
        return str(ipaddress.ip_address(host))
    except ValueError:
        name = host.lower()
        if len(name) <= 253 and _HOST.fullmatch(name) and not re.fullmatch("[0-9.]+", name):
            return name
    raise text.wrong(f'"{host[:60]}" is no address.', "Write it like 10.0.5.11, or 10.0.5.11:9993.")


def read_socket(text: Text) -> tuple[str, int]:
    """Read "hall 1": a router and the number of an input or output.

    Raises:
        FileError: it is written otherwise, or the number is out of range.
    """
    found = _SOCKET.fullmatch(" ".join(text.value.split()))
    if found is None:
        raise _unreadable(text, "hall 1: the router and a number")
    return found[1], _number(found[2], text)


def read_tie(text: Text) -> tuple[str, int, str, int]:
    """Read "hall 15 to gallery 1": from a router's output to a router's input. Raises FileError as `read_socket`."""
    found = _TIE.fullmatch(" ".join(text.value.split()))
    if found is None:
        raise _unreadable(text, "hall 15 to gallery 1: an output, then the input it feeds")
    return found[1], _number(found[2], text), found[3], _number(found[4], text)


def read_frames(text: Text) -> int:
    """Read "2 frames" or "1 frame". Raises FileError."""
    found = re.fullmatch(r"([0-9]{1,3}) frames?", " ".join(text.value.split()))
    if found is None:
        raise _unreadable(text, "2 frames")
    return int(found[1])


def read_span(text: Text) -> float:
    """Read "45 min", "90 s" or "2 h" as seconds. Raises FileError."""
    found = re.fullmatch(r"([0-9]{1,5}(?:\.[0-9]{1,3})?) (s|min|h)", " ".join(text.value.split()))
    if found is None or not float(found[1]):
        raise text.wrong(f'"{text.value[:40]}" can\'t be read.', "Write it like 45 min, 90 s or 2 h.")
    return float(found[1]) * _SPANS[found[2]]


def read_size(text: Text) -> int:
    """Read "2 GB" as bytes; media are sold by powers of ten. Raises FileError."""
    found = re.fullmatch(r"([0-9]{1,6}(?:\.[0-9]{1,3})?) (MB|GB|TB)", " ".join(text.value.split()))
    if found is None:
        raise text.wrong(f'"{text.value[:40]}" can\'t be read.', "Write it like 2 GB.")
    return round(float(found[1]) * _SIZES[found[2]])


def read_sound(text: Text, what: str) -> tuple[str, int]:
    """Read "mixer strip 5" or "mixer bus 3", as `what` says. Raises FileError as `read_socket`."""
    found = _SOUND.fullmatch(" ".join(text.value.split()))
    if found is None or found[2] != what:
        raise _unreadable(text, f"mixer {what} 1: the mixer, the word {what} and a number")
    return found[1], _number(found[3], text)


def _number(written: str, text: Text) -> int:
    if not 1 <= int(written) <= MAX_NUMBER:
        raise text.wrong(f"{written} is out of range.", f"Count from 1, to {MAX_NUMBER} at most.")
    return int(written)


def _unreadable(text: Text, like: str) -> FileError:
    return text.wrong(f'"{text.value[:60]}" can\'t be read.', f"Write it like {like}.")


def slug_of(name: str) -> str:
    """A name for topics and files, made of `name`; empty if no letter of it serves."""
    return re.sub("[^a-z0-9]+", "-", name.lower()).strip("-")[:32].rstrip("-")
