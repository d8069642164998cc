"""What does a browser show without the page of its own: the house in a sentence, and the documents?

Plain and server-rendered, no script, nothing from elsewhere. It shows one moment and says so.
"""

import base64
import hashlib
from html import escape
from typing import Any, Final

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.docs_page import docs_body
from stagectl.inlets.http.style import STYLE

_POLICY = "default-src 'none'; style-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def page(title: str, body: str, script: str = "") -> Answer:
    """A whole page around `body`, which is HTML; `script` is its only script, and asks nobody but us."""
    text = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n{body}\n</main>\n"
        f"{f'<script>{script}</script>' if script else ''}</body>\n</html>\n"
    )
    policy = _POLICY.format(hash=_digest(STYLE))
    if script:
        policy += f"; script-src 'sha256-{_digest(script)}'; connect-src 'self'"
    headers = {"Content-Security-Policy": policy}
    return Answer(text.encode(), headers=headers, content_type="text/html; charset=utf-8")


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


_CLOSED: Final = (
    "<h1>This house asks for a token.</h1>"
    "<p>Log in from a terminal: <code>stagectl login</code>. A guest has a link of their own.</p>"
)


async def front(call: Call) -> Answer:
    """The house at this moment, for who may see it."""
    if not call.person.sees:
        return page("stagectl", _CLOSED)
    now = call.door.teller.now()
    name = escape(call.door.house.site.name)
    at = call.door.teller.at(call.door.house.world.clock.wall())
    parts = [
        f'<p class="place">{name}</p>',
        f"<h1>{escape(now['say'])}</h1>",
        f'<p class="second">As of {escape(at)}, not live: load the page again for the next moment.</p>',
    ]
    if now["last"]:
        parts.append(f"<p>{escape(now['last'])}</p>")
    if call.door.house.desk.holder:
        parts.append(f"<p>{escape(call.door.house.desk.say())}</p>")
    parts.append(_wrong(now["wrong"]))
    parts.append(_takes(call))
    parts.append(
        '<nav><a href="/docs">What programs can ask</a> <a href="/openapi.json">The same for tools</a> '
        '<a href="/api/v1/now">This page as data</a></nav>'
    )
    return page(f"{call.door.house.site.name}: {now['say']}", "\n".join(filter(None, parts)))


def _wrong(rows: list[dict[str, Any]]) -> str:
    if not rows:
        return ""
    items = "".join(
        f'<li class="{row["grade"]}"><strong>{escape(row["say"])}</strong> {escape(row["remedy"])}</li>' for row in rows
    )
    return f'<h2>Wrong now</h2>\n<ul class="wrong">{items}</ul>'


def _takes(call: Call) -> str:
    takes = list(reversed(call.door.house.takes.takes.values()))[:20]
    if not takes:
        return "<h2>Takes</h2>\n<p>None yet.</p>"
    lines = "".join(
        f"<tr><td>{take.number}{' good' if take.good else ''}</td><td>{escape(take.name)}</td>"
        f"<td>{escape(call.door.teller.at(take.opened))}</td><td>{len(take.lanes)}</td>"
        f"<td>{'rolls' if take.closed is None else escape(call.door.teller.at(take.closed))}</td></tr>"
        for take in takes
    )
    head = "<tr><th>Take</th><th>Name</th><th>Rolled</th><th>Recorders</th><th>Ended</th></tr>"
    return f"<h2>Takes</h2>\n<table><thead>{head}</thead><tbody>{lines}</tbody></table>"


async def docs(call: Call) -> Answer:
    return page("stagectl: what programs can ask", docs_body(call.door.spec()))


async def document(call: Call) -> Answer:
    return Answer(call.door.spec())
