"""How is a second copy made? From the first one that is verified, not off the recorder again. Blocking."""

from collections.abc import Iterator
from contextlib import closing

from stagectl.copyoff.digests import Digest, digest
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.fetch import STOOD
from stagectl.copyoff.job import Copy, State
from stagectl.copyoff.piece import Piece
from stagectl.copyoff.target import Target


def double(piece: Piece, first: Copy, place: Target) -> None:
    """Make a copy from a published one: DISCOVERED to COPIED, or PUBLISHED if it stands there already.

    Args:
        piece: the copy to make.
        first: the one there is.
        place: where that one stands.

    Raises:
        CopyError: any reason. SPOILT: the first copy does not read as it did; it has failed, this one is untouched.
    """
    size = piece.job.size
    standing = piece.target.at(piece.copy.path)
    if standing is not None:
        same = standing.size == size
        if same and piece.hash_of(piece.target.read_back(piece.copy.path), first.hash_kind) == first.digest:
            piece.stands(piece.wall(), first.hash_kind, first.digest, STOOD)
            return
        raise piece.occupied()
    piece.put(State.COPYING, started=piece.wall(), hash_kind=first.hash_kind, kept=0, kept_digest="", doubt="")
    piece.need_room(size)
    rolling = digest(first.hash_kind)
    with closing(piece.target.open_part(piece.copy.path, piece.job.id)) as part:
        try:
            part.cut(0)
            piece.fill(part, _blocks(piece, place, first), rolling, size)
            _unspoilt(place, first, rolling)
            piece.sync(part)
        except CopyError:
            piece.discard(part)
            raise
    piece.put(State.COPIED, digest=rolling.text(), medium=piece.target.medium, doubt=first.doubt)


def _blocks(piece: Piece, place: Target, first: Copy) -> Iterator[bytes]:
    for block in place.read_back(first.path):
        piece.pace.spend(0, piece.leave)
        yield block


def _unspoilt(place: Target, first: Copy, rolling: Digest) -> None:
    if rolling.text() != first.digest:
        why = f"{place.name}: {first.path} does not read as it did when it was verified. Look at that disk."
        raise CopyError(Reason.SPOILT, why)
