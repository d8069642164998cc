"""May work of our own wait? While the loop is late, what it is late with are words of the boxes: those come first.

So it is while a roll or cut is being proved, for then each word may be the proof.
"""

from typing import Final

BEHIND_S: Final = (
    0.02  # a loop this late has words of the boxes yet to read; own choice, a frame at 50 pictures a second
)
PATIENCE_S: Final = 0.5  # nothing waits longer for a proof, though one roll may follow the other; own choice


def put_off(late_s: float, *, before: bool, proving: bool = False) -> bool:
    """Should it wait once more?

    Args:
        late_s: how long after its time it came to its turn.
        proving: a roll or cut is being proved.
        before: it was put off as often, or for as long, as it may be: a machine may always be late.
    """
    return (late_s > BEHIND_S or proving) and not before
