"""Which point is wanted at which value? One row of a table in a scene or a set-up: whose, what, value."""

from dataclasses import replace
from typing import Any

from stagectl.filetree import FileError, Text
from stagectl.model.errors import RefusedError
from stagectl.model.points import PointSpec
from stagectl.model.verbs import checked
from stagectl.sentencefile import points_node
from stagectl.shoot.scenewords import Words


def read_want(
    words: Words, who: Text, what: Text, value: Text, *, readable: bool
) -> list[tuple[str, PointSpec[Any], Any]]:
    """Read one row; "every GROUP" makes one for each member.

    Args:
        words: whom it may speak of, and what the house would refuse whatever stands on the board.
        who: the device, part or "every GROUP"; an error stands at the word it is about.
        what: its point.
        value: as people write it.
        readable: a point that can only be read may be wanted too.

    Raises:
        FileError: a name, point, value or unit is not known, or the house would refuse it.
    """
    try:
        points = points_node(replace(what, value=what.value), words.vocabulary, who.value)
    except FileError as error:
        blamed = what if "no point" in error.problem or "named" in error.problem else who
        raise blamed.wrong(error.problem, error.remedy) from error
    found = []
    for device, spec in points:
        try:
            wanted = spec.read(value.value)
            if spec.settable or not readable:
                words.see(device, checked(spec, wanted))
        except RefusedError as error:
            blamed = what if error.code == "read-only" else value
            raise blamed.wrong(str(error), error.remedy) from error
        found.append((device, spec, wanted))
    return found
