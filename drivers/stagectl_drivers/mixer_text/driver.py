"""Text mixer: which parameter is which mixer point, and which verb is which line."""

from collections import deque
from collections.abc import Collection, Sequence
from itertools import islice
from typing import Any, ClassVar, Final

from stagectl.driverkit.driver import Look, Reply
from stagectl.model.board import BoardWriter
from stagectl.model.capabilities.base import MODEL, VERSION, Capability
from stagectl.model.capabilities.mixer import (
    BUS_LEVEL,
    BUS_MUTED,
    BUSES,
    MEMORY,
    MIXER,
    STRIP_LEVEL,
    STRIP_METER,
    STRIP_MUTED,
    STRIPS,
    Recall,
)
from stagectl.model.errors import ProtocolError, RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Set, Verb
from stagectl_drivers.mixer_text.codec import (
    CurrentMemory,
    DeviceInfo,
    Event,
    Get,
    No,
    Notify,
    Ok,
    Put,
    RecallMemory,
    Request,
)
from stagectl_drivers.mixer_text.profile import Profile

PAGE: Final = 128  # requests of a full read handed over at once; own choice, so that commands and polls find room

# "get" and "set" are known to every mixer of the family, so an unknown verb can't have been one of these
PARAMETER_VERBS: Final = ("get", "set")


class MixerTextDriver:
    """One conversation with one mixer."""

    capability: ClassVar[Capability] = MIXER
    looks: ClassVar[tuple[Look, ...]] = (
        Look((MEMORY.name,), 1.5),  # also the keep-alive: a silent client is dropped, a silent link not believed
        Look((STRIP_METER.name,), 2.0),
        # kept by notices otherwise, but a recall may tell nobody what it changed, and a mixer may tell nothing at all:
        # these are what people hear, so they are asked for as often as a router's crosspoints are (own choice)
        Look((STRIP_LEVEL.name, STRIP_MUTED.name, BUS_LEVEL.name, BUS_MUTED.name), 5.0),
    )
    window: ClassVar[int] = 8
    reply_s: ClassVar[float] = 2.0  # own choice: twice the second that is usual, since closing costs a full read
    beat_s: ClassVar[float] = 0
    gap_s: ClassVar[float] = 0

    def __init__(self, profile: Profile, strips: int, buses: int) -> None:
        self._profile = profile
        self._strips = strips
        self._buses = buses
        addresses = profile.addresses(strips, buses)
        self._by_name = {address.point.name: address for address in addresses}
        self._by_wire = {(address.parameter.path, address.x, address.y): address for address in addresses}
        self._absent: set[str] = set()  # paths the mixer said it doesn't have: asked once, not every look
        self._to_read: deque[Request] = deque()  # what a full read has not handed over yet
        self._page_end: Request | None = None  # its answer brings the next page
        self._owed = False  # a memory was recalled: everything must be read with the next answer
        self._declared = False

    def look(self, names: Collection[str] | None) -> Sequence[Request]:
        """Gets of these points; a full read comes by pages, each with the answer to the last one's end."""
        if names is None:
            model, version = self._profile.identity
            self._to_read = deque([DeviceInfo(model), DeviceInfo(version), CurrentMemory(), *self._gets(self._by_name)])
            return self._page()
        return self._gets(names)

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Request]:
        """One line each, in order.

        Raises:
            RefusedError: a strip, bus or memory this mixer doesn't have, a name it can't take, or another kind's verb.
        """
        return [self._request(verb) for verb in verbs]

    def hear(self, event: Event, board: BoardWriter, awaiting: Request | None) -> Reply[Request] | None:
        """Put what the mixer states; its echo must be of the request that waits.

        Raises:
            ProtocolError: an answer to something else: the replies are out of step, nothing after it can be believed.
        """
        if not self._declared:
            self._declare(board)
        match event:
            case Ok():
                if awaiting is None or (event.verb, event.path, event.x, event.y) != _echo_of(awaiting):
                    raise ProtocolError(f"the mixer answered {_say(event)} when {_asked(awaiting)} was open.")
                self._state(event, board, awaiting)
                return self._reply(awaiting)
            case No():
                return self._refused(event, awaiting)
            case Notify():
                self._state(event, board, None)
        return None

    def beat(self, now_s: float) -> Sequence[Request]:
        """Nothing: the look at the memory keeps the link alive."""
        return []

    def reads(self, request: Request) -> bool:
        """Asking changes nothing."""
        return isinstance(request, Get | DeviceInfo | CurrentMemory)

    def _declare(self, board: BoardWriter) -> None:
        self._declared = True
        board.declare(STRIPS, BUSES, MEMORY, MODEL, VERSION)
        board.declare(*(address.point for address in self._by_name.values()))
        board.put(STRIPS.name, self._strips)  # no mixer of the family tells: the profile and the site do
        board.put(BUSES.name, self._buses)

    def _gets(self, names: Collection[str]) -> list[Request]:
        asked: dict[Request, None] = {}
        for name in names:
            if (address := self._by_name.get(name)) is not None:
                if address.parameter.path not in self._absent:
                    asked[Get(address.parameter.path, address.x, address.y)] = None
            elif name == MEMORY.name:
                asked[CurrentMemory()] = None
            elif name in (MODEL.name, VERSION.name):
                asked[DeviceInfo(self._profile.identity[name == VERSION.name])] = None
        return list(asked)

    def _page(self) -> list[Request]:
        page = list(islice(self._to_read, PAGE))
        for _ in page:
            self._to_read.popleft()
        self._page_end = page[-1] if page else None
        return page

    def _request(self, verb: Verb) -> Request:
        match verb:
            case Set(point, value):
                return self._put(point, value)
            case Recall(memory):
                return self._recall(memory)
        raise RefusedError(f"A mixer can't {verb.spec.name}.", code="verb")

    def _recall(self, memory: str) -> RecallMemory:
        banks, most = self._profile.banks, self._profile.memories
        bank, _, number = memory.partition(" ")
        plain = number.isascii() and number.isdigit() and len(number) <= 4 and number == str(int(number))
        if bank not in banks or not plain or int(number) > most:
            raise RefusedError(
                f'The mixer has no memory "{memory}": a memory is one of {", ".join(banks)} and a number up to {most}, '
                f'such as "{banks[0]} 3".',
                code="value",
            )
        return RecallMemory(memory)

    def _put(self, point: PointSpec[Any], value: Any) -> Put:
        words = point.name.replace(".", " ")
        address = self._by_name.get(point.name)
        if address is None:
            raise RefusedError(
                f"The mixer has no {words} to set: it has {self._strips} strips and {self._buses} buses.", code="range"
            )
        write = address.parameter.write
        if write is None:
            raise RefusedError(f"{words} can only be read.", code="read-only")
        value = point.check(value)
        if point.type is str and len(value) > self._profile.longest_name:
            raise RefusedError(f"{words} holds at most {self._profile.longest_name} characters.", code="range")
        try:
            return Put(address.parameter.path, address.x, address.y, write(value))
        except ValueError as error:
            raise RefusedError(str(error), code="value") from error

    def _state(self, event: Ok | Notify, board: BoardWriter, awaiting: Request | None) -> None:
        """Put a value that is stated. An echo without a value is a bare "ok": it sets nothing."""
        address = self._by_wire.get((event.path, event.x, event.y)) if event.verb in PARAMETER_VERBS else None
        if address is not None:
            if event.value is not None:
                board.put(address.point.name, event.value, address.parameter.read)
            elif isinstance(awaiting, Get):
                board.unknown(address.point.name, "")
        elif event.verb == "devinfo":
            name = VERSION.name if event.path == self._profile.identity[1] else MODEL.name
            board.put(name, event.value or "")
        elif event.verb in ("ssrecall", "sscurrent"):
            if event.value is not None:
                board.put(MEMORY.name, event.value, str)
            self._owed |= event.verb == "ssrecall"

    def _reply(self, answered: Request, no: str = "") -> Reply[Request]:
        if answered == self._page_end:
            self._page_end = None
            if self._to_read:
                return Reply(no, then=self._page())
        if self._owed and self._page_end is None:
            self._owed = False
            self._to_read = deque(self._gets(self._by_name))
            return Reply(no, then=self._page())
        return Reply(no)

    def _refused(self, event: No, awaiting: Request | None) -> Reply[Request] | None:
        """Pair a refusal with the request that waits, if it can be of it."""
        if awaiting is None:
            return None  # unprompted, and nothing is open that it could be taken for
        verb, path, *_ = _echo_of(awaiting)
        is_parameter = verb in PARAMETER_VERBS
        said_verb = event.verb in ("", verb) or (event.verb == "unknown" and not is_parameter)
        if not said_verb or (is_parameter and event.path not in ("", path)):
            raise ProtocolError(f'the mixer refused "{event.verb} {event.path}" when {_asked(awaiting)} was open.')
        if event.reason == "UnknownAddress" and isinstance(awaiting, Get):
            self._absent.add(awaiting.path)
        known = self._profile.refusals.get(event.reason)
        if known is None:
            return self._reply(awaiting, f'the mixer refused: "{event.reason}". Look at its panel.')
        return self._reply(awaiting, f"{known.why} ({event.reason}). {known.remedy}")


def _echo_of(request: Request) -> tuple[str, str, int, int]:
    """Verb, path, x and y that the answer must repeat."""
    match request:
        case Get(path, x, y):
            return "get", path, x, y
        case Put(path, x, y, _):
            return "set", path, x, y
        case DeviceInfo(what):
            return "devinfo", what, 0, 0
        case CurrentMemory():
            return "sscurrent", "", 0, 0
        case RecallMemory():
            return "ssrecall", "", 0, 0


def _asked(request: Request | None) -> str:
    if request is None:
        return "nothing"
    return '"{} {} {} {}"'.format(*_echo_of(request))


def _say(event: Ok) -> str:
    return f'"{event.verb} {event.path} {event.x} {event.y}"'
