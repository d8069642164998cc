"""What does a browser get? A page that says how the house is before any script runs, and the files it then asks for.

The sentence stands in the HTML with its time and "not live", and is true without JavaScript. The files are what
`make ui` built into stagectl/desk/web; without them the page is only that.
"""

import gzip
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Any, Final

from stagectl.inlets.http.calls import Answer, Call
from stagectl.inlets.http.pages import page
from stagectl.inlets.http.problems import ProblemError

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
KINDS: Final = {
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".woff2": "font/woff2",
}
PACKED: Final = (".js", ".css", ".svg")
FOREVER: Final = "public, max-age=31536000, immutable"  # a file's name holds a hash of its content


@dataclass(frozen=True, slots=True)
class File:
    """One built file, read once. `packed`: gzip of it; None where that gains nothing."""

    kind: str
    plain: bytes
    packed: bytes | None


@dataclass(frozen=True, slots=True)
class Built:
    """The built page: its files by name, and which of them the HTML names."""

    files: Mapping[str, File]
    script: str
    styles: tuple[str, ...]
    face: str
    icon: str

    @classmethod
    def read(cls, folder: Traversable | None = None) -> "Built | None":
        """What `make ui` built; None: it did not."""
        folder = folder if folder is not None else files("stagectl") / "desk" / "web"
        listed = folder / "files.json"
        if not listed.is_file():
            return None
        known: dict[str, Any] = json.loads(listed.read_text(encoding="utf-8"))
        main = next(one for one in known.values() if one.get("isEntry"))
        names = [str(name) for name in main.get("assets", ())]
        face = next((name for name in names if "-latin-wght-normal" in name), "")
        icon = next((name for name in names if "/idle-" in name), "")
        return cls(dict(_read(folder / "assets")), main["file"], tuple(main.get("css", ())), face, icon)


def _read(folder: Traversable) -> Iterator[tuple[str, File]]:
    for one in folder.iterdir():
        ending = f".{one.name.rpartition('.')[2]}"
        if ending in KINDS:
            plain = one.read_bytes()
            yield one.name, File(KINDS[ending], plain, gzip.compress(plain, 9, mtime=0) if ending in PACKED else None)


async def asset(call: Call) -> Answer:
    """One built file."""
    built = call.door.built
    found = built.files.get(call.path["name"]) if built is not None else None
    if found is None:
        raise ProblemError(404, "file", "There is no such file of the page.", remedy="Load the page again.")
    headers = {"Cache-Control": FOREVER, "Vary": "Accept-Encoding"}
    if found.packed is not None and "gzip" in call.request.headers.get("Accept-Encoding", ""):
        return Answer(found.packed, headers=headers | {"Content-Encoding": "gzip"}, content_type=found.kind)
    return Answer(found.plain, headers=headers, content_type=found.kind)


async def sheet(call: Call) -> Answer:
    """The page with the day's sheet."""
    return _page(call)


async def view(call: Call) -> Answer:
    """The page with another view; which one is the script's matter."""
    return _page(call)


def _page(call: Call) -> Answer:
    title, body = _told(call) if call.person.sees else ("stagectl", _CLOSED)
    built = call.door.built
    if built is None:
        return page(title, f"{body}\n{_UNBUILT}\n{_LINKS}")
    head = "".join(f'<link rel="stylesheet" href="/{name}">\n' for name in built.styles)
    if built.face:
        head += f'<link rel="preload" href="/{built.face}" as="font" type="font/woff2" crossorigin>\n'
    if not call.door.house.gate.guarded:
        head += '<meta name="stagectl-asks-nobody" content="">\n'
    if built.icon:
        head += f'<link rel="icon" href="/{built.icon}">\n'
    text = (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<title>{escape(title)}</title>\n{head}<script type="module" src="/{built.script}"></script>\n</head>\n'
        f'<body>\n<div id="desk">\n<main class="served">\n{body}\n{_LINKS}\n</main>\n</div>\n</body>\n</html>\n'
    )
    return Answer(text.encode(), headers={"Content-Security-Policy": POLICY}, content_type="text/html; charset=utf-8")


_CLOSED: Final = (
    "<h1>This house asks for a name and a password.</h1>"
    "<p>From a terminal: <code>stagectl login</code>. A guest has a link of their own.</p>"
)
_UNBUILT: Final = "<p>The live page is not built here. Build it, then start stagectl again: <code>make ui</code></p>"
_LINKS: Final = (
    '<nav aria-label="For programs"><a href="/docs">What programs can ask</a> '
    '<a href="/openapi.json">The same for tools</a> <a href="/api/v1/now">This page as data</a></nav>'
)


def _told(call: Call) -> tuple[str, str]:
    """Title and body: the house at this moment."""
    teller, house = call.door.teller, call.door.house
    now = teller.now()
    at = teller.at(house.world.clock.wall())
    parts = [
        f'<p class="place">{escape(house.site.name)}</p>',
        f"<h1>{escape(now['say'])}</h1>",
        f'<p class="second">As of {escape(at)}, not live: load the page again for the next moment.</p>',
    ]
    if now["last"]:
        parts.append(f"<p>{escape(now['last'])}</p>")
    if house.desk.holder:
        parts.append(f"<p>{escape(house.desk.say())}</p>")
    parts.append(_wrong(now["wrong"]))
    parts.append(_takes(call))
    return f"{house.site.name}: {now['say']}", "\n".join(filter(None, parts))


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
