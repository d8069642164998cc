"""Whom does MQTT let act, once the house has accounts? Machines with a token, and what that grants; without a broker.

Source: own construction; the broker's access list proves who writes to cmd/<name>.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from stagectl.control import people
from stagectl.control.access import Person, Role
from stagectl.control.people import Account
from stagectl.inlets.mqtt_commands import Back, MqttCommands
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.teller import Teller
from tests.house import Toys, toy_house

TOMAS = Person("tomas", Role.ENGINEER)


@dataclass
class Line:
    toys: Toys
    commands: MqttCommands
    said: list[tuple[str, Mapping[str, Any]]] = field(default_factory=list)
    count: int = 0

    async def ask(
        self, principal: str, verb: str, *on: str, said: Mapping[str, Any] | None = None, **args: Any
    ) -> Mapping[str, Any]:
        """The last that is said of a command: how it was refused, or how it ended. `said`: further fields of it."""
        self.count += 1
        payload = {"v": 1, "id": f"ask-{self.count}", "verb": verb, "on": list(on), "args": args, **(said or {})}
        self.commands.hear(principal, json.dumps(payload).encode(), retained=False)
        topic = f"verdict/{principal}/ask-{self.count}"
        await self.toys.until(lambda: any(at == topic and told["phase"] != "accepted" for at, told in self.said))
        return [told for at, told in self.said if at == topic][-1]


@pytest.fixture
async def line(tmp_path: Path) -> AsyncIterator[Line]:
    async with toy_house(tmp_path / "data") as toys:
        said: list[tuple[str, Mapping[str, Any]]] = []

        async def say(back: Back, payload: Mapping[str, Any]) -> None:
            said.append((back.topic, payload))
            await asyncio.sleep(0)

        commands = MqttCommands(toys.house, Scenes(toys.house, tmp_path), Teller(toys.house), say)
        yield Line(toys, commands, said)
        await commands.close()


async def test_without_accounts_whoever_may_publish_is_an_operator(line: Line) -> None:
    assert (await line.ask("pedal", "set", "hall", point="output.1.source", value=2))["phase"] == "verified"


async def test_with_accounts_a_machine_does_what_its_token_grants_until_it_is_revoked(line: Line) -> None:
    house = line.toys.house
    await people.write(house.world.storage, {"tomas": Account("tomas", Role.ENGINEER, "kept")})
    house.gate.look()
    route: dict[str, Any] = {"point": "output.1.source", "value": 2}
    for name in ("pedal", "tomas", "ines"):
        told = await line.ask(name, "set", "hall", **route)
        assert (told["phase"], told["why"]) == ("refused", "token")
    assert line.toys.asked() == []
    token, _ = await house.gate.machine(TOMAS, "pedal", Role.OPERATOR, verbs=["route"], devices=["hall"], days=1)
    assert (await line.ask("pedal", "set", "hall", **route))["phase"] == "verified"
    assert (await line.ask("pedal", "set", "mixer", point="strip.1.muted", value=True))["phase"] in (
        "failed",
        "refused",
    )
    assert {name for name, _ in line.toys.asked()} == {"hall"}
    await house.gate.revoke(TOMAS, token)
    told = await line.ask("pedal", "set", "hall", **(route | {"value": 1}))
    assert (told["phase"], told["why"]) == ("refused", "token")
    refused = [who for kind, who, data in line.toys.journal.records if kind == "access" and data["what"] == "refused"]
    assert refused == ["pedal", "tomas", "ines", "pedal"]


async def test_with_a_holder_a_machine_is_told_who_holds_the_desk(line: Line) -> None:
    line.toys.house.desk.take(Person("ines", Role.OPERATOR))
    told = await line.ask("pedal", "set", "hall", point="output.1.source", value=2)
    assert told["phase"] in ("failed", "refused")
    assert "ines holds the desk" in json.dumps(told)
    assert line.toys.asked() == []
    assert (await line.ask("pedal", "roll"))["phase"] == "verified"


async def test_anothers_take_ends_at_the_second_asking_and_lines_name_where_it_came_from(line: Line) -> None:
    house = line.toys.house
    await people.write(house.world.storage, {"tomas": Account("tomas", Role.ENGINEER, "kept")})
    house.gate.look()
    devices = list(house.takes.recorders)
    for name in ("pedal", "panel"):
        await house.gate.machine(TOMAS, name, Role.OPERATOR, verbs=["roll", "cut"], devices=devices, days=1)
    assert (await line.ask("panel", "roll"))["phase"] == "verified"
    epoch = {"if_epoch": house.epoch}
    told = await line.ask("pedal", "cut", said=epoch, take=1)
    assert (told["phase"], told["why"]) == ("refused", "confirm")
    assert told["say"].startswith("panel rolled take 1. This ends it on ")
    assert house.takes.open is not None
    told = await line.ask("pedal", "cut", said={**epoch, "confirm": told["confirm"]}, take=1)
    assert told["phase"] == "verified"
    lines = [
        (kind, data.get("what", data.get("verb")), data["source"])
        for kind, who, data in line.toys.journal.records
        if who == "pedal" and kind in ("access", "command")
    ]
    assert lines == [
        ("access", "selected", "mqtt cmd/pedal"),
        ("access", "refused", "mqtt cmd/pedal"),
        ("command", "cut", "mqtt cmd/pedal"),
    ]
