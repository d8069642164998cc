"""What may a scene file say, for editors? A JSON Schema, made from the reader's own tables."""

from typing import Any, Final

from stagectl.control.access import Role
from stagectl.shoot.scene import Fails
from stagectl.shoot.scenesteps import ANY_STEP, EVERYTHING, MAX_BRANCHES, MAX_STEPS, STEP_WORDS
from stagectl.shoot.scenewords import KINDS

LISTS: Final = ("device", "recorder", "source", "destination", "sound", "station")  # further kinds of argument

_TIME: Final = {"type": "string", "description": 'A time such as "2 s", "500 ms" or "2 min".'}
_SCALAR: Final = {"type": ["string", "number", "boolean"]}
_CLAIM: Final = {"$ref": "#/$defs/claim"}
_STEPS: Final = {"type": "array", "items": {"$ref": "#/$defs/step"}, "minItems": 1, "maxItems": MAX_STEPS}


def scene_schema() -> dict[str, Any]:
    """The schema of a scene file, JSON Schema 2020-12. Values are text until their point reads them."""
    word: dict[str, dict[str, Any]] = {
        "check": _CLAIM | {"description": "Must be so now."},
        "wait for": _CLAIM | {"description": "Must become so within the time."},
        "set": {
            "description": "Device, part or `every GROUP` -> point -> value, all at once.",
            "type": "object",
            "minProperties": 1,
            "additionalProperties": {"type": "object", "minProperties": 1, "additionalProperties": _SCALAR},
        },
        "set up": {"type": "string", "description": "The name of a set-up: what differs is put right."},
        "do": {"type": "string", "description": "A device, part or group, and a verb: `takes roll`."},
        "together": _STEPS | {"maxItems": MAX_BRANCHES, "description": "Steps side by side."},
        "ask": {"type": "string", "description": "A question to a person; goes on with yes."},
        "pause": _TIME,
        "put back": {"enum": [EVERYTHING], "description": "The settings this run changed, where they are still ours."},
    }
    further: dict[str, dict[str, Any]] = {
        "within": _TIME | {"description": "How long to wait."},
        "of": {"type": "string", "description": "operator, engineer, or a person of the site."},
        "with": {"type": "object", "additionalProperties": _SCALAR, "description": "Arguments of the verb."},
        "only if": _CLAIM | {"description": "Skipped while this is not so."},
        "otherwise": {"type": "string", "description": "What people read if it fails, or: go on"},
    }
    steps: list[dict[str, Any]] = [
        {
            "type": "object",
            "required": [name, *must],
            "additionalProperties": False,
            "properties": {name: word[name], **{one: further[one] for one in (*must, *may, *ANY_STEP)}},
        }
        for name, (must, may) in STEP_WORDS.items()
    ]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Scene",
        "type": "object",
        "required": ["scene", "steps"],
        "additionalProperties": False,
        "properties": {
            "scene": {"type": "string", "minLength": 1, "description": "What people call it."},
            "about": {"type": "string", "description": "What it does, one sentence."},
            "for": {"enum": [Role.OPERATOR.value, Role.ENGINEER.value], "description": "The least role to start it."},
            "with": {
                "description": "Arguments, written {name} in the texts below.",
                "type": "object",
                "propertyNames": {"pattern": "^[a-z][a-z0-9-]{0,31}$"},
                "additionalProperties": {
                    "type": "object",
                    "required": ["default"],
                    "additionalProperties": False,
                    "properties": {
                        "about": {"type": "string"},
                        "default": _SCALAR,
                        "reads": {"enum": [*KINDS, *LISTS]},
                    },
                },
            },
            "steps": _STEPS,
            "ends with": _CLAIM | {"description": "What must be so at the end."},
            "if it fails": {"enum": [one.value for one in Fails]},
        },
        "$defs": {
            "claim": {
                "description": "A sentence about points, a list (all of it), any of several, or not.",
                "oneOf": [
                    {"type": "string"},
                    {"type": "array", "items": _CLAIM, "minItems": 1},
                    {
                        "type": "object",
                        "required": ["any of"],
                        "additionalProperties": False,
                        "properties": {"any of": {"type": "array", "items": _CLAIM, "minItems": 1}},
                    },
                    {
                        "type": "object",
                        "required": ["not"],
                        "additionalProperties": False,
                        "properties": {"not": _CLAIM},
                    },
                ],
            },
            "step": {"anyOf": [*steps, _STEPS | {"description": "Steps in turn."}]},
        },
    }
