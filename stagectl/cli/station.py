"""Which verb gives a place its picture and its sound?"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import click

from stagectl.cli import verdicts
from stagectl.cli.acts import ended
from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.reads import shown
from stagectl.cli.settings import picked
from stagectl.cli.tables import columns

SAYS: Final = ("show", "sound")


@client_verb("station", waits_for="the picture and the sound to be there", acts=True)
@click.argument("name", required=False)
@click.argument("says", nargs=-1, metavar="[show SRC] [sound SRC]")
def station(face: Face, name: str | None, says: tuple[str, ...]) -> int:
    """Give a station a picture and its sound, or list them all.

    As in: stagectl station director show wide sound program. Several sounds are joined: sound "piano + presenter".
    What is not to be heard any more goes down first, what is to be heard comes up last.
    """
    site = face.client.get("site")
    points = face.client.get("points", device="stations")["points"]
    rows = [(one, *_seen(one, points)) for one in site["stations"]]
    if name is None or not says:
        if name is not None:
            rows = [row for row in rows if row[0] == picked(name, site["stations"], "station")]
        data = {"stations": {one: {"sees": sees, "hears": hears} for one, sees, hears in rows}}
        table = [(one, f"sees {sees}" if sees else "", f"hears {hears}" if hears else "") for one, sees, hears in rows]
        face.answer(data, columns(table) or ["This site has no station."])
        return Exit.DONE
    wanted = _read(says)
    args = {"station": picked(name, site["stations"], "station")}
    if "show" in wanted:
        args["picture"] = picked(wanted["show"], site["sources"], "picture source")
    if "sound" in wanted:
        args["sound"] = wanted["sound"]
    body = {"target": "stations", "verb": "show", "args": args}
    group = face.client.post("commands", body=body, wait="verdict")
    return ended(face, group, [] if group["ended"] in verdicts.WELL else verdicts.rows(face, group))


def _seen(name: str, points: Sequence[Mapping[str, Any]]) -> tuple[str, str]:
    found = {point["name"]: shown(point) for point in points}
    return found.get(f"{name}.sees", ""), found.get(f"{name}.hears", "")


def _read(says: Sequence[str]) -> dict[str, str]:
    """What follows each of the words; a name may have several words."""
    found: dict[str, str] = {}
    word = ""
    for one in says:
        if one in SAYS and one not in found:
            word = one
            found[word] = ""
        elif word:
            found[word] = f"{found[word]} {one}".strip()
        else:
            raise click.UsageError(f'"{one}" says neither show nor sound. Write it like: show wide sound program.')
    if empty := [one for one, value in found.items() if not value]:
        raise click.UsageError(f"After {empty[0]} a name is missing. Write it like: show wide sound program.")
    return found
