"""What may a set-up file say, for editors? A JSON Schema, made from the reader's own tables."""

from typing import Any, Final

from stagectl.shoot.setups.file import KEYS

_SCALAR: Final = {"type": ["string", "number", "boolean"]}
_SHAPES: Final[dict[str, dict[str, Any]]] = {
    "set-up": {"type": "string", "minLength": 1, "description": "What people call it."},
    "about": {"type": "string", "description": "What it is for, one sentence."},
    "includes": {
        "type": "array",
        "items": {"type": "string"},
        "description": "Set-ups whose wants hold too; a later one and this file go before an earlier one.",
    },
    "wants": {
        "description": "Device, part or `every GROUP` -> point -> value. A device's own row goes before its group's.",
        "type": "object",
        "minProperties": 1,
        "additionalProperties": {"type": "object", "minProperties": 1, "additionalProperties": _SCALAR},
    },
    "hold": {
        "type": "array",
        "items": {"type": "string"},
        "description": "Points that are watched after it was applied, as `paths program shows`. Left out: all.",
    },
}


def setup_schema() -> dict[str, Any]:
    """The schema of a set-up file, JSON Schema 2020-12. Values are text until their point reads them."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Set-up",
        "type": "object",
        "required": ["set-up"],
        "anyOf": [{"required": ["wants"]}, {"required": ["includes"]}],
        "additionalProperties": False,
        "properties": {key: _SHAPES[key] for key in KEYS},
    }
