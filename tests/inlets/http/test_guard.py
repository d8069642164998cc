"""What does not get past the door? Foreign names and pages, bodies that are no JSON, too large, too slow, too many.

Source: own construction after RFC 9110 (405 and Allow, 415, 421), RFC 9457 (problem body) and common attacks: DNS
rebinding, cross-site forms, smuggled requests, slow headers.
"""

import asyncio
import gzip
import json
from typing import Any

import pytest
from structlog.testing import capture_logs

from stagectl.inlets.http import connection, guard, server
from stagectl.inlets.http.problems import CONTENT_TYPE
from stagectl.model.errors import SiteError
from tests.inlets.http.conftest import Front

GOOD = b"POST /api/v1/roll HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"


async def raw(front: Front, text: bytes, *, close: bool = True) -> tuple[int, dict[str, str], bytes]:
    """Send bytes as they are; return status, headers and body of the first answer. Status 0: closed without one."""
    reader, writer = await asyncio.open_connection("127.0.0.1", front.server.port)
    try:
        writer.write(text)
        async with asyncio.timeout(10):
            try:
                head = await reader.readuntil(b"\r\n\r\n")
            except (asyncio.IncompleteReadError, ConnectionError):
                return 0, {}, b""
            first, *lines = head.decode().split("\r\n")
            headers = {
                name.lower(): value.strip() for name, _, value in (line.partition(":") for line in lines if line)
            }
            body = await reader.readexactly(int(headers.get("content-length", 0)))
            if close and headers.get("connection") == "close":
                assert await reader.read() == b"", "one answer, then the end"
        return int(first.split()[1]), headers, body
    finally:
        writer.transport.abort()


def is_problem(headers: dict[str, str], body: bytes) -> dict[str, Any]:
    assert headers["content-type"] == CONTENT_TYPE
    problem: dict[str, Any] = json.loads(body)
    assert {"type", "title", "status", "detail", "code", "remedy"} <= set(problem)
    assert problem["detail"].endswith((".", "?"))
    return problem


# -- names and pages --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8420", "127.0.0.1", "127.9.9.9:1", "[::1]", "[::1]:8420"])
async def test_this_machines_own_names_are_answered(front: Front, host: str) -> None:
    status, _, _ = await raw(front, f"GET /livez HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
    assert status == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "localhost.evil.example",
        "10.0.5.1",
        "0.0.0.0",
        "",
        "127.0.0.1.nip.example",
        "localhost:x",
        "[::1",
    ],
)
async def test_a_foreign_name_is_answered_before_any_route(front: Front, host: str) -> None:
    for path in ("/livez", "/nowhere"):
        status, headers, body = await raw(front, f"GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
        assert status == 421
        assert is_problem(headers, body)["code"] == "host"


async def test_a_request_without_or_with_two_names_is_refused(front: Front) -> None:
    for lines in (b"", b"Host: localhost\r\nHost: evil.example\r\n"):
        status, _, _ = await raw(front, b"GET /livez HTTP/1.1\r\n" + lines + b"\r\n")
        assert status in (400, 421)


@pytest.mark.parametrize(
    "origin",
    ["http://evil.example", "null", "https://localhost", "http://localhost:1", "http://127.0.0.1.evil.example"],
)
async def test_a_page_from_elsewhere_may_not_ask(front: Front, origin: str) -> None:
    async with front.session.post("/api/v1/roll", headers={"Origin": origin}) as answer:
        assert answer.status == 403
        assert (await answer.json(content_type=None))["code"] == "origin"
    assert front.toys.asked() == []


async def test_a_page_of_its_own_may_ask(front: Front) -> None:
    async with front.session.post("/api/v1/roll", headers={"Origin": front.server.url}) as answer:
        assert answer.status == 202


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
async def test_a_form_on_another_page_may_not_act(front: Front, site: str) -> None:
    async with front.session.post("/api/v1/roll", headers={"Sec-Fetch-Site": site}) as answer:
        assert answer.status == 403
    assert front.toys.asked() == []


async def test_every_answer_forbids_framing_and_guessing(front: Front) -> None:
    for path in ("/", "/api/v1/now", "/nowhere"):
        async with front.session.get(path) as answer:
            assert answer.headers["X-Content-Type-Options"] == "nosniff"
            assert answer.headers["X-Frame-Options"] == "DENY"
            assert answer.headers["Server"] == "stagectl"
            assert answer.headers["Cache-Control"] == "no-store"
            policy = answer.headers["Content-Security-Policy"]
            assert all(part in policy for part in ("default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"))
            assert "Access-Control-Allow-Origin" not in answer.headers
            assert "Set-Cookie" not in answer.headers


# -- methods and addresses --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["roll", "cut", "commands/x", "takes/slate", "in/pedal", "devices/iso-1/retry"])
@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
async def test_another_method_is_told_which_are_taken(front: Front, method: str, path: str) -> None:
    async with front.session.request(method, f"/api/v1/{path}") as answer:
        assert answer.status == 405
        assert answer.headers["Allow"]
        assert answer.content_type == CONTENT_TYPE


@pytest.mark.parametrize("path", ["roll", "cut", "takes/1/marks", "in/pedal", "devices/iso-1/retry"])
@pytest.mark.parametrize("method", ["GET", "HEAD"])
async def test_looking_never_acts(front: Front, method: str, path: str) -> None:
    async with front.session.request(method, f"/api/v1/{path}?verb=roll") as answer:
        assert answer.status == 405
        assert answer.headers["Allow"] == "POST"
    assert front.toys.asked() == []


@pytest.mark.parametrize(
    "path",
    [
        "/api/v1/devices/..%2f..%2fetc%2fpasswd",
        "/api/v1/devices/%00",
        "/api/v1/devices/" + "a" * 10_000,
        "/api/v1/devices/con",
        "/api/v1/devices/iso-1/lists/..",
        "/api/v1/points/iso-1/%E2%80%AE",
        "/api/v1/takes/0",
        "/api/v1/takes/-1",
        "/api/v1/takes/99999999999999999999",
        "/api/v1/takes/one",
        "/api/v1/commands/a%20b",
        "/api/v1/scenes/..%2Froll-all",
        "/api/v1/nothing",
        "/../../etc/passwd",
        "/static/../../etc/passwd",
        "/.git/config",
        "/assets/..%2f..%2fpyproject.toml",
    ],
)
async def test_an_address_of_nothing_is_a_problem(front: Front, path: str) -> None:
    status, headers, body = await raw(front, f"GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
    assert status in (400, 404, 414, 431)
    assert is_problem(headers, body)["status"] == status


async def test_an_address_is_decoded_once(front: Front) -> None:
    assert (await front.get("/api/v1/devices/iso%2D1"))[0] == 200
    status, _, _ = await raw(front, b"GET /api/v1/devices/iso%252D1 HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert status == 404


@pytest.mark.parametrize(
    "line", ["TRACE /", "TRACE /api/v1/now", "GET /assets/", "GET /assets", "GET /api/v1/", "GET /api"]
)
async def test_no_folder_is_listed_and_nothing_is_echoed(front: Front, line: str) -> None:
    status, headers, body = await raw(front, f"{line} HTTP/1.1\r\nHost: localhost\r\nX-Canary: otter\r\n\r\n".encode())
    assert status == (405 if line.startswith("TRACE") else 404)
    assert is_problem(headers, body)["status"] == status
    assert b"otter" not in body


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("now?x=1", "query.x"),
        ("points?device=iso-1&device=iso-2", "query.device"),
        ("takes?count=0", "query.count"),
        ("takes?count=1001", "query.count"),
        ("takes?count=x", "query.count"),
        ("journal?since=-1", "query.since"),
        ("points?device=A", "query.device"),
        ("points?name=a b", "query.name"),
    ],
)
async def test_a_question_that_is_not_taken_names_its_field(front: Front, query: str, field: str) -> None:
    status, answer = await front.get(query)
    assert (status, answer["field"]) == (422, field)


async def test_a_wait_for_anything_but_the_verdict_is_refused(front: Front) -> None:
    status, answer = await front.post("roll?wait=forever", {})
    assert (status, answer["field"]) == (422, "query.wait")
    status, answer = await front.post("roll?wait=verdict&wait=verdict", {})
    assert (status, answer["field"]) == (422, "query.wait")
    assert front.toys.asked() == []


# -- bodies -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", "application/jsonp", "nonsense"]
)
async def test_a_body_of_another_type_is_refused(front: Front, kind: str) -> None:
    async with front.session.post("/api/v1/roll", data=b"{}", headers={"Content-Type": kind}) as answer:
        assert answer.status == 415
        assert "application/json" in (await answer.json(content_type=None))["remedy"]
    assert front.toys.asked() == []


async def test_a_body_in_another_alphabet_is_refused(front: Front) -> None:
    headers = {"Content-Type": "application/json; charset=utf-16"}
    async with front.session.post("/api/v1/roll", data="{}".encode("utf-16"), headers=headers) as answer:
        assert answer.status == 415


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"[" * 100_000, 400),
        (b'{"name": NaN}', 400),
        (b'{"name": "a", "name": "b"}', 400),
        (b'{"on": ' + b"[" * 40 + b"]" * 40 + b"}", 400),
        (b'{"name": "\xff"}', 400),
        (b'{"name": "\\ud800"}', 400),
        (b"null", 422),
        (b'"roll"', 422),
        (b'{"name": null}', 422),
        (b'{"name": 5}', 422),
        (b'{"name": "a\\u0000b"}', 422),
        (b'{"name": "a\\nb"}', 422),
        (b'{"name": "a\\u202eb"}', 422),
        (b'{"name": "' + b"n" * 10_240 + b'"}', 422),
        (b'{"on": "iso-1"}', 422),
        (b'{"on": [""]}', 422),
        (b'{"on": [1]}', 422),
        (b'{"__proto__": {}}', 422),
    ],
)
async def test_a_body_that_is_not_a_roll_reaches_no_box(front: Front, body: bytes, status: int) -> None:
    async with front.session.post("/api/v1/roll", data=body, headers={"Content-Type": "application/json"}) as answer:
        assert answer.status == status
        problem = await answer.json(content_type=None)
    assert problem["detail"]
    if status == 422:
        assert problem["field"].startswith("body")
    assert front.toys.asked() == []


async def test_a_body_that_is_too_large_is_not_read(front: Front) -> None:
    told = GOOD + b"Content-Length: 1048577\r\n\r\n"
    status, headers, body = await raw(front, told)
    assert (status, headers["connection"]) == (413, "close")
    assert is_problem(headers, body)["code"] == "too-large"


async def test_a_chunked_body_is_counted_while_it_comes(front: Front) -> None:
    chunks = b"10000\r\n" + b" " * 65536 + b"\r\n"
    status, _, _ = await raw(
        front, GOOD + b"Transfer-Encoding: chunked\r\n\r\n" + chunks * 17 + b"0\r\n\r\n", close=False
    )
    assert status == 413


async def test_a_packed_body_is_counted_unpacked(front: Front) -> None:
    data = gzip.compress(b" " * (guard.BODY_BYTES + 1))
    headers = {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    async with front.session.post("/api/v1/roll", data=data, headers=headers) as answer:
        assert answer.status == 413
    assert front.toys.asked() == []


async def test_where_somebody_asks_from_is_not_what_a_header_says(front: Front) -> None:
    said = dict.fromkeys(("X-Forwarded-For", "X-Real-IP", "True-Client-IP"), "192.0.2.7")
    said |= {"Forwarded": "for=192.0.2.7", "X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "https"}
    async with front.session.post("/api/v1/roll?wait=verdict", headers=said) as answer:
        assert answer.status == 200
        assert "evil.example" not in repr(answer.headers)
    sources = [data["source"] for kind, _, data in front.toys.journal.records if kind == "command"]
    assert set(sources) == {"127.0.0.1 http"}
    assert "192.0.2.7" not in repr(front.toys.journal.records)


async def test_a_body_where_none_is_taken_is_refused(front: Front) -> None:
    status, answer = await front.post("devices/iso-1/retry", {"force": True})
    assert (status, answer["field"]) == (422, "body")


# -- time, number and lies --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        b"GET /livez HTTP/9.9\r\nHost: localhost\r\n\r\n",
        b"GET\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00",
        b"GET /livez HTTP/1.1\r\nHost: localhost\r\nX: " + b"a" * 70_000 + b"\r\n\r\n",
        b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\nHost: localhost\r\n\r\n",
        b"GET /livez HTTP/1.1\r\nHost: localhost\r\n" + b"X: a\r\n" * 100_000 + b"\r\n",
        GOOD + b"Content-Length: 5\r\nContent-Length: 6\r\n\r\n{}",
        GOOD + b"Content-Length: -1\r\n\r\n",
        GOOD + b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /livez HTTP/1.1\r\n\r\n",
        GOOD + b"Transfer-Encoding: chunked\r\n\r\nzz\r\n",
        b"GET /livez HTTP/1.1\nHost: localhost\r\nX\x00: a\r\n\r\n",
    ],
)
async def test_what_is_no_http_is_refused_and_closed(front: Front, text: bytes) -> None:
    status, headers, body = await raw(front, text, close=len(text) < 1000)  # a reset may hurry past what is still read
    assert status in (0, 400, 413, 414, 431)
    if status:
        is_problem(headers, body)
        assert headers["connection"] == "close"
        assert headers["server"] == "stagectl", "nmap reads versions here"
    assert front.toys.asked() == []
    assert (await front.get("/livez"))[0] == 200


async def test_headers_that_drip_end_the_connection(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "HEADER_S", 0.05)
    status, _, _ = await raw(front, b"GET /livez HTTP/1.1\r\nHost: loc")
    assert status == 0


async def test_a_body_that_drips_ends_the_connection(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_S", 0.05)
    status, headers, body = await raw(front, GOOD + b"Content-Length: 10\r\n\r\n{")
    assert (status, is_problem(headers, body)["code"]) == (408, "late")
    assert front.toys.asked() == []


async def test_who_comes_when_all_places_are_taken_is_told(front: Front) -> None:
    front.server.places.ordinary = front.server.places.open
    status, headers, body = await raw(front, b"GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert (status, is_problem(headers, body)["code"]) == (503, "full")


async def test_a_place_is_free_again_when_a_client_has_gone(front: Front) -> None:
    before = front.server.places.open
    for _ in range(5):
        await raw(front, b"GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n")
    await front.toys.until(lambda: front.server.places.open == before)


async def test_a_slip_inside_is_told_without_its_secrets(front: Front, monkeypatch: pytest.MonkeyPatch) -> None:
    def slip(*_: object) -> None:
        raise RuntimeError("token=abc")

    monkeypatch.setattr(front.toys.house.takes, "plain", slip, raising=False)
    monkeypatch.setattr(type(front.toys.house.takes), "recorders", property(slip), raising=False)
    with capture_logs() as logs:
        status, answer = await front.get("now")
    assert (status, answer["code"]) == (500, "fault")
    assert [entry["event"] for entry in logs] == ["http_fault"]
    assert "abc" not in json.dumps(answer)
    assert "Traceback" not in json.dumps(answer)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "stage.example", ""])
async def test_the_door_opens_on_this_machine_alone(front: Front, host: str) -> None:
    with pytest.raises(SiteError, match="knows no accounts"):
        await server.serve(front.toys.house, host, 0)
