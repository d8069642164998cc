"""Text mixer on the wire: bytes in, events out; requests in, bytes out. No I/O, no clock.

Source: README.md beside this file, "Transport" and "Grammar" (common trade practice, from memory, no single source).
Which words, paths and indexes a make has stands in `profile.py`; here indexes are the wire's, counted from zero.
"""

import re
from dataclasses import dataclass
from typing import Final

from stagectl.model.errors import ProtocolError

MAX_LINE: Final = 4096  # bytes without a line end; a line is a few hundred bytes at most

INDEX: Final = r"-?[0-9]{1,9}"
COMMON: Final = re.compile(  # nearly every line: a parameter's value, stated or notified
    rf'(OKm?|NOTIFY) (get|set) (\S+) ({INDEX}) ({INDEX})(?: (?:({INDEX})|"([^"]*)"))?(?: "([^"]*)")?'
)
TOKEN: Final = re.compile(r'"[^"]*"|[^\s"]+')
MODIFIED: Final = "OKm"  # the mixer changed the value that was asked
OK_WORDS: Final = ("OK", MODIFIED)


@dataclass(frozen=True, slots=True)
class Ok:
    """A request was carried out; the echo of it, with the value now in force.

    Attributes:
        verb: "get", "set" or a word such as "devinfo".
        path: of the parameter; for "devinfo" what is told; for memories empty.
        x, y: indexes on the wire, from zero; 0 where unused.
        value: now in force; None: the echo holds none.
        shown: the value as the mixer's panel shows it.
        modified: the mixer changed the asked value (clamped or rounded it).
    """

    verb: str
    path: str = ""
    x: int = 0
    y: int = 0
    value: int | str | None = None
    shown: str = ""
    modified: bool = False


@dataclass(frozen=True, slots=True)
class No:
    """A request was refused.

    Attributes:
        reason: one word of the mixer's, such as "InvalidArgument"; empty if it gave none.
        verb: of the refused request, "unknown" if the mixer does not know it.
        path: of the refused request where the mixer repeats it.
    """

    reason: str
    verb: str = ""
    path: str = ""


@dataclass(frozen=True, slots=True)
class Notify:
    """Somebody else changed something; fields as of `Ok`."""

    verb: str
    path: str = ""
    x: int = 0
    y: int = 0
    value: int | str | None = None
    shown: str = ""


@dataclass(frozen=True, slots=True)
class Noise:
    """A line that fits no rule. Never fatal: firmware adds lines."""

    line: str


Event = Ok | No | Notify | Noise


@dataclass(frozen=True, slots=True)
class Get:
    """Ask for a parameter; indexes as on the wire, from zero."""

    path: str
    x: int
    y: int


@dataclass(frozen=True, slots=True)
class Put:
    """Set a parameter; indexes as on the wire, from zero."""

    path: str
    x: int
    y: int
    value: int | str


@dataclass(frozen=True, slots=True)
class DeviceInfo:
    """Ask what the mixer is: "productname", "version"."""

    what: str


@dataclass(frozen=True, slots=True)
class CurrentMemory:
    """Ask which memory was recalled last."""


@dataclass(frozen=True, slots=True)
class RecallMemory:
    """Recall a memory, "A 3"."""

    memory: str


Request = Get | Put | DeviceInfo | CurrentMemory | RecallMemory


class MixerTextCodec:
    """One conversation's bytes. Holds at most MAX_LINE of an unfinished line."""

    def __init__(self, encoding: str = "utf-8") -> None:
        self._encoding = encoding
        self._tail = b""

    def feed(self, data: bytes) -> list[Event]:
        """Return the events that `data` completes, one for each line; any split of a stream gives the same events.

        Raises:
            ProtocolError: a line over MAX_LINE. The codec is spent: close the link.
        """
        *whole, self._tail = (self._tail + data).split(b"\n")
        if len(self._tail) > MAX_LINE or (whole and max(map(len, whole)) > MAX_LINE):
            raise ProtocolError(f"The mixer sent a line of more than {MAX_LINE} bytes. Look at what serves this port.")
        if not whole:
            return []
        lines = b"\n".join(whole).decode(self._encoding, "replace").split("\n")
        return [_event(line.removesuffix("\r")) for line in lines if line not in ("", "\r")]

    def gap(self) -> list[Event]:
        """Silence completes nothing: a line ends with its LF."""
        return []

    def encode(self, request: Request) -> bytes:
        """Write a request.

        Raises:
            ValueError: a quote, backslash, control character or line end in a field: it would smuggle in a second
                command; an index below zero.
        """
        match request:
            case Get(path, x, y):
                line = f"get {_word(path)} {_index(x)} {_index(y)}"
            case Put(path, x, y, value):
                said = str(int(value)) if not isinstance(value, str) else f'"{clean(value)}"'
                line = f"set {_word(path)} {_index(x)} {_index(y)} {said}"
            case DeviceInfo(what):
                line = f"devinfo {_word(what)}"
            case CurrentMemory():
                line = "sscurrent"
            case RecallMemory(memory):
                line = " ".join(["ssrecall", *(_word(part) for part in memory.split(" "))])
        wire = line.encode(self._encoding) + b"\n"
        if len(wire) > MAX_LINE:
            raise ValueError(f"A line to a mixer can't be longer than {MAX_LINE} bytes.")
        return wire


def clean(text: str) -> str:
    """Return `text` if it can stand between quotes, where makes differ on escapes and none is safe.

    Raises:
        ValueError: it holds a double quote, a backslash or a control character.
    """
    for char in text:
        if char in '"\\' or ord(char) < 32 or ord(char) == 127:
            raise ValueError(f"A mixer can't take {char!r} in a name. Write it without.")
    return text


def _word(text: str) -> str:
    if not text or any(char.isspace() for char in clean(text)):
        raise ValueError(f"{text!r} is no single word.")
    return text


def _index(number: int) -> int:
    if number < 0:
        raise ValueError(f"{number} is no index: the wire counts from zero.")
    return number


def _event(line: str) -> Event:
    if found := COMMON.fullmatch(line):
        first, verb, path, x, y, number, text, shown = found.groups()
        value = int(number) if number is not None else text
        if first == "NOTIFY":
            return Notify(verb, path, int(x), int(y), value, shown or "")
        return Ok(verb, path, int(x), int(y), value, shown or "", first == MODIFIED)
    return _rare_event(line)


def _rare_event(line: str) -> Event:
    """Identity, memories, refusals, and parameters with more behind them than we know."""
    first, *words = TOKEN.findall(line) or [""]
    if first == "ERROR":
        reason = words[-1].strip('"') if words else ""
        return No(reason, words[0] if len(words) > 1 else "", words[1] if len(words) > 2 else "")
    if first in OK_WORDS:
        return Ok(*(_echo(words) or UNREADABLE), modified=first == MODIFIED)
    if first == "NOTIFY" and (echo := _echo(words)) is not None:
        return Notify(*echo)
    return Noise(line)


Echo = tuple[str, str, int, int, int | str | None, str]
UNREADABLE: Final[Echo] = ("", "", 0, 0, None, "")  # of an answer that can't be read: it is an answer all the same


def _echo(words: list[str]) -> Echo | None:
    """Verb, path, x, y, value and shown text; None if it has not the shape."""
    match words:
        case ["get" | "set" as verb, path, x, y, *more]:
            if not (re.fullmatch(INDEX, x) and re.fullmatch(INDEX, y)):
                return None
            value = _value(more[0]) if more else None
            return verb, path, int(x), int(y), value, more[1].strip('"') if len(more) > 1 else ""
        case ["get" | "set", *_]:
            return None
        case ["devinfo", what, *more]:
            return "devinfo", what, 0, 0, more[0].strip('"') if more else None, ""
        case [verb, *more]:
            plain = [word for word in more if not word.startswith('"')]
            quoted = [word.strip('"') for word in more if word.startswith('"')]
            return verb, "", 0, 0, " ".join(plain) or None, quoted[0] if quoted else ""
    return None


def _value(word: str) -> int | str:
    return int(word) if re.fullmatch(INDEX, word) else word.strip('"')
