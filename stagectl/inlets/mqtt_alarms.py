"""Which alarms stand at the broker? One retained topic each while it stands, emptied when it is over.

Only causes: what is folded under one is named in it. A topic that an earlier start left behind is found and emptied.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, Final

from stagectl.control.chronicle import stamp
from stagectl.inlets.mqtt_payloads import plain
from stagectl.shoot.house import House
from stagectl.shoot.teller import Teller

TOPIC: Final = "alarm"


class AlarmTopics:
    """What is to be published of alarms, on the connection of now."""

    def __init__(self, house: House, teller: Teller, wake: Callable[[], None]) -> None:
        """`wake` is called when something is to be published."""
        self._house = house
        self._teller = teller
        self._wake = wake
        self._feed = house.alarms.feed(wake)
        self._told: dict[str, None] = {}
        self._left: dict[str, None] = {}  # topics from before our time

    def close(self) -> None:
        """Nothing more is wanted."""
        self._house.alarms.drop_feed(self._feed)

    def whole(self) -> Iterator[tuple[str, Mapping[str, Any] | None]]:
        """For a new connection: every alarm that stands, and the emptying of those that stood on the last one."""
        self._feed.take()
        yield from self._messages(dict.fromkeys((*self._told, *self._house.alarms.ids())))

    def changes(self) -> Iterator[tuple[str, Mapping[str, Any] | None]]:
        """(topic, payload) of each that changed since; payload None: empty it."""
        left, self._left = self._left, {}
        for name in left:
            if name not in self._told:
                yield f"{TOPIC}/{name}", None
        yield from self._messages(self._feed.take())

    def found(self, name: str, payload: bytes) -> None:
        """The broker has a topic of that name: if nothing stands there, it is from before our time."""
        if payload and plain(name) and name not in self._told:
            self._left[name] = None
            self._wake()

    def _messages(self, names: Iterable[str]) -> Iterator[tuple[str, Mapping[str, Any] | None]]:
        standing = {alarm.id: alarm for alarm in self._house.alarms.everything() if alarm.standing and alarm.number}
        for name in names:
            alarm = standing.get(name)
            if alarm is not None and not alarm.under:
                self._told[name] = None
                wall = stamp(self._house.world.clock.wall())
                yield (
                    f"{TOPIC}/{name}",
                    {"v": 1, "epoch": self._house.epoch, "at": wall} | self._teller.row(alarm).plain(),
                )
            elif name in self._told:
                del self._told[name]
                yield f"{TOPIC}/{name}", None
