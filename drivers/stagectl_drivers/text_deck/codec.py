"""Text deck on the wire: bytes in, events out; requests in, bytes out. No I/O, no clock.

Source: the line protocol of network disk recorders, versions 1.6 to 1.12, from memory of public documentation. The
facts and their doubts stand in README.md beside this file.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from stagectl.model.errors import ProtocolError

MAX_LINE: Final = 4096  # bytes before a line end, CR counted; own choice, 20 times the longest line known
MAX_PARAMS: Final = 10_000  # lines in one block; own choice, a disk list is the only long one
MAX_BLOCK: Final = 1_048_576  # characters in one block; own choice, MAX_PARAMS lines of 100 characters
MAX_FORMS: Final = 16  # own choice: a deck has about eight blocks, and one out of its mind must not make us learn on

_CODES: Final = {str(code): code for code in range(100, 1000)}  # never changed
_CONTROLS: Final = bytes([*range(9), 11, 12, *range(14, 32), 127])  # all but tab and line ends


@dataclass(frozen=True, slots=True)
class Request:
    """One command. Without parameters it is one line, with parameters a block, so that values may be free text.

    Attributes:
        command: "transport info"; no colon.
        params: (name, value) in the order they are written.
    """

    command: str
    params: tuple[tuple[str, str], ...] = ()


@dataclass(slots=True)  # nobody changes one; frozen, its making would cost three times as much
class Message:
    """A reply (1xx no, 2xx yes) or a notice (5xx).

    Attributes:
        code: 100 to 999; codes nobody knows are kept.
        text: what follows it, without the colon that opens a block.
        names, values: of its parameters, in wire order; a line of the block without a colon has an empty name.
    """

    code: int
    text: str
    names: tuple[str, ...] = ()
    values: tuple[str, ...] = ()

    @property
    def params(self) -> tuple[tuple[str, str], ...]:
        """Each name with its value."""
        return tuple(zip(self.names, self.values, strict=True))


@dataclass(frozen=True, slots=True)
class Noise:
    """A line that fits no rule. Counted by the link, never fatal: firmware adds lines."""

    line: str


@dataclass(frozen=True, slots=True)
class _Form:
    """A block with these names in this order, however often it comes: one match reads it whole."""

    code: int
    text: str
    names: tuple[str, ...]
    body: re.Pattern[str]


@lru_cache(maxsize=64)  # decks of one make are alike
def _form(code: int, text: str, names: tuple[str, ...]) -> _Form:
    """What `_inside` would read alike: printable text without blanks at its ends, in lines that end in CR and LF."""
    lines = "".join(rf"{re.escape(name)}: ([!-~][ -~]*+)(?<! )\r\n" for name in names)
    return _Form(code, text, names, re.compile(lines + r"\r\n"))


class TextDeckCodec:
    """One conversation's framing."""

    def __init__(self) -> None:
        self._forms: dict[str, _Form] = {}  # by their first lines: what this deck says again and again
        self._learned = 0
        self._tail = b""  # a line without its end yet
        self._head: tuple[int, str] | None = None  # code and text of the block that is open
        self._params: list[tuple[str, str]] = []
        self._size = 0  # characters of the open block
        self._spent = ""

    def feed(self, data: bytes) -> list[Message | Noise]:
        """Return the events that `data` completes; any split of a stream gives the same events.

        A line that starts like a new message ends a block whose empty line is missing, so that one forgotten line
        can't swallow the replies after it.

        Raises:
            ProtocolError: MAX_LINE, MAX_PARAMS or MAX_BLOCK is passed. The codec is spent: close the link.
        """
        if self._spent:
            raise ProtocolError(self._spent)
        if not self._tail and self._head is None and len(data) <= MAX_LINE:
            usual = self._usual(data)
            if usual:
                return usual
        end = data.rfind(b"\n") + 1
        if not end:
            self._tail += data
            self._bound_tail()
            return []
        chunk = self._tail + data[:end]
        self._tail = data[end:]
        if len(chunk) > MAX_LINE and max(map(len, chunk.split(b"\n"))) > MAX_LINE:
            raise self._over(f"a line of more than {MAX_LINE} bytes")
        text = chunk.decode("utf-8", "replace").replace("\r\n", "\n")
        lines = text.split("\n")
        lines.pop()  # what follows the last line end: nothing
        odd = "\r" in text or len(chunk.translate(None, _CONTROLS)) != len(chunk)
        quick = not odd and len(chunk) < MAX_PARAMS  # too short to pass a limit of blocks
        events: list[Message | Noise] = []
        at = 0
        while at < len(lines):
            line = lines[at]
            at += 1
            if odd and _is_odd(line):
                events.append(Noise(line))
            elif self._head is not None:
                self._inside(line, events)
            elif self._outside(line, events) and quick:
                at = self._whole(lines, at, events)
        self._bound_tail()
        return events

    def _usual(self, data: bytes) -> list[Message | Noise]:
        """Whole messages of forms known by now, at a fifth of the cost; nothing if any of it needs a closer look."""
        try:
            text = data.decode("ascii")
        except UnicodeDecodeError:
            return []
        events: list[Message | Noise] = []
        at = 0
        while at < len(text):
            end = text.find("\r\n", at)
            line = text[at:end] if end >= 0 else ""
            form = self._forms.get(line)
            if form is not None:
                body = form.body.match(text, end + 2)
                if body is None:
                    return []
                events.append(Message(form.code, form.text, form.names, body.groups()))
                at = body.end()
                continue
            head, opens = _first(line)
            if head is None or opens or not line.isprintable():
                return []
            events.append(Message(*head))
            at = end + 2
        return events

    def gap(self) -> list[Message | Noise]:
        """Return nothing: silence means nothing in this protocol."""
        return []

    def encode(self, request: Request) -> bytes:
        """Write a request, in block form if it has parameters.

        Raises:
            ValueError: a control character in a field, which would smuggle in a second command; a command or a name
                that is empty or holds a colon; text that is no Unicode.
        """
        return _spelt(request)

    def _outside(self, line: str, events: list[Message | Noise]) -> bool:
        """Read a line while no block is open. Returns: it opens one."""
        head, opens = _first(line)
        if head is None:
            if line.strip():
                events.append(Noise(line))
        elif opens:
            self._head = head
        else:
            events.append(Message(*head))
        return opens

    def _inside(self, line: str, events: list[Message | Noise]) -> None:
        """Read a line of the block that is open."""
        name, colon, value = line.partition(":")
        if colon and not name[:1].isdigit():
            self._params.append((name, value.strip()))
        elif not line.strip():
            self._close(events)
            return
        elif line[3:4] == " " and line[:3] in _CODES:
            self._close(events)
            self._outside(line, events)
            return
        elif colon:
            self._params.append((name, value.strip()))
        else:
            self._params.append(("", line.strip()))
        self._size += len(line)
        if self._size > MAX_BLOCK or len(self._params) > MAX_PARAMS:
            raise self._over(f"a block of more than {MAX_PARAMS} lines or {MAX_BLOCK} characters")

    def _whole(self, lines: list[str], at: int, events: list[Message | Noise]) -> int:
        """Read the usual block that came in one piece: what `_inside` would do, at a third of its cost.

        Returns: the line to go on with; `at` if the block is not whole or holds a line that needs a closer look.
        """
        try:
            end = lines.index("", at)
            body = lines[at:end]
            if min(body) < ":":  # a line starts with a digit or a space: a list, or a message after a forgotten end
                return at
            names, values = zip(*[line.split(":", 1) for line in body], strict=True)
        except ValueError:  # no end yet, nothing in the block, or a line without a colon
            return at
        assert self._head is not None
        events.append(Message(*self._head, names, tuple([value.strip() for value in values])))
        if self._learned < MAX_FORMS:
            self._learned += 1
            self._forms[lines[at - 1]] = _form(*self._head, names)
        self._head = None
        return end + 1

    def _close(self, events: list[Message | Noise]) -> None:
        assert self._head is not None
        names, values = zip(*self._params, strict=True) if self._params else ((), ())
        events.append(Message(*self._head, names, values))
        self._head, self._params, self._size = None, [], 0

    def _bound_tail(self) -> None:
        if len(self._tail) > MAX_LINE:
            raise self._over(f"a line of more than {MAX_LINE} bytes")

    def _over(self, what: str) -> ProtocolError:
        """Spend the codec and let go of what it held."""
        self._spent = f"The deck sent {what}. Look whether another kind of box answers at its address."
        self._tail, self._head, self._params, self._size = b"", None, [], 0
        return ProtocolError(self._spent)


@lru_cache(maxsize=256)  # a deck says the same few words again and again
def _first(line: str) -> tuple[tuple[int, str] | None, bool]:
    """Read the first line of a message: its code and text, None if it is none; does it open a block?"""
    code = _CODES.get(line[:3])
    if code is None or line[3:4] not in ("", " "):
        return None, False
    text = line[4:].strip()
    return (code, text.removesuffix(":").rstrip() if text.endswith(":") else text), text.endswith(":")


@lru_cache(maxsize=1024)  # what is polled is asked again and again, of every deck
def _spelt(request: Request) -> bytes:
    """Spell a request. Raises ValueError, as `TextDeckCodec.encode` says."""
    for field in (request.command, *(name for name, _ in request.params)):
        if not field or ":" in field:
            raise ValueError(f"{field!r} is no command and no parameter name. Leave out the colon.")
    if not request.params:
        text = request.command
    else:
        text = "\n".join((f"{request.command}:", *(f"{name}: {value}" for name, value in request.params), ""))
    if text.count("\n") != (len(request.params) + 1 if request.params else 0) or _is_odd(text):
        raise ValueError(f"{request.command!r} holds a control character or a line end. Leave it out.")
    return (text + "\n").replace("\n", "\r\n").encode()


def _is_odd(line: str) -> bool:
    """Does the line hold a control character that text never holds? Tabs may pass."""
    return any((char < " " and char not in "\t\n") or char == "\x7f" for char in line)
