"""How does the terminal ask the daemon? One connection a question, and what each kind of silence means."""

import json
import select
import socket
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final
from urllib.parse import SplitResult, quote, urlencode, urlsplit

from stagectl.cli import wire

API: Final = "/api/v1"
CONNECT_S: Final = 3.0
READ_S: Final = 10.0
VERDICT_S: Final = 160  # the longest deadline is 120 s, and the daemon answers before
PATIENCE_S: Final = 1.0  # a longer wait is told


class UnreachedError(Exception):
    """Nobody answers there; nothing was sent."""


class LostError(Exception):
    """The ask left and no answer came: not known if it was carried out."""


class RefusalError(Exception):
    """The daemon said no.

    Attributes:
        remedy: one sentence, or empty.
        code: short word for programs.
        status: HTTP's.
        word: said with the same request it lets that pass; empty: there is none.
    """

    def __init__(self, say: str, remedy: str = "", code: str = "", status: int = 0, word: str = "") -> None:
        super().__init__(say)
        self.remedy = remedy
        self.code = code
        self.status = status
        self.word = word


def _quietly() -> None:
    """Wait without a word."""


@dataclass(frozen=True, slots=True)
class Client:
    """Asks one daemon.

    Attributes:
        url: "http://host:port".
        who: a person of the site file, by name; empty: whoever sits at this machine.
        token: what it comes in with; empty: nothing. Never sent in clear to another machine.
        waiting: called once when an answer takes longer than a second.
    """

    url: str
    who: str = ""
    waiting: Callable[[], None] = field(default=_quietly)
    token: str = field(default="", repr=False)

    def get(self, *path: str | int, **query: object) -> Any:
        """Read `path` below the API. Raises UnreachedError, LostError, RefusalError."""
        return self._ask("GET", _target(path, query), None, READ_S)

    def post(self, *path: str | int, body: Mapping[str, Any] | None = None, **query: object) -> Any:
        """Ask for an act. Raises UnreachedError (nothing was sent), LostError (not known), RefusalError."""
        return self._ask("POST", _target(path, query), json.dumps(body or {}).encode(), VERDICT_S)

    def _ask(self, method: str, target: str, body: bytes | None, limit_s: float) -> Any:
        where, port = self._where()
        sock = self._connect(where, port)
        try:
            headers = {"Host": where.netloc.rpartition("@")[2], "Accept": "application/json"}
            if self.token:
                headers["Authorization"] = f"Bearer {self.token}"
            elif self.who:
                headers["X-Stage-Who"] = self.who
            if body is not None:
                headers["Content-Type"] = "application/json"
            wire.send(sock, method, target, headers, body)
            self._wait(sock, limit_s)
            status, text = wire.receive(sock)
        except (OSError, wire.AnswerError) as error:
            raise LostError(f"stagectl at {self.url} did not answer: {_why(error)}.") from error
        except ValueError as error:
            raise UnreachedError("STAGECTL_WHO holds what no name can. Set it to a name of the site file.") from error
        finally:
            sock.close()
        return self._read(status, text)

    def _where(self) -> tuple[SplitResult, int]:
        """The daemon's address and port. Raises UnreachedError: it is none, or a token must not go there."""
        where = urlsplit(self.url)
        try:
            port = where.port or (443 if where.scheme == "https" else 80)
        except ValueError:
            port = 0
        if where.scheme not in ("http", "https") or not where.hostname or not port:
            raise UnreachedError(f'"{self.url}" is no address of a stagectl. It looks like http://127.0.0.1:8420.')
        if self.token and where.scheme == "http" and not _is_here(where.hostname):
            raise UnreachedError(f"A token is not sent in clear to {where.hostname}. Use its https address.")
        return where, port

    def _connect(self, where: SplitResult, port: int) -> socket.socket:
        assert where.hostname is not None
        try:
            sock = _dialled(where.hostname, port)
            if where.scheme == "https":
                sock = _wrapped(sock, where.hostname)
        except (OSError, UnicodeError) as error:
            remedy = "Start it with `stagectl serve`, or set STAGECTL_URL to where it runs."
            raise UnreachedError(f"stagectl is not reached at {self.url}: {_why(error)}. {remedy}") from error
        sock.settimeout(READ_S)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        return sock

    def _wait(self, sock: socket.socket, limit_s: float) -> None:
        """Wait for the first byte of the answer."""
        if not select.select([sock], [], [], PATIENCE_S)[0]:
            self.waiting()
            if not select.select([sock], [], [], limit_s - PATIENCE_S)[0]:
                raise TimeoutError(f"nothing for {limit_s:g} s")
        if hasattr(sock, "pending"):  # TLS: what came may be its own and no answer yet
            sock.settimeout(limit_s)

    def _read(self, status: int, text: bytes) -> Any:
        try:
            answer = json.loads(text)
        except ValueError as error:
            raise UnreachedError(
                f"What answers at {self.url} is no stagectl. Set STAGECTL_URL to where it runs."
            ) from error
        if status < 400:
            return answer
        given = answer if isinstance(answer, dict) else {}
        say = str(given.get("detail") or given.get("say") or given.get("title") or f"refused with status {status}")
        remedy = str(given.get("remedy") or "")
        code, word = str(given.get("code") or ""), str(given.get("confirm") or "")
        raise RefusalError(say, "" if remedy and remedy in say else remedy, code, status, word)


def _dialled(host: str, port: int) -> socket.socket:
    """A connection. Raises OSError, UnicodeError.

    The name goes as bytes where it can: as text, Python loads its tables of international names, a tenth of a roll.
    """
    name: Any = host.encode("ascii") if host.isascii() else host
    return socket.create_connection((name, port), CONNECT_S)


def _is_here(host: str) -> bool:
    return host in ("localhost", "::1") or host.startswith("127.")


def _wrapped(sock: socket.socket, host: str) -> socket.socket:
    """Over TLS, to who proves to be that host; STAGECTL_CA names the studio's own authority. Raises OSError."""
    import os
    import ssl

    context = ssl.create_default_context(cafile=os.environ.get("STAGECTL_CA") or None)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    sock.settimeout(CONNECT_S)
    try:
        return context.wrap_socket(sock, server_hostname=host)
    except OSError:
        sock.close()
        raise


def _target(path: tuple[str | int, ...], query: Mapping[str, object]) -> str:
    told = {name: value for name, value in query.items() if value not in (None, "")}
    steps = "/".join(quote(str(step), safe="") for step in path)
    return f"{API}/{steps}" + (f"?{urlencode(told)}" if told else "")


def _why(error: Exception) -> str:
    """A clause."""
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return str(error).rstrip(".") or type(error).__name__
