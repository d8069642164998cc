"""What a daemon answers, in the shapes of its HTTP door (own construction), and what people then are to see."""

from pathlib import Path
from typing import Any

GOLDEN = Path(__file__).parent.parent / "golden" / "cli"


def golden(name: str) -> str:
    """What people see, kept as a file to be read by people."""
    return (GOLDEN / f"{name}.txt").read_text(encoding="utf-8")


def box(number: int, ended: str | None = "verified", **more: Any) -> dict[str, Any]:
    words = {"verified": "rolls", "failed": "did not roll", "unconfirmed": "not known if it rolls"}
    return {
        "device": f"iso-{number}",
        "called": f"Rec {number}",
        "verb": "roll",
        "ended": ended,
        "words": words.get(str(ended), "asked"),
        "say": "",
        "why": "",
        "remedy": "",
        "after_s": 0.3 + number / 100,
        "missing": [],
        "code": "",
        "refused": False,
        "moot": False,
    } | more


def lane(number: int, offset: int | None, **more: Any) -> dict[str, Any]:
    return {
        "device": f"iso-{number}",
        "called": f"Rec {number}",
        "rolled": f"2026-11-25T15:04:12.{300 + number:03d}Z",
        "give_s": 0.04,
        "start": f"15:04:12:{10 + (offset or 0):02d}",
        "start_exact": offset is not None,
        "clip": f"T015_iso-{number}",
        "slot": 1,
        "format": "1080p25",
        "length": "",
        "ended": None,
        "end": "",
        "ended_by": "",
        "note": "",
        "offset": offset,
    } | more


def take(lanes: list[dict[str, Any]], **more: Any) -> dict[str, Any]:
    return {
        "say": "Take 15 rolls on 2 of 2. 00:00:01 so far, spread 1 frame.",
        "take": 15,
        "name": "Third movement",
        "slate_take": 2,
        "by": "ines",
        "opened": "2026-11-25T15:04:12.301Z",
        "closed": None,
        "running": True,
        "for_s": 1.0,
        "wanted": [one["device"] for one in lanes],
        "rolling": [one["device"] for one in lanes],
        "good": False,
        "notes": [],
        "marks": [],
        "struck": [],
        "changes": [],
        "unseen": [],
        "spread": {"frames": 1, "give": 0, "of": len(lanes), "exact": True},
        "common": None,
        "overlap": None,
        "lanes": lanes,
    } | more


def group(boxes: list[dict[str, Any]], ended: str | None, say: str, **more: Any) -> dict[str, Any]:
    well = sum(one["ended"] == "verified" for one in boxes)
    return {
        "id": "01KAXE3Q5V0000000000000000",
        "say": say,
        "wish": "roll",
        "who": "anybody",
        "inlet": "http",
        "verb": "roll",
        "take": 15,
        "ended": ended,
        "count": f"{well} of {len(boxes)}",
        "durable": True,
        "spread": None,
        "boxes": boxes,
    } | more
