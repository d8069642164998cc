"""Text deck: which wire parameter is which recorder point, which verb is which request."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter
from types import MappingProxyType
from typing import Any, ClassVar, Final

from stagectl.driverkit.driver import Look, Reply
from stagectl.model.board import BoardWriter, Row
from stagectl.model.capabilities.base import MODEL, SERIAL, VERSION, Capability
from stagectl.model.capabilities.recorder import (
    CHANNELS,
    CLIP_AT,
    CLIP_COUNT,
    CLIP_LENGTH,
    CLIP_NAME,
    CLIP_START,
    CODEC,
    DROPPED,
    FORMAT_TOKEN,
    IDENTIFYING,
    INPUT_FORMAT,
    INPUT_PRESENT,
    INPUT_SOURCE,
    RECORDER,
    REMOTE,
    SLOT_ACTIVE,
    SLOT_FREE,
    SLOT_LEFT,
    SLOT_NAME,
    SLOT_STATE,
    SPEED,
    TIMECODE,
    TIMECODE_SOURCE,
    TRANSPORT,
    Format,
)
from stagectl.model.errors import ProtocolError, RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import Verb
from stagectl_drivers.text_deck.codec import Message, Noise, Request
from stagectl_drivers.text_deck.requests import (
    CLIPS,
    CONFIGURATION_NOW,
    DEVICE,
    KNOWN_ANSWERS,
    OK,
    REMOTE_NOW,
    SLOT_IN_USE,
    SUBSCRIBE,
    TOKEN_READY,
    TRANSPORT_NOW,
    answer_to,
    clips_get,
    disk_list,
    harmless,
    only_reads,
    request_of,
    slot_info,
)
from stagectl_drivers.text_deck.words import (
    CONFIGURATION,
    REMOTE_INFO,
    SETTINGS,
    SLOT_INFO,
    TRANSPORT_INFO,
    TRUTH,
    Reader,
    amount,
    clip_row,
    count,
    disk_row,
    label,
    present,
    refusal,
    word,
)

MAX_SLOTS: Final = 16  # own choice: decks have one to four; more is a deck out of its mind
CLIP_PAGE: Final = 100  # clips asked for at once; own choice, about 6 kB
MAX_SHAPES: Final = 16  # own choice: a deck sends one of a notice and one of an answer
MAX_CLIPS: Final = 50_000  # own choice: a list is not read beyond, so that a deck out of its mind ends too

# number of a notice: the text it has in the sheet; other numbers are recognised by that text
NOTICES: Final = MappingProxyType(
    {
        500: "connection info",
        502: "slot info",
        508: "transport info",
        510: "remote info",
        511: "configuration",
    }
)
# point: what refreshes it; slots are asked one by one
REFRESHES: Final = MappingProxyType(
    {
        **dict.fromkeys((MODEL.name, SERIAL.name, VERSION.name), DEVICE),
        **dict.fromkeys((point for point, _ in TRANSPORT_INFO.values()), TRANSPORT_NOW),
        INPUT_PRESENT.name: TRANSPORT_NOW,
        REMOTE.name: REMOTE_NOW,
        **dict.fromkeys(SETTINGS, CONFIGURATION_NOW),
        **dict.fromkeys((CLIP_COUNT.name, CLIP_NAME.name, CLIP_START.name, CLIP_LENGTH.name), CLIPS),
    }
)
NOTHING: Final[Reply[Request]] = Reply()  # an answer with nothing behind it
_SLOT_CLIPS: Final = re.compile(r"slot\.([0-9]{1,2})\.clips")  # the list of one slot, whether it is in use or not
_SLOT_POINT: Final = re.compile(r"slot\.([0-9]{1,2})\.[a-z]+")
_NUMBER: Final = re.compile(r"[0-9]{1,9}")

# In the order they are shown.
ALWAYS_THERE: Final[tuple[PointSpec[Any], ...]] = (
    *(MODEL, SERIAL, VERSION, REMOTE, TRANSPORT, SPEED, TIMECODE, INPUT_SOURCE, INPUT_FORMAT, INPUT_PRESENT),
    *(TIMECODE_SOURCE, CODEC, SLOT_ACTIVE, CLIP_NAME, CLIP_START, CLIP_LENGTH, CLIP_COUNT, CLIP_AT),
    *(DROPPED, FORMAT_TOKEN),
)

OPTIONS: Final = MappingProxyType(
    {
        "may switch remote on": "yes lets stagectl switch the deck's remote control; no (usual) leaves it to its front",
        "format as": "file system of an erased medium: exFAT (usual) or HFS+",
    }
)


@dataclass(frozen=True, slots=True)
class _Shape:
    """A transport info's parameters, told apart once: decks send the same ones in the same order many times a second.

    Attributes:
        names: of all its parameters.
        points: what is told, each with its reader.
        pick: of the values, those that tell them.
        status, slot: which parameter is that one; None: it is not among them.
    """

    names: tuple[str, ...]
    points: tuple[tuple[str, Reader], ...]
    pick: Callable[[tuple[str, ...]], Sequence[str]]
    status: int | None
    slot: int | None


@lru_cache(maxsize=64)  # decks of one make are alike
def _shape(names: tuple[str, ...], shows_label: bool) -> _Shape:
    """`shows_label`: the deck has a display timecode, which its other timecode yields to."""
    points: list[tuple[str, Reader]] = []
    places: list[int] = []
    for at, name in enumerate(names):
        found = TRANSPORT_INFO.get(name)
        if found is None or (shows_label and name == "timecode"):
            continue
        points.append(found)
        places.append(at)
        if name == "input video format":
            points.append((INPUT_PRESENT.name, present))
            places.append(at)
    last = {name: at for at, name in enumerate(names)}
    pick = itemgetter(*places) if len(places) > 1 else lambda values: [values[at] for at in places]
    return _Shape(names, tuple(points), pick, last.get("status"), last.get("slot id"))


@lru_cache(maxsize=64)  # a thousand decks are asked for the same few points again and again
def _reads_for(names: tuple[str, ...]) -> tuple[Request, ...]:
    """The requests that tell these points, each once."""
    requests: dict[Request, None] = {}
    for name in sorted(names):
        if name == "clips":
            requests[CLIPS] = requests[clips_get(1, CLIP_PAGE)] = None
        elif slot := _SLOT_CLIPS.fullmatch(name):
            requests[disk_list(int(slot[1]))] = None
        elif found := REFRESHES.get(name):
            requests[found] = None
        elif slot := _SLOT_POINT.fullmatch(name):
            requests[slot_info(int(slot[1]))] = None
    return tuple(requests)


class TextDeckDriver:
    """The meaning of one conversation.

    Args:
        options: of the site file, see OPTIONS.
    Raises:
        ValueError: an option has a value that is not one of its words.
    """

    capability: ClassVar[Capability] = RECORDER
    looks: ClassVar[tuple[Look, ...]] = (
        Look(("transport", "timecode", "speed"), 1.0),
        Look(("clip.name", "clip.start", "clip.length"), 5.0),  # two requests each
        Look(("slot.{slot}.left", "slot.{slot}.free"), 5.0),
        Look(("remote",), 5.0),  # old firmware sends no notice when it is switched back on at the front
    )
    window: ClassVar[int] = 1
    reply_s: ClassVar[float] = 5.0  # some decks answer slowly while a medium mounts
    beat_s: ClassVar[float] = 0.0  # the looks keep the line alive; the deck's watchdog is not set
    gap_s: ClassVar[float] = 0.0

    def __init__(self, options: Mapping[str, str] = MappingProxyType({})) -> None:
        self._may_switch_remote = _option(options, "may switch remote on", ("no", "yes")) == "yes"
        self._file_system = _option(options, "format as", ("exFAT", "HFS+"))
        self._declared = False
        self._rolls = False  # by the transport's last word
        self._slot = 0  # the slot in use; 0: not known
        self._slot_said = ""  # ...as the deck spelt it
        self._clips = 0  # clips on it, by the last count
        self._shows_label = False  # this deck has a display timecode, so its other timecode is left alone
        self._shapes: dict[
            tuple[str, ...], tuple[_Shape, Row]
        ] = {}  # of transport infos, by the names of their parameters
        self._blocks: Mapping[str, Callable[[Message, BoardWriter, Request | None], Reply[Request]]] = {
            "connection info": self._hear_device,
            "device info": self._hear_device,
            "slot info": self._hear_slot,
            "transport info": self._hear_transport,
            "remote info": self._hear_remote,
            "configuration": self._hear_configuration,
        }
        self._notices = {code: self._blocks[text] for code, text in NOTICES.items()}
        self._answers: Mapping[int, Callable[[Message, BoardWriter, Request | None], Reply[Request]]] = {
            202: self._hear_slot,
            204: self._hear_device,
            205: self._hear_clips,
            206: self._hear_disk,
            208: self._hear_transport,
            210: self._hear_remote,
            211: self._hear_configuration,
            214: self._hear_count,
            TOKEN_READY: self._hear_token,
        }

    # -- looking --------------------------------------------------------------------------------------------------

    def look(self, names: Collection[str] | None) -> Sequence[Request]:
        """Requests that only read.

        Subscribing comes before reading, so that nothing changes unseen in between. Slots follow from the deck's
        count of them, the last clip from the count of clips.
        """
        if names is None:
            return (DEVICE, *SUBSCRIBE, REMOTE_NOW, CONFIGURATION_NOW, TRANSPORT_NOW, CLIPS)
        return _reads_for(tuple(names))

    def reads(self, request: Request) -> bool:
        return only_reads(request)

    def beat(self, now_s: float) -> Sequence[Request]:
        return ()

    # -- asking ---------------------------------------------------------------------------------------------------

    def ask(self, verbs: Sequence[Verb]) -> Sequence[Request]:
        """One request for each verb.

        Raises:
            RefusedError: this deck can't do that, or it records and would be hurt by it.
        """
        if self._rolls and not all(map(harmless, verbs)):
            # some firmware ends the recording at a `play` (common practice)
            raise RefusedError("it records, and anything else could end that.", remedy="Cut it first.", code="needs")
        for verb in verbs:
            if isinstance(verb, Format) and not verb.token and verb.slot != self._slot:
                in_use = f"slot {self._slot} is in use" if self._slot else "which one is in use is not known"
                raise RefusedError(
                    f"it erases only the slot in use, and {in_use}.",
                    remedy=f"Select slot {verb.slot} first.",
                    code="slot",
                )
        return [request_of(verb, self._may_switch_remote, self._file_system) for verb in verbs]

    # -- hearing --------------------------------------------------------------------------------------------------

    def hear(self, event: Message | Noise, board: BoardWriter, awaiting: Request | None) -> Reply[Request] | None:
        """Put what the event says; a notice never answers a request.

        Raises:
            ProtocolError: an answer to something else than what was asked, or the deck serves another controller.
        """
        if not self._declared:
            self._declared = True
            board.declare(*ALWAYS_THERE)
            board.declare(IDENTIFYING, blind=True)
        if isinstance(event, Noise):
            return None
        if hear := self._notices.get(event.code):
            hear(event, board, None)
            return None
        if 500 <= event.code < 600:
            self._hear_notice(event, board)
            return None
        if not 100 <= event.code < 300:
            return None
        if event.code == 120:
            raise ProtocolError("It serves another controller and takes one only (120). Release it there.")
        if awaiting is None:
            raise ProtocolError(f"It answered ({event.code}) where nothing was asked.")
        return self._hear_no(event, board, awaiting) if event.code < 200 else self._hear_yes(event, board, awaiting)

    def _hear_notice(self, event: Message, board: BoardWriter) -> None:
        """One whose number is not of the sheet: known by its text."""
        text = event.text.lower()
        if hear := self._blocks.get(text):
            hear(event, board, None)
        elif "dropped frame" in text:
            self._hear_dropped(event, board)
        elif "timecode" in text:
            for name, value in event.params:
                if name == "display timecode" or (name == "timecode" and "display" in text):
                    self._shows_label = True
                    board.put("timecode", value, label)

    def _hear_no(self, event: Message, board: BoardWriter, awaiting: Request) -> Reply[Request]:
        code = event.code
        if awaiting.command == "clips get" and code in (107, 109, 112):
            return NOTHING  # nothing in the list from there on: that is the answer
        if code == 111:
            board.put("remote", "false", TRUTH.__getitem__)
        if code in (161, 162):
            board.unknown("format.token", event.text)
        then = (SLOT_IN_USE,) if awaiting == DEVICE else ()
        return Reply(no=refusal(code, event.text), then=then)

    def _hear_yes(self, event: Message, board: BoardWriter, awaiting: Request) -> Reply[Request]:
        wanted = answer_to(awaiting)
        if event.code != wanted and event.code in KNOWN_ANSWERS:
            raise ProtocolError(f'It answered "{event.text[:60]}" ({event.code}) to "{awaiting.command}".')
        if awaiting.command == "format" and event.code == OK:
            board.unknown("format.token", "used")
        if hear := self._answers.get(event.code):
            return hear(event, board, awaiting)
        return NOTHING

    def _hear_transport(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        names, values = event.names, event.values
        if not names:
            return NOTHING
        if not self._shows_label and "display timecode" in names:
            self._shows_label = True
            self._shapes.clear()
        known = self._shapes.get(names)
        if known is None:
            if len(self._shapes) >= MAX_SHAPES:
                self._shapes.clear()
            shape = _shape(names, self._shows_label)
            known = self._shapes[shape.names] = shape, board.row(*shape.points)
        shape, row = known
        board.put_row(row, shape.pick(values))
        if shape.status is not None:
            self._rolls = values[shape.status] == "record"
        if shape.slot is not None:
            slot = values[shape.slot]
            if slot != self._slot_said:
                self._slot_said, self._slot = slot, int(slot) if _NUMBER.fullmatch(slot) else 0
        return NOTHING

    def _hear_slot(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        params = dict(event.params)
        asked = dict(awaiting.params).get("slot id", "") if awaiting is not None else ""
        try:
            slot = count(params.get("slot id", asked))
        except ValueError:
            return NOTHING  # it does not say which slot
        if slot > MAX_SLOTS:
            return NOTHING
        self._declare_slot(slot, board)
        if "remaining size" in params and not board.has(SLOT_FREE.at(slot).name):
            board.declare(SLOT_FREE.at(slot))
        for name, (last, read) in SLOT_INFO.items():
            if name in params:
                board.put(f"slot.{slot}.{last}", params[name], read)
            elif params.get("status") == "empty" and board.has(f"slot.{slot}.{last}"):
                board.unknown(f"slot.{slot}.{last}", "empty")  # what was said of the medium that is gone
        return NOTHING

    def _hear_remote(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        _put(event, board, REMOTE_INFO)
        return NOTHING

    def _hear_configuration(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        if not board.has(CHANNELS.name) and any(name == SETTINGS[CHANNELS.name] for name, _ in event.params):
            board.declare(CHANNELS)
        _put(event, board, CONFIGURATION)
        return NOTHING

    def _hear_device(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        params = dict(event.params)
        if "model" in params:
            board.put("identity.model", params["model"], word)
        if awaiting is None:
            return NOTHING  # the greeting
        if "unique id" in params:
            board.put("identity.serial", params["unique id"], word)
        if "software version" in params:
            board.put("identity.version", params["software version"], word)
        elif "protocol version" in params:
            board.put("identity.version", f"protocol {params['protocol version']}")
        try:
            slots = min(count(params.get("slot count", "")), MAX_SLOTS)
        except ValueError:
            return Reply(then=(SLOT_IN_USE,))  # it does not say: at least the one in use
        for slot in range(1, slots + 1):
            self._declare_slot(slot, board)
        return Reply(then=tuple(slot_info(slot) for slot in range(1, slots + 1)))

    def _hear_count(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        said = dict(event.params).get("clip count", "")
        board.put("clip.count", said, amount)
        self._clips = int(said) if _NUMBER.fullmatch(said) else 0
        if self._clips:
            return Reply(then=(clips_get(self._clips, 1),))
        for name in ("clip.name", "clip.start", "clip.length"):
            board.unknown(name, "no clip")
        return NOTHING

    def _hear_clips(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        rows: list[dict[str, Any]] = []
        for number, line in event.params:
            try:
                rows.append(clip_row(number, line))
            except ValueError:
                continue  # its own count, or a line that firmware added
        if not rows or awaiting is None:
            return NOTHING
        last = rows[-1]
        if last["index"] == self._clips:
            board.put("clip.name", last["name"])
            board.put("clip.start", last["start"])
            board.put("clip.length", last["duration"])
        if awaiting == clips_get(self._clips, 1):
            return NOTHING  # the last one was asked for its name alone
        if self._slot:
            rows = [{**row, "slot": self._slot} for row in rows]
        # the page must lead on: a deck that repeats itself is not asked for ever
        more = rows[0]["index"] <= last["index"] < min(self._clips, MAX_CLIPS)
        leads_on = dict(awaiting.params).get("clip id") == str(rows[0]["index"])
        then = (clips_get(last["index"] + 1, CLIP_PAGE),) if more and leads_on else ()
        return Reply(rows=tuple(rows), then=then)

    def _hear_disk(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        """All clips of one slot, as many as MAX_PARAMS of the codec at once."""
        slot = dict(awaiting.params).get("slot id", "") if awaiting is not None else ""
        rows: list[dict[str, Any]] = []
        for number, line in event.params:
            try:
                rows.append({**disk_row(number, line), "slot": int(slot)})
            except ValueError:
                continue  # which slot it is, or a line that firmware added
        return Reply(rows=tuple(rows))

    def _hear_token(self, event: Message, board: BoardWriter, awaiting: Request | None) -> Reply[Request]:
        token = next((value or name for name, value in event.params), "")
        board.put("format.token", token, word)
        return NOTHING

    def _hear_dropped(self, event: Message, board: BoardWriter) -> None:
        """Take the number the deck names; how firmware names it differs (?)."""
        said = next((value for name, value in event.params if "dropped" in name or name == "count"), event.text)
        number = _NUMBER.search(said)
        if number is not None:
            board.put("dropped", number[0], amount)
        else:
            board.unknown("dropped", said)

    @staticmethod
    def _declare_slot(slot: int, board: BoardWriter) -> None:
        if not board.has(SLOT_STATE.at(slot).name):
            board.declare(SLOT_STATE.at(slot), SLOT_NAME.at(slot), SLOT_LEFT.at(slot))


def _put(event: Message, board: BoardWriter, readers: Mapping[str, tuple[str, Reader]]) -> None:
    """Put what the table knows; the rest is firmware's."""
    for name, value in event.params:
        if found := readers.get(name):
            board.put(found[0], value, found[1])


def _option(options: Mapping[str, str], name: str, words: tuple[str, ...]) -> str:
    """The option's word, the first of `words` if the site is silent. Raises ValueError."""
    said = options.get(name, words[0])
    if said not in words:
        raise ValueError(f'"{name}" can\'t be "{said}". Write {" or ".join(words)}.')
    return said
