"""How is the OpenAPI document read by people? As one plain page: every address, what it takes, what it answers."""

from collections.abc import Iterator, Mapping
from html import escape
from typing import Any, Final

_TOOLS: Final = (
    'The same for tools: <a href="/openapi.json">openapi.json</a>. An answer that is not what was asked for is '
    "<code>application/problem+json</code>: its <code>detail</code> says what, its <code>remedy</code> what to do."
)


def docs_body(spec: Mapping[str, Any]) -> str:
    """The document as HTML, grouped as it is."""
    info = spec["info"]
    parts = [
        f"<h1>What programs can ask of {escape(info['title'])} {escape(info['version'])}</h1>",
        f"<p>{_text(info['description'])}</p>",
        f"<p>{_TOOLS}</p>",
    ]
    for tag in spec["tags"]:
        parts.append(f'<h2 id="{escape(tag["name"])}">{escape(tag["description"])}</h2>')
        for path, method, operation in _operations(spec):
            if tag["name"] in operation["tags"]:
                parts.append(_operation(path, method, operation))
    parts.append('<h2 id="shapes">Shapes</h2>')
    for name, shape in sorted(spec["components"]["schemas"].items()):
        parts.append(_shape(name, shape))
    return "\n".join(parts)


def _operations(spec: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    for path, methods in spec["paths"].items():
        for method, operation in methods.items():
            yield path, method, operation


def _operation(path: str, method: str, operation: Mapping[str, Any]) -> str:
    name = escape(operation["operationId"])
    parts = [
        f'<h3 id="{name}"><span class="method">{escape(method.upper())}</span> <code>{escape(path)}</code></h3>',
        f"<p>{escape(operation['summary'])}.</p>",
    ]
    if "description" in operation:
        parts.append(f"<p>{_text(operation['description'])}</p>")
    rows = [
        (one["name"], f"{one['in']}, {'needed' if one['required'] else 'may be left out'}", _kind(one["schema"]))
        for one in operation.get("parameters", ())
    ]
    if "requestBody" in operation:
        content = next(iter(operation["requestBody"]["content"].values()))
        rows.append(("body", "JSON", _kind(content["schema"])))
    if rows:
        parts.append(_table(("Takes", "Where", "Form"), rows))
    answers = [
        (status, one["description"], ", ".join(_content(one.get("content", {}))))
        for status, one in operation["responses"].items()
    ]
    parts.append(f"<details><summary>Answers</summary>{_table(('Status', 'When', 'Form'), answers)}</details>")
    return "\n".join(parts)


def _content(content: Mapping[str, Any]) -> Iterator[str]:
    for kind, one in content.items():
        yield _kind(one["schema"]) if kind == "application/json" else f"<code>{escape(kind)}</code>"


def _shape(name: str, shape: Mapping[str, Any]) -> str:
    needed = shape.get("required", ())
    rows = [
        (key, "always" if key in needed else "may be left out", _kind(one) + _about(one))
        for key, one in shape.get("properties", {}).items()
    ]
    about = f"<p>{_text(shape['description'])}</p>" if "description" in shape else ""
    table = _table(("Word", "There", "Form"), rows) if rows else ""
    return f'<h3 id="shape-{escape(name)}"><code>{escape(name)}</code></h3>{about}{table}'


def _about(schema: Mapping[str, Any]) -> str:
    return f": {_text(schema['description'])}" if "description" in schema and "$ref" not in schema else ""


def _kind(schema: Mapping[str, Any]) -> str:
    """The form of a value as HTML."""
    if "$ref" in schema:
        name = escape(schema["$ref"].rpartition("/")[2])
        return f'<a href="#shape-{name}">{name}</a>'
    if "const" in schema:
        return f"<code>{escape(str(schema['const']))}</code>"
    if "enum" in schema:
        return " or ".join(f"<code>{escape(str(one))}</code>" for one in schema["enum"])
    if "anyOf" in schema:
        return " or ".join(dict.fromkeys(_kind(one) for one in schema["anyOf"]))
    kind = schema.get("type", "anything")
    if kind == "array":
        return f"list of {_kind(schema.get('items', {}))}"
    if kind == "object":
        inner = schema.get("additionalProperties")
        return f"object of {_kind(inner)}" if isinstance(inner, Mapping) else "object"
    words = {"string": "text", "integer": "whole number", "boolean": "true or false", "null": "null"}
    return words.get(str(kind), str(kind))


def _table(head: tuple[str, ...], rows: list[tuple[str, str, str]]) -> str:
    """`rows`: the first cell is text, the others may hold HTML of this module."""
    top = "".join(f"<th>{escape(one)}</th>" for one in head)
    lines = "".join(
        f"<tr><td><code>{escape(first)}</code></td><td>{escape(second)}</td><td>{third}</td></tr>"
        for first, second, third in rows
    )
    return f"<table><thead><tr>{top}</tr></thead><tbody>{lines}</tbody></table>"


def _text(text: str) -> str:
    """Escaped, with `code` marked."""
    pieces = escape(text).split("`")
    return "".join(f"<code>{piece}</code>" if number % 2 else piece for number, piece in enumerate(pieces))
