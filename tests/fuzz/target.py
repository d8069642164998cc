"""What is one parser under attack: what it is fed, what it may answer, and where its examples stand?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

CORPUS: Final = Path(__file__).parent / "corpus"

Outcome = tuple[str, ...]
"""How an input ended: first a word for the table ("read", "refused"), then what tells this way from others."""


class SlipError(AssertionError):
    """The parser answered, and the answer is wrong; one sentence."""


@dataclass(frozen=True)
class Target:
    """One parser.

    Attributes:
        name: also the folder of its corpus.
        about: whose bytes it reads, for the table.
        attempt: reads an input to its end. Whatever it raises is a finding.
        shape: which mutations fit: "lines", "json", "yaml", "journal".
        words: what the grammar knows; put where words stand.
        examples: inputs beside the stored corpus, such as rows of a wire's vectors.
    """

    name: str
    about: str
    attempt: Callable[[bytes], Outcome]
    shape: str = "lines"
    words: Sequence[bytes] = ()
    examples: Sequence[bytes] = ()

    @property
    def folder(self) -> Path:
        return CORPUS / self.name

    def stored(self) -> list[bytes]:
        """The inputs of its corpus, by name, so that a run is the same on every machine."""
        return [path.read_bytes() for path in sorted(self.folder.glob("*"))] if self.folder.is_dir() else []
