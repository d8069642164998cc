"""In which words does the line-up speak? The same on every door. Nothing here looks at the house."""

from collections.abc import Callable, Mapping
from typing import Final


def lineup(*, asks: int, failed: int, unknown: int, holding: int, take: int | None = None) -> str:
    """How the checks stand together.

    `asks`: how many there are; `failed`, `unknown`: of them; `holding`: how many keep the house from being ready;
    `take`: the one that rolls; what can be looked at meanwhile says nothing of another roll.
    """
    if holding:
        return f"{f'Take {take} rolls' if take else 'Not ready'}: {_wrong(failed, unknown, f' of {asks} checks')}."
    passed = f"{asks - failed - unknown} of {asks} checks pass."
    let = f" {_wrong(failed, unknown)}, waived or no must." if failed or unknown else ""
    if take:
        return f"Take {take} rolls. What can be looked at meanwhile is right: {passed}{let}"
    return f"Ready to roll: {passed}{let}"


def _wrong(failed: int, unknown: int, of: str = "") -> str:
    """What does not pass; `of` stands behind the first number."""
    fail = "fails" if failed == 1 else "fail"
    open_ = f"{'is' if unknown == 1 else 'are'} not known"
    if not failed:
        return f"{unknown}{of} {open_}"
    return f"{failed}{of} {fail} and {unknown} {open_}" if unknown else f"{failed}{of} {fail}"


SENTENCES: Final[Mapping[str, Callable[..., object]]] = {lineup.__name__: lineup}
