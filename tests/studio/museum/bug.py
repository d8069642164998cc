"""What is an old bug? A patch of the product by name, and the hunt that must find it."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from typing import Any, Final
from unittest.mock import patch

Patch = tuple[Any, str, Any]  # owner, name of what is replaced, what stands there instead


@dataclass(frozen=True, slots=True)
class Bug:
    """One planted bug.

    Attributes:
        about: the bug in words.
        hunt: a profile of plans; "twins" or "hash" for another way to hunt; or the file of a stored plan.
        first: the seed that is tried first, since it caught the bug when it was last looked for.
        make: the patches; made anew for each planting, so that what they keep does not outlive a run.
    """

    about: str
    hunt: str
    first: int
    make: Callable[[], Sequence[Patch]]

    def plant(self) -> AbstractContextManager[None]:
        """Have it in the product meanwhile. Raises AttributeError: the product has no such part any more."""
        return _planted(self.make())


@contextmanager
def _planted(patches: Sequence[Patch]) -> Iterator[None]:
    with ExitStack() as stack:
        for owner, name, instead in patches:
            stack.enter_context(patch.object(owner, name, instead))
        yield


BUGS: Final[dict[str, Bug]] = {}


def bug(
    name: str, about: str, hunt: str = "general", *, first: int = 0
) -> Callable[[Callable[[], Sequence[Patch]]], Callable[[], Any]]:
    """Hang a bug in the museum."""

    def hang(make: Callable[[], Sequence[Patch]]) -> Callable[[], Any]:
        BUGS[name] = Bug(about, hunt, first, make)
        return make

    return hang
