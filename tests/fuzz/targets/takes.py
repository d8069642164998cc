"""Can every take be told, whatever its recorders called their clips, formats and labels?"""

import json
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from stagectl.shoot.take import Lane, Take
from tests.fuzz.target import Outcome, Target

AT: Final = datetime(2027, 3, 12, 14, 2, tzinfo=UTC)
TEXTS: Final = ("start", "end", "clip", "format", "length")


def told(data: bytes) -> Outcome:
    """A list of lanes, each {"device", "start", "end", "clip", "format", "length"} in a box's own words."""
    try:
        given = json.loads(data)
    except (ValueError, RecursionError):
        return ("refused", "no JSON")
    if not isinstance(given, list):
        return ("refused", "no list")
    take = Take(1, "Trio", AT, 100.0)
    for number, plain in enumerate(given[:8]):
        lane = _lane(plain if isinstance(plain, dict) else {}, number)
        take.lanes.setdefault(lane.device, []).append(lane)
    shown = take.plain(200.0)
    json.dumps(shown)
    return ("read", *(name for name in ("spread", "common") if shown[name] is not None))


def _lane(plain: dict[str, Any], number: int) -> Lane:
    words = {name: str(plain.get(name, ""))[:4096] for name in TEXTS}
    exact = plain.get("exact", True) is True
    device = str(plain.get("device", number))
    wall = AT + timedelta(milliseconds=40 * number)
    return Lane(device, f"Rec {device}", wall, 100.0 + number / 25, 0.02, start_exact=exact, ended=AT, **words)


def _of(*lanes: tuple[str, str, str]) -> bytes:
    return json.dumps(
        [
            {"device": f"iso-{at}", "start": start, "format": form, "length": length, "clip": f"T_{at}", "end": start}
            for at, (start, form, length) in enumerate(lanes, start=1)
        ]
    ).encode()


EXAMPLES: Final = [
    _of(("10:00:00:00", "1080p25", "00:00:10:00"), ("10:00:00:02", "1080p25", "00:00:09:00")),
    _of(("10:00:00;02", "1080p2997", "00:01:00;02"), ("10:00:01;00", "1080p2997", "00:01:00:00")),
    _of(("23:59:59:20", "1080p50", "00:00:10:00"), ("00:00:00:10", "1080p50", "00:00:10:00")),
    _of(("10:00:00;02", "1080p25", "00:00:10:00"), ("10:00:00:02", "1080p25", "00:00:10:00")),
    _of(("--:--:--:--", "1080p25", "00:00:10:00"), ("10:00:00:02", "1080i5994", "")),
    _of(("00:01:00;00", "1080p2997", "00:00:10:00"), ("00:00:59:29", "2160p5994", "24:00:00:00")),
]
WORDS: Final = [
    *(
        b"10:00:00:00",
        b"10:00:00;00",
        b"23:59:59:24",
        b"00:00:00:00",
        b"--:--:--:--",
        b"1080p25",
        b"1080p2997",
        b"NTSC",
    ),
    *(b"720p5994", b"1080i50", b"00:00:10:00", b"00:00:10;00", b"99:99:99:99", b"23:59:59:59", b"iso-1", b"2160p60"),
]
TARGETS: Final = [Target("take", "a take, from what recorders say of clips", told, "json", WORDS, EXAMPLES)]
