"""How is JSON read strictly, and written quickly?

Strict: UTF-8, no NaN, no number without a value, no key twice, at most 32 levels, no lone surrogates: what one reader
takes and another refuses has no place in a command.
"""

import json
import math
from typing import Any, Final

MAX_DEPTH: Final = 32  # own choice, five times what any route takes
MAX_PARTS: Final = 20_000  # lists, objects and their members; a megabyte of them would hold the loop for 0.2 s
MAX_DIGITS: Final = 32  # of one number; own choice
_DEEP: Final = f"The body is nested more than {MAX_DEPTH} levels deep."


class StrictError(ValueError):
    """The text is no strict JSON; one sentence."""


def read(data: bytes) -> Any:
    """Read one JSON value.

    Raises:
        StrictError: it is none, or not strict.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise StrictError(f"The body is no UTF-8: byte {error.start + 1} can't be read.") from error
    if sum(map(text.count, "[{,")) > MAX_PARTS:
        raise StrictError(f"The body has more than {MAX_PARTS} parts.")
    try:
        value = json.loads(
            text, object_pairs_hook=_once, parse_constant=_no_constant, parse_float=_number, parse_int=_whole
        )
        _shallow(value)
        if "\\u" in text:  # half a character can only come from an escape
            json.dumps(value, ensure_ascii=False).encode("utf-8")
    except StrictError:
        raise
    except RecursionError as error:
        raise StrictError(_DEEP) from error
    except json.JSONDecodeError as error:
        raise StrictError(f"The body is no JSON: {error.msg} in line {error.lineno}, column {error.colno}.") from error
    except UnicodeEncodeError as error:
        raise StrictError("A text holds half a character.") from error
    return value


def written(value: Any) -> bytes:
    """JSON without needless spaces, UTF-8; what JSON does not know is written as text."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), default=str).encode("utf-8", "replace")


def _shallow(value: Any) -> None:
    """Refuse deep nesting: what goes on working with it may recurse."""
    level = [value]
    for _ in range(MAX_DEPTH):
        level = [
            inner
            for outer in level
            for inner in (outer.values() if isinstance(outer, dict) else outer if isinstance(outer, list) else ())
            if isinstance(inner, (dict, list))
        ]
        if not level:
            return
    raise StrictError(_DEEP)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise StrictError(f'"{twice[:60]}" stands twice in one object.')
    return found


def _no_constant(word: str) -> Any:
    raise StrictError(f"{word} is no number of JSON.")


def _whole(text: str) -> int:
    if len(text) > MAX_DIGITS:
        raise StrictError(f"A number has more than {MAX_DIGITS} digits.")
    return int(text)


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise StrictError("A number is larger than can be held.")
    return value
