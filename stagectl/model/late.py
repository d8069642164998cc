"""May work of our own wait while the loop is late? What it is late with are words of the boxes: those come first."""

from typing import Final

BEHIND_S: Final = (
    0.02  # a loop this late has words of the boxes yet to read; own choice, a frame at 50 pictures a second
)


def put_off(late_s: float, *, before: bool) -> bool:
    """Should it wait once more?

    Args:
        late_s: how long after its time it came to its turn.
        before: it was put off as often, or for as long, as it may be: a machine may always be late.
    """
    return late_s > BEHIND_S and not before
