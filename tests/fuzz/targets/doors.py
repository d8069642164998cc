"""Does whatever comes in at a door end as a wish or as a refusal with a code? Bodies, MQTT, live messages."""

import asyncio
import json
from collections.abc import Mapping
from dataclasses import MISSING, fields
from typing import Any, Final

from pydantic import ValidationError

from stagectl.control.access import Person, Role
from stagectl.inlets import strict_json
from stagectl.inlets.http.calls import Door
from stagectl.inlets.http.live_acts import Asker
from stagectl.inlets.http.problems import misshapen
from stagectl.inlets.http.routes import ROUTES
from stagectl.inlets.mqtt_commands import MqttCommands, end_tasks
from stagectl.inlets.mqtt_payloads import packed
from stagectl.shoot.house import House
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.teller import Teller
from tests.driverkit.memory import VirtualClock, VirtualLoop
from tests.fuzz.target import Outcome, SlipError, Target
from tests.shoot.hall import DEMO, shipped

INES: Final = Person("ines", Role.OPERATOR)
LONGEST_S: Final = 600.0  # virtual: no command takes longer, no scene of the hall either
ANEW: Final = 200  # inputs a house hears before another one is built
MODELS: Final = list(dict.fromkeys(route.body for route in ROUTES if route.body is not None))


def body(data: bytes) -> Outcome:
    """A request's body: strict JSON that another reader reads alike, then the shape of each route."""
    try:
        value = strict_json.read(data)
    except strict_json.StrictError as error:
        if not str(error).endswith("."):
            raise SlipError(f"a refusal without a sentence: {error}") from error
        return ("refused", str(error)[:24])
    if json.loads(data) != value and value == value:  # noqa: PLR0124 - no NaN may come through
        raise SlipError("read otherwise than the standard library's reader does")
    if json.loads(strict_json.written(value)) != value:
        raise SlipError("written again it is another value")
    fits: list[str] = []
    for model in MODELS:
        try:
            model.model_validate(value)
            fits.append(model.__name__)
        except ValidationError as error:
            problem = misshapen("body", error)
            problem.response()
            strict_json.read(strict_json.written(problem.plain()))
    return ("read" if fits else "refused", "shape", *fits)


class Often:
    """Rates that never refuse: how often is another check's matter."""

    def take(self, peer: str) -> float:
        return 0.0


class Studio:
    """A pretended hall on virtual time, its MQTT door and its live socket; built anew now and then."""

    def __init__(self) -> None:
        self._left = 0
        self.loop = VirtualLoop()
        self.said: list[Any] = []

    def anew(self) -> None:
        """Another hall if this one has heard enough."""
        self._left -= 1
        if self._left > 0:
            return
        self._left = ANEW
        self.loop.run_until_complete(self._let_go())
        self.loop.close()
        self.loop = VirtualLoop()
        self.loop.run_until_complete(self._build())

    async def _let_go(self) -> None:
        await end_tasks([task for task in asyncio.all_tasks() if task is not asyncio.current_task()])

    async def _build(self) -> None:
        self.house: House = shipped(VirtualClock(self.loop))
        self.scenes = Scenes(self.house, DEMO)
        self.scenes.load()
        teller = Teller(self.house)
        self.mqtt = MqttCommands(self.house, self.scenes, teller, self._say)
        self.mqtt._rates = Often()  # type: ignore[assignment] - see Often
        parts: dict[str, Any] = {
            one.name: None for one in fields(Door) if one.default is one.default_factory is MISSING
        }
        parts |= {"house": self.house, "teller": teller, "scenes": self.scenes, "rates": Often()}
        self.door = Door(**parts)  # what else a door shares, no message asks for

    async def _say(self, topic: str, payload: Mapping[str, Any]) -> None:
        if json.loads(packed(payload)).get("id") is None:
            raise SlipError("an answer without an id")
        self.said.append(f"{payload.get('phase')} {payload.get('why', '')}".strip())

    def command(self, data: bytes) -> Outcome:
        """A command's payload as it comes from the broker."""
        self.anew()
        self.said.clear()
        self.loop.run_until_complete(self._mqtt(data))
        if len(self.said) not in (1, 2):
            raise SlipError(f"a command was answered {len(self.said)} times")
        return ("refused" if self.said[0].startswith("refused") else "read", *self.said)

    async def _mqtt(self, data: bytes) -> None:
        async with asyncio.timeout(LONGEST_S):
            self.mqtt.hear("ines", data, retained=False)
            for act in list(self.mqtt._acts):
                await act

    def message(self, data: bytes) -> Outcome:
        """A message over the live socket."""
        self.anew()
        self.said.clear()
        asker = Asker(self.door, INES, self._told, lambda names: None)
        self.loop.run_until_complete(self._live(asker, data.decode("utf-8", "replace")))
        if not self.said:
            raise SlipError("a message was not answered")
        return ("refused" if self.said[0][0] == "refused" else "read", *(word for one in self.said for word in one))

    def _told(self, plain: dict[str, Any]) -> None:
        strict_json.read(strict_json.written(plain))
        self.said.append((str(plain["is"]), str(plain.get("code", ""))))

    async def _live(self, asker: Asker, text: str) -> None:
        async with asyncio.timeout(LONGEST_S):
            await asker.hear(text)
            while asker._waiting:
                await asyncio.wait(list(asker._waiting))
        for task in [*asker._waiting]:
            task.result()


STUDIO: Final = Studio()
BODIES: Final = [
    *(
        b"{}",
        b'{"name":"Masterclass 3","on":["iso"]}',
        b'{"take":3}',
        b'{"take":3,"on":"iso-1"}',
        b'{"src":"wide","dst":"program"}',
    ),
    *(
        b'{"point":"strip.5.level","value":"-12 dB"}',
        b'{"verb":"roll","args":{"name":"a"}}',
        b'{"good":true,"note":"clean"}',
    ),
    *(b'{"name":"ines","password":"four canvas otters yawn"}', b'{"name":"pedal","role":"operator","verbs":["roll"]}'),
    *(b'[1,2.5,-0.0,1e3,"\\u00e9\\ud83d\\ude00",null,true]', b'"text"', b'{"points":{"iso-1":{"remote":"yes"}}}'),
]
COMMANDS: Final = [
    *(b'{"id":"a1","verb":"roll"}', b'{"id":"a2","verb":"roll","on":["iso"],"args":{"name":"Trio"}}'),
    *(
        b'{"id":"a3","verb":"cut","if_epoch":1,"args":{"take":1}}',
        b'{"id":"a4","verb":"cut","args":{"take":1},"if_epoch":0}',
    ),
    *(b'{"id":"a5","verb":"set","on":"mixer","args":{"point":"strip.5.level","value":"-12 dB"}}',),
    *(b'{"id":"a6","verb":"set","on":["paths"],"args":{"point":"program.shows","value":"wide"},"v":1}',),
    *(
        b'{"id":"a7","verb":"scene","on":["roll-all"],"args":{"name":"roll-all"}}',
        b'{"id":"a8","verb":"scene","on":["cut"]}',
    ),
    *(b'{"id":"a9","verb":"cue","on":["iso-1"],"args":{"label":"10:00:00:00"},"not_after":"2027-03-12T14:03:44Z"}',),
    *(
        b'{"id":"b1","verb":"roll","if_rev":{"iso-1/transport":7},"source":"pedal"}',
        b'{"id":"b2","verb":"format","on":["iso-1"]}',
    ),
    *(
        b'{"id":"b3","verb":"recall","on":["mixer"],"args":{"memory":"A 3"}}',
        b'{"id":"b4","verb":"play","on":["iso-1"],"args":{"speed":"1"}}',
    ),
]
MESSAGES: Final = [
    *(b'{"do":"roll","id":"a1"}', b'{"do":"roll","args":{"name":"Trio","on":["iso"]},"id":"a2","edge":"press"}'),
    *(b'{"do":"cut","args":{"take":1},"id":"a3"}', b'{"do":"route","args":{"src":"wide","dst":"program"},"id":"a4"}'),
    *(b'{"do":"level","args":{"of":"strip 5","to":"-12 dB"},"id":"a5"}', b'{"do":"roll","id":"a6","edge":"release"}'),
    *(b'{"do":"level","args":{"of":"bus 3","to":-3,"device":"mixer"},"id":"a7"}',),
]
WORDS: Final = [
    *(
        b"roll",
        b"cut",
        b"set",
        b"cue",
        b"play",
        b"recall",
        b"scene",
        b"route",
        b"level",
        b"format",
        b"mark",
        b"stop",
        b"spill",
    ),
    *(
        b"id",
        b"verb",
        b"on",
        b"args",
        b"v",
        b"if_epoch",
        b"if_rev",
        b"not_after",
        b"source",
        b"do",
        b"edge",
        b"take",
        b"name",
    ),
    *(
        b"iso-1",
        b"iso",
        b"recorder",
        b"takes",
        b"paths",
        b"stations",
        b"mixer",
        b"hall",
        b"program",
        b"wide",
        b"a1",
        b"point",
    ),
    *(
        b"value",
        b"transport",
        b"strip.5.level",
        b"output.3.source",
        b"remote",
        b"program.shows",
        b"clip.name",
        b"-12 dB",
    ),
    *(
        b"off",
        b"yes",
        b"confirm",
        b"everyone",
        b"10:00:00:00",
        b"roll-all",
        b"cut",
        b"route-isos",
        b"stage-left",
        b"note",
    ),
]
TARGETS: Final = [
    Target("http-body", "HTTP: strict JSON and the shapes of all routes", body, "json", WORDS, [*BODIES, *COMMANDS]),
    Target("mqtt-command", "MQTT: a command's payload, carried out", STUDIO.command, "json", WORDS, COMMANDS),
    Target("live-message", "WebSocket: a message, carried out", STUDIO.message, "json", WORDS, MESSAGES),
]
