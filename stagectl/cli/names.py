"""Which box does a person mean, where the daemon wants its id? The same rule as the daemon's."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from stagectl.cli.client import RefusalError


def device_named(word: str, devices: Sequence[Mapping[str, Any]], more: Iterable[str] = ()) -> str:
    """The id of the device called `word`: id, name for people, or a unique beginning of either.

    Raises:
        RefusalError: nobody is called that, or several are.
    """
    low = word.strip().casefold().replace("\u00a0", " ")
    names = {str(one["called"]).casefold().replace("\u00a0", " "): str(one["id"]) for one in devices}
    ids = [str(one["id"]) for one in devices]
    if word in ids:
        return word
    if low in names:
        return names[low]
    begin = sorted({device for name, device in names.items() if low and name.startswith(low)})
    begin = begin or sorted(one for one in ids if low and one.startswith(low))
    if len(begin) == 1:
        return begin[0]
    if begin:
        raise RefusalError(f'"{word}" may be {" or ".join(begin)}.', "Name one of them.", "target", 404)
    known = ", ".join([*ids, *more])
    raise RefusalError(f'There is no device or part "{word}".', f"There is {known}.", "target", 404)
