"""How does one piece of work talk to a store? In one session, opened when needed, cut when leave is taken back."""

from types import TracebackType
from typing import Self

from stagectl.copyoff.errors import CopyError, Reason
from stagectl.copyoff.source import OpenStore, Store
from stagectl.copyoff.work import Leave


class Session:
    """A context: whatever happens inside, the session is closed at its end, not parked."""

    def __init__(self, open_store: OpenStore, leave: Leave) -> None:
        self._open = open_store
        self._leave = leave
        self._store: Store | None = None

    @property
    def store(self) -> Store:
        """The open store. Raises CopyError: as opening does; STOPPED."""
        if self._store is None:
            self._leave.check()
            self._store = self._open()
            self._leave.cut_with(self._store.abort)
            self._leave.check()
        return self._store

    def spent(self) -> None:
        """The store said nothing where it should have: the next question opens a new session."""
        self.close()

    def close(self) -> None:
        """Safe to call twice; never raises."""
        self._leave.cut_with(None)
        if self._store is not None:
            self._store.close()
            self._store = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
        if kind is not None and issubclass(kind, CopyError) and self._leave.ended:
            raise CopyError(Reason.STOPPED, "It was asked to stop.") from error
