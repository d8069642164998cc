"""What room is left for the takes that run when the disk is full?

A file that holds nothing. When the disk refuses, it is removed, and the journal goes on in the room it gave free.
"""

from contextlib import suppress
from typing import Final

from stagectl.model.world import Storage

RESERVE: Final = "journal.reserve"


class Reserve:
    """One file of `size` bytes; 0: none is wanted, and it always `stands`."""

    def __init__(self, storage: Storage, size: int) -> None:
        self.stands = not size
        self._storage = storage
        self._size = size

    def fill(self) -> None:
        """Make the file if it is not there.

        Raises:
            OSError: the disk has no room; nothing is left behind.
        """
        if self.stands:
            return
        if RESERVE not in self._storage.names():
            file = self._storage.append_to(RESERVE)
            try:
                file.write(bytes(self._size))
            except OSError:
                with suppress(OSError):
                    self._storage.remove(RESERVE)
                raise
            finally:
                file.close()
        self.stands = True

    def give(self) -> bool:
        """Remove the file. False: there was none to give."""
        if not self.stands or not self._size:
            return False
        self.stands = False
        with suppress(OSError):
            self._storage.remove(RESERVE)
        return True
