"""Does the terminal read every answer that HTTP/1.1 allows, and refuse what is none? Against bytes on a real socket.

Sources: RFC 9112, sections 4 (status line), 5 (fields), 6 (lengths) and 7.1 (chunks); the chunked rows are also read
by the standard library's http.client, as the other side.
"""

import http.client
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest

from stagectl.cli import wire
from stagectl.cli.client import Client, LostError

OK = b"HTTP/1.1 200 OK\r\n"
GOOD = [
    # id, bytes, status, body, source
    ("length", OK + b"Content-Length: 2\r\n\r\n{}", 200, b"{}", "6.2"),
    ("length, more behind it", OK + b"Content-Length: 2\r\n\r\n{}HTTP/1.1", 200, b"{}", "6.2"),
    ("length twice, the same", OK + b"Content-Length: 2\r\nContent-Length: 2\r\n\r\n{}", 200, b"{}", "6.3, rule 5"),
    ("until the end", OK + b"\r\n{}", 200, b"{}", "6.3, rule 8"),
    ("no reason", b"HTTP/1.1 404 \r\nContent-Length: 0\r\n\r\n", 404, b"", "4"),
    ("no reason, no space", b"HTTP/1.1 404\r\nContent-Length: 0\r\n\r\n", 404, b"", "seen in the wild"),
    ("version 1.0", b"HTTP/1.0 200 OK\r\n\r\n{}", 200, b"{}", "2.5"),
    ("bare line feeds", b"HTTP/1.1 200 OK\nContent-Length: 2\n\n{}", 200, b"{}", "2.2"),
    (
        "continue first",
        b"HTTP/1.1 100 Continue\r\n\r\n" + OK + b"Content-Length: 2\r\n\r\n{}",
        200,
        b"{}",
        "RFC 9110, 15.2",
    ),
    ("no content", b"HTTP/1.1 204 No Content\r\n\r\n", 204, b"", "6.3, rule 1"),
    ("chunks", OK + b"Transfer-Encoding: chunked\r\n\r\n1\r\n{\r\n1\r\n}\r\n0\r\n\r\n", 200, b"{}", "7.1"),
    ("chunk extension", OK + b"Transfer-Encoding: chunked\r\n\r\n2;a=b\r\n{}\r\n0\r\n\r\n", 200, b"{}", "7.1.1"),
    ("trailers", OK + b"Transfer-Encoding: Chunked\r\n\r\n2\r\n{}\r\n0\r\nX-A: b\r\n\r\n", 200, b"{}", "7.1.2"),
    (
        "large chunk, hex",
        OK + b"Transfer-Encoding: chunked\r\n\r\n0A\r\n0123456789\r\n0\r\n\r\n",
        200,
        b"0123456789",
        "7.1",
    ),
]
BAD = [
    # id, bytes, what is said, source
    ("nothing", b"", "ended", "own construction"),
    ("another protocol", b"SSH-2.0-x\r\n", "does not speak HTTP", "own construction"),
    ("another version", b"HTTP/2 200\r\n\r\n", "does not speak HTTP", "own construction"),
    ("cut in the status", b"HTTP/1.1 20", "ended", "8"),
    ("cut in the headers", OK + b"Content-Le", "ended", "8"),
    ("cut in the body", OK + b"Content-Length: 9\r\n\r\n{}", "ended", "8"),
    ("cut in a chunk", OK + b"Transfer-Encoding: chunked\r\n\r\n9\r\n{}", "ended", "8"),
    ("no last chunk", OK + b"Transfer-Encoding: chunked\r\n\r\n2\r\n{}\r\n", "ended", "8"),
    ("chunk too long", OK + b"Transfer-Encoding: chunked\r\n\r\n1\r\n{}\r\n0\r\n\r\n", "longer than it says", "7.1"),
    ("chunk without length", OK + b"Transfer-Encoding: chunked\r\n\r\n-1\r\n\r\n", "no length", "7.1"),
    ("lengths that differ", OK + b"Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}", "twice", "6.3, rule 5"),
    (
        "length and chunks",
        OK + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        "chunks",
        "6.3, rule 3",
    ),
    ("length that is none", OK + b"Content-Length: +2\r\n\r\n{}", "no number", "6.2"),
    ("length beyond all", OK + b"Content-Length: 99999999999\r\n\r\n", "too long", "own choice"),
    ("chunk beyond all", OK + b"Transfer-Encoding: chunked\r\n\r\nFFFFFFFF\r\n", "too long", "own choice"),
    ("unknown coding", OK + b"Transfer-Encoding: gzip\r\n\r\n", "coding", "6.1"),
    ("folded header", OK + b"X-A: b\r\n c\r\n\r\n", "can't be read", "5.2"),
    ("header without colon", OK + b"nothing\r\n\r\n", "can't be read", "5.1"),
    ("endless line", OK + b"X-A: " + b"x" * 70_000, "too long", "own choice"),
    ("endless headers", OK + b"X-A: b\r\n" * 200, "more than", "own choice"),
]


@contextmanager
def answering(data: bytes, size: int = 1 << 20) -> Iterator[tuple[int, list[bytes]]]:
    """A server that reads one request and sends these bytes, so many at a time, then closes."""
    heard: list[bytes] = []
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            line, _ = server.accept()
            with line:
                heard.append(line.recv(65536))
                with suppress(OSError):  # it may have heard enough
                    for at in range(0, len(data), size):
                        line.sendall(data[at : at + size])
                    line.shutdown(socket.SHUT_WR)

        thread = threading.Thread(target=serve)
        thread.start()
        yield server.getsockname()[1], heard
        thread.join(10)


def asked(port: int) -> tuple[int, bytes]:
    with socket.create_connection(("127.0.0.1", port), 10) as sock:
        wire.send(sock, "GET", "/api/v1/now", {"Host": f"127.0.0.1:{port}"}, None)
        return wire.receive(sock)


@pytest.mark.parametrize("size", [1, 1 << 20], ids=["byte by byte", "whole"])
@pytest.mark.parametrize(("data", "status", "body"), [row[1:4] for row in GOOD], ids=[row[0] for row in GOOD])
def test_every_answer_that_may_be_is_read(data: bytes, status: int, body: bytes, size: int) -> None:
    with answering(data, size) as (port, _):
        assert asked(port) == (status, body)


@pytest.mark.parametrize(("data", "status", "body"), [row[1:4] for row in GOOD], ids=[row[0] for row in GOOD])
def test_the_standard_library_reads_them_alike(data: bytes, status: int, body: bytes) -> None:
    with answering(data) as (port, _):
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        line.request("GET", "/api/v1/now")
        answer = line.getresponse()
        assert (answer.status, answer.read()) == (status, body)
        line.close()


@pytest.mark.parametrize(("data", "says"), [row[1:3] for row in BAD], ids=[row[0] for row in BAD])
def test_what_is_no_answer_is_said_to_be_none(data: bytes, says: str) -> None:
    with answering(data) as (port, _), pytest.raises(wire.AnswerError, match=says):
        asked(port)


def test_an_act_whose_answer_is_torn_is_not_known_to_have_happened() -> None:
    with answering(OK + b"Content-Length: 99\r\n\r\n{") as (port, heard), pytest.raises(LostError, match="ended"):
        Client(f"http://127.0.0.1:{port}", who="ines").post("roll", body={"name": "Warm-up"})
    head, _, body = heard[0].partition(b"\r\n\r\n")
    lines = head.split(b"\r\n")
    assert lines[0] == b"POST /api/v1/roll HTTP/1.1"
    assert f"Host: 127.0.0.1:{port}".encode() in lines
    assert b"X-Stage-Who: ines" in lines
    assert f"Content-Length: {len(body)}".encode() in lines
    assert body == b'{"name": "Warm-up"}'


def test_nothing_can_be_smuggled_into_a_request() -> None:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        with pytest.raises(ValueError, match="line end"):
            wire.send(ours, "GET", "/", {"X-Stage-Who": "ines\r\nX: y"}, None)
        theirs.setblocking(False)
        with pytest.raises(BlockingIOError):
            theirs.recv(1)
