"""What does a door do when its certificate is renewed, spoilt, or over?

Source: own construction; 30, 7 and 1 days are the security model's; a name with "*" stands for one label (RFC 6125,
6.4.3); the certificate's own words are read by openssl beside us.
"""

import asyncio
import shutil
import ssl
import subprocess
from collections.abc import AsyncIterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import aiohttp
import pytest

from stagectl.inlets.http.certificate import LOOK_S, Keeper, Shown, shown, warned
from stagectl.inlets.http.opening import Tls, context
from stagectl.inlets.http.server import HttpServer, serve
from stagectl.model.errors import SiteError
from tests.control.disk import ManualClock
from tests.inlets.http.authority import NAME, NAMES, issue
from tests.inlets.http.conftest import Front
from tests.inlets.http.keys import Keys, close

NOW = datetime(2027, 3, 12, 14, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Tls:
    return issue(tmp_path_factory.mktemp("ca") / "authority", *NAMES)


@pytest.fixture
def tls(made: Tls, tmp_path: Path) -> Tls:
    """Files that a test may spoil."""
    folder = tmp_path / "authority"
    shutil.copytree(made.certificate.parent, folder)
    return Tls(folder / made.certificate.name, folder / made.key.name)


class Held:
    """A keeper with a clock of its own, and the troubles it told."""

    def __init__(self, tls: Tls) -> None:
        self.clock = ManualClock()
        self.told: dict[str, str] = {}
        self.live = context(tls)
        self.keeper = Keeper(tls, self.live, self.clock, self.note)

    def note(self, part: str, text: str | None) -> None:
        if text is None:
            self.told.pop(part, None)
        else:
            self.told[part] = text

    def at(self, days_left: float) -> dict[str, str]:
        """What is wrong so many days before the end."""
        self.clock.wall_at = self.keeper.found.ends - timedelta(days=days_left)
        self.keeper.look()
        return self.told


# -- what it says -----------------------------------------------------------------------------------------------------


def test_it_says_what_openssl_reads_in_it(tls: Tls) -> None:
    found = shown(tls)
    told = subprocess.run(
        ["openssl", "x509", "-in", str(tls.certificate), "-noout", "-enddate", "-ext", "subjectAltName"],
        capture_output=True,
        text=True,
        check=True,
        timeout=30,
    ).stdout
    ends = datetime.strptime(
        told.partition("notAfter=")[2].splitlines()[0].replace("GMT", "+0000"), "%b %d %H:%M:%S %Y %z"
    )
    assert found.ends == ends
    assert ", ".join(f"DNS:{name}" for name in found.names) in told
    assert found.names == NAMES


def test_a_name_that_it_does_not_hold_stops_the_start(tls: Tls) -> None:
    shown(replace(tls, names=("localhost",)))
    with pytest.raises(SiteError, match=r"is for stage\.example, localhost, not for other\.example"):
        shown(replace(tls, names=("other.example",)))


@pytest.mark.parametrize(
    ("name", "well"),
    [("a.stage.example", True), ("A.Stage.Example", True), ("stage.example", False), ("a.b.stage.example", False)],
)
def test_a_star_stands_for_one_label(name: str, well: bool) -> None:
    assert Shown(("*.stage.example",), NOW).answers_to(name) is well


def test_one_that_is_over_can_be_read_and_stops_no_start(tls: Tls) -> None:
    over = issue(tls.certificate.parent, *NAMES, days=-1)
    found = shown(over)
    assert found.days(datetime.now(UTC)) < 0


# -- before it ends ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("days", "part"),
    [
        (397, None),
        (30.5, None),
        (30, "certificate-later"),
        (7.5, "certificate-later"),
        (7, "certificate-soon"),
        (1.5, "certificate-soon"),
        (1, "certificate"),
        (-3, "certificate"),
    ],
)
def test_it_is_told_thirty_seven_and_one_days_before(days: float, part: str | None) -> None:
    told = warned(Shown(NAMES, NOW), NOW - timedelta(days=days))
    assert (told[0] if told is not None else None) == part
    if told is not None:
        when = "is over since 12 March 2027" if days <= 0 else "ends on 12 March 2027"
        assert told[1] == f"The certificate of {NAME} {when}. Make another: stagectl ca issue FOLDER {NAME}"


def test_one_trouble_at_a_time_is_told_and_a_new_certificate_ends_it(tls: Tls) -> None:
    held = Held(tls)
    assert list(held.at(40)) == []
    assert list(held.at(20)) == ["certificate-later"]
    assert list(held.at(3)) == ["certificate-soon"]
    assert list(held.at(-1)) == ["certificate"]
    issue(tls.certificate.parent, *NAMES, days=800)
    held.keeper.look()
    assert held.told == {}


async def test_the_house_grades_it_and_stays_ready_until_the_last_day(front: Front) -> None:
    house = front.toys.house
    grades = {}
    for part in ("certificate-later", "certificate-soon", "certificate"):
        house.troubled(part, f"The certificate of {NAME} ends.")
        (alarm,) = [one for one in house.alarms.everything() if one.id == f"stagectl.{part}"]
        grades[alarm.grade] = (await front.get("/readyz"))[0]
        house.troubled(part, None)
    assert grades == {"later": 200, "soon": 200, "now": 503}


# -- a new one --------------------------------------------------------------------------------------------------------


def test_files_that_do_not_fit_are_told_at_the_second_look_and_the_old_one_stays(tls: Tls) -> None:
    held = Held(tls)
    before = held.keeper.found
    tls.key.write_bytes((tls.key.parent / "ca.key").read_bytes())
    held.keeper.look()
    assert held.told == {}, "key and certificate are written one after the other"
    held.keeper.look()
    assert list(held.told) == ["certificate-new-soon"]
    assert held.told["certificate-new-soon"].endswith("The door goes on with the certificate of before.")
    assert held.keeper.found == before
    issue(tls.certificate.parent, *NAMES)
    held.keeper.look()
    assert held.told == {}


def test_it_is_looked_at_again_and_again_until_it_is_let_be(tls: Tls) -> None:
    held = Held(tls)
    held.keeper.start()
    held.clock.wall_at = held.keeper.found.ends
    held.clock.advance(LOOK_S + 1)
    assert list(held.told) == ["certificate"]
    held.keeper.stop()
    held.told.clear()
    held.clock.advance(5 * LOOK_S)
    assert held.told == {}


@pytest.fixture
async def opened(front: Front, tls: Tls) -> AsyncIterator[tuple[HttpServer, Keys]]:
    keys = await close(front)
    server = await serve(front.toys.house, "127.0.0.1", 0, tls=tls)
    yield server, keys
    await server.stop()


async def serial(server: HttpServer, tls: Tls) -> str:
    """The certificate a newcomer is shown."""
    trust = ssl.create_default_context(cafile=str(tls.certificate.parent / "ca.pem"))
    _, writer = await asyncio.open_connection("127.0.0.1", server.port, ssl=trust, server_hostname=NAME)
    number = str(writer.get_extra_info("peercert")["serialNumber"])
    writer.transport.abort()
    return number


async def test_a_renewed_certificate_is_shown_to_who_comes_and_ends_nobody(
    front: Front, opened: tuple[HttpServer, Keys], tls: Tls
) -> None:
    server, keys = opened
    assert server.url == f"https://{NAME}:{server.port}", "its name stands in the certificate"
    assert server.certificate is not None
    trust = ssl.create_default_context(cafile=str(tls.certificate.parent / "ca.pem"))
    url = f"https://localhost:{server.port}"
    async with (
        aiohttp.ClientSession(url, connector=aiohttp.TCPConnector(ssl=trust), headers=keys.of("ines")) as session,
        session.ws_connect("/api/v1/live") as socket,
    ):
        async with session.post("/api/v1/roll?wait=verdict", json={}) as answer:
            assert answer.status == 200
        first = await serial(server, tls)
        issue(tls.certificate.parent, *NAMES)
        server.certificate.look()
        assert await serial(server, tls) != first
        async with asyncio.timeout(10):
            await socket.send_json({"do": "cut", "args": {"take": 1}, "id": "a1"})
            while (await socket.receive_json()).get("re") != "a1":
                pass
        await front.toys.until(lambda: front.toys.house.takes.open is None)


async def test_a_certificate_that_is_over_turns_newcomers_away_and_ends_no_take(
    front: Front, opened: tuple[HttpServer, Keys], tls: Tls
) -> None:
    server, keys = opened
    assert server.certificate is not None
    trust = ssl.create_default_context(cafile=str(tls.certificate.parent / "ca.pem"))
    url = f"https://localhost:{server.port}"
    async with (
        aiohttp.ClientSession(url, connector=aiohttp.TCPConnector(ssl=trust), headers=keys.of("ines")) as session,
        session.ws_connect("/api/v1/live") as socket,
    ):
        async with session.post("/api/v1/roll?wait=verdict", json={}) as answer:
            assert answer.status == 200
        issue(tls.certificate.parent, *NAMES, days=-1)
        server.certificate.look()
        with pytest.raises(ssl.SSLCertVerificationError, match="expired"):
            await serial(server, tls)
        async with asyncio.timeout(10):  # the feed goes on, and still listens
            await socket.send_json({"do": "cut", "args": {}, "id": "a1"})
            while (told := await socket.receive_json()).get("re") != "a1":
                pass
        assert told["code"] == "take-unnamed"
        take = front.toys.house.takes.open
        assert take is not None
        assert take.rolls
        assert "is over since" in front.toys.house.trouble["certificate"]
