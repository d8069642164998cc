"""Which wishes does a step come to now, and what of a claim is not so?"""

from contextlib import AbstractContextManager, nullcontext
from typing import Any

from stagectl.control.access import Person
from stagectl.model.conditions import YES, Condition, judge
from stagectl.model.errors import RefusedError
from stagectl.model.points import Quality
from stagectl.model.verbs import Ask
from stagectl.shoot.house import House, Wish
from stagectl.shoot.paths import Paths
from stagectl.shoot.scene import RUNNING, Do, SetPoints


def inlet_of(scene: str) -> str:
    """The door a scene's acts come through."""
    return f"scene:{scene}"


def wishes_of(house: House, scene: str, person: Person, step: SetPoints | Do, stem: str) -> list[Wish]:
    """The wishes of one step, words like RUNNING filled in from what is so now.

    Args:
        house: where takes are known.
        scene: its name.
        person: who asks.
        step: what to do.
        stem: their ids begin with it; empty: they have none (for a dry run).
    Raises:
        RefusedError: no take runs.
    """
    if isinstance(step, SetPoints):
        found = [
            (want.device, "set", {"point": want.spec.name, "value": want.value}, f"{stem}-{index}")
            for index, want in enumerate(step.wants, 1)
        ]
    else:
        args: dict[str, Any] = dict(step.args)
        if args.get("take") == RUNNING:
            args["take"] = running_take(house)
        found = [(step.target, step.verb, args, stem)]
    return [
        Wish(person, inlet_of(scene), target, verb, args, name if stem else "") for target, verb, args, name in found
    ]


def trial(house: House) -> AbstractContextManager[None]:
    """Inside, what `expand` planned counts for what it plans next; afterwards nothing of it is kept."""
    paths = house.parts.get("paths")
    return paths.trial() if isinstance(paths, Paths) else nullcontext()


def expand(house: House, wish: Wish) -> list[Ask]:
    """What a wish comes to after those before it in the same `trial`, such as ways that take a tie-line.

    Raises:
        RefusedError: as the house says.
    """
    asks = house.expand(wish)
    for ask in asks:
        if ask.target == "paths":
            house.parts["paths"].act(ask.verb)
    return asks


def running_take(house: House) -> int:
    """The number of the take that runs. Raises RefusedError: none does."""
    take = house.takes.open
    if take is None:
        raise RefusedError("No take runs.", code="take")
    return take.number


def missing(house: House, claim: Condition) -> tuple[list[str], list[str]]:
    """What of a claim is not so, clause by clause, and whom that is about, as people call them."""
    told: list[str] = []
    whom: dict[str, None] = {}
    for leaf in claim.leaves():
        if judge(house.board, leaf) is YES:
            continue
        reading = house.board.reading(leaf.device or "", leaf.spec)
        seen = leaf.spec.say(reading.value) if reading.value is not None else "not known"
        if reading.value is not None and reading.quality is not Quality.GOOD:
            seen = f"{seen} ({reading.quality})"
        called = house.called(leaf.device or "")
        whom[called] = None
        wanted = " ".join(filter(None, [leaf.says, ", ".join(leaf.spec.say(value) for value in leaf.values)]))
        told.append(f"{called} {leaf.spec.name.replace('.', ' ')} is {seen}, wanted: {wanted}")
    return told, list(whom)
