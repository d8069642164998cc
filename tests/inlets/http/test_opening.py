"""When does the door open to a network, and what is spoken there? With certificates of our own authority.

Source: own construction; protocol versions, HSTS and refusals after common guidance for TLS (from memory).
"""

import asyncio
import json
import re
import ssl
import subprocess
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import aiohttp
import pytest
from click.testing import CliRunner

from stagectl.cli import main
from stagectl.cli.client import Client, UnreachedError
from stagectl.inlets.http.opening import Tls, check, context
from stagectl.inlets.http.server import HttpServer, serve
from stagectl.inlets.mqtt_login import tls_of
from stagectl.model.errors import SiteError
from stagectl.site.entries import MqttEntry
from tests.inlets.http.authority import NAME, NAMES, issue
from tests.inlets.http.conftest import Front
from tests.inlets.http.keys import Keys, close


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return issue(tmp_path_factory.mktemp("ca") / "authority", *NAMES).certificate.parent


@pytest.fixture
def tls(made: Path) -> Tls:
    return Tls(made / f"{NAME}.pem", made / f"{NAME}.key", NAMES)


@pytest.fixture
async def opened(front: Front, tls: Tls) -> AsyncIterator[tuple[HttpServer, Keys]]:
    keys = await close(front)
    server = await serve(front.toys.house, "127.0.0.1", 0, tls=tls)
    yield server, keys
    await server.stop()


def trusting(made: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(made / "ca.pem"))


# -- when -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1", "stage.example", ""])
def test_a_network_gets_in_only_with_accounts_and_tls(tls: Tls, host: str) -> None:
    with pytest.raises(SiteError, match="knows no accounts"):
        check(host, tls, accounts=False)
    with pytest.raises(SiteError, match="without TLS"):
        check(host, None, accounts=True)
    check(host, tls, accounts=True)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.8.8", "::1", "localhost"])
def test_this_machine_needs_neither(host: str) -> None:
    check(host, None, accounts=False)


async def test_a_door_without_accounts_does_not_open_though_it_has_tls(front: Front, tls: Tls) -> None:
    with pytest.raises(SiteError, match="knows no accounts"):
        await serve(front.toys.house, "0.0.0.0", 0, tls=tls)


def test_a_key_that_others_can_read_or_that_fits_not_stops_the_start(tls: Tls, tmp_path: Path) -> None:
    key = tmp_path / "door.key"
    key.write_bytes(tls.key.read_bytes())
    key.chmod(0o644)
    with pytest.raises(SiteError, match="chmod 600"):
        context(replace(tls, key=key))
    key.chmod(0o600)
    context(replace(tls, key=key))
    key.write_bytes((tls.key.parent / "ca.key").read_bytes())
    with pytest.raises(SiteError, match="can't be used"):
        context(replace(tls, key=key))
    with pytest.raises(SiteError, match="can't be read"):
        context(replace(tls, certificate=tmp_path / "none.pem"))
    (tmp_path / "text.pem").write_text("no certificate")
    with pytest.raises(SiteError, match="can't be used"):
        context(replace(tls, certificate=tmp_path / "text.pem"))


# -- the authority ----------------------------------------------------------------------------------------------------


def test_the_authority_keeps_its_keys_to_itself_and_is_never_overwritten(made: Path) -> None:
    for key in (made / "ca.key", made / f"{NAME}.key"):
        assert key.stat().st_mode & 0o777 == 0o600
    result = CliRunner().invoke(main, ["ca", "new", str(made)])
    assert (result.exit_code, "none is lost" in result.stderr) == (2, True)


@pytest.mark.parametrize("file", ["ca.pem", f"{NAME}.pem"])
def test_keys_and_signatures_are_of_approved_kinds(made: Path, file: str) -> None:
    """Source: FIPS 186-5 approves ECDSA on P-256 (from memory); the names are those that openssl-x509(1) prints."""
    command = ["openssl", "x509", "-in", str(made / file), "-noout", "-text"]
    text = subprocess.run(command, capture_output=True, text=True, check=True, timeout=30).stdout
    assert set(re.findall(r"Signature Algorithm: (\S+)", text)) == {"ecdsa-with-SHA256"}
    assert re.findall(r"ASN1 OID: (\S+)", text) == ["prime256v1"]


def test_a_broker_has_to_prove_who_it_is(made: Path) -> None:
    link = tls_of(MqttEntry("external", "broker.example", 8883, None, made / "ca.pem"))
    assert link is not None
    assert (link.verify_mode, link.check_hostname) == (ssl.CERT_REQUIRED, True)
    assert link.minimum_version is ssl.TLSVersion.TLSv1_2
    assert len(link.get_ca_certs()) == 1, "the studio's own authority alone"


@pytest.mark.parametrize(
    "name", ["10.0.5.1", "Stage", "a..b", "-x", "x/../y", "a,DNS:evil.example", "a b", "*.example"]
)
def test_what_is_no_name_gets_no_certificate(made: Path, name: str) -> None:
    result = CliRunner().invoke(main, ["ca", "issue", str(made), "--", name])
    assert (result.exit_code, "is no name for a door" in result.stderr) == (2, True)


def test_without_openssl_it_is_said_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    result = CliRunner().invoke(main, ["ca", "new", str(tmp_path / "new")])
    assert (result.exit_code, "apt-get install openssl" in result.stderr) == (2, True)


# -- what is spoken ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
async def test_both_versions_are_spoken_and_the_cipher_is_forward_secret(
    opened: tuple[HttpServer, Keys], made: Path, version: ssl.TLSVersion
) -> None:
    trust = trusting(made)
    trust.minimum_version = trust.maximum_version = version
    _, writer = await asyncio.open_connection("127.0.0.1", opened[0].port, ssl=trust, server_hostname=NAME)
    name, spoken, _ = writer.get_extra_info("cipher")
    assert spoken in ("TLSv1.2", "TLSv1.3")
    assert name.startswith(("ECDHE-", "TLS_"))
    writer.transport.abort()


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion:DeprecationWarning")
async def test_an_older_version_is_refused(opened: tuple[HttpServer, Keys], made: Path) -> None:
    trust = trusting(made)
    trust.minimum_version = ssl.TLSVersion.TLSv1
    trust.maximum_version = ssl.TLSVersion.TLSv1_1
    trust.set_ciphers("ALL:@SECLEVEL=0")
    with pytest.raises((ssl.SSLError, ConnectionError)):
        await asyncio.open_connection("127.0.0.1", opened[0].port, ssl=trust, server_hostname=NAME)


async def test_who_asks_for_another_name_or_trusts_nobody_does_not_come_in(
    opened: tuple[HttpServer, Keys], made: Path
) -> None:
    for trust, name in ((trusting(made), "other.example"), (ssl.create_default_context(), NAME)):
        with pytest.raises(ssl.SSLCertVerificationError):
            await asyncio.open_connection("127.0.0.1", opened[0].port, ssl=trust, server_hostname=name)


async def test_over_tls_a_token_is_needed_and_browsers_are_told_to_stay(
    opened: tuple[HttpServer, Keys], made: Path
) -> None:
    server, keys = opened
    url = f"https://localhost:{server.port}"
    async with aiohttp.ClientSession(url, connector=aiohttp.TCPConnector(ssl=trusting(made))) as session:
        async with session.get("/api/v1/now") as answer:
            assert answer.status == 401
            assert answer.headers["Strict-Transport-Security"] == "max-age=31536000"
        async with session.get("/api/v1/now", headers=keys.of("ines")) as answer:
            assert answer.status == 200
        async with session.post("/api/v1/roll", headers=keys.of("ines") | {"Origin": url}) as answer:
            assert answer.status == 202
        async with session.post(
            "/api/v1/roll", headers=keys.of("ines") | {"Origin": f"http://localhost:{server.port}"}
        ) as answer:
            assert answer.status == 403
        offered = ("stagectl.v1", f"tok.{keys.text['ines']}")
        async with session.ws_connect("/api/v1/live", protocols=offered) as socket:
            assert (await socket.receive_json())["is"] == "snapshot"
        for host, status in ((NAME, 200), (f"{NAME}:{server.port}", 200), ("10.0.5.1", 200), ("evil.example", 421)):
            async with session.get("/livez", headers={"Host": host}) as answer:
                assert answer.status == status, host


async def test_plain_http_is_not_answered_there(opened: tuple[HttpServer, Keys]) -> None:
    reader, writer = await asyncio.open_connection("127.0.0.1", opened[0].port)
    writer.write(b"GET /livez HTTP/1.1\r\nHost: localhost\r\n\r\n")
    async with asyncio.timeout(10):
        with suppress(ConnectionError):
            assert not (await reader.read()).startswith(b"HTTP")
    writer.transport.abort()


async def test_the_terminal_asks_over_tls_whom_the_studio_vouches_for(
    opened: tuple[HttpServer, Keys], made: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    server, keys = opened
    client = Client(f"https://localhost:{server.port}", token=keys.text["ines"])
    with pytest.raises(UnreachedError, match="certificate"):
        await asyncio.to_thread(client.get, "me")
    monkeypatch.setenv("STAGECTL_CA", str(made / "ca.pem"))
    assert (await asyncio.to_thread(client.get, "me"))["name"] == "ines"
    assert json.dumps(server.url) == f'"https://{NAME}:{server.port}"'


async def test_on_this_machine_nothing_is_said_of_tls(front: Front) -> None:
    async with front.session.get("/livez") as answer:
        assert "Strict-Transport-Security" not in answer.headers
