"""How do other programs reach the house over MQTT? State out, commands in, verdicts back. Only this file knows aiomqtt.

The broker is a mirror, never the truth: our own state is never read back from it, a retained command is refused,
nothing waits for it. The narrowest pipe of the house drinks from the board's changes in a task of its own.
"""

import asyncio
import socket
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import aiomqtt
import structlog
from paho.mqtt.client import Client as PahoClient
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from stagectl.control.access import Person, Role
from stagectl.control.chronicle import Follower, stamp
from stagectl.control.groups import Group
from stagectl.inlets.broker import ManagedBroker, NoBrokerError
from stagectl.inlets.mqtt_payloads import ROOT, Command, packed, part_of, parts, read_command, shown, state, verdict
from stagectl.model.errors import RefusedError
from stagectl.shoot.house import House, Wish
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.teller import Teller

TICK_S: Final = 0.05
IN_FLIGHT: Final = 50  # publishes awaited together
INCOMING: Final = 1000  # messages waiting at most; more are dropped by the client, counted by us
ACTS: Final = 64  # commands being carried out at once
KEEPALIVE_S: Final = 5
CLOCK_S: Final = 30.0
WAIT_S: Final = 150.0  # longest wait for a verdict: a format takes 120 s
RESYNC_S: Final = 5.0  # at most one whole state in this time
BACKOFF_S: Final = (0.25, 5.0)
VERDICT_EXPIRY_S: Final = 60

log = structlog.get_logger()


class _Client(aiomqtt.Client):
    """Keeps what aiomqtt throws away: a publish that the broker's access list refused."""

    denied = 0

    def _on_publish(
        self, client: PahoClient, userdata: Any, mid: int, reason_code: ReasonCode, properties: Properties
    ) -> None:
        if getattr(reason_code, "is_failure", False):
            self.denied += 1
        super()._on_publish(client, userdata, mid, reason_code, properties)


class MqttInlet:
    """The MQTT door of a house."""

    def __init__(self, house: House, scenes: Scenes, folder: Path) -> None:
        """`folder` takes the configuration of a managed broker."""
        self.connected = asyncio.Event()
        self.counts = {"published": 0, "commands": 0, "refused": 0, "dropped": 0, "denied": 0}
        self._house = house
        self._scenes = scenes
        self._teller = Teller(house)
        self._folder = folder
        self._entry = house.site.mqtt
        self._base = f"{ROOT}/{house.site.slug}"
        self._broker: ManagedBroker | None = None
        self._address = ("127.0.0.1", 1883)
        self._task: asyncio.Task[None] | None = None
        self._acts: set[asyncio.Task[None]] = set()
        self._session = 0
        self._wake = asyncio.Event()
        self._view = house.board.view(self._wake.set)
        self._follower: Follower = house.chronicle.follow(self._wake.set)
        self._resync_at = float("-inf")

    @property
    def address(self) -> tuple[str, int]:
        """Host and port of the broker in use."""
        return self._address

    async def start(self) -> None:
        """Begin; never fails: what is wrong stands in the house's `trouble`."""
        host, _, port = (self._entry.at or "127.0.0.1:1883").rpartition(":")
        self._address = (host or "127.0.0.1", int(port or 1883))
        if self._entry.broker == "managed":
            broker = ManagedBroker(self._folder, self._address[1])
            try:
                await broker.start()
            except NoBrokerError as error:
                self._house.trouble["mqtt"] = f"MQTT is off: {error} REST, WebSocket and the terminal work."
                log.warning("mqtt_off", why=str(error))
                return
            self._broker = broker
            self._address = ("127.0.0.1", broker.port)
        self._task = asyncio.create_task(self._run(), name="mqtt")

    async def stop(self) -> None:
        """Say goodbye, then end. Losing MQTT never acts on any box."""
        for act in list(self._acts):
            act.cancel()
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, *self._acts, return_exceptions=True)
        self._house.board.drop_view(self._view)
        self._house.chronicle.unfollow(self._follower)
        if self._broker is not None:
            await self._broker.stop()

    # -- the connection -------------------------------------------------------------------------------------------

    async def _run(self) -> None:
        chance = self._house.world.chance.stream("mqtt")
        wait_s = BACKOFF_S[0]
        while True:
            try:
                async with self._client() as client:
                    wait_s = BACKOFF_S[0]
                    await self._talk(client)
            except (aiomqtt.MqttError, TimeoutError, OSError) as error:
                if "mqtt" not in self._house.trouble:
                    log.warning("mqtt_lost", why=str(error))
                self._house.trouble["mqtt"] = f"The MQTT broker is not reached: {error}"
            finally:
                self.connected.clear()
            await asyncio.sleep(wait_s * chance.uniform(0.8, 1.2))
            wait_s = min(wait_s * 2, BACKOFF_S[1])

    def _client(self) -> _Client:
        self._session += 1
        will = aiomqtt.Will(f"{self._base}/link", packed(self._link(on=False)), qos=1, retain=True)
        client = _Client(
            self._address[0],
            self._address[1],
            identifier=f"stagectl-{self._house.site.slug}",
            protocol=aiomqtt.ProtocolVersion.V5,
            will=will,
            clean_start=True,
            timeout=2,
            keepalive=KEEPALIVE_S,
            max_queued_incoming_messages=INCOMING,
            socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
            max_concurrent_outgoing_calls=IN_FLIGHT * 4,
        )
        client.pending_calls_threshold = IN_FLIGHT * 4  # its warning per publish above 10 would be the load
        return client

    async def _talk(self, client: _Client) -> None:
        once = SubscribeOptions(qos=1, retainAsPublished=True, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        await client.subscribe(f"{self._base}/cmd/+", options=once)
        await client.subscribe(f"{ROOT}/all/resync", options=once)
        self._view.take()
        self._follower.take()
        await self._publish_all(client)
        await self._publish(client, "link", self._link(on=True), retain=True)
        self._house.trouble.pop("mqtt", None)
        self.connected.set()
        log.info("mqtt_up", host=self._address[0], port=self._address[1])
        jobs = [
            asyncio.create_task(self._listen(client)),
            asyncio.create_task(self._feed(client)),
            asyncio.create_task(self._tell_clock(client)),
        ]
        try:
            done, _ = await asyncio.wait(jobs, return_when=asyncio.FIRST_COMPLETED)
            for job in jobs:
                if job in done:
                    job.result()
        finally:
            for job in jobs:
                job.cancel()
            await asyncio.gather(*jobs, return_exceptions=True)
            # a clean goodbye sends no will, so say it ourselves
            await self._goodbye(client)

    async def _goodbye(self, client: _Client) -> None:
        try:
            await self._publish(client, "link", self._link(on=False) | {"why": "stopped"}, retain=True)
        except (aiomqtt.MqttError, TimeoutError, OSError):
            return  # the broker is gone: it sends our will

    def _link(self, *, on: bool) -> dict[str, Any]:
        return {
            "v": 1,
            "on": on,
            "epoch": self._house.epoch,
            "session": self._session,
            "at": stamp(self._house.world.clock.wall()),
            "minor": 0,
        }

    # -- out ------------------------------------------------------------------------------------------------------

    async def _publish(
        self,
        client: _Client,
        topic: str,
        payload: Mapping[str, Any],
        *,
        retain: bool = False,
        qos: int = 1,
        expiry: int = 0,
    ) -> None:
        properties = None
        if expiry:
            properties = Properties(PacketTypes.PUBLISH)
            properties.MessageExpiryInterval = expiry
        await client.publish(f"{self._base}/{topic}", packed(payload), qos=qos, retain=retain, properties=properties)
        self.counts["published"] += 1
        if client.denied:
            self.counts["denied"] += client.denied
            client.denied = 0
            self._house.trouble["mqtt-denied"] = "The MQTT broker refuses our publishes. Look at its access list."

    async def _publish_all(self, client: _Client) -> None:
        everything = parts(self._house.board, [*self._house.boxes, *self._house.parts])
        await self._publish_parts(client, everything)
        names = {
            f"state/{device}/{part}": max(one.rev for one in readings)
            for (device, part), readings in everything.items()
        }
        await self._publish(
            client, "manifest", {"v": 1, "epoch": self._house.epoch, "count": len(names), "topics": names}, retain=True
        )

    async def _publish_parts(self, client: _Client, found: Mapping[tuple[str, str], Any]) -> None:
        items = list(found.items())
        clock = self._house.world.clock
        for at in range(0, len(items), IN_FLIGHT):
            wall, now = clock.wall(), clock.now()
            await asyncio.gather(
                *(
                    self._publish(
                        client,
                        f"state/{device}/{part}",
                        state(readings, self._house.epoch, wall, now),
                        retain=True,
                    )
                    for (device, part), readings in items[at : at + IN_FLIGHT]
                )
            )

    async def _feed(self, client: _Client) -> None:
        """Newest state of each part that changed, and the chronicle's tail. Newest wins: no backlog."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            await asyncio.sleep(TICK_S)
            changed: dict[tuple[str, str], None] = {}
            for reading in self._view.take():
                if shown(reading):
                    changed[reading.device, part_of(reading.name)[0]] = None
            if changed:
                everything = {
                    (device, part): [
                        one
                        for one in self._house.board.points(device).values()
                        if shown(one) and part_of(one.name)[0] == part
                    ]
                    for device, part in changed
                }
                await self._publish_parts(client, everything)
            entries, _ = self._follower.take()
            for entry in entries:
                await self._publish(
                    client, f"ev/{entry.kind}", {"v": 1, "epoch": self._house.epoch} | entry.plain(), qos=0
                )

    async def _tell_clock(self, client: _Client) -> None:
        while True:
            await asyncio.sleep(CLOCK_S)
            await self._publish(client, "link", self._link(on=True), retain=True)

    # -- in -------------------------------------------------------------------------------------------------------

    async def _listen(self, client: _Client) -> None:
        async for message in client.messages:
            topic = str(message.topic)
            if topic == f"{ROOT}/all/resync":
                await self._resync(client)
                continue
            principal = topic.rpartition("/")[2]
            self.counts["commands"] += 1
            if message.retain:
                self._audit(principal, "a retained command", "retained")
                continue
            if len(self._acts) >= ACTS:
                self.counts["dropped"] += 1
                self._audit(principal, "too many commands at once", "busy")
                continue
            payload = message.payload if isinstance(message.payload, bytes) else str(message.payload).encode()
            act = asyncio.create_task(self._carry_out(client, principal, payload))
            self._acts.add(act)
            act.add_done_callback(self._acts.discard)

    def _audit(self, principal: str, why: str, code: str) -> None:
        self.counts["refused"] += 1
        self._house.chronicle.write("access", principal, inlet="mqtt", what="refused", why=why, code=code)

    async def _resync(self, client: _Client) -> None:
        now = self._house.world.clock.now()
        if now - self._resync_at < RESYNC_S:
            return
        self._resync_at = now
        wall = self._house.world.clock.wall()
        everything = parts(self._house.board, [*self._house.boxes, *self._house.parts])
        whole = {
            f"{device}/{part}": state(readings, self._house.epoch, wall, now)
            for (device, part), readings in everything.items()
        }
        await self._publish(client, "snap", {"v": 1, "epoch": self._house.epoch, "state": whole})

    async def _carry_out(self, client: _Client, principal: str, payload: bytes) -> None:
        command: Command | None = None
        try:
            command = read_command(payload, self._house.world.clock.wall())
            self._check(command)
            person = self._house.person(principal, Person(principal, Role.OPERATOR))
            if command.verb == "scene":
                await self._run_scene(client, principal, person, command)
                return
            group = await self._house.submit(self._wish(person, command))
        except RefusedError as refused:
            self._audit(principal, str(refused), refused.code)
            await self._refused(client, principal, command.id if command else "unknown", refused)
            return
        await self._answer(client, principal, group)

    def _check(self, command: Command) -> None:
        """Epoch and revisions it was decided on; a cut must name both epoch and take."""
        if command.verb == "cut" and command.if_epoch is None:
            raise RefusedError(
                "A cut over MQTT needs if_epoch.", remedy="Read it from the link topic.", code="if-epoch"
            )
        if command.if_epoch is not None and command.if_epoch != self._house.epoch:
            raise RefusedError(
                f"stagectl has started again: epoch {self._house.epoch}.", remedy="Read the state anew.", code="epoch"
            )
        for place, rev in command.if_rev.items():
            device, _, part = place.partition("/")
            own = [one for one in self._house.board.points(device).values() if part_of(one.name)[0] == part]
            if not own or max(one.rev for one in own) != rev:
                raise RefusedError(f"{place} has changed since.", remedy="Read the state anew.", code="revision")

    @staticmethod
    def _wish(person: Person, command: Command) -> Wish:
        args = dict(command.args)
        if command.verb in ("roll", "cut"):
            if command.on:
                args["on"] = list(command.on)
            return Wish(person, "mqtt", "takes", command.verb, args, command.id)
        if len(command.on) != 1:
            raise RefusedError(
                f'{command.verb} needs one name in "on".', remedy="Name a device, group or part.", code="field"
            )
        return Wish(person, "mqtt", command.on[0], command.verb, args, command.id)

    async def _run_scene(self, client: _Client, principal: str, person: Person, command: Command) -> None:
        args = dict(command.args)
        name = str(args.pop("name", command.on[0] if command.on else ""))
        run = self._scenes.start(name, person, {key: str(value) for key, value in args.items()}, command.id)
        topic = f"verdict/{principal}/{command.id}"
        said: dict[str, Any] = {"v": 1, "id": command.id, "epoch": self._house.epoch, "phase": "accepted"}
        await self._publish(client, topic, said, expiry=VERDICT_EXPIRY_S)
        await run.wait(WAIT_S)
        said["phase"] = str(run.ended or "unconfirmed")
        await self._publish(client, topic, said | {"say": self._teller.run(run)}, expiry=VERDICT_EXPIRY_S)

    async def _answer(self, client: _Client, principal: str, group: Group) -> None:
        topic = f"verdict/{principal}/{group.id}"
        accepted = {"v": 1, "id": group.id, "epoch": self._house.epoch, "phase": "accepted", "take": group.take}
        await self._publish(client, topic, accepted, expiry=VERDICT_EXPIRY_S)
        await group.wait(WAIT_S)
        await self._house.commands.durable(group)
        said = verdict(group, self._house.epoch, self._house.board.rev, self._teller.group(group))
        await self._publish(client, topic, said, expiry=VERDICT_EXPIRY_S)

    async def _refused(self, client: _Client, principal: str, identifier: str, refused: RefusedError) -> None:
        said = {
            "v": 1,
            "id": identifier,
            "epoch": self._house.epoch,
            "phase": "refused",
            "why": refused.code,
            "say": f"{refused} {refused.remedy}".strip(),
        }
        await self._publish(client, f"verdict/{principal}/{identifier}", said, expiry=VERDICT_EXPIRY_S)
