"""How does a clip come off its recorder into a part file? DISCOVERED to COPIED; blocking, in one thread."""

from collections.abc import Iterator
from contextlib import closing
from typing import Final

from stagectl.copyoff.digests import Digest, digest, quickest
from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.job import State
from stagectl.copyoff.piece import Piece
from stagectl.copyoff.session import Session
from stagectl.copyoff.source import Look, Transfer
from stagectl.copyoff.target import Part

BLOCK: Final = 1 << 20  # bytes read at once
UNTOLD: Final = "Its recorder never said that all was sent; size and time agree."
STOOD: Final = "It stood there before, and is the same."
_RESUMABLE: Final = (Reason.LINK, Reason.BUSY, Reason.STOPPED)


def fetch(piece: Piece, session: Session, *, double_read: bool) -> None:
    """Read a clip off its recorder. The recorder rests, and the first look was long enough ago.

    Args:
        piece: the work.
        session: with the recorder's store.
        double_read: read it a second time and compare.

    Raises:
        CopyError: any reason. The part stays where going on makes sense, and is discarded where it does not.
    """
    look = _settled(piece, session)
    standing = piece.target.at(piece.copy.path)
    if standing is not None:
        _adopt(piece, session, look, standing.size)
        return
    resumed = piece.begin(look.size)
    kind = piece.copy.hash_kind if resumed else quickest()
    piece.need_room(look.size - (piece.copy.kept if resumed else 0))
    with closing(piece.target.open_part(piece.copy.path, piece.job.id)) as part:
        try:
            rolling = piece.rebuilt(part) if resumed else _anew(part, kind)
            said, rolling = _receive(piece, session, part, rolling, look)
            _same_after(piece, session, look)
            if double_read:
                _same_twice(piece, session, look, rolling.text(), kind)
            if _stands_already(piece, kind, rolling.text()):
                piece.discard(part)
                return
            piece.sync(part)
        except CopyError as error:
            if error.reason not in _RESUMABLE:
                piece.discard(part)
            raise
    piece.put(
        State.COPIED, digest=rolling.text(), hash_kind=kind, medium=piece.target.medium, doubt="" if said else UNTOLD
    )


def _stands_already(piece: Piece, kind: str, found: str) -> bool:
    """Is it what an earlier job copied from the same file? Then only its time was told differently.

    Recorders' clocks are set, summer time comes, and lists for people leave years out.
    """
    earlier = piece.jobs.earlier(piece.job)
    for copy in earlier.copies if earlier else ():
        if (copy.target, copy.state, copy.hash_kind, copy.digest) == (piece.target.name, State.PUBLISHED, kind, found):
            standing = piece.target.at(copy.path)
            if earlier is not None and standing is not None and standing.size == earlier.size:
                piece.jobs.was_the_same(piece.job, earlier)
                return True
    return False


def _settled(piece: Piece, session: Session) -> Look:
    """The second look, if it is the same as the first. Raises CopyError: CHANGED."""
    look = session.store.look(piece.job.source.path)
    if not look.same(piece.job.asked or piece.job.source.look):
        piece.forget(look)
        raise CopyError(Reason.CHANGED, f"{piece.clip} has changed since it was looked at. It is looked at again.")
    if piece.copy.state is State.DISCOVERED:
        piece.put(State.STABLE)
    piece.jobs.looked(piece.job.id, look)
    return look


def _anew(part: Part, kind: str) -> Digest:
    part.cut(0)
    return digest(kind)


def _receive(piece: Piece, session: Session, part: Part, rolling: Digest, look: Look) -> tuple[bool, Digest]:
    """Read what is missing. Returns whether the recorder said that this was all, and the hash of all."""
    with closing(session.store.open(piece.job.source.path, part.size)) as transfer:
        if transfer.first != part.size:
            rolling = _anew(part, piece.copy.hash_kind)
        piece.meter.begin(piece.job.source.path, part.size, look.size)
        try:
            piece.fill(part, _blocks(piece, transfer), rolling, look.size)
            said = transfer.finish()
        finally:
            piece.meter.end()
    if not said:
        session.spent()
    if part.size != look.size:
        raise CopyError(Reason.SHORT, f"{piece.clip} has {look.size} bytes, {part.size} came. It is read anew.")
    return said, rolling


def _blocks(piece: Piece, transfer: Transfer) -> Iterator[memoryview]:
    whole = memoryview(bytearray(BLOCK))
    while got := transfer.readinto(whole):
        piece.pace.spend(got, piece.leave)
        yield whole[:got]


def _same_after(piece: Piece, session: Session, look: Look) -> None:
    after = session.store.look(piece.job.source.path)
    if not after.same(look):
        piece.forget(after)
        raise CopyError(Reason.CHANGED, f"{piece.clip} changed while it was read. It is looked at again.")


def _same_twice(piece: Piece, session: Session, look: Look, found: str, kind: str) -> None:
    if _source_hash(piece, session, look, kind) != found:
        raise CopyError(Reason.DIFFERS, f"{piece.clip} came differently when it was read a second time.")


def _source_hash(piece: Piece, session: Session, look: Look, kind: str) -> str:
    """Read the whole clip and keep nothing of it but its hash."""
    rolling, came = digest(kind), 0
    with closing(session.store.open(piece.job.source.path, 0)) as transfer:
        piece.meter.begin(piece.job.source.path, 0, look.size)
        try:
            for block in _blocks(piece, transfer):
                rolling.update(block)
                came += len(block)
                piece.meter.came(len(block))
            if not transfer.finish():
                session.spent()
        finally:
            piece.meter.end()
    if came != look.size:
        raise CopyError(Reason.SHORT, f"{piece.clip} has {look.size} bytes, {came} came. It is read anew.")
    return rolling.text()


def _adopt(piece: Piece, session: Session, look: Look, size: int) -> None:
    """A file stands where the copy shall stand: it is the copy, or it is in the way. Raises CopyError: OCCUPIED."""
    if size != look.size:
        raise piece.occupied()
    started, kind = piece.wall(), quickest()
    found = _source_hash(piece, session, look, kind)
    _same_after(piece, session, look)
    if piece.hash_of(piece.target.read_back(piece.copy.path), kind) != found:
        raise piece.occupied()
    piece.target.discard(piece.copy.path, piece.job.id)
    piece.stands(started, kind, found, STOOD)
