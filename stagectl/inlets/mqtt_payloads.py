"""What stands in each MQTT message? Topics and payloads of the fleet contract, major 1, without a broker in sight.

Topic tree below `stagectl/1/<site>/`: link, manifest, state/<device>/<part>, ev/<kind>, cmd/<principal>,
verdict/<principal>/<id>, snap; and `stagectl/1/all/resync`. Readers ignore fields they do not know.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.control.groups import Group
from stagectl.inlets.strict_json import StrictError, read, written
from stagectl.model.board import Board
from stagectl.model.errors import RefusedError
from stagectl.model.points import NEVER, Flags, Quality, Reading
from stagectl.model.verbs import Ended

ROOT: Final = "stagectl/1"
COMMAND_BYTES: Final = 16 * 1024  # a command longer than this is refused
MESSAGE_BYTES: Final = 128 * 1024  # what we send is shorter: a broker ends the link at its own limit, often 256 KiB
AHEAD_S: Final = 5.0  # `not_after` lies at most this far ahead
NO_ID: Final = "unknown"  # where the verdict of a command goes whose id can't be read
_ID: Final = re.compile(r"[A-Za-z0-9._-]{1,64}")  # also a principal: both stand in topics
WORST: Final = (Quality.UNKNOWN, Quality.STALE, Quality.ASKED, Quality.GOOD)


def part_of(name: str) -> tuple[str, str]:
    """The part a point belongs to and its key there: "output.3.source" -> ("output.3", "source")."""
    words = name.split(".")
    if len(words) > 2 and words[1].isdigit():
        return ".".join(words[:2]), ".".join(words[2:])
    return words[0], ".".join(words[1:]) or words[0]


def shown(reading: Reading[Any]) -> bool:
    """Is the point published? What changes with every frame is not, unless asked for elsewhere."""
    return reading.declared and Flags.FAST not in reading.spec.flags


def state(readings: Iterable[Reading[Any]], epoch: int, wall: datetime, now: float) -> dict[str, Any]:
    """The payload of one part of one device.

    `q` is the worst quality of its values and `doubt` names those that are not good; `seen` is the wall time of its
    oldest reading, null if nothing was ever read; `by` says whose act the newest change was.
    """
    own = list(readings)
    data = {part_of(one.name)[1]: one.value for one in own}
    doubt = {part_of(one.name)[1]: str(one.quality) for one in own if one.quality is not Quality.GOOD}
    newest = max(own, key=lambda one: one.rev)
    oldest = min((one.read_at for one in own if one.read_at != NEVER), default=None)
    said: dict[str, Any] = {
        "v": 1,
        "epoch": epoch,
        "rev": newest.rev,
        "at": stamp(wall),
        "seen": stamp(wall - timedelta(seconds=now - oldest)) if oldest is not None else None,
        "q": str(next(quality for quality in WORST if quality in {one.quality for one in own})),
        "data": data,
    }
    if doubt:
        said["doubt"] = doubt
    if newest.by:
        said["by"] = newest.by
    return said


def parts(board: Board, devices: Iterable[str]) -> dict[tuple[str, str], list[Reading[Any]]]:
    """All published readings, by (device, part)."""
    found: dict[tuple[str, str], list[Reading[Any]]] = {}
    for device in devices:
        for reading in board.points(device).values():
            if shown(reading):
                found.setdefault((device, part_of(reading.name)[0]), []).append(reading)
    return found


def pages(entries: Mapping[str, Any], limit: int = MESSAGE_BYTES // 2) -> Iterator[dict[str, Any]]:
    """Entries in parts of at most `limit` bytes each (an entry longer than that stands alone); at least one part."""
    page: dict[str, Any] = {}
    size = 0
    for name, entry in entries.items():
        more = len(packed({name: entry}))
        if page and size + more > limit:
            yield page
            page, size = {}, 0
        page[name] = entry
        size += more
    yield page


def packed(payload: Mapping[str, Any]) -> bytes:
    """JSON as sent: compact, UTF-8."""
    return written(payload)


@dataclass(frozen=True, slots=True)
class Command:
    """A command as it came in; unknown fields were ignored, so nobody gives himself a role.

    Attributes:
        not_after: when it is too late for it; None: never.
        confirm: the word of an earlier refusal, to have it done all the same.
    """

    id: str
    verb: str
    on: tuple[str, ...] = ()
    args: Mapping[str, Any] = field(default_factory=dict)
    if_epoch: int | None = None
    if_rev: Mapping[str, int] = field(default_factory=dict)
    not_after: datetime | None = None
    source: str = ""
    confirm: str = ""


def plain(word: str) -> bool:
    """Can the word stand in a topic of ours: 1 to 64 characters of A-Z a-z 0-9 . _ - ?"""
    return _ID.fullmatch(word) is not None


def opened(payload: bytes) -> Mapping[str, Any]:
    """The JSON object of a command. Raises RefusedError: code "syntax"."""
    remedy = 'Send {"id": "...", "verb": "roll"}.'
    if len(payload) > COMMAND_BYTES:
        raise RefusedError(f"A command has at most {COMMAND_BYTES} bytes.", code="syntax")
    try:
        given = read(payload)
    except StrictError as error:
        raise RefusedError(str(error).replace("The body", "The command"), remedy=remedy, code="syntax") from error
    if not isinstance(given, dict):
        raise RefusedError("The command is no JSON object.", remedy=remedy, code="syntax")
    return given


def id_of(given: Mapping[str, Any]) -> str:
    """The id that its sender gave a command. Raises RefusedError: code "field"."""
    identifier = _text(given, "id")
    if not plain(identifier):
        raise RefusedError(
            "An id has 1 to 64 characters of A-Z a-z 0-9 . _ -", remedy="Send a shorter, plainer id.", code="field"
        )
    return identifier


def read_command(given: Mapping[str, Any]) -> Command:
    """Read an opened command. What it was decided on (time, epoch, revisions) is not judged here.

    Raises:
        RefusedError: with a code: "field", "version".
    """
    if given.get("v", 1) != 1:
        raise RefusedError("This stagectl speaks version 1.", code="version")
    return Command(
        id_of(given),
        _text(given, "verb"),
        _names(given.get("on", [])),
        _table(given, "args"),
        _number(given, "if_epoch"),
        _table(given, "if_rev"),
        _time(given.get("not_after")),
        str(given.get("source", ""))[:200],
        str(given.get("confirm", ""))[:16],
    )


def _text(given: Mapping[str, Any], name: str) -> str:
    value = given.get(name)
    if not isinstance(value, str) or not value:
        raise RefusedError(f"The command has no {name}.", remedy=f'Give "{name}" as text.', code="field")
    return value


def _names(value: object) -> tuple[str, ...]:
    names = [value] if isinstance(value, str) else value
    if not isinstance(names, list) or not all(isinstance(one, str) and one.strip() for one in names):
        # an empty name must not come to mean everybody
        raise RefusedError('"on" is a list of names.', remedy="Leave it out to mean all recorders.", code="field")
    return tuple(names)


def _table(given: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    value = given.get(name, {})
    if not isinstance(value, dict):
        raise RefusedError(f'"{name}" is a JSON object.', code="field")
    return value


def _number(given: Mapping[str, Any], name: str) -> int | None:
    value = given.get(name)
    if value is None or (isinstance(value, int) and not isinstance(value, bool)):
        return value
    raise RefusedError(f'"{name}" is a whole number.', code="field")


def _time(text: object) -> datetime | None:
    if text is None:
        return None
    try:
        until = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        until = None
    if until is None:
        raise RefusedError('"not_after" is a time as RFC 3339 writes it.', code="field")
    if until.tzinfo is None:
        raise RefusedError('"not_after" needs its time zone, such as Z.', code="field")
    return until


def in_time(command: Command, now: datetime) -> None:
    """Let a command pass that is not too late. Raises RefusedError: code "expired" or "too-far-ahead"."""
    if command.not_after is None:
        return
    left = (command.not_after - now).total_seconds()
    if left < 0:
        raise RefusedError("The command came too late.", remedy="Send it again with a new id.", code="expired")
    if left > AHEAD_S:
        raise RefusedError(
            f'"not_after" lies more than {AHEAD_S:g} s ahead.',
            remedy="Set your clock by the link topic.",
            code="too-far-ahead",
        )


def verdict(group: Group, epoch: int, rev: int, say: str) -> dict[str, Any]:
    """The end of a group: worst verdict, count, and what became of each box; `why` is the worst one's code."""
    ended = group.worst or Ended.UNCONFIRMED
    codes = [one.code for one in group.verdicts if one.ended is ended and one.code]
    return {
        "v": 1,
        "id": group.id,
        "epoch": epoch,
        "phase": str(ended),
        "why": codes[0] if codes else "",
        "of": group.count,
        "take": group.take,
        "proof": {"rev": rev},
        "ms": round(((group.ended_at or group.born) - group.born) * 1000),
        "durable": group.durable,
        "say": say,
        "boxes": {target: ended for target, (ended, *_) in group.told.items()},
    }
