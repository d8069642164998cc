"""Is a point spelled as JSON has it, with its time to the millisecond?

Source: own construction; times after RFC 3339.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from stagectl.inlets.http.point_text import PointText
from stagectl.model.capabilities.mixer import STRIP_LEVEL, STRIP_NAME
from stagectl.model.capabilities.recorder import INPUT_PRESENT, SLOT_FREE, TRANSPORT, Transport
from stagectl.model.points import NEVER, PointSpec, Quality, Reading
from stagectl.model.world import Handle


class Stopped:
    """A clock that stands: 500 s after start it is 14:02:00 and a quarter."""

    def now(self) -> float:
        return 500.0

    def wall(self) -> datetime:
        return datetime(2027, 3, 12, 14, 2, 0, 250_000, tzinfo=UTC)

    def later(self, at: float, do: Callable[[], None]) -> Handle:
        raise AssertionError


ROWS: list[tuple[PointSpec[Any], Any, str]] = [
    (TRANSPORT, Transport.RECORDING, '"recording"'),
    (STRIP_LEVEL.at(1), -12.5, "-12.5"),
    (STRIP_LEVEL.at(1), "off", '"off"'),
    (SLOT_FREE.at(1), 480_000_000_000, "480000000000"),
    (INPUT_PRESENT, True, "true"),
    (INPUT_PRESENT, False, "false"),
    (STRIP_NAME.at(1), 'Klavír "links"\n', '"Klav\\u00edr \\"links\\"\\n"'),
    (STRIP_NAME.at(1), None, "null"),
]


def written(reading: Reading[Any]) -> str:
    return PointText(Stopped()).write(reading)


@pytest.mark.parametrize(("spec", "value", "text"), ROWS)
def test_a_value_is_spelled_as_json_has_it(spec: PointSpec[Any], value: Any, text: str) -> None:
    told = written(Reading("box", spec, value, Quality.GOOD, changed_at=499.0))
    assert f'"value":{text},' in told
    assert json.loads(told)["value"] == value


def test_a_point_is_told_whole() -> None:
    reading = Reading("mixer", STRIP_LEVEL.at(1), -12.0, Quality.STALE, changed_at=498.876, rev=7, by="ines")
    assert written(reading) == (
        '{"device":"mixer","name":"strip.1.level","unit":"dB","value":-12.0,"quality":"stale",'
        '"at":"2027-03-12T14:01:59.126Z","by":"ines","rev":7}'
    )


@pytest.mark.parametrize(
    ("changed_at", "at"),
    [
        (500.0, "2027-03-12T14:02:00.250Z"),
        (499.75, "2027-03-12T14:02:00.000Z"),
        (499.749, "2027-03-12T14:01:59.999Z"),
        (500.75, "2027-03-12T14:02:01.000Z"),
        (500 - 14 * 3600 - 120.25, "2027-03-12T00:00:00.000Z"),
        (NEVER, None),
    ],
)
def test_a_moment_is_told_to_the_millisecond(changed_at: float, at: str | None) -> None:
    told = json.loads(written(Reading("box", TRANSPORT, Transport.STOPPED, changed_at=changed_at)))
    assert told["at"] == at


def test_a_text_of_the_second_is_kept_only_for_that_second() -> None:
    text = PointText(Stopped())
    seen = [json.loads(text.write(Reading("box", TRANSPORT, changed_at=at)))["at"] for at in (499.5, 498.5, 499.5)]
    assert seen == ["2027-03-12T14:01:59.750Z", "2027-03-12T14:01:58.750Z", "2027-03-12T14:01:59.750Z"]
