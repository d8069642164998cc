"""The daemon ends a recording only if an accepted cut of a person who may named the take that it belongs to."""

from collections.abc import Iterator
from typing import Final

from tests.studio.histories import Asked, Clip, Histories
from tests.studio.rules.rule import Breach, slack

NOTICED_S: Final = 1.5  # a poll, its answer, and the page's own half second


def check(run: Histories) -> Iterator[Breach]:
    for device, truth in run.truths.items():
        for clip in truth.clips:
            if not clip.cut_by.startswith("wire:"):
                continue
            cuts = [asked for asked in run.asked.values() if _could(asked, device, clip.ended)]
            if not cuts:
                yield Breach(1, clip.ended, f"{device} was stopped though nobody had cut it ({clip.name})")
                continue
            takes = takes_of(run, clip)
            if not any(asked.take in takes or _crossed(run, asked, clip) for asked in cuts):
                named = ", ".join(f"{asked.key} of take {asked.take}" for asked in cuts)
                yield Breach(
                    1, clip.ended, f"{device} {clip.name} is of take {sorted(takes)}, but was ended by {named}"
                )


def _could(asked: Asked, device: str, at: float) -> bool:
    return asked.verb == "cut" and asked.who != "guest" and device in asked.devices and asked.may_act and asked.at <= at


def takes_of(run: Histories, clip: Clip) -> set[int]:
    """The numbers of the take that a recording belongs to: by the journal, else by what people saw while it rolled."""
    lanes = {
        int(lane["take"]) for lane in run.journal.lanes() if (lane["device"], lane["clip"]) == (clip.device, clip.name)
    }
    if lanes:
        return lanes
    seen = {one.take for one in run.seen if one.running and clip.begun <= one.at <= clip.ended + 1.5}
    if clip.by.startswith("wire:") and clip.name[:1] == "T" and clip.name[1:4].isdigit():
        seen.add(int(clip.name[1:4]))
    return seen


def _crossed(run: Histories, asked: Asked, clip: Clip) -> bool:
    """Our stop and a hand's new recording crossed on the wire: the protocol's stop names no take.

    On a slow link it may have been going on for a while, as long as no page had shown its take.
    """
    takes = takes_of(run, clip)
    for answer in asked.tries:
        if clip.begun >= answer.at - NOTICED_S:
            return True
        shown = any(one.running and one.take in takes and clip.begun <= one.at <= answer.at for one in run.seen)
        if not shown and clip.begun >= answer.at - slack(run, answer.at, clip.ended, clip.device):
            return True
    return False
