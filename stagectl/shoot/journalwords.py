"""What does a journal record say in a sentence? For the sheet, the journal on every door, and print.

A record that is only of use to a program (a link's address, a lane's details) gives an empty text.
"""

from collections.abc import Callable, Mapping
from typing import Any

from stagectl.control.chronicle import Entry
from stagectl.shoot import journalsay


class JournalWords:
    """Sentences about records of one house.

    Args:
        called: gives what people call a device.
    """

    def __init__(self, called: Callable[[str], str]) -> None:
        self._called = called
        self._kinds: dict[str, Callable[[str, Mapping[str, Any]], str]] = {
            "daemon": self._daemon,
            "link": self._link,
            "command": self._command,
            "verdict": self._verdict,
            "hand": self._hand,
            "take": self._take,
            "alarm": self._alarm,
            "desk": self._desk,
            "scene": self._scene,
            "playback": self._playback,
            "call": self._call,
            "access": self._access,
            "later": self._later,
            "copy": self._copy,
        }

    def plain(self, entry: Entry) -> dict[str, Any]:
        """A record as JSON holds it, with its sentence under `say`."""
        return entry.plain() | {"say": self.say(entry)}

    def say(self, entry: Entry) -> str:
        """One sentence; empty: nothing that people need."""
        told = self._kinds.get(entry.kind)
        return told(entry.who, entry.data) if told is not None else ""

    # -- by kind ---------------------------------------------------------------------------------------------------

    def _daemon(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.daemon(what=str(data.get("what", "")))

    def _link(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.link(called=self._name(data), what=str(data.get("what", "")), why=str(data.get("why", "")))

    def _command(self, who: str, data: Mapping[str, Any]) -> str:
        args = data.get("args")
        name = str(args.get("name", "")) if data.get("verb") == "roll" and isinstance(args, Mapping) else ""
        return journalsay.asked(who=who, say=str(data.get("say", "")), of=len(data.get("targets", ())), name=name)

    def _verdict(self, who: str, data: Mapping[str, Any]) -> str:
        boxes = data.get("boxes", {})
        badly = [self._called(name) for name, told in boxes.items() if told[0] in ("failed", "unconfirmed")]
        return journalsay.judged(ended=str(data.get("ended", "")), count=str(data.get("count", "")), names=badly)

    def _hand(self, who: str, data: Mapping[str, Any]) -> str:
        point = str(data.get("point", "")).replace(".", " ")
        return journalsay.by_hand(called=self._name(data), point=point, value=_value(data.get("value")))

    def _take(self, who: str, data: Mapping[str, Any]) -> str:
        what, number = data.get("what"), data.get("take")
        if what == "slate":
            return journalsay.slated(name=str(data.get("name", "")))
        if what == "mark" and number is not None and isinstance(mark := data.get("mark"), Mapping):
            words = {name: str(mark.get(name, "")) for name in ("kind", "text", "label")}
            return journalsay.marked(take=int(number), who=who, **words)
        if what == "change" and number is not None and isinstance(change := data.get("change"), Mapping):
            words = {name: str(change.get(name, "")) for name in ("what", "was", "now")}
            return journalsay.corrected(take=int(number), who=who, **words)
        if what != "head" or number is None:
            return ""
        return journalsay.headed(
            take=int(number),
            name=str(data.get("name", "")),
            by=str(data.get("by", "")),
            closed=bool(data.get("closed")),
            good=bool(data.get("good")),
        )

    def _alarm(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.alarmed(what=str(data.get("what", "")), say=str(data.get("say", "")), who=who)

    def _desk(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.desk_passed(what=str(data.get("what", "")), who=who, holder=str(data.get("holder", "")))

    def _scene(self, who: str, data: Mapping[str, Any]) -> str:
        what = str(data.get("what", ""))
        if what == "step":
            return ""
        return journalsay.scene_told(
            what=what, who=who, scene=str(data.get("called", data.get("scene", ""))), count=str(data.get("count", ""))
        )

    def _playback(self, who: str, data: Mapping[str, Any]) -> str:
        words = {"what": str(data.get("what", "")), "station": str(data.get("station", ""))}
        return journalsay.played(take=int(data.get("take", 0)), **words)

    def _call(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.rung(who=who, say=str(data.get("say", "")))

    def _access(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.access(what=str(data.get("what", "")), who=who, why=str(data.get("why", "")))

    def _copy(self, who: str, data: Mapping[str, Any]) -> str:
        return str(data.get("say", ""))

    def _later(self, who: str, data: Mapping[str, Any]) -> str:
        return journalsay.seen_later(called=self._name(data), seen=str(data.get("seen", "")))

    def _name(self, data: Mapping[str, Any]) -> str:
        return self._called(str(data.get("device", "")))


def _value(value: Any) -> str:
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)
