"""Which word was perhaps meant? Remedies for words that nobody knows."""

import difflib
from collections.abc import Iterable
from typing import Final

MAX_LISTED: Final = 12  # names in one remedy: a list of a hundred devices helps nobody
_MAX_COMPARED: Final = 64  # letters; comparing costs the square of the length


def nearest(word: str, known: Iterable[str]) -> str:
    """A remedy that names what was perhaps meant, or what there is."""
    names = list(known)
    close = difflib.get_close_matches(word[:_MAX_COMPARED], names, 1)
    if close:
        return f"Perhaps you mean {close[0]}."
    if not names:
        return "There is none."
    more = f" and {len(names) - MAX_LISTED} more" if len(names) > MAX_LISTED else ""
    return f"There is {', '.join(names[:MAX_LISTED])}{more}."
