"""How do the clips on the recorders read in a terminal? What is missing or nobody's; the rest is counted."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face
from stagectl.cli.tables import columns

MOST: Final = 100  # lines of one kind; --json has all


def clips(face: Face) -> int:
    """Hold what recorders list against the takes. Exit 6: a clip is missing; 3: that can't be told of all."""
    answer = face.client.get("clips")
    text = columns([_recorder(one, answer) for one in answer["recorders"]]) or ["This site has no recorder."]
    for title, rows in (
        ("Missing:", [_absent(one) for one in answer["missing"]]),
        ("Not known if it is there:", [_absent(one) for one in answer["unknown"]]),
        ("Of no take in the log:", [_clip(one) for one in answer["orphans"]]),
        ("Told by less than name and label:", [_told(one) for one in answer["clips"] if one["by"] != "name and label"]),
    ):
        text += _part(title, rows)
    if not answer["missing"] and not answer["unknown"]:
        text.append("Every clip of every take in the log is there.")
    face.answer(answer, text)
    return Exit.NO if answer["missing"] else Exit.UNKNOWN if answer["unknown"] else Exit.DONE


def _part(title: str, rows: Sequence[tuple[str, ...]]) -> list[str]:
    if not rows:
        return []
    more = [f"  and {len(rows) - MOST} more, see --json"] if len(rows) > MOST else []
    return ["", title, *columns(rows[:MOST]), *more]


def _recorder(one: Mapping[str, Any], answer: Mapping[str, Any]) -> tuple[str, ...]:
    taken = sum(clip["device"] == one["device"] for clip in answer["clips"])
    counts = f"{one['clips']} clip{'' if one['clips'] == 1 else 's'}, {taken} of takes"
    slots = ", ".join(map(str, sorted((one["slot"], *one["others"])))) if one["slot"] else ""
    which = f"slot{'s' if one['others'] else ''} {slots}" if slots else ""
    return (one["called"], which, one["why"] or counts)


def _absent(one: Mapping[str, Any]) -> tuple[str, ...]:
    return (f"  take {one['take']}", one["called"], one["clip"] or "not told", one["start"], one["why"])


def _clip(one: Mapping[str, Any]) -> tuple[str, ...]:
    slot = f"slot {one['slot']}" if one["slot"] else ""
    return (f"  {one['called']}", one["clip"], one["start"], one["length"], slot)


def _told(one: Mapping[str, Any]) -> tuple[str, ...]:
    return (f"  take {one['take']}", one["called"], one["clip"], f"by its {one['by']}")
