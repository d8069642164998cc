"""What stands on the wire of a block router, and which events is it? Typed in by hand, never made by the codec."""

from typing import Final

from stagectl_drivers.block_router.codec import Ack, Block, Change, Event, Nak, Noise, Ping, Query, Request

SHEET: Final = "block-text protocol of matrix routers, versions 2.3 to 2.8, from memory of public documentation"
OWN: Final = "own construction"

FEED: Final[list[tuple[str, bytes, list[Event], str]]] = [
    # id, wire, events, source
    ("preamble", b"PROTOCOL PREAMBLE:\nVersion: 2.3\n\n", [Block("PROTOCOL PREAMBLE:", ("Version: 2.3",))], SHEET),
    (
        "device",
        (
            b"ROUTER DEVICE:\nDevice present: true\nModel name: Demo 16x16\nUnique ID: 7c2e0d021714\nVideo inputs: 16\n"
            b"Video processing units: 0\nVideo outputs: 16\nVideo monitoring outputs: 0\nSerial ports: 0\n\n"
        ),
        [
            Block(
                "ROUTER DEVICE:",
                (
                    "Device present: true",
                    "Model name: Demo 16x16",
                    "Unique ID: 7c2e0d021714",
                    "Video inputs: 16",
                    "Video processing units: 0",
                    "Video outputs: 16",
                    "Video monitoring outputs: 0",
                    "Serial ports: 0",
                ),
            )
        ],
        SHEET,
    ),
    (
        "another maker's word, not in capitals",
        b"Matrixbox DEVICE:\nDevice present: needs_update\n\n",
        [Block("Matrixbox DEVICE:", ("Device present: needs_update",))],
        OWN,
    ),
    (
        "input labels: empty, spaces, UTF-8, a trailing space",
        "INPUT LABELS:\n0 Camera 1\n1 \n2\n3  Bühne links \n\n".encode(),
        [Block("INPUT LABELS:", (), ((1, "Camera 1"), (2, ""), (3, ""), (4, " Bühne links ")))],
        SHEET,
    ),
    (
        "a label with a line end of another script stays one label",
        "OUTPUT LABELS:\n0 a\u2028b\x0bc\n\n".encode(),
        [Block("OUTPUT LABELS:", (), ((1, "a\u2028b\x0bc"),))],
        OWN,
    ),
    (
        "a label that is no UTF-8",
        b"OUTPUT LABELS:\n0 B\xfchne\n\n",
        [Block("OUTPUT LABELS:", (), ((1, "B\ufffdhne"),))],
        OWN,
    ),
    (
        "labels that look like other things",
        b"INPUT LABELS:\n0 ACK\n1 INPUT LABELS:\n2 7\n\n",
        [Block("INPUT LABELS:", (), ((1, "ACK"), (2, "INPUT LABELS:"), (3, "7")))],
        OWN,
    ),
    (
        "locks",
        b"VIDEO OUTPUT LOCKS:\n0 U\n1 O\n2 L\n\n",
        [Block("VIDEO OUTPUT LOCKS:", (), ((1, "U"), (2, "O"), (3, "L")))],
        SHEET,
    ),
    (
        "routing counts both columns from one",
        b"VIDEO OUTPUT ROUTING:\n0 3\n1 3\n15 0\n\n",
        [Block("VIDEO OUTPUT ROUTING:", (), ((1, 4), (2, 4), (16, 1)))],
        SHEET,
    ),
    (
        "rows that can't be read",
        "VIDEO OUTPUT ROUTING:\n0 -1\n1 none\nTake: 3\n-1 2\n٣ 3\n4 \n123456 1\n\n".encode(),
        [Block("VIDEO OUTPUT ROUTING:", ("Take: 3", "-1 2", "٣ 3", "123456 1"), ((1, "-1"), (2, "none"), (5, "")))],
        OWN,
    ),
    (
        "monitoring outputs are kept as lines",
        b"VIDEO MONITORING OUTPUT ROUTING:\n0 1\n\n",
        [Block("VIDEO MONITORING OUTPUT ROUTING:", ("0 1",))],
        SHEET,
    ),
    (
        "configuration",
        b"CONFIGURATION:\nTake Mode: true\n\n",
        [Block("CONFIGURATION:", ("Take Mode: true",))],
        SHEET,
    ),
    ("end of the prelude", b"END PRELUDE:\n\n", [Block("END PRELUDE:")], SHEET),
    ("a block nobody knows", b"QUANTUM PORTS 2:\n0 x\n\n", [Block("QUANTUM PORTS 2:", ("0 x",))], OWN),
    ("ack", b"ACK\n\n", [Ack()], SHEET),
    ("nak", b"NAK\n\n", [Nak()], SHEET),
    (
        "CR LF",
        b"ACK\r\n\r\nVIDEO OUTPUT ROUTING:\r\n0 3\r\n\r\n",
        [Ack(), Block("VIDEO OUTPUT ROUTING:", (), ((1, 4),))],
        SHEET,
    ),
    ("a line outside any block", b"hello\nUnique ID:\n\n\n", [Noise("hello"), Noise("Unique ID:")], OWN),
    (
        "a head with a control sign is none: it could not be asked for",
        b"ROUT\x05R DEVICE:\nVIDEO \x7fINPUTS:\n\n",
        [Noise("ROUT\x05R DEVICE:"), Noise("VIDEO \x7fINPUTS:")],
        OWN,
    ),
    (
        "a block torn off before an answer",
        b"VIDEO OUTPUT ROUTING:\n0 3\n1 4\nACK\n\n",
        [Block("VIDEO OUTPUT ROUTING:", (), ((1, 4), (2, 5))), Ack()],
        OWN,
    ),
    (
        "blocks torn off before the next",
        b"INPUT LABELS:\n0 CAM:\nVIDEO OUTPUT LOCKS:\n0 U\nNAK\n\nEND PRELUDE:\nVIDEO OUTPUT LOCKS:\n1 L\n\n",
        [
            Block("INPUT LABELS:", (), ((1, "CAM:"),)),
            Block("VIDEO OUTPUT LOCKS:", (), ((1, "U"),)),
            Nak(),
            Block("END PRELUDE:"),
            Block("VIDEO OUTPUT LOCKS:", (), ((2, "L"),)),
        ],
        OWN,
    ),
    (
        "worked exchange, the router's side",
        b"ACK\n\nVIDEO OUTPUT ROUTING:\n0 3\n1 3\n\n",
        [Ack(), Block("VIDEO OUTPUT ROUTING:", (), ((1, 4), (2, 4)))],
        SHEET,
    ),
]

ENCODE: Final[list[tuple[str, Request, bytes, str]]] = [
    # id, request, wire, source
    (
        "worked exchange, our side: a salvo",
        Change("VIDEO OUTPUT ROUTING:", ((1, 4), (2, 4))),
        b"VIDEO OUTPUT ROUTING:\n0 3\n1 3\n\n",
        SHEET,
    ),
    ("route", Change("VIDEO OUTPUT ROUTING:", ((4, 8),)), b"VIDEO OUTPUT ROUTING:\n3 7\n\n", SHEET),
    ("label", Change("INPUT LABELS:", ((1, "Camera 1"),)), b"INPUT LABELS:\n0 Camera 1\n\n", SHEET),
    ("empty label", Change("OUTPUT LABELS:", ((2, ""),)), b"OUTPUT LABELS:\n1 \n\n", OWN),
    ("UTF-8 label", Change("OUTPUT LABELS:", ((2, "Bühne"),)), b"OUTPUT LABELS:\n1 B\xc3\xbchne\n\n", SHEET),
    ("lock", Change("VIDEO OUTPUT LOCKS:", ((4, "O"),)), b"VIDEO OUTPUT LOCKS:\n3 O\n\n", SHEET),
    ("unlock", Change("VIDEO OUTPUT LOCKS:", ((4, "U"),)), b"VIDEO OUTPUT LOCKS:\n3 U\n\n", SHEET),
    ("query", Query("VIDEO OUTPUT ROUTING:"), b"VIDEO OUTPUT ROUTING:\n\n", SHEET),
    ("ping", Ping(), b"PING:\n\n", SHEET),
]

SMUGGLED: Final[list[tuple[str, Request]]] = [
    # id, request that must not reach the wire; own construction
    ("a second command in a label", Change("INPUT LABELS:", ((1, "x\n\nVIDEO OUTPUT ROUTING:\n0 0\n"),))),
    ("a CR in a label", Change("INPUT LABELS:", ((1, "x\ry"),))),
    ("a NUL in a label", Change("INPUT LABELS:", ((1, "x\0"),))),
    ("a line end in a lock", Change("VIDEO OUTPUT LOCKS:", ((1, "U\n0 F"),))),
    ("a line end in a header", Query("INPUT LABELS:\n0 x")),
    ("output 0", Change("VIDEO OUTPUT ROUTING:", ((0, 1),))),
    ("source 0", Change("VIDEO OUTPUT ROUTING:", ((1, 0),))),
    ("a source in words", Change("VIDEO OUTPUT ROUTING:", ((1, "1"),))),
    ("no row", Change("VIDEO OUTPUT ROUTING:", ())),
    ("a label without end", Change("INPUT LABELS:", ((1, "x" * 5000),))),
]

# A small router's whole state as it comes on connecting; put together from the blocks of the sheet.
PRELUDE: Final = (
    b"PROTOCOL PREAMBLE:\nVersion: 2.3\n\n"
    b"ROUTER DEVICE:\nDevice present: true\nModel name: Demo 4x3\nFriendly name: Hall\nUnique ID: 7c2e0d021714\n"
    b"Video inputs: 4\nVideo processing units: 0\nVideo outputs: 3\nVideo monitoring outputs: 0\nSerial ports: 0\n\n"
    b"INPUT LABELS:\n0 Stage left\n1 Stage right\n2 Hands\n3 Wide\n\n"
    b"OUTPUT LABELS:\n0 Rec 1\n1 Rec 2\n2 \n\n"
    b"VIDEO OUTPUT LOCKS:\n0 U\n1 O\n2 L\n\n"
    b"VIDEO OUTPUT ROUTING:\n0 0\n1 1\n2 3\n\n"
    b"CONFIGURATION:\nTake Mode: true\n\n"
    b"END PRELUDE:\n\n"
)
