"""Does a site file become the installation it describes, and is each mistake told with its line and remedy?

Source of all rows: own construction, after the site file of the demo hall.
"""

from pathlib import Path
from typing import Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagectl.control.access import Role
from stagectl.filetree import FileError, FileErrors
from stagectl.model.capabilities.mixer import BUS_LEVEL
from stagectl.model.capabilities.recorder import TIMECODE, TRANSPORT, Transport
from stagectl.model.conditions import All
from stagectl.site import (
    DeviceEntry,
    HttpEntry,
    MqttEntry,
    ProtectEntry,
    Site,
    StationEntry,
    StoreEntry,
    TieLine,
    load_site,
    read_site,
)
from stagectl.yamlfile import parse
from tests.site.kinds_for_tests import KINDS, PARTS, RUNNING

HERE: Final = Path(__file__).parent
HALL: Final = Path(__file__).parent.parent.parent / "scenes" / "tidewater-hall.yaml"


def read(text: str) -> Site:
    return read_site(parse(text, "site.yaml"), Path("site.yaml"), KINDS, PARTS)


def hall() -> Site:
    return load_site(HALL, KINDS, PARTS)


# --- what is right


def test_the_demo_hall_stands_as_its_file_says() -> None:
    site = hall()
    assert (site.name, site.slug, site.path, site.scenes) == ("Tidewater Hall", "tidewater-hall", HALL, HALL.parent)
    assert list(site.devices) == ["iso-1", "iso-2", "iso-3", "iso-4", "mix-rec", "hall", "gallery", "mixer"]
    assert site.devices["iso-1"] == DeviceEntry(
        id="iso-1",
        box="text-deck",
        host="127.0.5.11",
        port=9993,
        called="Rec 1",
        options={"may switch remote on": "yes"},
        expect={},
        line=7,
        store=StoreEntry("127.0.5.11", 2121, line=7),
    )
    assert site.pictures.sources["titles"] == ("gallery", 8)
    assert site.pictures.destinations["mix-rec"] == ("gallery", 2)
    assert site.pictures.tie_lines[2] == TieLine("gallery", 8, "hall", 16)
    assert site.pictures.on_air == ("program",)
    assert site.sound.mixes["program"] == ("piano", "strings", "presenter")
    assert (site.sound.sources["piano"], site.sound.buses["director"]) == (("mixer", 1), ("mixer", 4))
    assert site.stations["bench"] == StationEntry("bench", "Piano bench", "bench", "bench", 54)
    assert site.people == {"ines": Role.OPERATOR, "tomas": Role.ENGINEER, "mara": Role.VIEWER}
    assert site.mqtt.broker == "managed"


def test_a_group_within_a_group_becomes_its_devices_in_order() -> None:
    assert hall().groups == {
        "iso": ("iso-1", "iso-2", "iso-3", "iso-4"),
        "recorder": ("iso-1", "iso-2", "iso-3", "iso-4", "mix-rec"),
    }


def test_a_group_may_be_used_above_its_own_line_and_a_device_counts_once() -> None:
    site = read(DEVICES + "groups: {all-of-it: [pair, iso-1], pair: [iso-2, iso-1]}")
    assert site.groups == {"all-of-it": ("iso-2", "iso-1"), "pair": ("iso-2", "iso-1")}


def test_limits_are_claims_of_one_device_each() -> None:
    assert hall().limits == (("mixer", BUS_LEVEL.at("3").at_most(0.0)),)


def test_protections_name_points_a_reason_and_who_may_pass() -> None:
    safety, take = hall().protect
    assert safety == ProtectEntry(
        (("hall", "output.1.source"),), "Rec 1 is the safety copy", None, Role.ENGINEER, safety.line
    )
    recorders = ("iso-1", "iso-2", "iso-3", "iso-4", "mix-rec")
    routes = tuple(("hall", f"output.{output}.source") for output in (2, 3, 4))
    assert take.points == (*((name, "input.source") for name in recorders), *routes)
    assert (take.while_, take.may_lift) == (RUNNING.is_(True).on("takes"), None)


def test_a_protection_of_a_group_is_about_each_of_it() -> None:
    site = read(
        DEVICES
        + "groups: {iso: [iso-1, iso-2]}\n"
        + "protect: [{of: iso, points: [input source], while: transport is recording, because: it rolls}]"
    )
    assert [(one.points, one.while_) for one in site.protect] == [
        (((name, "input.source"),), TRANSPORT.is_(Transport.RECORDING).on(name)) for name in ("iso-1", "iso-2")
    ]


def test_an_alarm_of_a_group_is_one_for_each_of_it() -> None:
    site = read(
        DEVICES
        + "groups: {iso: [iso-1, iso-2]}\n"
        + "alarms:\n"
        + "  - {of: iso, when: [transport is recording, timecode stands for 3 s], grade: now,\n"
        + '     says: "{called} says it rolls, but its timecode stands still.", remedy: Look at its front.}\n'
        + "  - {of: hall, when: health is not well, grade: later, says: It needs care., remedy: See its page.,\n"
        + "     name: router}"
    )
    rolls, stands = TRANSPORT.is_(Transport.RECORDING), TIMECODE.stands().lasting(3)
    assert [(one.device, one.grade, one.when) for one in site.alarms[:2]] == [
        (name, "now", All((rolls.on(name), stands.on(name)))) for name in ("iso-1", "iso-2")
    ]
    assert (site.alarms[2].device, site.alarms[2].name, site.alarms[2].line) == ("hall", "site-router", 12)


def test_sentences_know_the_destinations_and_stations_of_this_site_alone() -> None:
    site = hall()
    words = site.vocabulary(KINDS, PARTS)
    paths, stations = words.devices()["paths"], words.devices()["stations"]
    assert [name for name in paths.names() if name.endswith(".shows")] == [
        f"{name}.shows" for name in site.pictures.destinations
    ]
    assert paths.point("program.shows") is not None
    assert paths.point("progam.shows") is None
    assert stations.point("bench.sees") is not None
    assert stations.point("program.sees") is None
    assert words.groups() == site.groups


def test_a_site_needs_no_more_than_a_name_and_its_devices() -> None:
    site = read("site: Empty hall\ndevices: {}")
    assert (site.slug, site.devices, site.groups, site.limits, site.protect) == ("empty-hall", {}, {}, (), ())
    assert (site.mqtt.broker, site.mqtt.at) == ("off", "")


def test_a_name_without_letters_for_a_topic_brings_its_own() -> None:
    site = read("site: {id: tide-2, name: Прилив}\ndevices: {}")
    assert (site.name, site.slug) == ("Прилив", "tide-2")


@pytest.mark.parametrize(
    ("name", "slug"),
    [("Tidewater Hall", "tidewater-hall"), ("Hall & 2nd Stage!", "hall-2nd-stage"), ("A" * 31 + " B", "a" * 31)],
)
def test_a_slug_is_made_of_the_name(name: str, slug: str) -> None:
    assert read(f"site: {name}\ndevices: {{}}").slug == slug


@pytest.mark.parametrize(
    ("at", "host", "port"),
    [
        ("10.0.5.11", "10.0.5.11", 9993),
        ("10.0.5.11:1234", "10.0.5.11", 1234),
        ("Rec-1.local", "rec-1.local", 9993),
        ('"[FD00::11]:1234"', "fd00::11", 1234),
        ('"[fd00::11]"', "fd00::11", 9993),
        ('"fd00::11"', "fd00::11", 9993),
    ],
)
def test_an_address_may_leave_its_port_out(at: str, host: str, port: int) -> None:
    entry = read(f"site: Hall\ndevices: {{iso-1: {{box: text-deck, at: {at}}}}}").devices["iso-1"]
    assert (entry.host, entry.port, entry.called) == (host, port, "iso-1")


def test_model_and_serial_are_what_a_box_must_say_of_itself() -> None:
    text = "site: Hall\ndevices: {iso-1: {box: text-deck, at: 10.0.5.11, model: Two-slot deck, serial: 0012}}"
    assert read(text).devices["iso-1"].expect == {"identity.model": "Two-slot deck", "identity.serial": "0012"}


@pytest.mark.parametrize(
    ("mqtt", "at"),
    [("external, at: 10.0.5.2", "10.0.5.2:1883"), ('external, at: "[fd00::2]:8883"', "[fd00::2]:8883"), ("off", "")],
)
def test_a_broker_that_runs_has_an_address(mqtt: str, at: str) -> None:
    assert read(f"site: Hall\ndevices: {{}}\nmqtt: {{broker: {mqtt}}}").mqtt.at == at


@pytest.mark.parametrize("word", ["per slate", "per day"])
def test_the_file_says_within_what_takes_are_counted(word: str) -> None:
    assert read(f"site: Hall\ntakes numbered: {word}\ndevices: {{}}\n").numbered == word
    assert read("site: Hall\ndevices: {}\n").numbered == "per day"


def test_the_web_door_opens_where_the_file_says_with_files_beside_it() -> None:
    text = "site: Hall\ndevices: {}\nhttp: {at: 10.0.5.2:8443, names: [stage.example], certificate: ca/a.pem, key: /k}"
    folder = read(text).path.parent
    wanted = HttpEntry("10.0.5.2", 8443, ("stage.example",), folder / "ca/a.pem", Path("/k"))
    assert read(text).http == wanted
    assert read("site: Hall\ndevices: {}\nhttp: {at: 127.0.0.1}").http == HttpEntry("127.0.0.1", 8420)
    assert read("site: Hall\ndevices: {}").http is None


def test_a_broker_may_ask_for_a_login_and_speak_tls() -> None:
    text = "site: Hall\ndevices: {}\nmqtt: {broker: external, at: broker.example, login: a.login, ca: /etc/ca.pem}"
    folder = read(text).path.parent
    wanted = MqttEntry("external", "broker.example", 8883, folder / "a.login", Path("/etc/ca.pem"))
    assert read(text).mqtt == wanted


# --- what is wrong

DEVICES: Final = """\
site: Hall
devices:
  iso-1: {box: text-deck, at: 10.0.5.11, called: Rec 1}
  iso-2: {box: text-deck, at: 10.0.5.12, called: Rec 2}
  hall: {box: block-router, at: 10.0.5.21}
  gallery: {box: block-router, at: 10.0.5.22}
  mixer: {box: mixer-text, at: 10.0.5.31}
"""
WIRED: Final = (
    DEVICES
    + """\
pictures:
  sources: {wide: hall 1}
  destinations: {program: gallery 1}
"""
)


def test_a_processor_says_its_delay_and_formats_and_whom_it_is_kept_for() -> None:
    site = read(
        WIRED
        + "  gives: {wide: 1080i50}\n  takes: {program: [1080p25, 1080p50]}\n"
        + "  tie-lines:\n    - {line: hall 15 to hall 2, called: Frame store, delay: 2 frames, takes: [1080i50],"
        + " gives: 1080p25, kept for: [program]}"
    )
    assert site.pictures.tie_lines == (
        TieLine("hall", 15, "hall", 2, 2, ("1080i50",), "1080p25", ("program",), "Frame store"),
    )
    assert (site.pictures.gives, site.pictures.takes) == ({"wide": "1080i50"}, {"program": ("1080p25", "1080p50")})


WRONG: Final = [
    # id, file, what is said of it
    ("nothing", "", "site.yaml: nothing stands in this file. Write at least one line like `name: value`."),
    (
        "a list",
        "- site: Hall",
        "site.yaml:1:1: here stands a list. Write a table, lines like `name: value`.",
    ),
    ("no devices", "site: Hall", "site.yaml:1:1 devices: this is missing. Add it."),
    ("no name", "devices: {}", "site.yaml:1:1 site: this is missing. Add it."),
    (
        "malformed",
        "site: Hall\ndevices:\n\tiso-1: {box: text-deck}",
        "site.yaml:3:1 devices: a tab stands where the line is indented. Indent with spaces.",
    ),
    (
        "a device twice",
        DEVICES + "  iso-1: {box: text-deck, at: 10.0.5.13}",
        "site.yaml:8:3 devices.iso-1: this stands here twice, first in line 3. Keep one.",
    ),
    (
        "an anchor",
        "site: &name Hall\ndevices: {}",
        "site.yaml:1:7 site: anchors (&name) are not read. Write it out, or put it in quotes.",
    ),
    (
        "an alias",
        "site: Hall\ndevices: *all",
        "site.yaml:2:10 devices: aliases (*name) are not read. Write it out, or put it in quotes.",
    ),
    (
        "a tag",
        "site: !text Hall\ndevices: {}",
        "site.yaml:1:7 site: tags (!name) are not read. Take it out, or put the text in quotes.",
    ),
    (
        "an unknown key",
        DEVICES + "grups: {iso: [iso-1]}",
        "site.yaml:8:1 grups: nobody reads this. Say groups.",
    ),
    (
        "an unknown option of a box",
        "site: Hall\ndevices:\n  iso-1: {box: text-deck, at: 10.0.5.11, may switch remote: yes}",
        "site.yaml:3:42 devices.iso-1.may switch remote: nobody reads this. Say may switch remote on.",
    ),
    (
        "an option of another kind of box",
        "site: Hall\ndevices:\n  hall: {box: block-router, at: 10.0.5.21, profile: sixteen strips}",
        (
            "site.yaml:3:44 devices.hall.profile: nobody reads this. "
            "Say one of: box, at, called, model, serial, clip store."
        ),
    ),
    (
        "an option that the driver refuses",
        "site: Hall\ndevices:\n  iso-1: {box: text-deck, at: 10.0.5.11, may switch remote on: maybe}",
        'site.yaml:3:64 devices.iso-1.may switch remote on: "may switch remote on" can\'t be "maybe". Write no or yes.',
    ),
    (
        "an unknown kind of box",
        "site: Hall\ndevices:\n  iso-1: {box: cart-deck, at: 10.0.5.11}",
        'site.yaml:3:16 devices.iso-1.box: there is no kind of box "cart-deck". Perhaps you mean text-deck.',
    ),
    (
        "a kind unlike any",
        "site: Hall\ndevices:\n  iso-1: {box: zz, at: 10.0.5.11}",
        'site.yaml:3:16 devices.iso-1.box: there is no kind of box "zz". There is text-deck, block-router, mixer-text.',
    ),
    (
        "no box",
        "site: Hall\ndevices:\n  iso-1: {at: 10.0.5.11}",
        "site.yaml:3:10 devices.iso-1.box: this is missing. Add it.",
    ),
    (
        "no address",
        "site: Hall\ndevices:\n  iso-1: {box: text-deck}",
        "site.yaml:3:10 devices.iso-1.at: this is missing. Add it.",
    ),
    (
        "a device that is no table",
        "site: Hall\ndevices:\n  iso-1: text-deck",
        "site.yaml:3:10 devices.iso-1: here stands text. Write a table, lines like `name: value`.",
    ),
    (
        "an address two devices share",
        DEVICES + "  iso-3: {box: text-deck, at: 10.0.5.12:9993}",
        "site.yaml:8:31 devices.iso-3.at: this is the address of iso-2 too, in line 4. Give each device its own.",
    ),
    (
        "an address that is none",
        "site: Hall\ndevices:\n  iso-1: {box: text-deck, at: 10.0.5.300}",
        'site.yaml:3:31 devices.iso-1.at: "10.0.5.300" is no address. Write it like 10.0.5.11, or 10.0.5.11:9993.',
    ),
    (
        "a port that is none",
        "site: Hall\ndevices:\n  iso-1: {box: text-deck, at: 10.0.5.11:70000}",
        (
            'site.yaml:3:31 devices.iso-1.at: "10.0.5.11:70000" has no port. '
            "Write the address, a colon and a port from 1 to 65535."
        ),
    ),
    (
        "a name in capitals",
        "site: Hall\ndevices:\n  Rec1: {box: text-deck, at: 10.0.5.11}",
        (
            'site.yaml:3:3 devices.Rec1: "Rec1" is no name. '
            "Write small letters, digits and hyphens, a letter first, 32 at most."
        ),
    ),
    (
        "a device named like a part of the house",
        "site: Hall\ndevices:\n  paths: {box: text-deck, at: 10.0.5.11}",
        'site.yaml:3:3 devices.paths: "paths" is a word of the house. Take another name.',
    ),
    (
        "a device called like another",
        DEVICES + "  iso-3: {box: text-deck, at: 10.0.5.13, called: rec 1}",
        "site.yaml:8:50 devices.iso-3.called: iso-1 answers to this name too. Call each by its own.",
    ),
    (
        "a device called like another's id",
        DEVICES + "  iso-3: {box: text-deck, at: 10.0.5.13, called: ISO-2}",
        "site.yaml:8:50 devices.iso-3.called: iso-2 answers to this name too. Call each by its own.",
    ),
    (
        "a group with a stranger",
        DEVICES + "groups: {iso: [iso-1, isso-2]}",
        'site.yaml:8:23 groups.iso.2: there is no device or group "isso-2". Perhaps you mean iso-2.',
    ),
    (
        "a group that lists a device twice",
        DEVICES + "groups: {iso: [iso-1, iso-2, iso-1]}",
        "site.yaml:8:30 groups.iso.3: iso-1 stands here twice. Keep one.",
    ),
    (
        "a group named like a device",
        DEVICES + "groups: {iso-1: [iso-2]}",
        'site.yaml:8:10 groups.iso-1: "iso-1" is a device, in line 3. Take another name.',
    ),
    (
        "a group named like a part of the house",
        DEVICES + "groups: {takes: [iso-2]}",
        'site.yaml:8:10 groups.takes: "takes" is a word of the house. Take another name.',
    ),
    (
        "groups in a circle",
        DEVICES + "groups: {c: [a], a: [b], b: [a]}",
        "site.yaml:8:30 groups.b.1: a is a group that holds itself. Take it out.",
    ),
    (
        "groups too deep",
        DEVICES + "groups: {g0: [iso-1], " + ", ".join(f"g{n}: [g{n - 1}]" for n in reversed(range(1, 12))) + "}",
        "site.yaml:8:111 groups.g3.1: groups stand more than 8 deep. List the devices.",
    ),
    (
        "an empty group",
        DEVICES + "groups: {iso: []}",
        "site.yaml:8:15 groups.iso: this group is empty. Write its devices, or take it out.",
    ),
    (
        "a source on no router",
        DEVICES + "pictures: {sources: {wide: mixer 1}}",
        "site.yaml:8:28 pictures.sources.wide: mixer is no router. There is hall, gallery.",
    ),
    (
        "a source on nothing",
        DEVICES + "pictures: {sources: {wide: hal 1}}",
        'site.yaml:8:28 pictures.sources.wide: there is no device "hal". Perhaps you mean hall.',
    ),
    (
        "a source without its number",
        DEVICES + "pictures: {sources: {wide: hall}}",
        'site.yaml:8:28 pictures.sources.wide: "hall" can\'t be read. Write it like hall 1: the router and a number.',
    ),
    (
        "an input counted from nought",
        DEVICES + "pictures: {sources: {wide: hall 0}}",
        "site.yaml:8:28 pictures.sources.wide: 0 is out of range. Count from 1, to 9999 at most.",
    ),
    (
        "two sources on one input",
        DEVICES + "pictures: {sources: {wide: hall 1, hands: hall 1}}",
        "site.yaml:8:43 pictures.sources.hands: hall input 1 is taken in line 8. Give each its own.",
    ),
    (
        "a tie-line on a source's input",
        WIRED + "  tie-lines: [gallery 2 to hall 1]",
        "site.yaml:11:15 pictures.tie-lines.1: hall input 1 is taken in line 9. Give each its own.",
    ),
    (
        "a tie-line on a destination's output",
        WIRED + "  tie-lines: [gallery 1 to hall 2]",
        "site.yaml:11:15 pictures.tie-lines.1: gallery output 1 is taken in line 10. Give each its own.",
    ),
    (
        "a tie-line to itself",
        WIRED + "  tie-lines: [hall 15 to hall 2]",
        "site.yaml:11:15 pictures.tie-lines.1: a tie-line leads to another router. Look at the names.",
    ),
    (
        "a processor without a name",
        WIRED + "  tie-lines: [{line: hall 15 to hall 2, delay: 2 frames}]",
        (
            "site.yaml:11:22 pictures.tie-lines.1.line: a tie-line leads to another router. "
            "Look at the names, or say what processor it is: `called`."
        ),
    ),
    (
        "a delay without its unit",
        WIRED + "  tie-lines: [{line: hall 15 to hall 2, called: Sync, delay: 2}]",
        'site.yaml:11:62 pictures.tie-lines.1.delay: "2" can\'t be read. Write it like 2 frames.',
    ),
    (
        "a format that is none",
        WIRED + "  gives: {wide: 1080x25}",
        'site.yaml:11:17 pictures.gives.wide: "1080x25" is no picture format. Write it like 1080p25 or 1080i50.',
    ),
    (
        "a tie-line kept for nobody",
        WIRED + "  tie-lines: [{line: hall 15 to hall 2, called: Sync, kept for: [nobody]}]",
        'site.yaml:11:66 pictures.tie-lines.1.kept for.1: there is no destination "nobody". There is program.',
    ),
    (
        "a tie-line to a mixer",
        WIRED + "  tie-lines: [hall 15 to mixer 2]",
        "site.yaml:11:15 pictures.tie-lines.1: mixer is no router. There is hall, gallery.",
    ),
    (
        "on air what is nowhere",
        WIRED + "  on air: [programme]",
        'site.yaml:11:12 pictures.on air.1: there is no destination "programme". Perhaps you mean program.',
    ),
    (
        "a sound source on a bus",
        DEVICES + "sound: {sources: {piano: mixer bus 1}}",
        (
            'site.yaml:8:26 sound.sources.piano: "mixer bus 1" can\'t be read. '
            "Write it like mixer strip 1: the mixer, the word strip and a number."
        ),
    ),
    (
        "a bus on no mixer",
        DEVICES + "sound: {buses: {bench: hall bus 1}}",
        "site.yaml:8:24 sound.buses.bench: hall is no mixer. There is mixer.",
    ),
    (
        "a mix of what is nowhere",
        DEVICES + "sound: {sources: {piano: mixer strip 1}, mixes: {program: [piano, organ]}}",
        'site.yaml:8:67 sound.mixes.program.2: there is no sound source "organ". There is piano.',
    ),
    (
        "a mix called like a source",
        DEVICES + "sound: {sources: {piano: mixer strip 1}, mixes: {piano: [piano]}}",
        "site.yaml:8:50 sound.mixes.piano: piano is a sound source already. Give the mix another name.",
    ),
    (
        "a mix of nothing",
        DEVICES + "sound: {sources: {piano: mixer strip 1}, mixes: {program: []}}",
        "site.yaml:8:59 sound.mixes.program: the list is empty. Write a sound source, or take the mix out.",
    ),
    (
        "a station that sees what is nowhere",
        WIRED + "stations: {bench: {sees: progam}}",
        'site.yaml:11:26 stations.bench.sees: there is no destination "progam". Perhaps you mean program.',
    ),
    (
        "a station that hears what is nowhere",
        WIRED + "stations: {bench: {sees: program, hears: bench}}",
        'site.yaml:11:42 stations.bench.hears: there is no bus "bench". There is none.',
    ),
    (
        "a station without eyes and ears",
        WIRED + "stations: {bench: {called: Piano bench}}",
        "site.yaml:11:19 stations.bench: this station neither sees nor hears. Write `sees`, `hears` or both.",
    ),
    (
        "a playback of what is no recorder",
        WIRED + "playback: {hall: {picture: wide}}",
        "site.yaml:11:12 playback.hall: hall is no recorder. There is iso-1, iso-2.",
    ),
    (
        "a playback of a picture that is nowhere",
        WIRED + "playback: {iso-1: {picture: play-9}}",
        'site.yaml:11:29 playback.iso-1.picture: there is no picture source "play-9". There is wide.',
    ),
    (
        "a playback of which nothing comes off",
        WIRED + "playback: {iso-1: {}}",
        "site.yaml:11:19 playback.iso-1: nothing comes off this recorder. Write `picture`, `sound` or both.",
    ),
    (
        "a limit that is none",
        DEVICES + "limits: [mixer bus 3 level is 0 dB]",
        'site.yaml:8:10 limits.1: this is no limit. Write one like "mixer bus 3 level at most 0 dB".',
    ),
    (
        "a limit of what is never set",
        DEVICES + "limits: [iso-1 slot 1 left at least 60 s]",
        "site.yaml:8:10 limits.1: slot 1 left is never set, so nothing limits it. Take it out.",
    ),
    (
        "a limit in the wrong unit",
        DEVICES + "limits: [mixer bus 3 level at most 0 s]",
        'site.yaml:8:10 limits.1: bus 3 level is in dB, not in s. Write a number with the unit "dB", or off.',
    ),
    (
        "a protected point that is none",
        DEVICES + "protect: [{points: [hall output 1 sorce], because: it is}]",
        (
            'site.yaml:8:21 protect.1.points.1: hall has no point "output 1 sorce". '
            "Perhaps you mean output {output} source."
        ),
    ),
    (
        "an alarm without a remedy",
        DEVICES + "alarms: [{of: iso-1, when: remote is no, grade: soon, says: Remote is off.}]",
        "site.yaml:8:10 alarms.1.remedy: this is missing. Add it.",
    ),
    (
        "an alarm of a grade that is none",
        DEVICES + "alarms: [{of: iso-1, when: remote is no, grade: red, says: Off., remedy: Look.}]",
        'site.yaml:8:49 alarms.1.grade: there is no grade "red". Say one of: now, soon, later.',
    ),
    (
        "an alarm over a point that is none",
        DEVICES + "alarms: [{of: iso-1, when: remoot is no, grade: now, says: Off., remedy: Look.}]",
        'site.yaml:8:28 alarms.1.when: iso-1 has no point "remoot". Perhaps you mean remote.',
    ),
    (
        "an alarm with other braces",
        DEVICES + 'alarms: [{of: iso-1, when: remote is no, grade: now, says: "{name} off.", remedy: Look.}]',
        'site.yaml:8:60 alarms.1.says: "{name}" stands for nothing. Write {called} for the device.',
    ),
    (
        "two alarms of one name",
        DEVICES
        + "alarms:\n  - {of: iso-1, when: remote is no, grade: now, says: Off., remedy: Look., name: off}\n"
        + "  - {of: iso-1, when: remote is no for 9 s, grade: now, says: Off., remedy: Look., name: off}",
        'site.yaml:10:5 alarms.2: another alarm of iso-1 has the name "off", in line 9. Give each a `name` of its own.',
    ),
    (
        "a protection without a reason",
        DEVICES + "protect: [{points: [hall output 1 source]}]",
        "site.yaml:8:11 protect.1.because: this is missing. Add it.",
    ),
    (
        "a protection while something unknown",
        WIRED + "protect: [{points: [hall output 1 source], while: paths progam shows is wide, because: it is}]",
        'site.yaml:11:51 protect.1.while: paths has no point "progam shows". Perhaps you mean program shows.',
    ),
    (
        "a protection that a stranger may lift",
        DEVICES + "protect: [{points: [hall output 1 source], because: it is, may lift: viewer}]",
        'site.yaml:8:70 protect.1.may lift: there is no role "viewer". Say one of: nobody, operator, engineer.',
    ),
    (
        "a bad role",
        DEVICES + "people: {ines: operater}",
        'site.yaml:8:16 people.ines: there is no role "operater". Say operator.',
    ),
    (
        "an unknown broker",
        DEVICES + "mqtt: {broker: on}",
        'site.yaml:8:16 mqtt.broker: there is no broker "on". Say one of: off, external, managed.',
    ),
    (
        "an external broker nowhere",
        DEVICES + "mqtt: {broker: external}",
        "site.yaml:8:7 mqtt.at: this is missing. Add it.",
    ),
    (
        "a broker of our own with a login",
        DEVICES + "mqtt: {broker: managed, login: a.login}",
        "site.yaml:8:32 mqtt.login: a broker that is managed asks for no login. Take it out, or say external.",
    ),
    (
        "a web door without TLS for others",
        DEVICES + "http: {at: 10.0.5.2:8443}",
        (
            "site.yaml:8:12 http.at: others could reach this address, and what they send could be read. "
            "Add certificate and key (`stagectl ca` makes them), or write 127.0.0.1."
        ),
    ),
    (
        "a key without its certificate",
        DEVICES + "http: {at: 127.0.0.1, key: a.key}",
        "site.yaml:8:28 http.key: it stands here without its certificate. Add `certificate:`.",
    ),
    (
        "a folder that is not there",
        DEVICES + "scenes: nowhere",
        "site.yaml:8:9 scenes: there is no such folder. Write where set-ups and scenes are, from this file.",
    ),
    (
        "a name without letters",
        "site: Прилив\ndevices: {}",
        "site.yaml:1:7 site: no letter of this name serves in a topic. Write `site: {id: my-hall, name: ...}`.",
    ),
]


@pytest.mark.parametrize(("text", "said"), [row[1:] for row in WRONG], ids=[row[0] for row in WRONG])
def test_a_mistake_is_told_with_its_place_and_remedy(text: str, said: str) -> None:
    with pytest.raises((FileError, FileErrors)) as caught:
        read(text)
    assert str(caught.value) == said


def test_a_file_full_of_mistakes_names_each_of_them_at_once() -> None:
    path = HERE / "mistakes.yaml"
    with pytest.raises(FileErrors) as caught:
        load_site(path, KINDS, PARTS)
    assert str(caught.value).replace(str(path), "mistakes.yaml") + "\n" == (HERE / "mistakes.txt").read_text()


def test_what_hangs_on_a_wrong_line_is_not_told_again() -> None:
    text = (
        "site: Hall\n"
        "devices: {hall: {box: block-rooter, at: 10.0.5.21}}\n"
        "groups: {routers: [hall], kit: [routers]}\n"
        "pictures: {sources: {wide: hall 1}, destinations: {program: hall 1}, on air: [program]}\n"
        "limits: [every kit output 1 source at most 4]\n"
        "protect: [{of: routers, points: [output 1 source], because: it is}]\n"
    )
    with pytest.raises(FileError) as caught:
        read(text)
    assert caught.value.path == "devices.hall.box"


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileError, match=r"the file can't be read: No such file or directory\. Look at its name"):
        load_site(tmp_path / "no.yaml", KINDS, PARTS)


BITS: Final = st.sampled_from(
    [
        *("{}", "[]", '""', "hall 1", "iso", "iso-1", "[iso]", "{a: b}", "mixer bus 3 level at most 0 dB", "~", "0"),
        *("{box: text-deck, at: 10.0.0.1}", "{iso-1: {box: text-deck, at: a}}", "[{points: [iso-1 transport]}]"),
        *("{sources: {a: hall 1}, tie-lines: [a 1 to b 2]}", "{iso: [iso]}", "{a: {sees: a}}", "{broker: external}"),
    ]
)
KEYS: Final = st.sampled_from(
    [
        "site",
        "devices",
        "groups",
        "pictures",
        "sound",
        "stations",
        "limits",
        "protect",
        "people",
        "mqtt",
        "http",
        "scenes",
        "alarms",
    ]
)


@given(st.dictionaries(KEYS, BITS, max_size=11))
def test_any_table_is_a_site_or_file_errors(entries: dict[str, str]) -> None:
    text = "\n".join(f"{key}: {value}" for key, value in entries.items()) or "{}"
    try:
        read(text)
    except (FileError, FileErrors) as error:
        assert "site.yaml" in str(error)  # noqa: PT017 - either is right
