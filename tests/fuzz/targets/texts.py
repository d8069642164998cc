"""Are timecodes, addresses and sentences read strictly: either understood, or refused with a sentence?"""

import ipaddress
from collections.abc import Callable
from functools import cache
from typing import Any, Final

import click

from stagectl.cli.addresses import Address, written
from stagectl.daemon import PARTS
from stagectl.driverkit.kinds import find_kinds
from stagectl.filetree import FileError, Text
from stagectl.inlets.http import guard
from stagectl.model.sentences import SentenceError, Vocabulary, parse, parse_for, parse_points, parse_time
from stagectl.model.timecode import RATES, Label, Rate, frame_number, label_at, rate_of_format, span_frames
from stagectl.site import Site, load_site
from stagectl.site.words import read_address, read_line, read_name, read_socket, read_sound, read_tie
from tests.fuzz.target import Outcome, SlipError, Target
from tests.shoot.hall import DEMO


def timecode(data: bytes) -> Outcome:
    """A label is written again as it was read, and counts there and back at every rate it exists at."""
    text = data.decode("utf-8", "replace")
    rate_of_format(text)
    try:
        label = Label.parse(text)
    except ValueError:
        return ("refused",)
    if Label.parse(str(label)) != label:
        raise SlipError(f"{text!r} is written as {label}, which is another label")
    exists = 0
    for rate in RATES.values():
        exists += _counted(label, rate)
    return ("read", str(exists), str(label.drop))


def _counted(label: Label, rate: Rate) -> bool:
    try:
        number = frame_number(label, rate)
    except ValueError:
        return False
    back = label_at(number, rate)
    if (back.hours, back.minutes, back.seconds, back.frames) != (
        label.hours,
        label.minutes,
        label.seconds,
        label.frames,
    ):
        raise SlipError(f"{label} is frame {number} at {rate}, which is {back}")
    if span_frames(label, label, rate) != 0:
        raise SlipError(f"{label} is apart from itself at {rate}")
    return True


READERS: Final[dict[str, Callable[[Text], Any]]] = {
    "address": lambda text: read_address(text, 9993),
    "name": read_name,
    "line": read_line,
    "socket": read_socket,
    "tie": read_tie,
    "sound": lambda text: read_sound(text, "strip"),
}


def address(data: bytes) -> Outcome:
    """Words of a site file that name places, the terminal's address, and the name in a Host header."""
    said = data.decode("utf-8", "replace")
    text = Text("site.yaml", 1, 1, ("devices", "iso-1", "at"), said, quoted=False)
    ways: list[str] = []
    for name, read in READERS.items():
        try:
            value = read(text)
        except FileError as error:
            if not str(error).startswith("site.yaml:1:1 devices.iso-1.at: ") or not error.problem:
                raise SlipError(f"{name}: the sentence has no place: {error}") from error
            continue
        ways.append(name)
        if name == "address":
            _dialled(*value)
    try:
        host, port = Address().convert(said, None, None)
        Address().convert(written(host, port), None, None)
        ways.append("terminal")
    except click.BadParameter:
        pass
    name_of = guard._host_name(said)
    if name_of is not None and guard._is_here(name_of, secure=False):
        ways.append("here")
        if name_of not in guard.NAMES and not ipaddress.ip_address(name_of).is_loopback:
            raise SlipError(f"{said!r} is let in as this machine")
    return ("read" if ways else "refused", *ways)


def _dialled(host: str, port: int) -> None:
    """What is dialled is plain: nothing in it is cut off, split or looked up in another way."""
    if not 0 < port < 65536 or (any(sign in host for sign in "/@?#\\ \0\r\n\t%") and "%" not in host):
        raise SlipError(f"{host!r} {port} would be dialled")


@cache
def demo() -> Site:
    """The shipped site."""
    return load_site(DEMO / "tidewater-hall.yaml", find_kinds()[0], PARTS)


@cache
def vocabulary() -> Vocabulary:
    """Whom a sentence may speak of there."""
    return demo().vocabulary(find_kinds()[0], PARTS)


def sentence(data: bytes) -> Outcome:
    """A sentence over the points of the shipped hall."""
    text = data.decode("utf-8", "replace")
    known = vocabulary()
    ways: list[str] = []
    reads: tuple[Callable[[], Any], ...] = (
        lambda: parse(text, known),
        lambda: parse_for(text, "iso-1", known),
        lambda: parse_points(text, known),
        lambda: parse_time(text),
    )
    said = ""
    for number, read in enumerate(reads):
        try:
            read()
        except SentenceError as error:
            said = str(error)
            if not said.strip():
                raise SlipError("it is refused without a word") from error
        else:
            ways.append(str(number))
    return ("read" if ways else "refused", *ways, said[:30])


TIMES: Final = [
    *(b"00:00:00:00", b"23:59:59:24", b"10:00:00;02", b"00:01:00;00", b"00:10:00;00", b"01.02.03.04", b"--:--:--:--"),
    *(b" 10:00:00:00 ", b"24:00:00:00", b"10:00:60:00", "١٠:00:00:00".encode(), b"23:59:59;29", b"1080p2997"),
]
PLACES: Final = [
    *(b"10.0.5.11", b"rec-1.local:9993", b"[fd00::11]:9993", b"127.0.0.1:0", b"[::1]", b"localhost", b"fd00::11"),
    *(b"0x7f.1", b"2130706433", b"127.1", b"[::ffff:127.0.0.1]:8420", b"hall 1", b"hall 15 to gallery 1", b"iso-1"),
    *(b"mixer strip 5", b"a line of words", b"fe80::1%eth0", b"127.0.0.1.evil.example", b"localhost:99999"),
]
SENTENCES: Final = [
    *(b"every recorder transport is recording for 0.5 s", b"iso-1 remote is yes", b"any iso timecode stands for 3 s"),
    *(b"mixer strip 5 level at least -12 dB", b"hall output 3 source is 4", b'iso-1 clip name is not "a b"'),
    *(
        b"takes running is no",
        b"transport is one of stopped, preview",
        b"mixer strip 1 level is off",
        b"1:30",
        b"500 ms",
    ),
    *(b"paths program shows is wide", b"iso-1 timecode advances", b"every iso input format is known", b"2 min"),
]

TARGETS: Final = [
    Target("timecode", "timecode labels", timecode, "lines", (), TIMES),
    Target("address", "addresses and names", address, "lines", (b"hall", b"to", b"strip", b"[", b"]", b":"), PLACES),
    Target(
        "sentence",
        "sentences of site and scene files",
        sentence,
        "lines",
        tuple(word for one in SENTENCES for word in one.split()),
        SENTENCES,
    ),
]
