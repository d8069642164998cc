"""What was told verified was so in truth, at some time between its asking and its verdict."""

from collections.abc import Iterator

from tests.studio.histories import Answer, Asked, Histories
from tests.studio.rules.rule import Breach


def check(run: Histories) -> Iterator[Breach]:
    for asked in run.asked.values():
        for answer in asked.answers:
            for device, (ended, _, _, why) in answer.boxes.items():
                if ended == "verified" and (wrong := _wrong(run, asked, answer, device)):
                    yield Breach(4, answer.ends, f"{asked.key} was told verified for {device} ({why}), but {wrong}")


def _wrong(run: Histories, asked: Asked, answer: Answer, device: str) -> str:
    since, until = asked.at, answer.ends
    if asked.verb == "set":
        return "" if _routed(run, asked.arg, since, until) else f"its output never showed {asked.arg}"
    truth = run.truths[device]
    if asked.verb == "roll":
        if not truth.recorded(since, until):
            return "it never recorded meanwhile"
        stood = [
            (begin, end) for begin, end in run.spans("stands", "advances", device) if begin < since and end > until
        ]
        return "its timecode stood still all the while" if stood else ""
    return "" if truth.rested(since, until) else "it recorded on"


def _routed(run: Histories, source: int, since: float, until: float) -> bool:
    """Did the router's output show this source at some time?"""
    for (begin, shown), end in zip(run.routes, [*(at for at, _ in run.routes[1:]), until], strict=True):
        if shown == source and begin <= until and end >= since:
            return True
    return False
