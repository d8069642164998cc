"""Which request is which verb, what answers each, and which of them only read?"""

from types import MappingProxyType
from typing import Any, Final

from stagectl.model.capabilities.recorder import (
    CONTAINER,
    REMOTE,
    SLOT_ACTIVE,
    Cue,
    Cut,
    Format,
    Identify,
    Play,
    Roll,
    Shuttle,
    Spill,
    Stop,
)
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec, Value
from stagectl.model.verbs import Set, Verb
from stagectl_drivers.text_deck.codec import Request
from stagectl_drivers.text_deck.words import SETTINGS, TRUTH, clip_name, label

DEVICE: Final = Request("device info")
REMOTE_NOW: Final = Request("remote")
CONFIGURATION_NOW: Final = Request("configuration")
TRANSPORT_NOW: Final = Request("transport info")
SLOT_IN_USE: Final = Request("slot info")
CLIPS: Final = Request("clips count")
# Asked apart: firmware that does not know the second flag refuses its whole request.
SUBSCRIBE: Final = (
    Request("notify", tuple((one, "true") for one in ("transport", "slot", "remote", "configuration"))),
    Request("notify", (("dropped frames", "true"),)),
)

OK: Final = 200
TOKEN_READY: Final = 216
# command: code of the block that answers it; every other request, and one that sets, is answered by a plain ok
_ANSWERS: Final = MappingProxyType(
    {
        "slot info": 202,
        "device info": 204,
        "clips get": 205,
        "disk list": 206,
        "transport info": 208,
        "notify": 209,
        "remote": 210,
        "configuration": 211,
        "clips count": 214,
        "uptime": 215,
    }
)
KNOWN_ANSWERS: Final = frozenset({OK, TOKEN_READY, *_ANSWERS.values()})
# command: parameters it may have while it only reads
_READS: Final[MappingProxyType[str, tuple[str, ...]]] = MappingProxyType(
    {
        "ping": (),
        "device info": (),
        "uptime": (),
        "remote": (),
        "configuration": (),
        "transport info": (),
        "slot info": ("slot id",),
        "clips count": (),
        "clips get": ("clip id", "count", "version"),
        "disk list": ("slot id",),
    }
)


def slot_info(slot: int) -> Request:
    """Ask for a slot, counted from one."""
    return Request("slot info", (("slot id", str(slot)),))


def clips_get(first: int, clips: int) -> Request:
    """Ask for so many clips from the first on, counted from one."""
    return Request("clips get", (("clip id", str(first)), ("count", str(clips))))


def disk_list(slot: int) -> Request:
    """Ask for all clips of a slot, in use or not, counted from one. They are told without their first label."""
    return Request("disk list", (("slot id", str(slot)),))


def answer_to(request: Request) -> int:
    """The code of the yes to a request."""
    if request.command == "format":
        return TOKEN_READY if request.params[:1] and request.params[0][0] == "prepare" else OK
    if request.params and request.command in ("remote", "notify", "configuration"):
        return OK
    return _ANSWERS.get(request.command, OK)


def only_reads(request: Request) -> bool:
    """Does it change nothing in the deck? A subscription changes only what this connection hears."""
    if request.command == "notify":
        return all(value in TRUTH for _, value in request.params)
    allowed = _READS.get(request.command)
    return allowed is not None and all(name in allowed for name, _ in request.params)


def harmless(verb: Verb) -> bool:
    """May it be sent to a deck that records?

    A roll is: the command path sends it only once a look has said that nothing records. Remote is: without it a
    deck rolled at its front can't be cut from here.
    """
    return isinstance(verb, Roll | Cut | Spill) or (isinstance(verb, Set) and verb.point.name == REMOTE.name)


def request_of(verb: Verb, may_switch_remote: bool, file_system: str) -> Request:
    """Translate one verb.

    Raises:
        RefusedError: a text deck can't do it, or an argument is out of its range.
    """
    match verb:
        case Roll():
            name = clip_name(verb.name)
            return Request("record", (("name", name),) if name else ())
        case Cut() | Stop():
            return Request("stop")
        case Spill():
            return Request("record spill")
        case Play():
            speed = _percent(verb.speed)
            return Request("play", (("speed", speed),) if speed != "100" else ())
        case Shuttle():
            return Request("shuttle", (("speed", _percent(verb.speed)),))
        case Cue():
            return _goto(verb)
        case Identify():
            return Request("identify", (("enable", _flag(verb.on)),))
        case Format():
            step = ("confirm", verb.token) if verb.token else ("prepare", file_system)
            return Request("format", (step,))
        case Set():
            return _setting(verb.point, verb.value, may_switch_remote)
    raise RefusedError(f"a text deck can't {verb.spec.name}.", code="verb")


def _setting(point: PointSpec[Any], value: Value, may_switch_remote: bool) -> Request:
    if point.name == REMOTE.name:
        if not may_switch_remote:
            raise RefusedError(
                "the site does not let stagectl switch its remote control.",
                remedy="Switch it at its front, or write `may switch remote on: yes` in the site file.",
                code="site",
            )
        return Request("remote", (("enable", _flag(bool(value))),))
    if point.name == SLOT_ACTIVE.name:
        return Request("slot select", (("slot id", str(value)),))
    if parameter := SETTINGS.get(point.name):
        return Request("configuration", ((parameter, str(value)),))
    what = point.name.replace(".", " ")
    remedy = "Set record codec: its word names both." if point.name == CONTAINER.name else "Set it at its front."
    raise RefusedError(f"a text deck takes no {what} from outside.", remedy=remedy, code="point")


def _goto(verb: Cue) -> Request:
    if bool(verb.label) == bool(verb.clip):
        raise RefusedError("a cue takes a timecode or a clip, one of the two.", code="value")
    if verb.clip:
        if verb.clip < 1:
            raise RefusedError(f"there is no clip {verb.clip}: they count from 1.", code="range")
        return Request("goto", (("clip id", str(verb.clip)),))
    try:
        return Request("goto", (("timecode", label(verb.label)),))
    except ValueError as error:
        raise RefusedError(str(error), code="value") from error


def _percent(speed: float) -> str:
    """A ratio as the wire wants it. Raises RefusedError: out of range."""
    percent = round(speed * 100) if -50 <= speed <= 50 else 0
    if not percent:
        raise RefusedError(
            f"its speed goes from -50 to 50, but not {speed:g}.", remedy="Ask it to stop to stand still.", code="range"
        )
    return str(percent)


def _flag(on: bool) -> str:
    return "true" if on else "false"
