"""Which alarm is the cause of which? One switch that is gone is one alarm, not one for every box behind it."""

import ipaddress
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Final

from stagectl.model.capabilities.base import HEALTH_WHY
from stagectl.model.points import Reading
from stagectl.shoot.alarm import Alarm
from stagectl.shoot.alarmrules import NO_INPUT, OFF_S, UNREACHED, Rule

if TYPE_CHECKING:
    from stagectl.shoot.house import House

TOGETHER: Final = 3  # boxes of one network lost together are one cause
TOGETHER_S: Final = 10.0  # ...if each was lost so soon after another; links of one switch are missed within seconds
ANOTHER: Final = "another box"  # of health.why: it answers, so no cable is at fault


class Causes:
    """What lies behind what, by rule, by network and by the picture that comes through a router."""

    def __init__(self, house: "House") -> None:
        self._house = house
        self._nets = {name: net_of(entry.host) for name, entry in house.site.devices.items()}
        self._members: dict[str, dict[str, None]] = {}  # id of a group's alarm -> ids that it explains

    def of(self, alarm: Alarm, standing: Mapping[str, Alarm]) -> str:
        """The id of the alarm that is the cause of this one; empty: none."""
        for name in alarm.rule.behind:
            cause = standing.get(f"{alarm.device}.{name}")
            if cause is not None and not cause.gone:
                return cause.id
        for group, members in self._members.items():
            if alarm.id in members and group in standing:
                return group
        if alarm.rule.name == NO_INPUT:
            router, _ = self._house.site.pictures.destinations.get(alarm.device, ("", 0))
            cause = standing.get(f"{router}.{UNREACHED}")
            if cause is not None and not cause.gone:
                return cause.id
        return ""

    def where(self, group: str) -> tuple[str, list[str]]:
        """Of a group's alarm: the network in words, and its devices."""
        devices = [one.rpartition(".")[0] for one in self._members.get(group, ())]
        return (self._nets[devices[0]] if devices else ""), devices

    def group(
        self, alarms: dict[str, Alarm], standing: Mapping[str, Alarm], ripe: Callable[[Alarm], bool]
    ) -> list[tuple[Alarm, bool]]:
        """Find what was lost together; makes the alarms of causes it has not met. Returns each with whether it is on.

        A cause stays until the last box behind it is back.
        """
        nets: dict[str, list[Alarm]] = {}
        for alarm in standing.values():
            lost_box = alarm.rule.name == UNREACHED and alarm.device
            if lost_box and not alarm.gone and ripe(alarm) and not self._another(alarm):
                nets.setdefault(self._nets[alarm.device], []).append(alarm)
        found: list[tuple[Alarm, bool]] = []
        for net, lost in nets.items():
            name = f"net-{net.replace(':', '-')}.{UNREACHED}"
            members = self._together(lost, self._members.get(name, {}))
            if members:
                self._members[name] = members
                if name not in alarms:
                    alarms[name] = Alarm(name, Rule(UNREACHED, "soon", None, off_s=OFF_S))
                found.append((alarms[name], True))
        for name in list(self._members):
            if all(one not in standing or standing[one].gone for one in self._members[name]):
                found.append((alarms[name], False))
                if not alarms[name].standing:
                    del self._members[name]
        return found

    @staticmethod
    def _together(lost: list[Alarm], known: Mapping[str, None]) -> dict[str, None]:
        """Ids of those that were lost together, as far as there are enough of them, or a cause is known already."""
        rows = sorted(lost, key=lambda alarm: alarm.since_at)
        runs: list[list[Alarm]] = []
        for alarm in rows:
            if runs and alarm.since_at - runs[-1][-1].since_at <= TOGETHER_S:
                runs[-1].append(alarm)
            else:
                runs.append([alarm])
        ids = dict.fromkeys(alarm.id for alarm in lost)
        members = {one: None for one in known if one in ids}
        for run in runs:
            if len(run) >= TOGETHER or any(alarm.id in known for alarm in run):
                members.update(dict.fromkeys(alarm.id for alarm in run))
        return members

    def _another(self, alarm: Alarm) -> bool:
        why: Reading[str] = self._house.board.get(alarm.device, HEALTH_WHY)
        return ANOTHER in str(why.value or "")


def net_of(host: str) -> str:
    """What a host shares with its neighbours: "10.0.5.x", "fd00:0:0:1:x"; a name stands for itself."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    parts = address.exploded.split("." if address.version == 4 else ":")
    if address.version == 4:
        return ".".join([*parts[:3], "x"])
    return ":".join([*(part.lstrip("0") or "0" for part in parts[:4]), "x"])
