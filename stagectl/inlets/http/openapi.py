"""What does the machine-readable description say? OpenAPI 3.1 from the route table and the models."""

from collections.abc import Mapping
from functools import cache
from typing import Any, Final, Literal

from pydantic import BaseModel, TypeAdapter

from stagectl.inlets.http import form
from stagectl.inlets.http.models import Problem
from stagectl.inlets.http.route import Route
from stagectl.inlets.http.routes import ROUTES

_PROBLEM: Final = {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
_FORM: Final = {  # all text; what is no field of the request itself is an argument
    "type": "object",
    "required": ["verb"],
    "properties": {name: {"type": "string"} for name in form.OWN},
    "additionalProperties": {"type": "string"},
}
_TEMPLATE: Final = "#/components/schemas/{model}"


@cache
def document(version: str) -> Mapping[str, Any]:
    """The whole document, as JSON holds it; made when it is first asked for, since that takes a tenth of a second."""
    schemas = _schemas()
    paths: dict[str, Any] = {}
    for route in ROUTES:
        paths.setdefault(route.path_text, {})[route.method.lower()] = _operation(route, schemas)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "stagectl",
            "version": version,
            "summary": "The control plane of a small multi-camera studio",
            "description": (
                "As installed everyone at this machine is the operator `desk`; the header `X-Stage-Who` names a person "
                "of the site file. Once there are accounts, every address but the public ones needs the header "
                "`Authorization: Bearer` with a token. A command's answer says what was proven: `verified`, `sent` "
                "(the box can't report), `failed`, `unconfirmed`. The same `Idempotency-Key` never acts twice."
            ),
            "license": {"name": "Apache-2.0", "identifier": "Apache-2.0"},
        },
        "servers": [{"url": "/"}],
        "tags": [
            {"name": "see", "description": "What is known now"},
            {"name": "act", "description": "What can be asked"},
            {"name": "people", "description": "Who may come in, and who holds the desk"},
            {"name": "follow", "description": "What changes"},
            {"name": "health", "description": "For supervisors"},
            {"name": "documents", "description": "For people and tools"},
        ],
        "paths": paths,
        "components": {"schemas": schemas["defs"]},
    }


def _schemas() -> dict[str, Any]:
    """Every model once, under its name; `refs` finds the schema of a model and mode."""
    inputs: list[tuple[type[BaseModel], Literal["validation", "serialization"], TypeAdapter[Any]]] = [
        (model, "validation", TypeAdapter(model)) for model in _models()
    ]
    refs, rest = TypeAdapter.json_schemas(inputs, ref_template=_TEMPLATE)
    return {"refs": {model: refs[model, "validation"] for model in _models()}, "defs": rest.get("$defs", {})}


def _models() -> list[type[BaseModel]]:
    found: dict[type[BaseModel], None] = {Problem: None}
    for route in ROUTES:
        for model in (route.answer, route.path, route.query, route.body):
            if model is not None:
                found[model] = None
    return list(found)


def _operation(route: Route, schemas: dict[str, Any]) -> dict[str, Any]:
    told: dict[str, Any] = {
        "operationId": f"{route.handler.__module__.rpartition('.')[2]}_{route.handler.__name__}",
        "summary": route.summary,
        "tags": [route.tag],
        "responses": _responses(route, schemas),
    }
    assert route.rule is not None
    told["description"] = " ".join(
        [*(route.handler.__doc__ or "").split(), f"The least it asks of who comes: {route.rule.least.value}."]
    )
    parameters = [
        *_parameters("path", route.path, schemas),
        *_parameters("query", route.query, schemas),
        *_headers(route),
    ]
    if parameters:
        told["parameters"] = parameters
    if route.body is not None:
        told["requestBody"] = {
            "required": bool(schemas["defs"][route.body.__name__].get("required")),
            "content": {"application/json": {"schema": schemas["refs"][route.body]}},
        }
        if route.form:
            told["requestBody"]["content"][form.CONTENT_TYPE] = {"schema": _FORM}
    return told


def _parameters(where: str, model: type[BaseModel] | None, schemas: dict[str, Any]) -> list[dict[str, Any]]:
    if model is None:
        return []
    shape = schemas["defs"][model.__name__]
    needed = shape.get("required", [])
    found = []
    for name, schema in shape["properties"].items():
        told = {"name": name, "in": where, "required": where == "path" or name in needed, "schema": _no_null(schema)}
        if "description" in schema:
            told["description"] = schema["description"]
        found.append(told)
    return found


def _no_null(schema: dict[str, Any]) -> dict[str, Any]:
    """A parameter that is left out is not null: an address holds text."""
    options = [one for one in schema.get("anyOf", ()) if one.get("type") != "null"]
    kept = {key: value for key, value in schema.items() if key not in ("anyOf", "default", "title", "description")}
    if len(options) == 1:
        return {**kept, **options[0]}
    return {**kept, **({"anyOf": options} if options else {})}


def _headers(route: Route) -> list[dict[str, Any]]:
    key = {
        "name": "Idempotency-Key",
        "in": "header",
        "required": False,
        "description": "The caller's own id of this wish; the same one is never carried out twice.",
        "schema": {"type": "string", "pattern": "^[A-Za-z0-9._-]{1,64}$"},
    }
    return [key] if route.keyed else []


def _responses(route: Route, schemas: dict[str, Any]) -> dict[str, Any]:
    told: dict[str, Any] = {}
    if route.answer is not None:
        content: dict[str, Any] = {"application/json": {"schema": schemas["refs"][route.answer]}}
    elif route.kind == "websocket":
        content = {}
    else:
        content = {route.kind: {"schema": {"type": "string"}}}
    well: dict[str, Any] = {"description": "Switching to WebSocket." if route.status == 101 else "Done."}
    if content:
        well["content"] = content
    told[str(route.status)] = well
    if route.accepted:
        where = {"Location": {"description": "Where its verdict will be.", "schema": {"type": "string"}}}
        told["202"] = {"description": "Heard, not proven yet.", "headers": where, "content": content}
    for status, why in sorted(route.problems.items()):
        told[str(status)] = {"description": why, "content": _PROBLEM}
    told["default"] = {"description": "Anything else that went wrong.", "content": _PROBLEM}
    return told
