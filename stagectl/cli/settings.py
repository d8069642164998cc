"""Which verbs set a value of a box? Level, mute, and any settable point."""

import re
from collections.abc import Mapping
from typing import Any, Final

import click

from stagectl.cli import verdicts
from stagectl.cli.acts import ended
from stagectl.cli.client import RefusalError
from stagectl.cli.face import Face, client_verb
from stagectl.cli.names import device_named

STOP: Final = "stop"
SEND: Final = re.compile(r"(?:strip )?([0-9]{1,5}) send ([0-9]{1,5})")
MINUS: Final = {"ignore_unknown_options": True}  # "-12" is a level, no option


def set_value(face: Face, target: str, point: str, value: str) -> int:
    """Bring a point to a value and tell how it ended."""
    body = {"target": target, "verb": "set", "args": {"point": point, "value": value}}
    group = face.client.post("commands", body=body, wait="verdict")
    alone = len(group["boxes"]) == 1  # then its sentence says all
    return ended(face, group, [] if alone else verdicts.rows(face, group))


def picked(word: str, known: list[str], what: str) -> str:
    """The name that is meant: itself, or the only one that begins so."""
    low = word.strip().casefold()
    if low in known:
        return low
    begin = [name for name in known if low and name.startswith(low)]
    if len(begin) == 1:
        return begin[0]
    if begin:
        raise RefusalError(f'"{word}" may be {" or ".join(begin)}.', "Name one of them.", "target", 404)
    raise RefusalError(f'There is no {what} "{word}".', f"There is {', '.join(known)}.", "target", 404)


@client_verb("level", waits_for="the fader to arrive", acts=True)
@click.argument("strip")
@click.argument("level", metavar="DB|stop")
@click.option("--mixer", metavar="BOX", help="Which mixer, where a site has several.")
def level(face: Face, strip: str, level: str, mixer: str | None) -> int:
    """Bring a strip to a level in dB, or "off", or stop a rise.

    "stop" in place of a level ends a rise where it is. STRIP: its number, its name on the mixer, "bus 3", or
    "strip 4 send 2".
    """
    device, place = _strip(face, strip, mixer)
    if level != STOP:
        return set_value(face, device, f"{place}.level", level)
    body = {"target": device, "verb": "stay", "args": {"point": f"{place}.level"}}
    return ended(face, face.client.post("commands", body=body, wait="verdict"), [])


@client_verb("mute", waits_for="proof from the mixer", acts=True)
@click.argument("strip")
@click.argument("on", type=click.Choice(["on", "off"]))
@click.option("--mixer", metavar="BOX", help="Which mixer, where a site has several.")
def mute(face: Face, strip: str, on: str, mixer: str | None) -> int:
    """Mute a strip, or open it. STRIP as for level."""
    device, place = _strip(face, strip, mixer)
    return set_value(face, device, f"{place}.muted", "yes" if on == "on" else "no")


def _strip(face: Face, word: str, mixer: str | None) -> tuple[str, str]:
    """(mixer, "strip.5", "bus.3" or "strip.5.send.3"). Raises RefusalError: no such mixer or strip, or several."""
    mixers = [one for one in face.client.get("devices")["devices"] if one["kind"] == "mixer"]
    if mixer is not None:
        device = device_named(mixer, mixers)
    elif len(mixers) == 1:
        device = str(mixers[0]["id"])
    else:
        known = ", ".join(str(one["id"]) for one in mixers)
        say = f"This site has {len(mixers)} mixers." if mixers else "This site has no mixer."
        raise RefusalError(say, f"Say which: --mixer BOX ({known})." if mixers else "", "target", 404)
    if send := SEND.fullmatch(word.strip()):
        return device, f"strip.{send[1]}.send.{send[2]}"
    kind, _, number = word.strip().rpartition(" ")
    if len(number) < 6 and number.isascii() and number.isdigit() and kind in ("", "strip", "bus"):
        return device, f"{kind or 'strip'}.{int(number)}"
    return device, _by_name(word, face.client.get("points", device=device)["points"])


def _by_name(word: str, points: list[Mapping[str, Any]]) -> str:
    low = word.strip().casefold()
    named = [
        (str(point["value"]).casefold(), str(point["name"]).removesuffix(".name"))
        for point in points
        if point["name"].startswith(("strip.", "bus.")) and point["name"].endswith(".name") and point["value"]
    ]
    found = [place for name, place in named if name == low] or [
        place for name, place in named if low and name.startswith(low)
    ]
    if len(found) == 1:
        return found[0]
    if found:
        places = " or ".join(place.replace(".", " ") for place in found)
        raise RefusalError(f'"{word}" may be {places}.', "Say its number.", "target", 404)
    raise RefusalError(f'No strip is called "{word}".', "Say its number, or see: stagectl points", "target", 404)


@client_verb("set", waits_for="proof from the box", acts=True)
@click.argument("device")
@click.argument("point")
@click.argument("value")
def set_point(face: Face, device: str, point: str, value: str) -> int:
    """Set a point of a box to a value.

    As in: stagectl set hall "output 3 source" 5
    """
    return set_value(face, device, point, value)


for _verb in (level, set_point):
    _verb.context_settings = dict(MINUS)
