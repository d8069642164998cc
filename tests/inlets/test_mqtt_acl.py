"""Does the access list that we ship keep everybody to their own? Each topic tried both ways by other logins.

Against Debian's mosquitto with docs/mosquitto/stagectl.acl as it stands, three logins, and TLS. The pairs are MQTT 5
chapter 5 (authenticate, authorise per topic) as the security model takes it; what the broker says of a refused
publish is reason code 0x87 (MQTT 5.0, section 3.4.2.1).
"""

import asyncio
import json
import subprocess
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import aiomqtt
import pytest

from stagectl.inlets import mqtt
from stagectl.inlets.mqtt import MqttInlet
from stagectl.inlets.mqtt_login import login_of, tls_of
from stagectl.model.errors import SiteError
from stagectl.shoot.scenes import Scenes
from stagectl.site import MqttEntry
from tests.house import Toys, toy_house
from tests.inlets.http.authority import issue
from tests.inlets.mosquitto import SITE, Mosquitto, mosquitto, program

SHIPPED = Path(__file__).parents[2] / "docs" / "mosquitto"
LOGINS = {
    "stagectl": "seven quiet lamps",
    "pedal": "four canvas otters",
    "panel": "nine amber gates",
    "archive": "old oak shelves",
}
TOLD = [
    *("link", "manifest", "manifest/2", "state/iso-1/transport", "state/takes/running", "alarm/iso-1.no-input"),
    *("desk", "ev/command", "snap"),
]  # what stagectl alone writes and everybody may read
KEPT = ["log", "ack/log"]  # the journal, for who keeps it elsewhere
OWN = ["verdict/{name}/a1", "verdict/{name}/a1/more"]  # what stagectl writes and one alone reads
WITHIN_S = 10.0


@dataclass
class Hall:
    """A house at a broker with the shipped list."""

    toys: Toys
    broker: Mosquitto
    inlet: MqttInlet
    entry: MqttEntry

    def client(self, name: str, what: str = "reads") -> aiomqtt.Client:
        """A client with that login. "stagectl" is the daemon's own, used here beside it."""
        return aiomqtt.Client(
            "localhost",
            self.broker.port,
            identifier=f"test-{name}-{what}",
            username=name,
            password=LOGINS[name],
            protocol=aiomqtt.ProtocolVersion.V5,
            tls_context=tls_of(self.entry),
            timeout=WITHIN_S,
        )


def listed(folder: Path) -> str:
    """Lines for the broker's configuration: logins, TLS."""
    passwords = folder / "logins"
    passwords.touch(mode=0o600)
    for name, password in LOGINS.items():
        subprocess.run(
            [program("mosquitto_passwd"), "-b", str(passwords), name, password],
            check=True,
            capture_output=True,
            timeout=30,
        )
    tls = issue(folder / "ca", "localhost")
    return (
        f"allow_anonymous false\npassword_file {passwords}\n"
        f"tls_version tlsv1.2\ncertfile {tls.certificate}\nkeyfile {tls.key}"
    )


@pytest.fixture
async def hall(tmp_path: Path) -> AsyncIterator[Hall]:
    rules, more = (SHIPPED / "stagectl.acl").read_text(), listed(tmp_path)
    secret = tmp_path / "broker.login"
    secret.touch(mode=0o600)
    secret.write_text(f"stagectl\n{LOGINS['stagectl']}\n")
    async with mosquitto(tmp_path, rules=rules, more=more) as broker, toy_house(tmp_path / "data") as toys:
        entry = MqttEntry("external", "localhost", broker.port, secret, tmp_path / "ca" / "ca.pem")
        toys.house.site = replace(toys.house.site, mqtt=entry)
        inlet = MqttInlet(toys.house, Scenes(toys.house, tmp_path), tmp_path)
        await inlet.start()
        async with asyncio.timeout(WITHIN_S):
            await inlet.connected.wait()
        yield Hall(toys, broker, inlet, entry)
        await inlet.stop()


async def written(hall: Hall, name: str, topic: str, payload: str = "{}") -> bool:
    """May this login write there? The broker answers each publish of QoS 1, and then ends who was refused."""
    code: asyncio.Future[int] = asyncio.get_running_loop().create_future()
    client = hall.client(name, "writes")

    def answered(_client: object, _data: object, _mid: int, reason: object, _properties: object) -> None:
        if not code.done():
            code.set_result(int(getattr(reason, "value", 0)))

    with suppress(aiomqtt.MqttError):
        async with client, asyncio.timeout(WITHIN_S):
            client._client.on_publish = answered
            client._client.publish(topic, payload, qos=1)
            await code
    assert code.result() in (0x00, 0x10, 0x87), code  # taken, taken without a reader, not authorised
    return code.result() != 0x87


async def heard(hall: Hall, reader: str, writes: list[tuple[str, str]], last: str) -> set[str]:
    """Which topics reach a reader that subscribes to everything; `writes`: who writes where. `last` does reach it."""
    async with hall.client(reader) as ear:
        for topic in ("#", *(topic for _, topic in writes)):
            await ear.subscribe(topic, qos=1)
        for writer, topic in writes:
            await written(hall, writer, topic, "heard?")
        found: set[str] = set()
        async with asyncio.timeout(WITHIN_S):
            async for message in ear.messages:
                if message.payload == b"heard?":
                    found.add(str(message.topic))
                if str(message.topic) == last and message.payload == b"heard?":
                    return found
    raise AssertionError(last)


async def test_the_house_lives_with_the_shipped_list_over_tls(hall: Hall) -> None:
    async with hall.client("pedal") as pedal:
        await pedal.subscribe(f"{SITE}/verdict/pedal/#", qos=1)
        await pedal.publish(f"{SITE}/cmd/pedal", json.dumps({"id": "a1", "verb": "roll"}), qos=1)
        phases = []
        async with asyncio.timeout(WITHIN_S):
            async for message in pedal.messages:
                phases.append(json.loads(bytes(message.payload))["phase"])
                if phases[-1] != "accepted":
                    break
    assert phases == ["accepted", "verified"]
    assert hall.toys.house.trouble == {}
    assert hall.inlet.counts["denied"] == 0


@pytest.mark.parametrize("name", ["pedal", "panel"])
async def test_nobody_else_writes_what_is_so_or_under_another_name(hall: Hall, name: str) -> None:
    other = "panel" if name == "pedal" else "pedal"
    for topic in (*TOLD, *KEPT, *OWN):
        for whom in (name, other):
            assert not await written(hall, name, f"{SITE}/{topic.format(name=whom)}"), topic
    for topic in (f"cmd/{other}", "cmd/stagectl", f"cmd/{name}/more", "cmd", "log", "anything"):
        assert not await written(hall, name, f"{SITE}/{topic}"), topic
    for topic in ("stagectl/1/another-hall/cmd/pedal", "stagectl/1/all/other", "elsewhere"):
        assert not await written(hall, name, topic), topic
    assert await written(hall, name, f"{SITE}/cmd/{name}")
    assert await written(hall, name, "stagectl/1/all/resync", "")


async def test_everybody_reads_what_is_so_and_the_own_answers_alone(hall: Hall) -> None:
    topics = [f"{SITE}/{topic}" for topic in TOLD if not topic.startswith("alarm")]  # those the daemon clears again
    mine, theirs = [[f"{SITE}/{topic.format(name=name)}" for topic in OWN] for name in ("pedal", "panel")]
    writes = [("stagectl", topic) for topic in (*theirs, *topics, *mine)]
    assert await heard(hall, "pedal", writes, mine[-1]) == {*topics, *mine}


async def test_the_journal_is_read_and_acknowledged_by_who_keeps_it_alone(hall: Hall) -> None:
    log, last = f"{SITE}/log", f"{SITE}/verdict/panel/end"
    writes = [("stagectl", log), ("archive", f"{SITE}/ack/log"), ("stagectl", last)]
    assert await heard(hall, "panel", writes, last) == {last}
    assert await heard(hall, "archive", [("stagectl", log)], log) == {log}
    assert await written(hall, "archive", f"{SITE}/ack/log")
    for topic in (log, f"{SITE}/state/iso-1/transport", f"{SITE}/cmd/pedal"):
        assert not await written(hall, "archive", topic), topic


async def test_commands_reach_the_daemon_alone(hall: Hall) -> None:
    last = f"{SITE}/verdict/panel/end"
    writes = [("pedal", f"{SITE}/cmd/pedal"), ("panel", f"{SITE}/cmd/panel"), ("stagectl", last)]
    assert await heard(hall, "panel", writes, last) == {last}


async def test_who_has_no_login_is_not_let_in(hall: Hall) -> None:
    for name, password in ((None, None), ("pedal", "wrong"), ("nobody", "x")):
        client = aiomqtt.Client(
            "localhost",
            hall.broker.port,
            username=name,
            password=password,
            protocol=aiomqtt.ProtocolVersion.V5,
            tls_context=tls_of(hall.entry),
        )
        with pytest.raises(aiomqtt.MqttError):
            await client.__aenter__()


async def test_a_forged_state_is_never_shown(hall: Hall) -> None:
    """The house reads no state of its own back, even where a broker lets somebody write it."""
    before = hall.toys.house.board.rev
    async with hall.client("stagectl") as forger:
        await forger.publish(f"{SITE}/state/iso-1/transport", '{"v":1,"data":{"transport":"recording"}}', qos=1)
    assert hall.toys.house.takes.open is None
    assert hall.toys.house.board.rev == before


# -- our own login ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "mode", "says"),
    [
        ("stagectl\nx\n", 0o644, "can be read by others. Close it: chmod 600"),
        ("stagectl\n", 0o600, "is no login for a broker"),
        ("stagectl\na\nb\n", 0o600, "is no login for a broker"),
        (None, 0o600, "can't be read: no such file or directory"),
    ],
)
def test_a_login_that_others_read_or_that_is_none_is_refused(
    tmp_path: Path, text: str | None, mode: int, says: str
) -> None:
    path = tmp_path / "broker.login"
    if text is not None:
        path.write_text(text)
        path.chmod(mode)
    with pytest.raises(SiteError) as refused:
        login_of(MqttEntry("external", "localhost", 1883, path))
    assert says in str(refused.value)


async def test_a_login_that_can_not_be_used_is_told_and_the_house_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "SHUN_S", 0.05)
    path = tmp_path / "broker.login"
    async with mosquitto(tmp_path, more=listed(tmp_path)) as broker, toy_house(tmp_path / "data") as toys:
        entry = MqttEntry("external", "localhost", broker.port, path, tmp_path / "ca" / "ca.pem")
        toys.house.site = replace(toys.house.site, mqtt=entry)
        inlet = MqttInlet(toys.house, Scenes(toys.house, tmp_path), tmp_path)
        await inlet.start()
        await toys.until(lambda: "broker's login" in toys.house.trouble.get("mqtt", ""))
        path.touch(mode=0o600)
        path.write_text(f"stagectl\n{LOGINS['stagectl']}")
        async with asyncio.timeout(WITHIN_S):
            await inlet.connected.wait()  # it was read anew
        assert "mqtt" not in toys.house.trouble
        assert LOGINS["stagectl"] not in repr(login_of(entry))
        await inlet.stop()
