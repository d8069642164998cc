"""What is a plain page, and which are the documents? Server-rendered, nothing from elsewhere."""

import base64
import hashlib
from html import escape

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


async def docs(call: Call) -> Answer:
    return page("stagectl: what programs can ask", docs_body(call.door.spec()))


async def document(call: Call) -> Answer:
    return Answer(call.door.spec())
