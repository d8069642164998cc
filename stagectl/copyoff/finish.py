"""How does a part become a copy that counts? Read back, compared, named without overwriting. Blocking."""

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.job import State
from stagectl.copyoff.piece import Piece


def finish(piece: Piece) -> None:
    """Bring a copy from COPIED or VERIFIED to PUBLISHED.

    A name that was given just before a kill is found again: what stands there and reads the same is the copy.

    Raises:
        CopyError: DIFFERS, the medium gives back something else, and the part is gone; OCCUPIED; FULL, TARGET; STOPPED.
    """
    copy = piece.copy
    piece.pace.still()
    standing = piece.target.at(copy.path)
    if standing is not None:
        if standing.size != piece.job.size or _read_back(piece) != copy.digest:
            raise piece.occupied()
        piece.target.discard(copy.path, piece.job.id)
        _verified(piece)
    elif piece.target.parts_readable:
        if copy.state is State.COPIED:
            _compare(piece)
        piece.target.publish(copy.path, piece.job.id, piece.job.mtime)
    else:
        piece.target.publish(copy.path, piece.job.id, piece.job.mtime)
        if _read_back(piece) != copy.digest:
            piece.forget_part()
            piece.target.withdraw(copy.path, piece.job.id)
            raise _differs(piece)
        _verified(piece)
    piece.put(State.PUBLISHED, published=piece.wall(), reason=None, why="")


def _compare(piece: Piece) -> None:
    path, job = piece.copy.path, piece.job.id
    if piece.hash_of(piece.target.read_part(path, job), piece.copy.hash_kind) != piece.copy.digest:
        piece.forget_part()
        piece.target.discard(path, job)
        raise _differs(piece)
    _verified(piece)


def _read_back(piece: Piece) -> str:
    return piece.hash_of(piece.target.read_back(piece.copy.path), piece.copy.hash_kind)


def _verified(piece: Piece) -> None:
    piece.put(State.VERIFIED, verified=piece.wall())


def _differs(piece: Piece) -> CopyError:
    say = "It is copied anew; if it comes again, take another disk."
    return CopyError(Reason.DIFFERS, f"{piece.target.name}: {piece.copy.path} reads back differently. {say}")
