"""Twenty thousand spoilt journals: does each open with its loss named or is it refused, and is no take wrong?"""

import random
import time
from typing import Final

from tests.fuzz.runner import FOUND, Finding, Result
from tests.fuzz.targets.journals import damage, opened, written

EACH: Final = 20  # ways in which one sound journal is spoilt


def campaign(runs: int, seed: int) -> Result:
    """Spoil and open `runs` journals; the same seed spoils the same ones in the same way."""
    result = Result("damaged-journals", "journals cut, flipped, reordered, of mixed versions")
    began = time.monotonic()
    for number in range(runs):
        if number % EACH == 0:
            sound = written(seed * 1_000_000 + number // EACH)
        segments, how = damage(sound, random.Random(f"{seed} {number}"))
        try:
            way, _ = opened(sound, segments)
        except Exception as error:  # noqa: BLE001 - whatever is raised is the finding
            error.add_note(f"journal {number // EACH}, spoilt by: {how}")
            result.found.append(Finding(b"", error))
            way = "slip"
        result.runs += 1
        result.outcomes[way] += 1
        if len(result.found) >= FOUND:
            break
    result.took_s = time.monotonic() - began
    return result
