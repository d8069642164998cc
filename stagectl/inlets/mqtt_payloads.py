"""What stands in each MQTT message? Topics and payloads of the fleet contract, major 1, without a broker in sight.

Topic tree below `stagectl/1/<site>/`: link, manifest, state/<device>/<part>, ev/<kind>, cmd/<principal>,
verdict/<principal>/<id>, snap; and `stagectl/1/all/resync`. Readers ignore fields they do not know.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.control.groups import Group
from stagectl.model.board import Board
from stagectl.model.errors import RefusedError
from stagectl.model.points import Flags, Quality, Reading
from stagectl.model.verbs import Ended

ROOT: Final = "stagectl/1"
COMMAND_BYTES: Final = 16 * 1024  # a command longer than this is refused
AHEAD_S: Final = 5.0  # `not_after` lies at most this far ahead
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

    `q` is the worst quality of its values and `doubt` names those that are not good; `seen` is the oldest reading's
    wall time, `by` says whose act the newest change was.
    """
    own = list(readings)
    data = {part_of(one.name)[1]: one.value for one in own}
    doubt = {part_of(one.name)[1]: str(one.quality) for one in own if one.quality is not Quality.GOOD}
    newest = max(own, key=lambda one: one.rev)
    oldest = min((one.read_at for one in own if one.read_at > 0), default=now)
    said: dict[str, Any] = {
        "v": 1,
        "epoch": epoch,
        "rev": newest.rev,
        "at": stamp(wall),
        "seen": stamp(datetime.fromtimestamp(wall.timestamp() - (now - oldest), tz=wall.tzinfo)),
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


def packed(payload: Mapping[str, Any]) -> str:
    """JSON as sent: compact, UTF-8 kept."""
    return json.dumps(payload, separators=(",", ":"), ensure_ascii=False, default=str)


@dataclass(frozen=True, slots=True)
class Command:
    """A command as it came in; unknown fields were ignored."""

    id: str
    verb: str
    on: tuple[str, ...] = ()
    args: Mapping[str, Any] = field(default_factory=dict)
    if_epoch: int | None = None
    if_rev: Mapping[str, int] = field(default_factory=dict)
    source: str = ""


def read_command(payload: bytes, now: datetime) -> Command:
    """Read a command.

    Raises:
        RefusedError: with a code: "syntax", "field", "version", "expired", "too-far-ahead".
    """
    if len(payload) > COMMAND_BYTES:
        raise RefusedError(f"A command has at most {COMMAND_BYTES} bytes.", code="syntax")
    try:
        given = json.loads(payload.decode("utf-8", "strict"), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise RefusedError(
            "The command is no JSON.", remedy='Send {"id": "...", "verb": "roll"}.', code="syntax"
        ) from error
    if not isinstance(given, dict):
        raise RefusedError(
            "The command is no JSON object.", remedy='Send {"id": "...", "verb": "roll"}.', code="syntax"
        )
    if given.get("v", 1) != 1:
        raise RefusedError("This stagectl speaks version 1.", code="version")
    command = Command(
        _text(given, "id"),
        _text(given, "verb"),
        _names(given.get("on", [])),
        _table(given, "args"),
        _number(given, "if_epoch"),
        _table(given, "if_rev"),
        str(given.get("source", "")),
    )
    _in_time(given.get("not_after"), now)
    return command


def _no_constant(word: str) -> None:
    raise ValueError(word)


def _text(given: Mapping[str, Any], name: str) -> str:
    value = given.get(name)
    if not isinstance(value, str) or not value:
        raise RefusedError(f"The command has no {name}.", remedy=f'Give "{name}" as text.', code="field")
    return value


def _names(value: object) -> tuple[str, ...]:
    if isinstance(value, str):
        return (value,)
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    raise RefusedError('"on" is a list of names.', code="field")


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


def _in_time(text: object, now: datetime) -> None:
    if text is None:
        return
    try:
        until = datetime.fromisoformat(str(text))
    except ValueError:
        raise RefusedError('"not_after" is a time as RFC 3339 writes it.', code="field") from None
    if until.tzinfo is None:
        raise RefusedError('"not_after" needs its time zone, such as Z.', code="field")
    left = (until - now).total_seconds()
    if left < 0:
        raise RefusedError("The command came too late.", remedy="Send it again.", code="expired")
    if left > AHEAD_S:
        raise RefusedError(
            f'"not_after" lies more than {AHEAD_S:g} s ahead.',
            remedy="Set your clock by the link topic.",
            code="too-far-ahead",
        )


def verdict(group: Group, epoch: int, rev: int, say: str) -> dict[str, Any]:
    """The end of a group: worst verdict, count, and what became of each box."""
    ended = group.worst or Ended.UNCONFIRMED
    whys = [verdict.why for verdict in group.verdicts if verdict.ended is ended and verdict.why]
    return {
        "v": 1,
        "id": group.id,
        "epoch": epoch,
        "phase": str(ended),
        "why": whys[0] if whys else "",
        "of": group.count,
        "take": group.take,
        "proof": {"rev": rev},
        "ms": round(((group.ended_at or group.born) - group.born) * 1000),
        "durable": group.durable,
        "say": say,
        "boxes": {
            command.ask.target: str(command.verdict.ended) for command in group.commands if command.verdict is not None
        },
    }
