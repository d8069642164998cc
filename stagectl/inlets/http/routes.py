"""Which address answers which question? The one table that the server, the OpenAPI document and the tests read."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from pydantic import BaseModel

from stagectl.inlets.http import (
    acts,
    alarms,
    desk_acts,
    guest_page,
    health,
    keys,
    live,
    models,
    pages,
    reads,
    scene_acts,
)
from stagectl.inlets.http.calls import Handler
from stagectl.inlets.http.rules import MANAGE, OWN, PROVED, PUBLIC, SEE, Rule, act

API: Final = "/api/v1"


@dataclass(frozen=True, slots=True)
class Route:
    """One method of one address.

    Attributes:
        summary: what it does, in one line.
        answer: shape of the answer; None: no JSON, see `kind`.
        path, query, body: shapes of what comes in; None: nothing is taken.
        accepted: it may answer 202, with where to look.
        kind: content type of the answer.
        status: when all is well.
        keyed: takes an Idempotency-Key.
        also: further statuses that are problems, with why.
        tag: heading in the document.
        rule: the least that who comes must be; a door with a route that has none does not open.
    """

    method: str
    path_text: str
    handler: Handler
    summary: str
    answer: type[BaseModel] | None = None
    path: type[BaseModel] | None = None
    query: type[BaseModel] | None = None
    body: type[BaseModel] | None = None
    accepted: bool = False
    keyed: bool = False
    kind: str = "application/json"
    status: int = 200
    also: Mapping[int, str] = field(default_factory=dict)
    tag: str = "see"
    rule: Rule | None = None


_NONE: Final = "No such thing here."
_LATE: Final = "The box did not answer in time."


ROUTES: Final[tuple[Route, ...]] = (
    Route(
        "GET",
        f"{API}/now",
        reads.now,
        "The house in a sentence, the running take, what is wrong",
        models.NowOut,
        rule=SEE,
    ),
    Route("GET", f"{API}/wrong", reads.wrong, "What is wrong, worst first", models.WrongsOut, rule=SEE),
    Route(
        "GET",
        f"{API}/alarms",
        alarms.alarms,
        "Every alarm that stands or was not seen, and rates",
        models.AlarmsOut,
        rule=SEE,
    ),
    Route(
        "POST",
        f"{API}/alarms/{{id}}/ack",
        alarms.know,
        "Say that somebody has seen an alarm",
        models.AlarmSaid,
        path=models.AlarmPath,
        also={403: "This person may not.", 404: _NONE, 409: "It is off."},
        tag="act",
        rule=act("alarm"),
    ),
    Route(
        "POST",
        f"{API}/alarms/{{id}}/aside",
        alarms.aside,
        "Put an alarm aside until a time, with a reason",
        models.AlarmSaid,
        path=models.AlarmPath,
        body=models.AsideBody,
        also={403: "This person may not.", 404: _NONE, 409: "It is off."},
        tag="act",
        rule=act("alarm"),
    ),
    Route("GET", f"{API}/site", reads.site, "The installation", models.SiteOut, rule=SEE),
    Route("GET", f"{API}/devices", reads.devices, "Every box", models.DevicesOut, rule=SEE),
    Route(
        "GET",
        f"{API}/devices/{{id}}",
        reads.device,
        "One box with its points",
        models.DeviceWhole,
        path=models.DevicePath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/devices/{{id}}/lists/{{what}}",
        reads.rows,
        "A list of a box, such as its clips, read now",
        models.RowsOut,
        path=models.ListPath,
        query=models.RowsQuery,
        also={404: _NONE, 504: _LATE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/points",
        reads.points,
        "Every observed value",
        models.PointsOut,
        query=models.PointsQuery,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/points/{{device}}/{{name}}",
        reads.point,
        "One observed value",
        models.PointOut,
        path=models.PointPath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/capabilities/{{kind}}",
        reads.capability,
        "What can be known and asked of a kind of box",
        models.CapabilityOut,
        path=models.KindPath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/commands",
        reads.commands,
        "The newest commands",
        models.GroupsOut,
        query=models.CountQuery,
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/commands/{{id}}",
        reads.command,
        "One command and how it ended for each box",
        models.GroupOut,
        path=models.CommandPath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route("GET", f"{API}/takes", reads.takes, "The newest takes", models.TakesOut, query=models.CountQuery, rule=SEE),
    Route(
        "GET",
        f"{API}/takes/{{n}}",
        reads.take,
        "One take",
        models.TakeOut,
        path=models.TakePath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET", f"{API}/journal", reads.journal, "What happened", models.JournalOut, query=models.JournalQuery, rule=SEE
    ),
    Route(
        "POST",
        f"{API}/roll",
        acts.roll,
        "Roll the recorders as one take",
        models.GroupOut,
        query=models.WaitQuery,
        body=models.RollBody,
        accepted=True,
        keyed=True,
        also={403: "This person may not.", 404: _NONE, 409: "The key was used for something else."},
        tag="act",
        rule=act("roll"),
    ),
    Route(
        "POST",
        f"{API}/cut",
        acts.cut,
        "End the take of that number",
        models.GroupOut,
        query=models.WaitQuery,
        body=models.CutBody,
        accepted=True,
        keyed=True,
        also={403: "This person may not.", 404: _NONE, 409: "That take does not run, or the key was used."},
        tag="act",
        rule=act("cut"),
    ),
    Route(
        "POST",
        f"{API}/commands",
        acts.command,
        "Any verb for any box, group or part",
        models.GroupOut,
        query=models.WaitQuery,
        body=models.CommandBody,
        accepted=True,
        keyed=True,
        also={403: "This person may not.", 404: _NONE, 409: "The key was used, or something is in flight there."},
        tag="act",
        rule=act(),
    ),
    Route(
        "POST",
        f"{API}/takes/slate",
        acts.slate,
        "Name the next take",
        models.SaidOut,
        body=models.SlateBody,
        keyed=True,
        also={403: "This person may not.", 409: "The key was used for something else."},
        tag="act",
        rule=act("slate", "set"),
    ),
    Route(
        "POST",
        f"{API}/takes/{{n}}/marks",
        acts.mark,
        "Mark a take good, or write a note to it",
        models.TakeOut,
        path=models.TakePath,
        body=models.MarkBody,
        also={403: "This person may not.", 404: _NONE},
        tag="act",
        rule=act("mark", "good", "note"),
    ),
    Route(
        "POST",
        f"{API}/devices/{{id}}/retry",
        acts.retry,
        "Take a box out of quarantine",
        models.DeviceOut,
        path=models.DevicePath,
        also={403: "This person may not.", 404: _NONE},
        tag="act",
        rule=act("retry"),
    ),
    Route(
        "GET",
        f"{API}/scenes",
        scene_acts.scenes,
        "The scenes of the site",
        models.ScenesOut,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/scenes/runs",
        scene_acts.runs,
        "The newest runs of scenes",
        models.RunsOut,
        query=models.CountQuery,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/scenes/runs/{{id}}",
        scene_acts.one_run,
        "One run, step by step",
        models.RunOut,
        path=models.RunPath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/scenes/{{n}}",
        scene_acts.scene,
        "One scene",
        models.SceneWhole,
        path=models.ScenePath,
        also={404: _NONE},
        rule=SEE,
    ),
    Route(
        "POST",
        f"{API}/scenes/{{n}}/runs",
        scene_acts.run,
        "Run a scene, or say what it would do",
        models.RunOut,
        path=models.ScenePath,
        query=models.RunQuery,
        body=models.RunBody,
        accepted=True,
        keyed=True,
        also={403: "This person may not.", 404: _NONE, 409: "The key was used, or too many scenes run."},
        tag="act",
        rule=SEE,
    ),
    Route(
        "POST",
        f"{API}/scenes/runs/{{id}}/answers",
        scene_acts.answer,
        "Answer what a run asks",
        models.RunOut,
        path=models.RunPath,
        body=models.AnswerBody,
        also={403: "This person may not.", 404: _NONE},
        tag="act",
        rule=act("answer", "scene"),
    ),
    Route(
        "POST",
        f"{API}/scenes/runs/{{id}}/stop",
        scene_acts.stop,
        "Let a run end after its present step",
        models.RunOut,
        path=models.RunPath,
        also={403: "This person may not.", 404: _NONE},
        tag="act",
        rule=act("scene"),
    ),
    Route(
        "POST",
        f"{API}/in/{{inlet}}",
        acts.inlet,
        "What an outside controller asks, in the words all inlets share",
        models.SaidOut,
        path=models.InletPath,
        query=models.WaitQuery,
        body=models.InBody,
        accepted=True,
        keyed=True,
        also={
            403: "This person may not.",
            404: _NONE,
            409: "Another take runs, or the id was used.",
            429: "Too often.",
        },
        tag="act",
        rule=act(),
    ),
    Route(
        "GET",
        f"{API}/live",
        live.socket,
        "WebSocket: a snapshot, then every change; takes acts too",
        query=models.LiveQuery,
        kind="websocket",
        status=101,
        also={503: "All places are taken."},
        tag="follow",
        rule=SEE,
    ),
    Route(
        "GET",
        f"{API}/events",
        live.events,
        "Server-sent events: a snapshot, then every change",
        query=models.LiveQuery,
        kind="text/event-stream",
        also={503: "All places are taken."},
        tag="follow",
        rule=SEE,
    ),
    Route(
        "POST",
        f"{API}/login",
        keys.login,
        "Come in with a name and a password",
        models.IssuedOut,
        body=models.LoginBody,
        also={401: "Wrong.", 409: "There are no accounts.", 429: "Too soon after a wrong one."},
        tag="people",
        rule=PUBLIC,
    ),
    Route("POST", f"{API}/logout", keys.logout, "End the token this comes with", models.SayOut, tag="people", rule=OWN),
    Route("GET", f"{API}/me", keys.me, "Who this is and what it may", models.MeOut, tag="people", rule=OWN),
    Route("GET", f"{API}/tokens", keys.tokens, "The tokens that are out", models.TokensOut, tag="people", rule=MANAGE),
    Route(
        "POST",
        f"{API}/tokens",
        keys.new_token,
        "Make a token for a program",
        models.IssuedOut,
        body=models.TokenBody,
        also={403: "This person may not.", 404: _NONE},
        tag="people",
        rule=MANAGE,
    ),
    Route(
        "POST",
        f"{API}/tokens/{{id}}/revoke",
        keys.revoke,
        "End a token",
        models.SayOut,
        path=models.TokenPath,
        also={403: "This person may not.", 404: _NONE},
        tag="people",
        rule=MANAGE,
    ),
    Route(
        "POST",
        f"{API}/guests",
        keys.new_guest,
        "Make a token for a guest",
        models.IssuedOut,
        body=models.GuestBody,
        also={403: "This person may not."},
        tag="people",
        rule=PROVED,
    ),
    Route("GET", f"{API}/desk", desk_acts.desk, "Who holds the desk", models.DeskOut, tag="people", rule=SEE),
    Route(
        "POST",
        f"{API}/desk",
        desk_acts.hold,
        "Take the desk, ask for it, give it or keep it",
        models.DeskOut,
        body=models.DeskBody,
        also={403: "This person may not.", 409: "Somebody else holds it."},
        tag="people",
        rule=act("hold"),
    ),
    Route(
        "POST",
        f"{API}/call",
        desk_acts.ring,
        "Call whoever is at the desk",
        models.SayOut,
        body=models.CallBody,
        also={403: "This person may not."},
        tag="people",
        rule=act("call"),
    ),
    Route("GET", "/livez", health.alive, "Does the process answer?", models.AliveOut, tag="health", rule=PUBLIC),
    Route(
        "GET",
        "/readyz",
        health.ready,
        "Can it be relied on?",
        models.ReadyOut,
        also={503: "Something of the daemon itself is wrong."},
        tag="health",
        rule=SEE,
    ),
    Route("GET", "/metrics", health.metrics, "Counters for a collector", kind="text/plain", tag="health", rule=SEE),
    Route("GET", "/openapi.json", pages.document, "This document", models.Plain, tag="documents", rule=SEE),
    Route("GET", "/docs", pages.docs, "The same for people", kind="text/html", tag="documents", rule=SEE),
    Route(
        "GET", "/", pages.front, "The house in a sentence, for people", kind="text/html", tag="documents", rule=PUBLIC
    ),
    Route("GET", "/guest", guest_page.guest, "What a guest may do", kind="text/html", tag="documents", rule=PUBLIC),
)
