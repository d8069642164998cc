"""What lies on a text deck's media? Slots, clips, their names and the room that is left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from stagectl_simulators.house_clock import Rate

NAME_LIMIT: Final = 60  # characters; a longer name is cut short without a word
FORBIDDEN: Final = frozenset('\\/:*?"<>|')  # of the file systems exFAT and HFS+


@dataclass(slots=True)
class Clip:
    """One recording. `frames` is what lies on the medium; while it grows, the deck knows better."""

    name: str
    start: int  # frame number of the first frame, not wrapped at midnight
    rate: Rate
    codec: str
    video_format: str
    started_s: float  # below 0: before the simulation began
    bytes_per_s: float
    frames: int = 0
    dropped: int = 0  # frames lost while recording
    file_bytes: int | None = None  # of its file in the clip store; None: as its length gives

    @property
    def size_bytes(self) -> float:
        """Its room on the medium."""
        return self.frames * self.bytes_per_s * self.rate.den / self.rate.num


@dataclass(slots=True)
class Slot:
    """A slot and the medium in it."""

    number: int  # from 1
    volume: str
    size_bytes: float
    foreign_bytes: float = 0.0  # taken by what is no clip of this deck
    status: str = "mounted"  # empty, mounting, error, mounted
    mounted_at_s: float | None = None  # while mounting
    clips: list[Clip] = field(default_factory=list)

    @property
    def room_bytes(self) -> float:
        """What is free, the clip that grows left out."""
        return max(0.0, self.size_bytes - self.foreign_bytes - sum(clip.size_bytes for clip in self.clips))


def clip_name(wanted: str, taken: Sequence[str]) -> str:
    """The name a clip really gets: cut short, with a number behind it if the name is in use.

    Raises: ValueError: a sign that the file system forbids.
    """
    if any(sign in FORBIDDEN or ord(sign) < 32 for sign in wanted) or wanted.strip(" .") != wanted or not wanted:
        raise ValueError(f"{wanted!r} is no name for a file.")
    stem = wanted[:NAME_LIMIT].rstrip(" .")
    in_use = {name.lower() for name in taken}  # these file systems do not tell cases apart
    name, count = stem, 0
    while name.lower() in in_use:
        count += 1
        name = f"{stem}_{count}"
    return name
