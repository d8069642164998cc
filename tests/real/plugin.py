"""A driver of somebody else, installed as such: it reads a recorder as ours does, and slips when a file says so."""

import textwrap
from pathlib import Path
from typing import Final

BLOCKS: Final = "blocks"  # the file holds for how many seconds
RAISES: Final = "raises"

_MODULE: Final = """
    import time
    from dataclasses import replace
    from pathlib import Path

    from stagectl_drivers.text_deck import BOX as DECK

    HERE = Path(__file__).parent


    class Slipping:
        def __init__(self, inner):
            self._inner = inner

        def __getattr__(self, name):
            return getattr(self._inner, name)

        def hear(self, event, board, awaiting):
            if (HERE / "raises").exists():
                raise RuntimeError("a slip of the driver")
            if (HERE / "blocks").exists():
                seconds = float((HERE / "blocks").read_text())
                (HERE / "blocks").unlink()
                time.sleep(seconds)
            return self._inner.hear(event, board, awaiting)


    BOX = replace(DECK, name="slip-deck", make=lambda options: Slipping(DECK.make(options)))
"""


def installed(folder: Path) -> dict[str, str]:
    """Put the driver `slip-deck` there; the environment in which it is installed."""
    (folder / "slip_deck.py").write_text(textwrap.dedent(_MODULE), encoding="utf-8")
    about = folder / "slip_deck-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: slip-deck\nVersion: 1.0\n", encoding="utf-8")
    (about / "entry_points.txt").write_text("[stagectl.drivers]\nslip-deck = slip_deck:BOX\n", encoding="utf-8")
    return {"PYTHONPATH": str(folder)}
