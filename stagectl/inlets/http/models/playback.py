"""How does a playback look, and what may be asked of it?"""

from typing import Annotated

from pydantic import Field

from stagectl.inlets.http.models.shapes import In, Line, Out


class PlayBody(In):
    """Which take is played, from where on, on which recorder, for which station.

    `take` left out: the newest. `recorder` left out: the first of the site's that has it. `every`: all recorders of it
    in step; the station gets what comes off `recorder`. `mark`, counted from one, or `label`: from there on.
    """

    take: Annotated[int, Field(ge=0, le=10**6)] = 0
    recorder: Line = ""
    every: bool = False
    station: Line = ""
    mark: Annotated[int, Field(ge=0, le=10**4)] = 0
    label: Line = Field("", examples=["10:00:00:00"])


class StopBody(In):
    """Nothing is said."""


class PlaybackStation(Out):
    """What a station gets, and what it had before; empty: not known, or not touched."""

    name: str
    picture: str
    sound: str
    sees: str
    hears: str


class PlaybackOut(Out):
    """What is played back. `state`: idle, cueing, plays, over; `left`: what would stay as it is."""

    say: str
    state: str
    take: int | None
    recorders: list[str]
    label: str
    left_s: float | None = Field(description="seconds until the end of what is played; null: not known")
    station: PlaybackStation | None
    left: list[str]
