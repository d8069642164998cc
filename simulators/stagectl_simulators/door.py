"""How do people and tests reach behind a box? A small HTTP door: truth, wire, faults and the hand on the panel."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable, Mapping
from typing import Final

from aiohttp import web

from stagectl_simulators.kinds import KINDS
from stagectl_simulators.server import BoxServer

BODY_LIMIT: Final = 64 * 1024  # bytes; a panel act is a few words
_BOXES: Final = web.AppKey("boxes", Mapping[str, BoxServer])


def build_door(boxes: Mapping[str, BoxServer]) -> web.Application:
    """The door to these boxes. Answers JSON; a refusal is `{"error": sentence}` with status 400 or 404."""
    door = web.Application(client_max_size=BODY_LIMIT, middlewares=[_sentences])
    door[_BOXES] = boxes
    door.add_routes(
        [
            web.get("/boxes", list_boxes),
            web.get("/boxes/{box}", show_box),
            web.get("/boxes/{box}/wire", show_wire),
            web.delete("/boxes/{box}/wire", clear_wire),
            web.get("/boxes/{box}/store", show_store),
            web.get("/boxes/{box}/faults", show_faults),
            web.put("/boxes/{box}/faults/{fault}", turn_fault),
            web.post("/boxes/{box}/panel/{act}", act_on_panel),
        ]
    )
    return door


@web.middleware
async def _sentences(
    request: web.Request, handler: Callable[[web.Request], Awaitable[web.StreamResponse]]
) -> web.StreamResponse:
    try:
        return await handler(request)
    except ValueError as error:
        return web.json_response({"error": str(error)}, status=400)
    except web.HTTPMethodNotAllowed as error:
        allowed = ", ".join(sorted(error.allowed_methods))
        sentence = f"{error.method} does nothing at {request.path}. What can be done there: {allowed}."
        return web.json_response({"error": sentence}, status=error.status, headers={"Allow": allowed})
    except web.HTTPException as error:
        sentence = error.text or error.reason
        if request.match_info.http_exception is error:
            sentence = f"There is nothing at {request.path}. Begin at /boxes."
        return web.json_response({"error": sentence}, status=error.status)


def _box(request: web.Request) -> BoxServer:
    name, boxes = request.match_info["box"], request.app[_BOXES]
    if name not in boxes:
        raise web.HTTPNotFound(text=f"There is no box {name!r}. Known boxes: {', '.join(boxes)}.")
    return boxes[name]


async def _table(request: web.Request) -> dict[str, object]:
    """The body as a JSON object; no body is an empty one."""
    text = await request.text()
    try:
        value = json.loads(text) if text.strip() else {}
    except json.JSONDecodeError as error:
        raise ValueError(f"The body is no JSON: {error.msg} at character {error.pos}. Send a JSON object.") from error
    if not isinstance(value, dict):
        raise ValueError("The body must be a JSON object.")  # noqa: TRY004 - what was sent is wrong, not our code
    return value


def _summary(box: BoxServer) -> dict[str, object]:
    return {
        "id": box.name,
        "kind": box.model.kind,
        "address": f"{box.address[0]}:{box.address[1]}",
        "faults_on": box.faults_on(),
        "store": None if box.store is None else f"{box.store.address[0]}:{box.store.address[1]}",
    }


async def list_boxes(request: web.Request) -> web.Response:
    """GET /boxes."""
    boxes = [_summary(box) for box in request.app[_BOXES].values()]
    return web.json_response({"boxes": boxes, "kinds": list(KINDS)})


async def show_box(request: web.Request) -> web.Response:
    """GET /boxes/{box}."""
    box = _box(request)
    return web.json_response(_summary(box) | {"faults": box.faults(), "truth": box.truth()})


async def show_wire(request: web.Request) -> web.Response:
    """GET /boxes/{box}/wire?since=N: entries with a number above N."""
    box = _box(request)
    since = request.query.get("since", "0")
    if not (since.isascii() and since.isdigit()):
        raise ValueError(f"'since' must be the number of an entry, not {since!r}.")
    return web.json_response({"last": box.log.last, "entries": box.log.since(int(since))})


async def clear_wire(request: web.Request) -> web.Response:
    """DELETE /boxes/{box}/wire."""
    box = _box(request)
    box.log.clear()
    return web.json_response({"last": box.log.last, "entries": []})


async def show_store(request: web.Request) -> web.Response:
    """GET /boxes/{box}/store: the files of its clip store as they are, whatever a client of it sees."""
    box = _box(request)
    if box.store is None:
        raise web.HTTPNotFound(text=f"{box.name} has no clip store.")
    box.truth()  # what is due happens first
    return web.json_response({"files": box.store.listed()})


async def show_faults(request: web.Request) -> web.Response:
    """GET /boxes/{box}/faults."""
    return web.json_response(_box(request).faults())


async def turn_fault(request: web.Request) -> web.Response:
    """PUT /boxes/{box}/faults/{fault} with {"on": true, false or a number}."""
    box, body = _box(request), await _table(request)
    value = body.get("on")
    if set(body) != {"on"} or not isinstance(value, bool | int | float):
        raise ValueError('Send {"on": true}, {"on": false} or {"on": a number}.')
    box.turn(request.match_info["fault"], value)
    return web.json_response(box.faults())


async def act_on_panel(request: web.Request) -> web.Response:
    """POST /boxes/{box}/panel/{act} with the act's arguments."""
    box = _box(request)
    box.panel(request.match_info["act"], await _table(request))
    return web.json_response({"truth": box.truth()})
