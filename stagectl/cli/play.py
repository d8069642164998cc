"""Which verb plays a take back for somebody, and ends that?"""

from typing import Any, Final

import click

from stagectl.cli import verdicts
from stagectl.cli.acts import ended
from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.settings import picked

LAST: Final = "last"
STOP: Final = "stop"


@client_verb("play", waits_for="the recorder, the picture and the sound", acts=True)
@click.argument("what", required=False, metavar="[TAKE | last | stop]")
@click.option("--on", "station", metavar="STATION", help="Who sees and hears it; left out: only the recorder plays.")
@click.option("--recorder", metavar="BOX", help="Which recorder; left out: the first of the site's that has the take.")
@click.option("--all", "every", is_flag=True, help="All recorders of the take, in step.")
@click.option("--mark", type=click.IntRange(1), metavar="N", help="From the take's mark N on.")
@click.option("--from", "label", metavar="TIMECODE", help="From this label on.")
@click.option("--stop", "stop", is_flag=True, help="The same as: play stop.")
def play(
    face: Face,
    what: str | None,
    *,
    station: str | None,
    recorder: str | None,
    every: bool,
    mark: int | None,
    label: str | None,
    stop: bool,
) -> int:
    """Play a take back at a station, or end that.

    As in: stagectl play 1 --on director. What the station saw and heard before is put back at the end of the take. A
    recorder that rolls is never played. Without a take this only says what is played.
    """
    if stop or what == STOP:
        return _pressed(face, ("playback", "stop"), {})
    if what is None:
        told = face.client.get("playback")
        face.answer(told, [told["say"]])
        return Exit.DONE
    if what != LAST and not what.isdigit():
        raise click.UsageError(f'"{what}" is no take. Write its number, or last, or stop.')
    body: dict[str, Any] = {} if what == LAST else {"take": int(what)}
    if station:
        body["station"] = picked(station, face.client.get("site")["stations"], "station")
    given = {"recorder": recorder, "every": every, "mark": mark, "label": label}
    return _pressed(face, ("playback",), body | {name: value for name, value in given.items() if value})


def _pressed(face: Face, address: tuple[str, ...], body: dict[str, Any]) -> int:
    group = face.client.post(*address, body=body, wait="verdict")
    return ended(face, group, [] if group["ended"] in verdicts.WELL else verdicts.rows(face, group))
