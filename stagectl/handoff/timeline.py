"""How do takes stand on a timeline that edit programs open? One track for each recorder, in step, with the marks.

Needs opentimelineio, the extra "editorial". Frame numbers run on over midnight, as in stagectl.handoff.ranges.
"""

from collections.abc import Mapping, Sequence
from importlib import import_module
from types import MappingProxyType
from typing import Any, Final
from urllib.parse import quote

from stagectl.handoff.ranges import Clip, Span, TakeRange
from stagectl.model.timecode import Rate, label_at
from stagectl.shoot.take import Mark, MarkKind

COLOURS: Final[Mapping[MarkKind, str]] = MappingProxyType(
    {MarkKind.GOOD: "GREEN", MarkKind.PROBLEM: "RED", MarkKind.NOTE: "YELLOW"}  # of OTIO's own list
)


def timelines(
    takes: Sequence[TakeRange], name: str, media: Mapping[tuple[str, str], str] | None = None
) -> dict[str, str]:
    """A timeline for each rate, as the last part of a file's name -> its JSON; takes with no common range are left out.

    Args:
        takes: ready for the edit.
        name: of the timeline.
        media: recorder and clip -> where its copy stands below the top of the copies; of others the place is made of
            the two names.

    Raises:
        ImportError: opentimelineio is not installed.
    """
    otio: Any = import_module("opentimelineio")
    by_rate: dict[Rate, list[TakeRange]] = {}
    for take in takes:
        if take.rate is not None and take.common is not None:
            by_rate.setdefault(take.rate, []).append(take)
    return {
        f"{str(rate).replace(' ', '')}.otio": _Making(otio, rate, media or {}).timeline(some, name)
        for rate, some in by_rate.items()
    }


class _Making:
    """Makes the objects of one timeline, all at one rate."""

    def __init__(self, otio: Any, rate: Rate, media: Mapping[tuple[str, str], str]) -> None:
        self._otio = otio
        self._rate = rate
        self._media = media

    def timeline(self, takes: Sequence[TakeRange], name: str) -> str:
        otio, rate = self._otio, self._rate
        made = otio.schema.Timeline(name)
        made.metadata["stagectl"] = {"frames": rate.frames, "seconds": rate.seconds, "drop": rate.drop}
        called = {clip.lane.device: clip.lane.called for take in takes for clip in take.clips}
        for device, told in called.items():
            track = otio.schema.Track(told, kind=otio.schema.TrackKind.Video)
            for take in takes:
                self._lay(track, take, device)
            made.tracks.append(track)
        return str(otio.adapters.write_to_string(made, "otio_json"))

    def _lay(self, track: Any, take: TakeRange, device: str) -> None:
        """A take on the track of one recorder: its clips, and gaps where it holds nothing, as long as the take."""
        assert take.common is not None
        at = take.common.first
        for clip in take.clips:
            part = take.part(clip) if clip.lane.device == device else None
            if part is None or part.first < at:
                continue
            self._gap(track, part.first - at)
            track.append(self._clip(take, clip, part))
            at = part.end
        self._gap(track, take.common.end - at)

    def _gap(self, track: Any, frames: int) -> None:
        if frames:
            track.append(self._otio.schema.Gap(source_range=self._range(Span(0, frames))))

    def _clip(self, take: TakeRange, clip: Clip, part: Span) -> Any:
        assert clip.span is not None
        otio, lane = self._otio, clip.lane
        copied = self._media.get((lane.device, lane.clip))
        url = quote(copied) if copied else f"{quote(lane.device)}/{quote(lane.clip, safe='')}"
        made = otio.schema.Clip(
            name=lane.clip,
            source_range=self._range(part),
            media_reference=otio.schema.ExternalReference(target_url=url, available_range=self._range(clip.span)),
            metadata={
                "stagectl": {
                    "take": take.number,
                    "name": take.name,
                    "slate_take": take.slate_take,
                    "good": take.good,
                    "recorder": lane.device,
                    "reel": clip.reel,
                    "first": str(label_at(part.first, self._rate)),
                }
            },
        )
        for mark in take.marks:
            frame = take.mark_frame(mark)
            if frame is not None and part.first <= frame < part.end:
                made.markers.append(self._marker(mark, frame))
        return made

    def _marker(self, mark: Mark, frame: int) -> Any:
        return self._otio.schema.Marker(
            name=mark.text or mark.kind.value,
            marked_range=self._range(Span(frame, frame + 1)),
            color=COLOURS[mark.kind],
            metadata={"stagectl": mark.plain()},
        )

    def _range(self, span: Span) -> Any:
        time, rate = self._otio.opentime, self._rate.frames / self._rate.seconds
        return time.TimeRange(time.RationalTime(span.first, rate), time.RationalTime(span.frames, rate))
