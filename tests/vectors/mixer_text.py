"""What stands on the wire of a text mixer, and which events and values is it? Typed in by hand."""

from typing import Final, Literal

from stagectl_drivers.mixer_text.codec import (
    CurrentMemory,
    DeviceInfo,
    Event,
    Get,
    No,
    Noise,
    Notify,
    Ok,
    Put,
    RecallMemory,
    Request,
)

SHEET: Final = "text protocol of digital mixers, common trade practice, from memory"
PROFILE: Final = 'profile "sixteen strips", from memory'
OWN: Final = "own construction"

LEVEL: Final = "DEV:Strip/Fader/Level"
ON: Final = "DEV:Strip/Fader/On"
NAME: Final = "DEV:Strip/Label/Name"

FEED: Final[list[tuple[str, bytes, list[Event], str]]] = [
    # id, wire, events, source
    ("level", b'OK get DEV:Strip/Fader/Level 0 0 -2000 "-20.00"\n', [Ok("get", LEVEL, 0, 0, -2000, "-20.00")], SHEET),
    ("level set", b'OK set DEV:Strip/Fader/Level 0 0 0 "0.00"\n', [Ok("set", LEVEL, 0, 0, 0, "0.00")], SHEET),
    (
        "clamped, flagged",
        b'OKm set DEV:Strip/Fader/Level 0 0 1000 "10.00"\n',
        [Ok("set", LEVEL, 0, 0, 1000, "10.00", modified=True)],
        SHEET,
    ),
    ("switched off", b'OK set DEV:Strip/Fader/On 4 0 0 "OFF"\n', [Ok("set", ON, 4, 0, 0, "OFF")], SHEET),
    (
        "name",
        b'OK set DEV:Strip/Label/Name 4 0 "Host 1" "Host 1"\n',
        [Ok("set", NAME, 4, 0, "Host 1", "Host 1")],
        SHEET,
    ),
    ("name said once", b'OK get DEV:Strip/Label/Name 4 0 "Host 1"\n', [Ok("get", NAME, 4, 0, "Host 1")], OWN),
    ("empty name", b'OK get DEV:Strip/Label/Name 4 0 "" ""\n', [Ok("get", NAME, 4, 0, "", "")], SHEET),
    (
        "name of digits",
        b'OK get DEV:Strip/Label/Name 4 0 "12" "12"\n',
        [Ok("get", NAME, 4, 0, "12", "12")],
        OWN,
    ),
    (
        "UTF-8, and what is none",
        'OK get DEV:Strip/Label/Name 4 0 "Flügel" "Fl"\n'.encode() + b'OK get DEV:Strip/Label/Name 5 0 "Fl\xfcgel"\n',
        [Ok("get", NAME, 4, 0, "Flügel", "Fl"), Ok("get", NAME, 5, 0, "Fl\ufffdgel")],
        SHEET,
    ),
    ("index out of range", b"ERROR get InvalidArgument\n", [No("InvalidArgument", "get")], SHEET),
    ("unknown path", b"ERROR get UnknownAddress\n", [No("UnknownAddress", "get")], SHEET),
    ("unknown command", b"ERROR unknown UnknownCommand\n", [No("UnknownCommand", "unknown")], SHEET),
    (
        "refusal with its echo",
        b"ERROR set DEV:Strip/Fader/Level 0 0 AccessDenied\n",
        [No("AccessDenied", "set", LEVEL)],
        SHEET,
    ),
    ("refusals cut short", b"ERROR\nERROR Busy\n", [No(""), No("Busy")], OWN),
    (
        "fader moved on the panel",
        b'NOTIFY set DEV:Strip/Fader/Level 7 0 -32768 "-INF"\n',
        [Notify("set", LEVEL, 7, 0, -32768, "-INF")],
        SHEET,
    ),
    (
        "second index",
        b'NOTIFY set DEV:Strip/ToMix/Level 3 7 -600 "-6.00"\n',
        [Notify("set", "DEV:Strip/ToMix/Level", 3, 7, -600, "-6.00")],
        PROFILE,
    ),
    ("product name", b'OK devinfo productname "MX16"\n', [Ok("devinfo", "productname", value="MX16")], PROFILE),
    ("version", b'OK devinfo version "1.0"\n', [Ok("devinfo", "version", value="1.0")], PROFILE),
    ("current memory", b"OK sscurrent A 3\n", [Ok("sscurrent", value="A 3")], PROFILE),
    ("memory with its title", b'OK sscurrent A 3 "Opening"\n', [Ok("sscurrent", value="A 3", shown="Opening")], OWN),
    ("memory recalled", b"OK ssrecall A 3\n", [Ok("ssrecall", value="A 3")], PROFILE),
    ("memory recalled by another", b"NOTIFY ssrecall A 3\n", [Notify("ssrecall", value="A 3")], PROFILE),
    ("echo without a value", b"OK set DEV:Strip/Fader/On 4 0\n", [Ok("set", ON, 4, 0)], OWN),
    (
        "more behind the value, more space between",
        b'OK get  DEV:Strip/Fader/Level 0 0 -2000 "-20.00" step 3\n',
        [Ok("get", LEVEL, 0, 0, -2000, "-20.00")],
        OWN,
    ),
    ("a value that is none", b"OK get DEV:Strip/Fader/Level 0 0 -20.5\n", [Ok("get", LEVEL, 0, 0, "-20.5")], OWN),
    (
        "an answer that can't be read",
        b"OK\nOK get\nOKm get DEV:X one 0 3\n",
        [Ok(""), Ok(""), Ok("", modified=True)],
        OWN,
    ),
    ("notices that can't be read", b"NOTIFY\nNOTIFY set DEV:X\n", [Noise("NOTIFY"), Noise("NOTIFY set DEV:X")], OWN),
    (
        "unknown lines",
        b'hello\n\nMETER 00 7F 12\nok get x 0 0\n"\n',
        [Noise("hello"), Noise("METER 00 7F 12"), Noise("ok get x 0 0"), Noise('"')],
        OWN,
    ),
    (
        "CR LF",
        b'\r\nOK set DEV:Strip/Fader/On 4 0 1 "ON"\r\nhello\r\n',
        [Ok("set", ON, 4, 0, 1, "ON"), Noise("hello")],
        SHEET,
    ),
    (
        "line ends of other scripts stay in the name",
        'OK get DEV:Strip/Label/Name 0 0 "a\u2028b\x0bc"\n'.encode(),
        [Ok("get", NAME, 0, 0, "a\u2028b\x0bc")],
        OWN,
    ),
]

ENCODE: Final[list[tuple[str, Request, bytes, str]]] = [
    # id, request, wire, source
    ("get", Get(LEVEL, 0, 0), b"get DEV:Strip/Fader/Level 0 0\n", SHEET),
    ("level", Put(LEVEL, 0, 0, 1200), b"set DEV:Strip/Fader/Level 0 0 1200\n", SHEET),
    ("off", Put(LEVEL, 7, 0, -32768), b"set DEV:Strip/Fader/Level 7 0 -32768\n", SHEET),
    ("switch", Put(ON, 4, 0, 0), b"set DEV:Strip/Fader/On 4 0 0\n", SHEET),
    ("name", Put(NAME, 4, 0, "Host 1"), b'set DEV:Strip/Label/Name 4 0 "Host 1"\n', SHEET),
    ("empty name", Put(NAME, 4, 0, ""), b'set DEV:Strip/Label/Name 4 0 ""\n', SHEET),
    ("send", Put("DEV:Strip/ToMix/Level", 3, 7, -600), b"set DEV:Strip/ToMix/Level 3 7 -600\n", PROFILE),
    ("identity", DeviceInfo("productname"), b"devinfo productname\n", PROFILE),
    ("current memory", CurrentMemory(), b"sscurrent\n", PROFILE),
    ("recall", RecallMemory("A 3"), b"ssrecall A 3\n", PROFILE),
]

SMUGGLED: Final[list[tuple[str, Request]]] = [
    # id, request that must not reach the wire
    ("a second line in a name", Put(NAME, 0, 0, 'x"\nset DEV:Strip/Fader/Level 0 0 1000')),  # SHEET, "Tests"
    ("a line end", Put(NAME, 0, 0, "x\nset")),
    ("a CR", Put(NAME, 0, 0, "x\rset")),
    ("a quote", Put(NAME, 0, 0, 'a "b" c')),
    ("a backslash before the closing quote", Put(NAME, 0, 0, "x\\")),
    ("a NUL", Put(NAME, 0, 0, "\0")),
    ("a path with a space", Get("DEV:X 0", 0, 0)),
    ("no path", Get("", 0, 0)),
    ("an index below zero", Get(LEVEL, -1, 0)),
    ("a second index below zero", Put(LEVEL, 0, -1, 0)),
    ("a memory with a line end", RecallMemory("A 3\nssrecall A 4")),
    ("a memory without a name", RecallMemory("")),
    ("a question of two words", DeviceInfo("a b")),
    ("a name without end", Put(NAME, 0, 0, "x" * 5000)),
]

READ_LEVELS: Final[list[tuple[int, float | Literal["off"]]]] = [
    # wire, dB; SHEET, "Values"
    (-32768, "off"),
    (-13800, -138.0),
    (-2000, -20.0),
    (-5, -0.05),
    (0, 0.0),
    (350, 3.5),
    (1000, 10.0),
]
WRITTEN_LEVELS: Final[list[tuple[float | Literal["off"], int, str]]] = [
    # dB, wire, source
    ("off", -32768, SHEET),
    (-138.0, -13800, SHEET),
    (-20.0, -2000, SHEET),
    (-0.05, -5, SHEET),
    (0.0, 0, SHEET),
    (3.5, 350, SHEET),
    (10.0, 1000, SHEET),
    (12.0, 1000, SHEET),
    (-200.0, -32768, SHEET),
    (float("-inf"), -32768, SHEET),
    (-138.005, -13800, SHEET),  # "below min_finite/100 - 0.005"; a half goes to the lowest step
    (-138.006, -32768, SHEET),
    (0.005, 1, SHEET),  # halves away from zero
    (-0.005, -1, SHEET),
    (1.005, 101, SHEET),  # 100.49999999999999 in binary
    (-1.015, -102, SHEET),
    (0.0049, 0, SHEET),
]

DIALOGUE: Final[list[tuple[Request, bytes, bytes, Event]]] = [
    # request, what we write, what the mixer answers, the event; SHEET, "Dialogue vectors"
    (
        Get(LEVEL, 0, 0),
        b"get DEV:Strip/Fader/Level 0 0\n",
        b'OK get DEV:Strip/Fader/Level 0 0 -2000 "-20.00"\n',
        Ok("get", LEVEL, 0, 0, -2000, "-20.00"),
    ),
    (
        Put(LEVEL, 0, 0, 0),
        b"set DEV:Strip/Fader/Level 0 0 0\n",
        b'OK set DEV:Strip/Fader/Level 0 0 0 "0.00"\n',
        Ok("set", LEVEL, 0, 0, 0, "0.00"),
    ),
    (
        Put(LEVEL, 0, 0, 1200),
        b"set DEV:Strip/Fader/Level 0 0 1200\n",
        b'OKm set DEV:Strip/Fader/Level 0 0 1000 "10.00"\n',
        Ok("set", LEVEL, 0, 0, 1000, "10.00", modified=True),
    ),
    (
        Put(ON, 4, 0, 0),
        b"set DEV:Strip/Fader/On 4 0 0\n",
        b'OK set DEV:Strip/Fader/On 4 0 0 "OFF"\n',
        Ok("set", ON, 4, 0, 0, "OFF"),
    ),
    (
        Put(NAME, 4, 0, "Host 1"),
        b'set DEV:Strip/Label/Name 4 0 "Host 1"\n',
        b'OK set DEV:Strip/Label/Name 4 0 "Host 1" "Host 1"\n',
        Ok("set", NAME, 4, 0, "Host 1", "Host 1"),
    ),
    (
        Get(LEVEL, 999, 0),
        b"get DEV:Strip/Fader/Level 999 0\n",
        b"ERROR get InvalidArgument\n",
        No("InvalidArgument", "get"),
    ),
    (Get("DEV:No/Such", 0, 0), b"get DEV:No/Such 0 0\n", b"ERROR get UnknownAddress\n", No("UnknownAddress", "get")),
]

INTERLEAVED: Final = (  # SHEET, "Interleaving vector": two gets are open, a notice comes first
    b'NOTIFY set DEV:Strip/Fader/Level 1 0 -500 "-5.00"\n'
    b'OK get DEV:Strip/Fader/Level 0 0 -2000 "-20.00"\n'
    b'OK get DEV:Strip/Fader/Level 1 0 -500 "-5.00"\n'
)

REFUSALS: Final = [
    "UnknownAddress",
    "InvalidArgument",
    "UnknownCommand",
    "AccessDenied",
    "Busy",
]  # SHEET, "Driver profile"

# wire path, wire x, wire y, wire value, point, value; PROFILE: one row a path, first and last index
PARAMETERS: Final[list[tuple[str, int, int, int | str, str, object]]] = [
    ("DEV:Strip/Fader/Level", 0, 0, -2000, "strip.1.level", -20.0),
    ("DEV:Strip/Fader/Level", 15, 0, -32768, "strip.16.level", "off"),
    ("DEV:Strip/Fader/On", 4, 0, 1, "strip.5.muted", False),
    ("DEV:Strip/Fader/On", 4, 0, 0, "strip.5.muted", True),
    ("DEV:Strip/Label/Name", 4, 0, "Host 1", "strip.5.name", "Host 1"),
    ("DEV:Strip/Label/Name", 15, 0, "", "strip.16.name", ""),
    ("DEV:Strip/Pan/Position", 0, 0, -63, "strip.1.pan", -1.0),
    ("DEV:Strip/Pan/Position", 1, 0, 0, "strip.2.pan", 0.0),
    ("DEV:Strip/Pan/Position", 2, 0, 63, "strip.3.pan", 1.0),
    ("DEV:Strip/ToMix/Level", 0, 7, 350, "strip.1.send.8.level", 3.5),
    ("DEV:Strip/ToMix/Level", 15, 0, -600, "strip.16.send.1.level", -6.0),
    ("DEV:Mix/Fader/Level", 0, 0, 0, "bus.1.level", 0.0),
    ("DEV:Mix/Fader/Level", 7, 0, 1000, "bus.8.level", 10.0),
    ("DEV:Mix/Fader/On", 3, 0, 0, "bus.4.muted", True),
    ("DEV:Mix/Label/Name", 2, 0, "Bench", "bus.3.name", "Bench"),
    ("DEV:Meter/Strip", 15, 0, -4200, "strip.16.meter", -42.0),
    ("DEV:Meter/Strip", 0, 0, -32768, "strip.1.meter", "off"),
]
