"""Which files and views has the page?"""

from typing import Literal

from pydantic import Field

from stagectl.inlets.http.models.shapes import Lax, Line, Name, Number


class FilePath(Lax):
    """Which built file of the page."""

    name: str = Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$", examples=["main-B2cd3e.js"])


class ViewPath(Lax):
    """Which view of the page."""

    view: Literal["paths", "sound", "kit", "journal", "wall", "card", "lineup", "setups", "copyoff"]


class ViewQuery(Lax):
    """What a view shows; the page reads it, the daemon only takes it."""

    take: Number | None = None
    box: Name | None = None
    setup: Name | None = None
    find: Line | None = None
    look: Literal["table", "print"] | None = None
