"""Where is a text deck's playback? A position in the row of clips on one medium, moving with time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from stagectl_simulators.house_clock import Rate, frames_in
from stagectl_simulators.text_deck_media import Clip


@dataclass(slots=True)
class Playback:
    """The play head. `position` counts frames from the start of the first clip, as of `at_s`; `speed` is in percent."""

    position: int = 0
    at_s: float = 0.0
    speed: int = 0
    loop: bool = False
    single: bool = False  # stay within the clip

    def where(self, now_s: float, rate: Rate, clips: Sequence[Clip]) -> int:
        """The frame under the head."""
        gone = frames_in((now_s - self.at_s) * abs(self.speed) / 100, rate)
        moved = self.position + (gone if self.speed >= 0 else -gone)
        return max(0, min(moved, total(clips) - 1))

    def anchor(self, now_s: float, rate: Rate, clips: Sequence[Clip]) -> None:
        """Take the position of now as the new start of the movement."""
        self.position, self.at_s = self.where(now_s, rate, clips), now_s

    def next_edge(self, clips: Sequence[Clip]) -> int:
        """The position at which the next clip begins in the direction of play, or the end of what is played.

        Forward over the end it is one past the last frame; backward before the start it is -1.
        """
        first, frames = span(self.position, clips)
        return first + frames if self.speed > 0 else first - 1

    def due_s(self, rate: Rate, clips: Sequence[Clip]) -> float | None:
        """When the head reaches the next edge; None if it stands still."""
        if not self.speed or not clips:
            return None
        frames = max(1, abs(self.next_edge(clips) - self.position))
        return self.at_s + frames * rate.den * 100 / (rate.num * abs(self.speed))

    def cross(self, now_s: float, clips: Sequence[Clip]) -> bool:
        """Step over the next edge. False: that was the end, and the head stands on the last frame it reached."""
        edge, (first, frames) = self.next_edge(clips), span(self.position, clips)
        low, high = (first, first + frames) if self.single else (0, total(clips))
        inside = low <= edge < high
        if inside or self.loop:
            self.position = edge if inside else (low if self.speed > 0 else high - 1)
        else:
            self.position = max(low, min(edge, high - 1))
        self.at_s = now_s
        return inside or self.loop


def total(clips: Sequence[Clip]) -> int:
    """Frames in the row of clips."""
    return sum(clip.frames for clip in clips)


def span(position: int, clips: Sequence[Clip]) -> tuple[int, int]:
    """First position and length of the clip under a position."""
    first = 0
    for clip in clips[:-1]:
        if position < first + clip.frames:
            return first, clip.frames
        first += clip.frames
    return first, clips[-1].frames if clips else 0


def clip_number(position: int, clips: Sequence[Clip]) -> int | None:
    """The number, from 1, of the clip under a position; None if there is no clip."""
    first = 0
    for number, clip in enumerate(clips, 1):
        first += clip.frames
        if position < first:
            return number
    return len(clips) or None


def start_of(number: int, clips: Sequence[Clip]) -> int:
    """The position at which clip `number`, from 1, begins."""
    return total(clips[: number - 1])
