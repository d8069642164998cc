"""A daemon that answers what a test says it answers, over real HTTP on loopback; standard library only."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import urlsplit

from click.testing import CliRunner, Result

from stagectl.cli import main

Reply = tuple[int, Any]


class Stub:
    """Routes by "METHOD path"; a list is answered one by one, the last for ever. `heard` has (method, target, body)."""

    def __init__(self) -> None:
        self.routes: dict[str, Reply | list[Reply] | Callable[[], None]] = {}
        self.heard: list[tuple[str, str, Any]] = []
        self.came: list[dict[str, str]] = []  # headers
        self.url = ""

    def reply(self, route: str) -> Reply | Callable[[], None]:
        found = self.routes.get(route, (404, problem(404, "path", "There is nothing at this address.")))
        if isinstance(found, list):
            return found.pop(0) if len(found) > 1 else found[0]
        return found

    def run(self, *args: str, **env: str) -> Result:
        """Call the terminal as a person would, against this stub."""
        return CliRunner().invoke(main, list(args), env={"STAGECTL_URL": self.url, "NO_COLOR": "1", **env})


def problem(status: int, code: str, say: str, remedy: str = "") -> dict[str, Any]:
    return {
        "type": f"urn:stagectl:problem:{code}",
        "title": "No",
        "status": status,
        "detail": say,
        "code": code,
        "remedy": remedy,
    }


@contextmanager
def serving() -> Iterator[Stub]:
    stub = Stub()

    class Handler(BaseHTTPRequestHandler):
        def _answer(self) -> None:
            length = int(self.headers.get("Content-Length") or 0)
            body = json.loads(self.rfile.read(length)) if length else None
            stub.came.append(dict(self.headers))
            stub.heard.append((self.command, self.path, body))
            found = stub.reply(f"{self.command} {urlsplit(self.path).path}")
            if callable(found):
                found()  # closes without an answer
                return
            status, answer = found
            text = answer if isinstance(answer, bytes) else json.dumps(answer).encode()
            self.send_response(status)
            self.send_header("Content-Length", str(len(text)))
            self.end_headers()
            self.wfile.write(text)

        do_GET = do_POST = do_PUT = _answer  # noqa: N815 - the library's names

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's name
            """Nothing is logged."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    stub.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield stub
    finally:
        server.shutdown()
        thread.join(5)
        server.server_close()
