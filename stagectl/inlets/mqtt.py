"""How do other programs reach the house over MQTT? State out, commands in, verdicts back. Over aiomqtt.

The broker is a mirror, never the truth: our own state is never read back from it, a retained command is refused,
nothing waits for it. The narrowest pipe of the house drinks from the board's changes in a task of its own.
"""

import asyncio
import json
from collections.abc import Mapping
from contextlib import suppress
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import aiomqtt
import structlog
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from stagectl.control.chronicle import stamp
from stagectl.inlets.broker import ManagedBroker, NoBrokerError
from stagectl.inlets.mqtt_alarms import TOPIC
from stagectl.inlets.mqtt_client import ANSWER_S, TAKEN, Client, client_of
from stagectl.inlets.mqtt_commands import Back, MqttCommands, end_tasks
from stagectl.inlets.mqtt_log import ACK, LogFeed
from stagectl.inlets.mqtt_login import login_of, tls_of
from stagectl.inlets.mqtt_payloads import MESSAGE_BYTES, ROOT, packed
from stagectl.inlets.mqtt_state import StateTopics
from stagectl.model.errors import SiteError
from stagectl.shoot.house import House
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.teller import Teller

TICK_S: Final = 0.05
CLOCK_S: Final = 30.0  # how often the link topic tells our clock
APART_S: Final = 1.0  # least time between two corrections of the link topic
BACKOFF_S: Final = (0.25, 2.0)
STEADY_S: Final = 10.0  # a connection that held this long begins the back-off anew
SHUN_S: Final = 30.0  # wait after the broker refused us or gave our name to another: no loop of blows
GOODBYE_S: Final = 1.0
START_S: Final = 1.0  # how long a start waits for a broker of our own; it may come later
VERDICT_S: Final = 60  # a verdict older than this reaches nobody

log = structlog.get_logger()


class MqttInlet:
    """The MQTT door of a house.

    Attributes:
        connected: set while the whole state stands at a broker.
        counts: "published", "commands", "refused", "dropped", "denied".
    """

    def __init__(self, house: House, scenes: Scenes, folder: Path) -> None:
        """`folder` takes the configuration of a managed broker."""
        self.connected = asyncio.Event()
        self._house = house
        teller = Teller(house)
        self._sent = {"published": 0, "denied": 0, "dropped": 0}
        self._entry = house.site.mqtt
        self._base = f"{ROOT}/{house.site.slug}"
        self._commands = MqttCommands(house, scenes, teller, self._say)
        self._address = (self._entry.host or "127.0.0.1", self._entry.port or 1883)
        self._broker = ManagedBroker(folder, self._address[1]) if self._entry.broker == "managed" else None
        self._tried = asyncio.Event()  # a broker of our own runs, or can't
        self._stopping = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self._live: Client | None = None
        self._start = house.world.ids.new()  # tells our link messages from those of another stagectl
        self._been = False  # connected once
        self._session = 0
        self._state = StateTopics(house, teller, self._start)
        self._log = LogFeed(house)
        self._link_due = asyncio.Event()

    @property
    def address(self) -> tuple[str, int]:
        """Host and port of the broker in use."""
        return self._address

    @property
    def counts(self) -> Mapping[str, int]:
        own = self._commands.counts
        return {**own, **self._sent, "dropped": own["dropped"] + self._sent["dropped"]}

    async def start(self) -> None:
        """Begin; never fails, never waits long: what is wrong stands in the house's `trouble`."""
        self._task = asyncio.create_task(self._run(), name="mqtt")
        if self._broker is not None:
            with suppress(TimeoutError):
                async with asyncio.timeout(START_S):
                    await self._tried.wait()

    async def stop(self) -> None:
        """Say goodbye, then end. Losing MQTT never acts on any box."""
        self._stopping.set()
        await self._commands.close()
        if self._task is not None:
            if self._live is not None:
                await asyncio.wait([self._task], timeout=GOODBYE_S + ANSWER_S)
            await end_tasks([self._task])
        self._state.close()
        if self._broker is not None:
            await self._broker.stop()

    # -- the connection -------------------------------------------------------------------------------------------

    async def _run(self) -> None:
        chance = self._house.world.chance.stream("mqtt")
        wait_s = BACKOFF_S[0]
        while not self._stopping.is_set():
            if not await self._have_broker():
                await asyncio.sleep(SHUN_S)
                continue
            try:
                client = self._client()
            except SiteError as error:
                self._house.trouble["mqtt"] = str(error)
                await asyncio.sleep(SHUN_S)
                continue
            began = self._house.world.clock.now()
            try:
                async with client:
                    await self._talk(client)
            except (aiomqtt.MqttError, TimeoutError, OSError) as error:
                self._lost(client, str(error))
            except Exception as slip:  # a slip of ours must not end MQTT for good
                log.exception("mqtt_slipped")
                self._house.trouble["mqtt"] = f"MQTT slipped and begins anew: {slip!r}. See the log."
            finally:
                self.connected.clear()
                self._live = None
                client.drop()
            if self._stopping.is_set():
                return
            if self._house.world.clock.now() - began >= STEADY_S:
                wait_s = BACKOFF_S[0]
            shunned = client.denied or "mqtt-rival" in self._house.trouble
            await asyncio.sleep((SHUN_S if shunned else wait_s) * chance.uniform(0.8, 1.2))
            wait_s = min(wait_s * 2, BACKOFF_S[1])

    async def _have_broker(self) -> bool:
        """A broker of our own runs, or somebody else's is used."""
        if self._broker is None or self._broker.running:
            return True
        try:
            await self._broker.start()
        except NoBrokerError as error:
            if "mqtt" not in self._house.trouble:
                log.warning("mqtt_off", why=str(error))
            self._house.trouble["mqtt"] = f"MQTT is off: {error} REST, WebSocket and the terminal work."
            return False
        finally:
            self._tried.set()
        self._address = ("127.0.0.1", self._broker.port)
        return True

    def _lost(self, client: Client, why: str) -> None:
        if client.ended_by == TAKEN:
            self._meet_rival(client)
        host, port = self._address
        if "mqtt" not in self._house.trouble:
            log.warning("mqtt_lost", why=why)
        self._house.trouble["mqtt"] = (
            f"The MQTT broker at {host}:{port} is not reached: {why.rstrip('.')}. Start it, or look at its log."
        )

    def _meet_rival(self, client: Client) -> None:
        """Somebody has our name at the broker and throws us off, as we do him."""
        client.rival = True
        self._house.trouble["mqtt-rival"] = (
            "Another program has our name at the MQTT broker. End the second stagectl of this site."
        )

    def _client(self) -> Client:
        self._session += 1
        will = aiomqtt.Will(f"{self._base}/link", packed(self._link(on=False)), qos=1, retain=True)
        login, tls = login_of(self._entry), tls_of(self._entry)
        client = client_of(self._address, f"stagectl-{self._house.site.slug}", will, login, tls)
        client.on_denied, client.on_full = self._denied, self._full
        return client

    async def _talk(self, client: Client) -> None:
        client.again, self._been = self._been, True
        once = SubscribeOptions(qos=1, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        for topic in (f"{self._base}/cmd/+", f"{ROOT}/all/resync"):
            await client.subscribe(topic, options=once)
        await client.subscribe(f"{self._base}/link", qos=1)
        await client.subscribe(f"{self._base}/{TOPIC}/+", qos=1)
        await client.subscribe(f"{self._base}/{ACK}", qos=1)
        self._state.begin()
        self._live = client
        try:
            await self._state.whole(partial(self._publish, client))
            await self._tell_link(client)
            self._house.trouble.pop("mqtt", None)
            self._allowed(client)
            self.connected.set()
            log.info("mqtt_up", host=self._address[0], port=self._address[1])
            await self._work(client)
        finally:
            if self._stopping.is_set():
                await self._goodbye(client)
            else:
                client.drop()

    async def _work(self, client: Client) -> None:
        """All that goes on while it is connected; ends with the first thing that fails."""
        publish = partial(self._publish, client)
        jobs = [
            asyncio.create_task(job)
            for job in (
                self._listen(client),
                self._state.feed(publish),
                self._keep_link(client),
                self._state.keep_manifest(publish),
                self._state.answer_resync(publish),
                self._log.run(publish),
                self._until_stop(),
            )
        ]
        try:
            done, _ = await asyncio.wait(jobs, return_when=asyncio.FIRST_COMPLETED)
            for job in jobs:
                if job in done:
                    job.result()
        finally:
            await end_tasks(jobs)

    async def _until_stop(self) -> None:
        await self._stopping.wait()

    async def _goodbye(self, client: Client) -> None:
        """A clean end sends no will, so we say it ourselves; a broker that does not listen sends the will."""
        try:
            async with asyncio.timeout(GOODBYE_S):
                await self._publish(client, "link", self._link(on=False) | {"why": "stopped"}, retain=True)
        except (aiomqtt.MqttError, TimeoutError, OSError):
            client.drop()

    def _link(self, *, on: bool) -> dict[str, Any]:
        return {
            "v": 1,
            "on": on,
            "epoch": self._house.epoch,
            "session": self._session,
            "start": self._start,
            "at": stamp(self._house.world.clock.wall()),
            "version": version("stagectl"),
            "minor": 0,
        }

    # -- out ------------------------------------------------------------------------------------------------------

    async def _publish(
        self,
        client: Client,
        topic: str,
        payload: Mapping[str, Any] | None,
        *,
        retain: bool = False,
        qos: int = 1,
        expiry: int = 0,
        correlation: bytes = b"",
    ) -> None:
        """`expiry` in seconds, 0: never; `correlation` goes with what expires."""
        properties = Properties(PacketTypes.PUBLISH) if expiry else None  # type: ignore[no-untyped-call]
        if properties is not None:
            properties.MessageExpiryInterval = expiry
            if correlation:
                properties.CorrelationData = correlation
        sent = packed(payload) if payload is not None else b""
        if len(sent) > MESSAGE_BYTES:
            log.error("mqtt_too_long", topic=topic, bytes=len(sent))
            self._sent["dropped"] += 1
            return
        await client.publish(f"{self._base}/{topic}", sent, qos=qos, retain=retain, properties=properties)
        self._sent["published"] += 1

    async def _say(self, back: Back, payload: Mapping[str, Any]) -> None:
        """Tell a verdict: on the connection of now, or on the next one if that comes in time."""
        with suppress(TimeoutError):
            async with asyncio.timeout(VERDICT_S):
                while True:
                    await self.connected.wait()
                    with suppress(aiomqtt.MqttError, OSError):
                        if self._live is not None:
                            await self._publish(
                                self._live, back.topic, payload, expiry=VERDICT_S, correlation=back.correlation
                            )
                            return
                    await asyncio.sleep(TICK_S)

    def _denied(self) -> None:
        self._sent["denied"] += 1
        self._house.trouble["mqtt-denied"] = "The MQTT broker refuses our publishes. Look at its access list."

    def _allowed(self, client: Client) -> None:
        if not client.denied:
            self._house.trouble.pop("mqtt-denied", None)

    def _full(self) -> None:
        self._sent["dropped"] += 1

    async def _tell_link(self, client: Client) -> None:
        self._link_due.clear()
        await self._publish(client, "link", self._link(on=True), retain=True)

    async def _keep_link(self, client: Client) -> None:
        """Tell our clock, and put the topic right when an old will or somebody else wrote it."""
        while True:
            with suppress(TimeoutError):
                async with asyncio.timeout(CLOCK_S):
                    await self._link_due.wait()
            await self._tell_link(client)
            if not client.rival:
                self._house.trouble.pop("mqtt-rival", None)
            if client.denied:
                client.denied = 0
                await self._state.parts(partial(self._publish, client))
                self._allowed(client)
            await asyncio.sleep(APART_S)

    # -- in -------------------------------------------------------------------------------------------------------

    async def _listen(self, client: Client) -> None:
        async for message in client.messages:
            topic = str(message.topic)
            if topic == f"{ROOT}/all/resync":
                self._state.resync()
            elif topic == f"{self._base}/link":
                self._read_link(client, message.payload)
            elif topic == f"{self._base}/{ACK}":
                self._log.hear(message.payload)
            elif topic.startswith(f"{self._base}/{TOPIC}/"):
                self._state.found_alarm(topic.rpartition("/")[2], message.payload)
            else:
                asked = message.properties
                self._commands.hear(
                    topic.rpartition("/")[2],
                    message.payload,
                    retained=message.retain,
                    response_topic=getattr(asked, "ResponseTopic", ""),
                    correlation=getattr(asked, "CorrelationData", b""),
                )

    def _read_link(self, client: Client, payload: bytes) -> None:
        """The link topic says something: if it is not our last word, it is put right."""
        try:
            said = json.loads(payload)
        except ValueError:
            said = None
        said = said if isinstance(said, dict) else {}
        own = self._link(on=True)
        if any(said.get(name) != own[name] for name in ("on", "epoch", "session", "start")):
            self._link_due.set()
        # what is found at the first connection may be from before our start
        if client.again and said.get("start") != self._start:
            self._meet_rival(client)
