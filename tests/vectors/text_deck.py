"""What does a text deck write, and what do we write to it? Rows typed in, none made by the code under test."""

from typing import Any, Final

from stagectl_drivers.text_deck.codec import Message, Noise, Request

SHEET: Final = "text-deck sheet, from memory of public documentation"
OWN: Final = "own construction"


def message(code: int, text: str, params: tuple[tuple[str, str], ...] = ()) -> Message:
    """A message with these names and values."""
    return Message(code, text, tuple(name for name, _ in params), tuple(value for _, value in params))


FEED: Final[list[tuple[str, bytes, list[Message | Noise], str]]] = [
    # id, wire, events, source
    ("ok", b"200 ok\r\n", [message(200, "ok")], SHEET),
    ("lone line feed", b"200 ok\n", [message(200, "ok")], SHEET),
    ("failure", b"111 remote control disabled\r\n", [message(111, "remote control disabled")], SHEET),
    ("rejected", b"120 connection rejected\r\n", [message(120, "connection rejected")], SHEET),
    ("code alone", b"200\r\n", [message(200, "")], OWN),
    ("unknown code", b"599 new thing\r\n", [message(599, "new thing")], OWN),
    ("unknown class", b"301 elsewhere\r\n", [message(301, "elsewhere")], OWN),
    (
        "greeting",
        b"500 connection info:\r\nprotocol version: 1.11\r\nmodel: Disk Recorder\r\n\r\n",
        [message(500, "connection info", (("protocol version", "1.11"), ("model", "Disk Recorder")))],
        SHEET,
    ),
    (
        "transport",
        b"208 transport info:\r\nstatus: record\r\nspeed: 100\r\ndisplay timecode: 10:00:00;02\r\n\r\n",
        [message(208, "transport info", (("status", "record"), ("speed", "100"), ("display timecode", "10:00:00;02")))],
        SHEET,
    ),
    ("no parameters", b"209 notify:\r\n\r\n", [message(209, "notify")], OWN),
    (
        "empty value",
        b"202 slot info:\r\nslot id: 1\r\nvolume name:\r\nstatus: empty\r\n\r\n",
        [message(202, "slot info", (("slot id", "1"), ("volume name", ""), ("status", "empty")))],
        OWN,
    ),
    (
        "colons in a value",
        b"502 slot info:\nvolume name: a: b\n\n",
        [message(502, "slot info", (("volume name", "a: b"),))],
        OWN,
    ),
    (
        "clips",
        (
            b"205 clips info:\r\nclip count: 2\r\n1: Take one 10:00:00:00 00:00:10:00\r\n"
            b"2: B 10:01:00:00 00:00:05:00\r\n\r\n"
        ),
        [
            message(
                205,
                "clips info",
                (
                    ("clip count", "2"),
                    ("1", "Take one 10:00:00:00 00:00:10:00"),
                    ("2", "B 10:01:00:00 00:00:05:00"),
                ),
            )
        ],
        SHEET,
    ),
    ("token", b"216 format ready:\r\nA1B2C3\r\n\r\n", [message(216, "format ready", (("", "A1B2C3"),))], SHEET),
    (
        "notice between replies",
        b"508 transport info:\r\nstatus: record\r\n\r\n200 ok\r\n",
        [message(508, "transport info", (("status", "record"),)), message(200, "ok")],
        SHEET,
    ),
    (
        "forgotten end of a block",
        b"508 transport info:\r\nstatus: play\r\n200 ok\r\n",
        [message(508, "transport info", (("status", "play"),)), message(200, "ok")],
        OWN,
    ),
    (
        "block into block",
        b"508 transport info:\r\nstatus: play\r\n502 slot info:\r\nslot id: 2\r\n\r\n",
        [message(508, "transport info", (("status", "play"),)), message(502, "slot info", (("slot id", "2"),))],
        OWN,
    ),
    (
        "block ended by spaces",
        b"510 remote info:\r\nenabled: true\r\n  \r\n200 ok\r\n",
        [message(510, "remote info", (("enabled", "true"),)), message(200, "ok")],
        OWN,
    ),
    ("empty lines", b"\r\n\r\n  \r\n200 ok\r\n", [message(200, "ok")], OWN),
    ("no code", b"hello\r\n", [Noise("hello")], OWN),
    ("no space after the code", b"2000 ok\r\n20 ok\r\n", [Noise("2000 ok"), Noise("20 ok")], OWN),
    ("code of other digits", "\u0662\u0660\u0660 ok\r\n".encode(), [Noise("\u0662\u0660\u0660 ok")], OWN),
    ("zero byte", b"200 o\0k\r\n200 ok\r\n", [Noise("200 o\0k"), message(200, "ok")], OWN),
    ("lone carriage return", b"200 ok\r200 ok\r\n", [Noise("200 ok\r200 ok")], OWN),
    (
        "noise inside a block",
        b"510 remote info:\r\n\x07\r\nenabled: true\r\n\r\n",
        [Noise("\x07"), message(510, "remote info", (("enabled", "true"),))],
        OWN,
    ),
    ("broken text", b"108 \xff\xfe\r\n", [message(108, "\ufffd\ufffd")], OWN),
    (
        "text beyond ASCII",
        "502 slot info:\r\nvolume name: B\u00fchne\u2028 \u4e00\r\n\r\n".encode(),
        [message(502, "slot info", (("volume name", "B\u00fchne\u2028 \u4e00"),))],
        OWN,
    ),
    ("incomplete", b"508 transport info:\r\nstatus: record\r\n", [], OWN),
]

WRITTEN: Final = [
    # request, wire, source
    (Request("ping"), b"ping\r\n", SHEET),
    (Request("record", (("name", "Take 1"),)), b"record:\r\nname: Take 1\r\n\r\n", SHEET),
    (
        Request("clips get", (("clip id", "1"), ("count", "100"))),
        b"clips get:\r\nclip id: 1\r\ncount: 100\r\n\r\n",
        SHEET,
    ),
    (
        Request("notify", (("transport", "true"), ("slot", "true"))),
        b"notify:\r\ntransport: true\r\nslot: true\r\n\r\n",
        SHEET,
    ),
    (Request("record", (("name", "B\u00fchne"),)), "record:\r\nname: B\u00fchne\r\n\r\n".encode(), OWN),
]

REFUSED_TO_WRITE: Final = [
    Request("stop\r\nrecord"),
    Request("stop\nrecord"),
    Request("record", (("name", "a\r\n\r\nstop"),)),
    Request("record", (("name", "a\nb"),)),
    Request("record", (("name", "a\rb"),)),
    Request("record", (("name", "a\0b"),)),
    Request("record", (("na\nme", "a"),)),
    Request("record", (("na:me", "a"),)),
    Request("record", (("", "a"),)),
    Request("record:"),
    Request(""),
    Request("record", (("name", "\ud800"),)),
]

POINTS: Final[list[tuple[bytes, Request | None, dict[str, Any], str]]] = [
    # wire, what was asked (None: a notice), points that are known then, source; transport words in the sheet's order
    (b"508 transport info:\nstatus: preview\n\n", None, {"transport": "preview"}, SHEET),
    (b"508 transport info:\nstatus: stopped\n\n", None, {"transport": "stopped"}, SHEET),
    (b"508 transport info:\nstatus: play\n\n", None, {"transport": "playing"}, SHEET),
    (b"508 transport info:\nstatus: forward\n\n", None, {"transport": "shuttling"}, SHEET),
    (b"508 transport info:\nstatus: rewind\n\n", None, {"transport": "shuttling"}, SHEET),
    (b"508 transport info:\nstatus: jog\n\n", None, {"transport": "cueing"}, SHEET),
    (b"508 transport info:\nstatus: shuttle\n\n", None, {"transport": "shuttling"}, SHEET),
    (b"508 transport info:\nstatus: record\n\n", None, {"transport": "recording"}, SHEET),
    (b"508 transport info:\nspeed: 100\n\n", None, {"speed": 1.0}, SHEET),
    (b"508 transport info:\nspeed: -5000\n\n", None, {"speed": -50.0}, SHEET),
    (b"508 transport info:\nslot id: 2\n\n", None, {"slot.active": 2}, SHEET),
    (b"508 transport info:\nclip id: 7\n\n", None, {"clip.at": 7}, SHEET),
    (b"508 transport info:\ndisplay timecode: 10:00:00:24\n\n", None, {"timecode": "10:00:00:24"}, SHEET),
    (b"508 transport info:\ndisplay timecode: 10:00:00;28\n\n", None, {"timecode": "10:00:00;28"}, SHEET),
    (b"508 transport info:\ntimecode: 00:00:01:00\n\n", None, {"timecode": "00:00:01:00"}, SHEET),
    (
        b"508 transport info:\ntimecode: 00:00:01:00\ndisplay timecode: 10:00:00:00\n\n",
        None,
        {"timecode": "10:00:00:00"},
        OWN,
    ),
    (
        b"508 transport info:\ninput video format: 1080p25\n\n",
        None,
        {"input.format": "1080p25", "input.present": True},
        SHEET,
    ),
    (
        b"508 transport info:\ninput video format: none\n\n",
        None,
        {"input.format": "none", "input.present": False},
        SHEET,
    ),
    (
        (
            b"208 transport info:\nstatus: record\nspeed: 100\nslot id: 1\nclip id: 3\nsingle clip: false\n"
            b"display timecode: 10:00:00:00\ntimecode: 00:00:00:00\nvideo format: 1080p50\nloop: false\n"
            b"input video format: 1080p50\ntimeline: 0\ndynamic range: none\n\n"
        ),
        Request("transport info"),
        {
            "transport": "recording",
            "speed": 1.0,
            "slot.active": 1,
            "clip.at": 3,
            "timecode": "10:00:00:00",
            "input.format": "1080p50",
            "input.present": True,
        },
        SHEET,
    ),
    (b"502 slot info:\nslot id: 1\nstatus: empty\n\n", None, {"slot.1.state": "empty"}, SHEET),
    (b"502 slot info:\nslot id: 1\nstatus: mounting\n\n", None, {"slot.1.state": "mounting"}, SHEET),
    (b"502 slot info:\nslot id: 2\nstatus: error\n\n", None, {"slot.2.state": "error"}, SHEET),
    (b"502 slot info:\nslot id: 2\nstatus: mounted\n\n", None, {"slot.2.state": "ready"}, SHEET),
    (b"502 slot info:\nslot id: 1\nvolume name: Disk A\n\n", None, {"slot.1.name": "Disk A"}, SHEET),
    (b"502 slot info:\nslot id: 1\nrecording time: 3600\n\n", None, {"slot.1.left": 3600}, SHEET),
    (b"502 slot info:\nslot id: 1\nremaining size: 500000000000\n\n", None, {"slot.1.free": 500_000_000_000}, SHEET),
    (
        b"202 slot info:\nstatus: mounted\nrecording time: 9\n\n",
        Request("slot info", (("slot id", "2"),)),
        {"slot.2.state": "ready", "slot.2.left": 9},
        OWN,
    ),
    (b"510 remote info:\nenabled: true\noverride: false\n\n", None, {"remote": True}, SHEET),
    (b"510 remote info:\nenabled: false\n\n", None, {"remote": False}, SHEET),
    (b"210 remote info:\nenabled: true\noverride: false\n\n", Request("remote"), {"remote": True}, SHEET),
    (b"511 configuration:\nvideo input: SDI\n\n", None, {"input.source": "SDI"}, SHEET),
    (b"511 configuration:\nfile format: codec-a in-b\n\n", None, {"record.codec": "codec-a in-b"}, SHEET),
    (b"511 configuration:\ntimecode input: external\n\n", None, {"timecode.source": "external"}, SHEET),
    (b"511 configuration:\naudio input channels: 8\n\n", None, {"record.channels": 8}, SHEET),
    (
        b"211 configuration:\naudio input: embedded\nvideo input: HDMI\nfile format: x\ntimecode input: preset\n\n",
        Request("configuration"),
        {"input.source": "HDMI", "record.codec": "x", "timecode.source": "preset"},
        SHEET,
    ),
    (
        b"500 connection info:\nprotocol version: 1.11\nmodel: Disk Recorder\n\n",
        None,
        {"identity.model": "Disk Recorder"},
        SHEET,
    ),
    (
        (
            b"204 device info:\nprotocol version: 1.11\nmodel: M\nunique id: 00aa\nslot count: 2\n"
            b"software version: 7.4\n\n"
        ),
        Request("device info"),
        {"identity.model": "M", "identity.serial": "00aa", "identity.version": "7.4"},
        SHEET,
    ),
    (
        b"204 device info:\nprotocol version: 1.6\nmodel: M\nunique id: 00aa\n\n",
        Request("device info"),
        {"identity.model": "M", "identity.serial": "00aa", "identity.version": "protocol 1.6"},
        SHEET,
    ),
    (b"214 clips count:\nclip count: 12\n\n", Request("clips count"), {"clip.count": 12}, SHEET),
    (b"214 clips count:\nclip count: 0\n\n", Request("clips count"), {"clip.count": 0}, SHEET),
    (
        b"216 format ready:\nA1B2\n\n",
        Request("format", (("prepare", "exFAT"),)),
        {"format.token": "A1B2"},
        SHEET,
    ),
    (b"513 dropped frames:\ndropped frames: 3\n\n", None, {"dropped": 3}, "text from memory, number of the notice not"),
    (b"599 dropped frames: 4\n", None, {"dropped": 4}, OWN),
    (
        b"513 display timecode:\ndisplay timecode: 10:00:00:05\n\n",
        None,
        {"timecode": "10:00:00:05"},
        "text from memory, number of the notice not",
    ),
    (b"577 transport info:\nstatus: play\n\n", None, {"transport": "playing"}, OWN),
    (b"111 remote control disabled\n", Request("record"), {"remote": False}, OWN),
]

UNKNOWN_POINTS: Final[list[tuple[bytes, Request | None, str, str]]] = [
    # wire, what was asked, the point that is not known, the raw text it keeps
    (b"508 transport info:\nstatus: warp\n\n", None, "transport", "warp"),
    (b"508 transport info:\nspeed: fast\n\n", None, "speed", "fast"),
    (b"508 transport info:\nslot id: none\n\n", None, "slot.active", "none"),
    (b"508 transport info:\nclip id: none\n\n", None, "clip.at", "none"),
    (b"508 transport info:\ndisplay timecode: --:--:--:--\n\n", None, "timecode", "--:--:--:--"),
    (b"508 transport info:\ndisplay timecode: 25:00:00:00\n\n", None, "timecode", "25:00:00:00"),
    (b"508 transport info:\ninput video format:\n\n", None, "input.present", ""),
    (b"502 slot info:\nslot id: 1\nstatus: humming\n\n", None, "slot.1.state", "humming"),
    (b"502 slot info:\nslot id: 1\nrecording time: -1\n\n", None, "slot.1.left", "-1"),
    (b"510 remote info:\nenabled: maybe\n\n", None, "remote", "maybe"),
    (b"511 configuration:\nvideo input:\n\n", None, "input.source", ""),
    (b"513 dropped frames:\n\n", None, "dropped", "dropped frames"),
    (b"214 clips count:\nclip count: many\n\n", Request("clips count"), "clip.count", "many"),
    (b"214 clips count:\nclip count: 0\n\n", Request("clips count"), "clip.name", "no clip"),
    (b"200 ok\n", Request("format", (("confirm", "A1"),)), "format.token", "used"),
    (b"161 invalid token\n", Request("format", (("confirm", "A1"),)), "format.token", "invalid token"),
]

FAILURES: Final = [
    # code, text, a word of the sentence that tells it from the others
    (100, "syntax error", "read this request"),
    (101, "unsupported parameter", "parameter"),
    (102, "invalid value", "does not take this value"),
    (103, "unsupported", "can't do this"),
    (104, "disk full", "full"),
    (105, "no disk", "no medium"),
    (106, "disk error", "medium is in error"),
    (107, "timeline empty", "empty"),
    (108, "internal error", "inside"),
    (109, "out of range", "range"),
    (110, "no input", "input picture"),
    (111, "remote control disabled", "remote control is off"),
    (112, "clip not found", "find this clip"),
    (150, "invalid state", "state"),
    (151, "invalid codec", "codec"),
    (160, "invalid format", "file system"),
    (161, "invalid token", "token"),
    (162, "format not prepared", "not prepared"),
    (199, "never heard of", 'says "never heard of"'),
]

CLIP_LINES: Final = [
    # line of a list, name, start, duration, source
    ("Take one 10:00:00:00 00:00:10:00", "Take one", "10:00:00:00", "00:00:10:00", SHEET),
    ("A  b 10:00:00;00 00:00:10;00", "A  b", "10:00:00;00", "00:00:10;00", OWN),
    ("10:00:00:00 00:00:10:00 10:00:01:00 10:00:09:00 Take one", "Take one", "10:00:00:00", "00:00:10:00", SHEET),
]
