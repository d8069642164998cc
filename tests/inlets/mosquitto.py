"""Debian's mosquitto on a free port of loopback, and its two clients as the other side of the MQTT door."""

import asyncio
import json
import shutil
import signal
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from tests.ports import free_port

WITHIN_S = 15.0
PROBE = "probe/ready"
SITE = "stagectl/1/tidewater-hall"


def program(name: str) -> str:
    """Where one of mosquitto's programs is; the test fails if it is not installed."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    if found is None:
        pytest.fail(f"{name} is not installed. On Debian: apt-get install mosquitto mosquitto-clients")
    return found


class Mosquitto:
    """A broker that keeps nothing on disk. It can be killed, frozen and started again on the same port."""

    def __init__(self, folder: Path, *, rules: str = "", more: str = "") -> None:
        """`rules`: an access list; nobody may do more. `more`: further lines of its configuration."""
        self.port = free_port()
        self._config = folder / f"broker-{self.port}.conf"
        lists = folder / f"rules-{self.port}.txt"
        lists.write_text(rules, encoding="utf-8")
        lists.chmod(0o644)
        listed = f"acl_file {lists}\n" if rules else ""
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\n{more or 'allow_anonymous true'}\n"
            "persistence false\nset_tcp_nodelay true\n"
            f"max_queued_messages 0\nmax_packet_size 262144\nlog_dest none\nuser root\n{listed}",
            encoding="utf-8",
        )
        self._process: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        self._process = await asyncio.create_subprocess_exec(
            program("mosquitto"), "-c", str(self._config), stderr=asyncio.subprocess.DEVNULL
        )
        async with asyncio.timeout(WITHIN_S):
            while not await listens(self.port):  # noqa: ASYNC110 - nobody tells when another program listens
                await asyncio.sleep(0.02)

    async def kill(self) -> None:
        """As a power cut does."""
        process, self._process = self._process, None
        if process is not None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()

    def freeze(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)


@asynccontextmanager
async def mosquitto(folder: Path, *, rules: str = "", more: str = "") -> AsyncIterator[Mosquitto]:
    """A running broker."""
    broker = Mosquitto(folder, rules=rules, more=more)
    await broker.start()
    try:
        yield broker
    finally:
        await broker.kill()


async def listens(port: int) -> bool:
    """Does somebody listen there?"""
    with suppress(OSError):
        _, writer = await asyncio.open_connection("127.0.0.1", port)
        writer.close()
        return True
    return False


class Said:
    """One message as a reader got it."""

    def __init__(self, line: bytes) -> None:
        """`line`: retain flag, payload in hexadecimal, topic."""
        retain, payload, topic = line.decode().rstrip("\n").split(" ", 2)
        self.topic = topic.removeprefix(f"{SITE}/")
        self.retain = retain == "1"
        self.text = bytes.fromhex(payload).decode("utf-8", "replace")
        self.data: dict[str, Any] = {}
        with suppress(ValueError, RecursionError):
            self.data = json.loads(self.text)


class Reader:
    """mosquitto_sub: everything it heard, in order; waiting for what is to come."""

    def __init__(self) -> None:
        self.heard: list[Said] = []
        self._news = asyncio.Event()
        self._ready = asyncio.Event()
        self._process: asyncio.subprocess.Process | None = None
        self._task: asyncio.Task[None] | None = None

    async def open(self, port: int, topic: str) -> None:
        # one retained message that comes with the subscription says that it stands
        await publish(port, f"/{PROBE}", "here", retain=True)
        self._process = await asyncio.create_subprocess_exec(
            *(
                program("mosquitto_sub"),
                "-V",
                "mqttv5",
                "-h",
                "127.0.0.1",
                "-p",
                str(port),
                "-q",
                "1",
                "-F",
                "%r %x %t",
            ),
            *("-t", topic, "-t", PROBE),
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
            limit=1 << 20,
        )
        self._task = asyncio.create_task(self._read())
        async with asyncio.timeout(WITHIN_S):
            await self._ready.wait()

    async def close(self) -> None:
        if self._process is not None:
            with suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()
        if self._task is not None:
            await self._task

    async def _read(self) -> None:
        assert self._process is not None
        assert self._process.stdout is not None
        async for line in self._process.stdout:
            said = Said(line)
            if said.topic == PROBE:
                self._ready.set()
            else:
                self.heard.append(said)
                self._news.set()

    async def until(self, true: Callable[[], Any], what: str = "") -> Any:
        """Wait until what was heard makes something so; returns it."""
        try:
            async with asyncio.timeout(WITHIN_S):
                while not (seen := true()):
                    self._news.clear()
                    await self._news.wait()
                return seen
        except TimeoutError:
            heard = [(one.topic, one.text[:200]) for one in self.heard if not one.topic.startswith("state/")]
            raise AssertionError(f"never heard: {what}; heard: {heard[-20:]}") from None

    async def one(self, topic: str, like: Callable[[dict[str, Any]], Any] = lambda data: True) -> dict[str, Any]:
        """The first message on a topic that is like that; it may have come already."""
        found = await self.until(
            lambda: next((one for one in self.heard if one.topic == topic and like(one.data)), None), topic
        )
        data: dict[str, Any] = found.data
        return data

    def all(self, topic: str) -> list[dict[str, Any]]:
        """The data of all messages on a topic so far."""
        return [one.data for one in self.heard if one.topic == topic]

    def newest(self, topic: str) -> dict[str, Any]:
        """The data of the last message on a topic; empty: none yet."""
        return (self.all(topic) or [{}])[-1]

    async def verdicts(self, who: str, identifier: str, count: int = 2) -> list[dict[str, Any]]:
        """The first `count` answers to a command."""
        topic = f"verdict/{who}/{identifier}"
        await self.until(lambda: len(self.all(topic)) >= count, topic)
        return self.all(topic)[:count]


@asynccontextmanager
async def reading(port: int, topic: str = f"{SITE}/#") -> AsyncIterator[Reader]:
    """A reader that is subscribed."""
    reader = Reader()
    try:
        await reader.open(port, topic)
        yield reader
    finally:
        await reader.close()


async def publish(port: int, topic: str, payload: bytes | str | Mapping[str, Any], *, retain: bool = False) -> None:
    """mosquitto_pub, QoS 1; returns when the broker has it. A topic that begins with "/" stands by itself."""
    sent = json.dumps(payload) if isinstance(payload, Mapping) else payload
    flags = (["-r"] if retain else []) + (["-s"] if sent else ["-n"])
    whole = topic.removeprefix("/") if topic.startswith("/") else f"{SITE}/{topic}"
    process = await asyncio.create_subprocess_exec(
        *(program("mosquitto_pub"), "-V", "mqttv5", "-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", whole),
        *flags,
        stdin=asyncio.subprocess.PIPE,
    )
    async with asyncio.timeout(WITHIN_S):
        await process.communicate(sent.encode() if isinstance(sent, str) else sent)
    assert process.returncode == 0, f"{whole} was not published"
