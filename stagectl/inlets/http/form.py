"""How is a form read? For senders that can't write JSON: verb=roll&id=a1&name=Warm-up."""

from typing import Any, Final
from urllib.parse import parse_qsl

CONTENT_TYPE: Final = "application/x-www-form-urlencoded"
FORM_BYTES: Final = 16 * 1024
FIELDS: Final = 32
OWN: Final = ("verb", "id", "edge", "confirm")  # fields of the request itself; all others are arguments
_TRUTH: Final = {"true": True, "false": False}


class FormError(ValueError):
    """The text is no form that is taken here; one sentence."""


def read(data: bytes) -> dict[str, Any]:
    """Read a form as the JSON object it stands for.

    All is text in a form: `take` becomes a whole number, `good` true or false, `on` names between commas.

    Raises:
        FormError: it is too long, no UTF-8, holds a name twice or a value that its name does not take.
    """
    if len(data) > FORM_BYTES:
        raise FormError(f"A form has at most {FORM_BYTES} bytes.")
    try:
        pairs = parse_qsl(
            data.decode("ascii"), keep_blank_values=True, strict_parsing=True, max_num_fields=FIELDS, errors="strict"
        )
    except UnicodeError as error:
        raise FormError("The form is no UTF-8, written with percent signs.") from error
    except ValueError as error:
        raise FormError("The body is no form: write name=value, & between.") from error
    if len({name for name, _ in pairs}) != len(pairs):
        raise FormError("A name stands twice in the form.")
    told: dict[str, Any] = {name: value for name, value in pairs if name in OWN}
    told["args"] = {name: argument(name, value) for name, value in pairs if name not in OWN}
    return told


def argument(name: str, text: str) -> Any:
    """What a text means as the argument of that name. Raises FormError."""
    match name:
        case "take":
            if not (text.isascii() and text.isdigit() and len(text) < 10):
                raise FormError("take is a whole number.")
            return int(text)
        case "good":
            if text not in _TRUTH:
                raise FormError("good is true or false.")
            return _TRUTH[text]
        case "on":
            return [word.strip() for word in text.split(",") if word.strip()]
    return text
