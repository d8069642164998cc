"""Which kinds of box are there? The one table of kinds, each looked up when it is first wanted."""

from __future__ import annotations

import importlib
import random
from collections.abc import Callable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from stagectl_simulators.house_clock import HouseClock
    from stagectl_simulators.model import Model

KINDS: Final = {
    # kind: module with `build`
    "text-deck": "stagectl_simulators.text_deck",
    "block-router": "stagectl_simulators.block_router",
    "mixer-text": "stagectl_simulators.mixer_text",
}


def build(kind: str, name: str, options: dict[str, object], rng: random.Random, house: HouseClock) -> Model:
    """Build one box of a kind.

    Raises: ValueError: no such kind, or an option the kind refuses; a sentence that names the box.
    """
    if kind not in KINDS:
        raise ValueError(f"{name}: there is no simulator of kind {kind!r}. Known kinds: {', '.join(KINDS)}.")
    maker: Callable[[str, dict[str, object], random.Random, HouseClock], Model]
    maker = importlib.import_module(KINDS[kind]).build
    return maker(name, options, rng, house)
