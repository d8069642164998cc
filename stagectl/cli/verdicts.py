"""How does the end of a press look? A line for each box, then the teller's sentence."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from stagectl.cli.face import Face
from stagectl.cli.tables import columns

WELL: Final = ("verified", "sent")
_PLATES: Final[Mapping[str, str]] = {"failed": "FAILED", "unconfirmed": "NOT KNOWN"}


def rows(face: Face, group: Mapping[str, Any]) -> list[str]:
    """The boxes of a press as lines: name, how it ended, after how long, and why not or how far behind the first."""
    boxes: Sequence[Mapping[str, Any]] = group.get("boxes") or ()
    table = [(f"  {box['called']}", _word(box), _after(box), f" {_last(box)}".rstrip()) for box in boxes]
    lines = columns(table, right=[2])
    return [
        line if box.get("ended") in WELL else line.replace(row[1], face.strong(row[1]), 1)
        for line, row, box in zip(lines, table, boxes, strict=True)
    ]


def _word(box: Mapping[str, Any]) -> str:
    """How one box ended, in few words: "rolls", "FAILED"; "not yet proven" before its verdict."""
    ended = box.get("ended")
    if ended is None:
        return "not yet proven"
    if ended in _PLATES:
        return _PLATES[str(ended)]
    return str(box.get("words") or ended) + (", as before" if box.get("moot") else "")


def _after(box: Mapping[str, Any]) -> str:
    return f"{float(box['after_s']):.2f} s" if box.get("after_s") is not None else ""


def _last(box: Mapping[str, Any]) -> str:
    if box.get("ended") not in WELL:
        return sentence(str(box.get("why") or ""), str(box.get("remedy") or ""))
    return offset(box.get("offset_frames"))


def offset(frames: int | None) -> str:
    """How many frames after the earliest recorder: "first", "+1 frame", "+3 frames"; empty: not known."""
    if frames is None:
        return ""
    return "first" if frames == 0 else f"+{frames} frame{'' if frames == 1 else 's'}"


def sentence(why: str, remedy: str) -> str:
    """A clause and what to do as one text."""
    told = why if not why or why.endswith(".") else f"{why}."
    return " ".join(filter(None, (told, remedy)))


def plain(group: Mapping[str, Any]) -> dict[str, Any]:
    """A press for programs: worst verdict, count, and each box by its id."""
    boxes = {
        str(box["device"]): {
            "verdict": box.get("ended"),
            "t": box.get("after_s"),
            **{name: box[name] for name in ("why", "remedy", "code", "clip") if box.get(name)},
            **({"offset_frames": box["offset_frames"]} if box.get("offset_frames") is not None else {}),
        }
        for box in group.get("boxes") or ()
    }
    told = {name: group[name] for name in ("id", "take", "count", "durable", "spread") if group.get(name) is not None}
    return {**told, "verdict": group.get("ended"), "boxes": boxes, "say": group.get("say", "")}


def warned(group: Mapping[str, Any]) -> list[str]:
    """The last lines of a press: its sentence, and a warning if there is one."""
    return [line for line in (str(group.get("warning") or ""), str(group.get("say") or "")) if line]
