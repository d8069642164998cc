"""What of the house stands at the broker, and how is it kept so? State, manifest, desk, alarms; and the live tail.

The narrowest pipe of the house drinks from the board's changes: the newest of each part, never a backlog.
"""

import asyncio
from collections.abc import Collection, Iterable, Mapping
from typing import Any, Final, Protocol

from stagectl.control.access import PRIVATE
from stagectl.control.chronicle import Follower, stamp
from stagectl.inlets.mqtt_alarms import AlarmTopics
from stagectl.inlets.mqtt_payloads import pages, part_of, parts, shown, state
from stagectl.model.points import Reading
from stagectl.shoot.house import House
from stagectl.shoot.teller import Teller

TICK_S: Final = 0.05
IN_FLIGHT: Final = 100  # publishes awaited together; with 50 all of 500 boxes took 11 s after a broker was lost, so 7
APART_S: Final = 1.0  # least time between two manifests
RESYNC_S: Final = 5.0  # at most one whole state in this time
SPREAD_S: Final = 2.0  # the sites of a fleet answer a resync at random within this


class Publish(Protocol):
    """Publishes below the site's own topic, on one connection; an empty message without `payload`."""

    async def __call__(
        self, topic: str, payload: Mapping[str, Any] | None, *, retain: bool = False, qos: int = 1
    ) -> None: ...


class StateTopics:
    """What the house shows of itself over MQTT. All that publishes is given how, and ends with its connection."""

    def __init__(self, house: House, teller: Teller, start: str) -> None:
        """`start` tells our messages from those of another stagectl."""
        self._house = house
        self._start = start
        self._wake = asyncio.Event()
        self._view = house.board.view(self._wake.set)
        self._follower: Follower = house.chronicle.follow(self._wake.set)
        self._alarms = AlarmTopics(house, teller, self._wake.set)
        self._told: dict[str, None] = {}  # state topics of this connection
        self._desk_rev = 0
        self._manifest_due = asyncio.Event()
        self._whole_due = asyncio.Event()

    def close(self) -> None:
        """Nothing more is wanted."""
        self._house.board.drop_view(self._view)
        self._house.chronicle.unfollow(self._follower)
        self._alarms.close()

    def begin(self) -> None:
        """A new connection: nothing of ours stands there yet."""
        self._view.take()
        self._follower.take()
        self._told = {}

    def resync(self) -> None:
        """Somebody wants the whole state in one."""
        self._whole_due.set()

    def found_alarm(self, name: str, payload: bytes) -> None:
        """The broker has an alarm topic of that name."""
        self._alarms.found(name, payload)

    async def whole(self, publish: Publish) -> None:
        """All of it, and what names it."""
        await self.parts(publish)
        await self._publish_manifest(publish)
        await self._publish_alarms(publish, self._alarms.whole())
        await self._publish_desk(publish)

    async def parts(self, publish: Publish) -> None:
        """Every part of every device."""
        await self._publish_parts(publish, self._everything())

    async def feed(self, publish: Publish) -> None:
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
                await self._publish_parts(publish, self._readings_of(changed))
            entries, gap = self._follower.take()
            if gap or any(entry.kind == "desk" for entry in entries):
                await self._publish_desk(publish)
            for entry in entries:
                if entry.kind == PRIVATE:
                    continue  # who reads here is known to the broker alone; the central log has it
                await publish(f"ev/{entry.kind}", {"v": 1, "epoch": self._house.epoch} | entry.plain(), qos=0)
            await self._publish_alarms(publish, self._alarms.changes())

    async def keep_manifest(self, publish: Publish) -> None:
        """Boxes are read one after the other, so topics are added long after we connected."""
        while True:
            await self._manifest_due.wait()
            await asyncio.sleep(APART_S)
            await self._publish_manifest(publish)

    async def answer_resync(self, publish: Publish) -> None:
        chance = self._house.world.chance.stream("mqtt-resync")
        while True:
            await self._whole_due.wait()
            await asyncio.sleep(chance.uniform(0, SPREAD_S))
            self._whole_due.clear()
            wall, now = self._house.world.clock.wall(), self._house.world.clock.now()
            everything = {
                f"{device}/{part}": state(readings, self._house.epoch, wall, now)
                for (device, part), readings in self._everything().items()
            }
            whole = list(pages(everything))
            for number, page in enumerate(whole, 1):
                said = {"v": 1, "epoch": self._house.epoch, "page": number, "of": len(whole), "state": page}
                await publish("snap", said)
            await asyncio.sleep(RESYNC_S)

    # -- messages -------------------------------------------------------------------------------------------------

    def _everything(self) -> dict[tuple[str, str], list[Reading[Any]]]:
        return parts(self._house.board, [*self._house.boxes, *self._house.parts])

    async def _publish_parts(self, publish: Publish, found: Mapping[tuple[str, str], list[Reading[Any]]]) -> None:
        # the first one alone: a broker that refuses it says so, and may then close while the others are on their way
        items = list(found.items())
        clock = self._house.world.clock
        for at in (0, *range(1, len(items), IN_FLIGHT)):
            wall, now = clock.wall(), clock.now()
            batch = items[at : at + IN_FLIGHT] if at else items[:1]
            await asyncio.gather(
                *(
                    publish(f"state/{device}/{part}", state(readings, self._house.epoch, wall, now), retain=True)
                    for (device, part), readings in batch
                )
            )
            for (device, part), _ in batch:
                if f"state/{device}/{part}" not in self._told:
                    self._told[f"state/{device}/{part}"] = None
                    self._manifest_due.set()

    async def _publish_alarms(self, publish: Publish, messages: Iterable[tuple[str, Mapping[str, Any] | None]]) -> None:
        for topic, payload in messages:
            await publish(topic, payload, retain=True)

    async def _publish_desk(self, publish: Publish) -> None:
        """Who holds the desk, and who has asked for it; an empty name is nobody."""
        self._desk_rev += 1
        desk = self._house.desk
        said = {
            "v": 1,
            "epoch": self._house.epoch,
            "rev": self._desk_rev,
            "at": stamp(self._house.world.clock.wall()),
            "start": self._start,
            "holder": desk.holder,
            "asker": desk.asker,
        }
        await publish("desk", said, retain=True)

    def _readings_of(self, wanted: Collection[tuple[str, str]]) -> dict[tuple[str, str], list[Reading[Any]]]:
        """All published readings of some parts."""
        found: dict[tuple[str, str], list[Reading[Any]]] = {place: [] for place in wanted}
        for device in dict.fromkeys(device for device, _ in wanted):
            for reading in self._house.board.points(device).values():
                place = (device, part_of(reading.name)[0])
                if place in found and shown(reading):
                    found[place].append(reading)
        return found

    async def _publish_manifest(self, publish: Publish) -> None:
        """Which state topics there are, with a revision that each has reached: what is missing can be seen."""
        self._manifest_due.clear()
        names = {
            f"state/{device}/{part}": max(one.rev for one in readings)
            for (device, part), readings in self._everything().items()
        }
        whole = list(pages(names))
        for number, page in enumerate(whole, 1):
            said = {
                "v": 1,
                "epoch": self._house.epoch,
                "count": len(names),
                "page": number,
                "of": len(whole),
                "topics": page,
            }
            await publish("manifest" if number == 1 else f"manifest/{number}", said, retain=True)
