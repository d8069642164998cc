"""Which files of faces of type does this machine hold, for what is printed?"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

ROOTS: Final = (
    Path("/usr/share/fonts"),
    Path("/usr/local/share/fonts"),
    Path("/Library/Fonts"),
    Path("/System/Library/Fonts"),
    Path("C:/Windows/Fonts"),
)
BASE: Final = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")  # of Debian's fonts-dejavu-core: Latin, Greek, Cyrillic
MOST: Final = 400  # files that are looked at for a sign


def base_faces(roots: tuple[Path, ...] = ROOTS) -> tuple[Path, Path] | None:
    """Plain and bold of a sheet; None: this machine has none that is known."""
    for root in roots:
        for folder in (root / "truetype" / "dejavu", root / "TTF", root / "dejavu", root):
            plain, bold = (folder / name for name in BASE)
            if plain.is_file() and bold.is_file():
                return plain, bold
    return None


def more_faces(roots: tuple[Path, ...] = ROOTS) -> Iterator[Path]:
    """Every further face, those made to fill gaps first."""
    found = sorted(path for root in roots for kind in ("*.ttf", "*.ttc") for path in root.rglob(kind))
    yield from sorted(found, key=lambda path: "fallback" not in path.name.casefold())[:MOST]
