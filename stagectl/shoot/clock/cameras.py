"""Which cameras may be shown in a tracked set-up? Those that are kept in step, or stand still."""

from collections.abc import Iterable, Mapping

from stagectl.model.errors import RefusedError
from stagectl.site import CameraEntry


def refuse_swimming(cameras: Mapping[str, CameraEntry], called: str, shown: Iterable[object]) -> None:
    """Refuse to show a tracked camera that runs free on a moving head: its frames are of other moments than believed.

    Args:
        cameras: what the site declares.
        called: what would show it, such as a set-up.
        shown: names of what it would show; others than cameras don't matter.

    Raises:
        RefusedError: code "needs".
    """
    for name in shown:
        camera = cameras.get(str(name))
        if camera is not None and camera.tracked and camera.moves and not camera.locked:
            raise RefusedError(
                f"{called} shows {camera.name}, which is tracked on a moving head and runs free: pictures made over it"
                " would swim.",
                remedy="Give it the house's reference and say so in the site file, or leave it out.",
                code="needs",
            )
