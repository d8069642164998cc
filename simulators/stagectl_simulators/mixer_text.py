"""How does a text mixer answer, report and misbehave? The dialogue around its table of parameters.

Source: mixer-text family, common practice; the grammar is in mixer_text_wire.py, the table in mixer_text_profile.py,
the words of identity, memories, meters and login in the package's README, section "mixer-text".
"""

from __future__ import annotations

import random
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, ClassVar, Final

from stagectl_simulators.mixer_text_desk import Desk, Place
from stagectl_simulators.mixer_text_meters import LONGEST_MS, SHORTEST_MS, STREAM_LASTS_S, MeterStream, meter_words
from stagectl_simulators.mixer_text_panel import panel_change
from stagectl_simulators.mixer_text_profile import (
    BUS_NAME,
    STRIP_LEVEL,
    STRIP_METER,
    STRIP_NAME,
    MixerSize,
    RefusedRequestError,
    UnfitValueError,
    Value,
    integer,
)
from stagectl_simulators.mixer_text_wire import Line, LineReader, Word
from stagectl_simulators.model import FaultSet, History, Opened, Sends, number
from stagectl_simulators.options import Options

if TYPE_CHECKING:
    from stagectl_simulators.house_clock import HouseClock

WAITING_LIMIT: Final = 1000  # requests a slow mixer holds for one client before it hangs up; own choice
STORM_LINES: Final = 500
NOISE: Final = b"\x00\xfe\x17~~ level??\nOKAY maybe\n"


@dataclass(slots=True)
class MixerFaults(FaultSet):
    """What goes wrong with mixers."""

    wrong_echo: bool = False  # once: the next answer echoes the neighbour's index, as a mixed-up answer would
    storm: bool = False  # once: an automation fade, 500 notices in one burst
    error_line: bool = False  # once: an ERROR line nobody asked for
    deaf_set: bool = False  # the surface is locked: OK with the old value, nothing changes
    busy: bool = False  # a long job runs inside: ERROR ... Busy to every get, set and recall
    no_notify: bool = False  # changes made elsewhere are never told
    crlf: bool = False  # lines end in CR LF, as some firmware has it
    slow: float = number(1.0)  # seconds for each reply, one after the other
    wrong_model: bool = False  # its address went to another box of the family
    garbage: bool = False  # noise before everything it says


@dataclass(slots=True)
class _Client:
    peer: str
    heard_s: float
    is_in: bool  # past the login, or none is wanted
    reader: LineReader = field(default_factory=LineReader)
    waiting: deque[tuple[float, Line]] = field(default_factory=deque)
    meters: MeterStream | None = None


class TextMixer:
    """A digital mixer. Indexes are zero-based on the wire; `panel` and `truth` count from one."""

    kind: ClassVar[str] = "mixer-text"
    refusal: ClassVar[bytes] = b""

    def __init__(
        self,
        name: str,
        size: MixerSize,
        *,
        login: str = "",
        max_sessions: int = 8,
        idle_drop_s: float = 0.0,
        is_single_notice: bool = False,
        model: str = "MX16",
    ) -> None:
        self.desk = Desk(size)
        self._faults = MixerFaults()
        self._name = name
        self._login = login
        self._max_sessions = max_sessions
        self._idle_drop_s = idle_drop_s
        self._is_single_notice = is_single_notice
        self._model = model
        self._clients: dict[int, _Client] = {}
        self._to_drop: list[int] = []
        self._history = History()
        self._verbs: dict[str, Callable[[int, tuple[Word, ...], float], Sends]] = {
            "get": self._get,
            "set": self._set,
            "devinfo": self._devinfo,
            "sscurrent": self._sscurrent,
            "ssrecall": self._ssrecall,
            "meterstart": self._meterstart,
            "meterstop": self._meterstop,
            "keepalive": self._keepalive,
        }

    @property
    def faults(self) -> MixerFaults:
        return self._faults

    # Clients

    def open(self, client: int, peer: str, now_s: float) -> Opened:
        if len(self._clients) >= self._max_sessions:
            return Opened([], refuse=True)
        self._clients[client] = _Client(peer, now_s, is_in=not self._login)
        return Opened([])

    def feed(self, client: int, data: bytes, now_s: float) -> Sends:
        met = self._clients[client]
        met.heard_s = now_s
        sends: Sends = []
        for line in met.reader.feed(data):
            if not self._faults.slow and not met.waiting:
                sends += self._answer(client, line, now_s)
            elif len(met.waiting) < WAITING_LIMIT:
                last_s = met.waiting[-1][0] if met.waiting else now_s
                met.waiting.append((last_s + self._faults.slow, line))
            elif client not in self._to_drop:
                self._to_drop.append(client)
        return self._said(sends)

    def close(self, client: int, now_s: float) -> None:
        self._clients.pop(client, None)
        self._to_drop = [each for each in self._to_drop if each != client]

    def drop(self) -> list[int]:
        gone, self._to_drop = self._to_drop, []
        return gone

    # Requests

    def _answer(self, client: int, line: Line, now_s: float) -> Sends:
        if not line.first and line.words is not None:
            return []  # an empty line keeps the connection alive and is no request
        verb = line.first
        if self._login and verb == "login":
            return [(client, self._logged_in(client, line))]
        if verb not in self._verbs:
            return [(client, _line("ERROR unknown UnknownCommand"))]
        try:
            return self._verbs[verb](client, self._admitted(client, line), now_s)
        except RefusedRequestError as refused:
            return [(client, _line(f"ERROR {verb} {refused}"))]

    def _admitted(self, client: int, line: Line) -> tuple[Word, ...]:
        """Return what follows the verb, if the mixer looks at this line at all."""
        if not self._clients[client].is_in:
            raise RefusedRequestError("AccessDenied")
        if self._faults.busy and line.first in ("get", "set", "ssrecall"):
            raise RefusedRequestError("Busy")
        if line.words is None:
            raise UnfitValueError
        return line.words[1:]

    def _get(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        place = self._place(words[:3])
        if len(words) != 3:
            raise UnfitValueError
        return [(client, self._ok("get", place, self.desk.value(place, now_s)))]

    def _set(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        place = self._place(words[:3])
        if len(words) != 4:
            raise UnfitValueError
        if place.parameter.is_read_only:
            raise RefusedRequestError("AccessDenied")
        value, is_modified = place.parameter.kind.in_force(words[3])
        if self._faults.deaf_set:
            return [(client, self._ok("set", place, self.desk.value(place, now_s)))]
        sends = [(client, self._ok("set", place, value, is_modified=is_modified))]
        return sends + self._put(place, value, f"wire:{client}", now_s, but=client)

    def _place(self, words: tuple[Word, ...]) -> Place:
        if len(words) != 3:
            raise UnfitValueError
        parameter = self.desk.table.get(words[0].text)
        if parameter is None or words[0].is_quoted:
            raise RefusedRequestError("UnknownAddress")
        x, y = integer(words[1]), integer(words[2])
        if not (0 <= x < parameter.x_count and 0 <= y < parameter.y_count):
            raise UnfitValueError
        return Place(parameter, x, y)

    def _ok(self, verb: str, place: Place, value: Value, *, is_modified: bool = False) -> bytes:
        if self._faults.wrong_echo:
            self._faults.wrong_echo = False
            place = Place(place.parameter, (place.x + 1) % place.parameter.x_count, place.y)
        return _line(f"{'OKm' if is_modified else 'OK'} {verb} {place.echo(value)}")

    def _devinfo(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        asked = words[0].text if len(words) == 1 else ""
        known = {"productname": "Amplifier 4" if self._faults.wrong_model else self._model, "version": "1.0"}
        if asked not in known:
            raise UnfitValueError
        return [(client, _line(f'OK devinfo {asked} "{known[asked]}"'))]

    def _logged_in(self, client: int, line: Line) -> bytes:
        words = line.words or ()
        self._clients[client].is_in = " ".join(word.text for word in words[1:]) == self._login
        return _line("OK login" if self._clients[client].is_in else "ERROR login AccessDenied")

    def _keepalive(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        if words:
            raise UnfitValueError
        return [(client, _line("OK keepalive"))]

    # Memories

    def _sscurrent(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        if words:
            raise UnfitValueError
        return [(client, _line(f"OK sscurrent A {self.desk.memory}"))]

    def _ssrecall(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        if len(words) != 2 or words[0] != Word("A"):
            raise UnfitValueError
        memory = integer(words[1])
        if not 1 <= memory <= self.desk.size.memories:
            raise UnfitValueError
        sends = [(client, _line(f"OK ssrecall A {memory}"))]
        return sends + self._recall(memory, f"wire:{client}", now_s, but=client)

    def _recall(self, memory: int, cause: str, now_s: float, *, but: int | None = None) -> Sends:
        self._history.note(now_s, f"memory A {memory} is recalled", cause)
        sends = self._notice(_line(f"NOTIFY ssrecall A {memory}"), but=but)
        changed = self.desk.recall(memory)
        if self._is_single_notice:
            return sends
        for place in changed:
            sends += self._notice(_line(f"NOTIFY set {place.echo(self.desk.value(place, now_s))}"))
        return sends

    # Changes

    def _put(self, place: Place, value: Value, cause: str, now_s: float, *, but: int | None = None) -> Sends:
        """Change one parameter and tell the others; a value that is there already is no news."""
        if not self.desk.put(place, value):
            return []
        self._history.note(now_s, place.says(value), cause)
        return self._notice(_line(f"NOTIFY set {place.echo(value)}"), but=but)

    def _notice(self, data: bytes, *, but: int | None = None) -> Sends:
        if self._faults.no_notify:
            return []
        return [(client, data) for client, met in self._clients.items() if met.is_in and client != but]

    def _said(self, sends: Sends) -> Sends:
        if self._faults.garbage:
            sends = [(client, NOISE + data) for client, data in sends]
        if self._faults.crlf:
            sends = [(client, data.replace(b"\n", b"\r\n")) for client, data in sends]
        return sends

    # Meters

    def _meterstart(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        if not words or words[0] != Word(STRIP_METER):
            raise RefusedRequestError("UnknownAddress" if words else "InvalidArgument")
        asked_ms = integer(words[1]) if len(words) == 2 else 0
        if asked_ms < 1:
            raise UnfitValueError
        every_ms = min(max(asked_ms, SHORTEST_MS), LONGEST_MS)
        self._clients[client].meters = MeterStream(every_ms / 1000, now_s + every_ms / 1000, now_s + STREAM_LASTS_S)
        return [(client, _line(f"{'OK' if every_ms == asked_ms else 'OKm'} meterstart {STRIP_METER} {every_ms}"))]

    def _meterstop(self, client: int, words: tuple[Word, ...], now_s: float) -> Sends:
        if words != (Word(STRIP_METER),):
            raise RefusedRequestError("UnknownAddress" if words else "InvalidArgument")
        self._clients[client].meters = None
        return [(client, _line(f"OK meterstop {STRIP_METER}"))]

    def _meter_lines(self, now_s: float) -> Sends:
        due = [client for client, met in self._clients.items() if met.meters is not None and met.meters.is_due(now_s)]
        for met in self._clients.values():
            if met.meters is not None and now_s >= met.meters.ends_s:
                met.meters = None
        if not due or self._faults.no_notify:
            return []
        row = self.desk.table[STRIP_METER]
        levels = [int(self.desk.value(Place(row, strip, 0), now_s)) for strip in range(row.x_count)]
        data = _line(f"NOTIFY meter {STRIP_METER} {meter_words(levels)}")
        return [(client, data) for client in due]

    # Time

    def due_s(self) -> float | None:
        dues = [0.0] if self._faults.storm or self._faults.error_line else []
        for client, met in self._clients.items():
            if met.waiting:
                dues.append(met.waiting[0][0])
            if met.meters is not None:
                dues.append(min(met.meters.next_s, met.meters.ends_s))
            if self._idle_drop_s and client not in self._to_drop:
                dues.append(met.heard_s + self._idle_drop_s)
        return min(dues, default=None)

    def advance(self, now_s: float) -> Sends:
        sends: Sends = []
        for client, met in self._clients.items():
            while met.waiting and met.waiting[0][0] <= now_s:
                sends += self._answer(client, met.waiting.popleft()[1], now_s)
            is_idle = self._idle_drop_s and met.heard_s + self._idle_drop_s <= now_s
            if is_idle and client not in self._to_drop:
                self._to_drop.append(client)
        if self._faults.storm:
            self._faults.storm = False
            sends += self._storm(now_s)
        if self._faults.error_line:
            self._faults.error_line = False
            sends += [(client, _line("ERROR unknown InternalFault")) for client in self._clients]
        return self._said(sends + self._meter_lines(now_s))

    def _storm(self, now_s: float) -> Sends:
        """Let an automation fade move the last strip, -26.00 dB up to -1.05 dB, every step told."""
        place = self.desk.place(STRIP_LEVEL, self.desk.size.strips - 1)
        burst = b"".join(_line(f"NOTIFY set {place.echo(-2600 + 5 * step)}") for step in range(STORM_LINES))
        last = -2600 + 5 * (STORM_LINES - 1)
        self.desk.put(place, last)
        self._history.note(now_s, f"a fade: {place.says(last)}", "self")
        return self._notice(burst)

    # Front panel

    def panel(self, act: str, args: dict[str, object], now_s: float) -> Sends:
        change = panel_change(self.desk, act, args)
        if isinstance(change, int):
            return self._said(self._recall(change, "panel", now_s))
        place, value = change
        return self._said(self._put(place, value, "panel", now_s))

    # Record

    def reboot(self, now_s: float) -> None:
        """The mixer comes back as it was left; streams, logins and waiting requests went with their clients."""
        self._history.note(now_s, "powered on", "self")

    def truth(self, now_s: float) -> dict[str, object]:
        """The state in decibels, None for minus infinity; place n of a list is strip, bus or memory n + 1."""
        return {
            "model": self._model,
            "memory": self.desk.memory,
            "clients": {str(client): met.peer for client, met in self._clients.items()},
            **self.desk.truth(now_s),
            "history": list(self._history.read()),
        }


def _line(text: str) -> bytes:
    return f"{text}\n".encode()


def build(name: str, options: dict[str, object], rng: random.Random, house: HouseClock) -> TextMixer:  # noqa: ARG001 - a mixer draws nothing and keeps no time
    """Build a mixer from its options: sizes, names, sessions, login.

    Raises: ValueError: an option is unknown or wrong; the sentence names it.
    """
    read = Options(name, options)
    size = MixerSize(
        strips=read.whole("strips", 16, 1, 256),
        buses=read.whole("buses", 8, 1, 64),
        memories=read.whole("memories", 10, 1, 100),
        name_limit=read.whole("name_limit", 32, 1, 64),
    )
    mixer = TextMixer(
        name,
        size,
        login=read.text("login", ""),
        max_sessions=read.whole("max_sessions", 8, 1),
        idle_drop_s=read.number("idle_drop_s", 0.0),
        is_single_notice=read.text("recall_notices", "each", ("each", "single")) == "single",
        model=read.text("model", f"MX{size.strips}"),
    )
    for option, path in (("strip_names", STRIP_NAME), ("bus_names", BUS_NAME)):
        row, names = mixer.desk.table[path], read.items(option) or []
        if len(names) > row.x_count:
            raise ValueError(f"{name}: option {option!r} has {len(names)} names for {row.x_count} places.")
        for x, text in enumerate(names):
            if not isinstance(text, str) or '"' in text or any(ord(letter) < 32 for letter in text):
                raise ValueError(f"{name}: option {option!r} must be a list of names without quotes, not {text!r}.")
            mixer.desk.put(Place(row, x, 0), text[: size.name_limit])
    read.done()
    return mixer
