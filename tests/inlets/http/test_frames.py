"""Are the frames and chunks that go round the library what their standards say?

Source: RFC 6455, section 5.7 (examples of frames); RFC 9112, section 7.1 (chunks); the event stream from memory of
the HTML standard.
"""

import pytest

from stagectl.inlets.http.frames import Message, chunk, close_frame, websocket_frame

ROWS = [
    ("Hello", b"Hello", bytes.fromhex("81 05 48 65 6c 6c 6f")),
    ("nothing", b"", bytes.fromhex("81 00")),
    ("125 bytes", b"a" * 125, bytes.fromhex("81 7d") + b"a" * 125),
    ("126 bytes", b"a" * 126, bytes.fromhex("81 7e 00 7e") + b"a" * 126),
    ("256 bytes", b"a" * 256, bytes.fromhex("81 7e 01 00") + b"a" * 256),
    ("65535 bytes", b"a" * 65535, bytes.fromhex("81 7e ff ff") + b"a" * 65535),
    ("64 KiB", b"a" * 65536, bytes.fromhex("81 7f 00 00 00 00 00 01 00 00") + b"a" * 65536),
]


@pytest.mark.parametrize(("payload", "frame"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS])
def test_a_text_frame_is_as_the_standard_has_it(payload: bytes, frame: bytes) -> None:
    assert websocket_frame(payload) == frame


def test_a_goodbye_carries_its_code() -> None:
    assert close_frame(1001) == bytes.fromhex("88 02 03 e9")


def test_a_chunk_tells_its_length_in_hexadecimal() -> None:
    assert chunk(b"a" * 26) == b"1a\r\n" + b"a" * 26 + b"\r\n"


def test_an_event_has_its_id_name_and_one_line_of_data() -> None:
    message = Message("changes", "3-815", '{"is":"changes"}')
    assert message.event == b'id: 3-815\nevent: changes\ndata: {"is":"changes"}\n\n'
    assert message.event_chunk == chunk(message.event)
