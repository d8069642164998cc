"""How do the clips on the recorders look beside the takes?"""

from stagectl.inlets.http.models.shapes import Out


class ListedOut(Out):
    """A recorder whose list was read; `why` it was not, or not whole, empty: it was.

    `slot` is in use; the media in `others` were listed too, without first labels where the recorder tells none.
    """

    device: str
    called: str
    slot: int
    others: list[int]
    clips: int
    why: str


class ClipOut(Out):
    """A clip as a recorder lists it; `slot` 0: not told."""

    device: str
    called: str
    clip: str
    start: str
    length: str
    slot: int


class TakenClipOut(ClipOut):
    """A clip of a take; `by`: what told that it is."""

    take: int
    name: str
    by: str


class AbsentClipOut(ClipOut):
    """A take's clip that is not there, or of which that is not known, and why."""

    take: int
    name: str
    why: str


class ClipsOut(Out):
    """Clips of takes, clips of no take, takes' clips that are missing, and those of which nothing can be told."""

    recorders: list[ListedOut]
    clips: list[TakenClipOut]
    orphans: list[ClipOut]
    missing: list[AbsentClipOut]
    unknown: list[AbsentClipOut]
