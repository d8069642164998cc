"""Which tokens are out, and for what? Kept as hashes; each is shown once, to whom it is made for.

A token is 256 random bits. Its end is written as wall time, and counted on the monotonic clock from the moment it is
read, so that a clock that is set ends nothing and prolongs nothing while the daemon runs.
"""

import asyncio
import hashlib
import hmac
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Final, Literal

from stagectl.control import privatefile
from stagectl.control.access import Pass, Role
from stagectl.control.chronicle import stamp
from stagectl.model.errors import RefusedError, SiteError
from stagectl.model.secret import Secret
from stagectl.model.world import World

FILE: Final = "tokens.json"
MOST: Final = 1000
LOGINS: Final = 20  # of one person at once; the oldest ends first
LOGIN_S: Final = 12 * 3600.0
MACHINE_S: Final = 90 * 86400.0  # at most
GUEST_S: Final = 24 * 3600.0  # at most
WRITE_S: Final = 5.0
AGAIN_S: Final = 5.0  # a write that the disk refused is tried again this much later
LONGEST: Final = 128  # characters; ours have 43

Kind = Literal["person", "machine", "guest", "hook"]
# a clock that was set back while the daemon was away prolongs nothing
LONGEST_S: Final[Mapping[Kind, float]] = {"person": LOGIN_S, "machine": MACHINE_S, "guest": GUEST_S, "hook": MACHINE_S}


@dataclass(slots=True, eq=False)
class Token:
    """One token that is out.

    Attributes:
        id: for people, to name it; it opens nothing.
        name: whose it is: an account, a machine, or what the guest is called.
        role: of all but a person, whose role is the account's.
        by: who made it.
        until: wall time of its end, as it was written.
        ends_at: the same on the monotonic clock.
        digest: SHA-256 of the token, hex.
        shows: what it lets its bearer do.
        proved_at: when a password was proved for it, monotonic; -inf: none was, or an earlier process knows.
        does: of a hook, the one thing: {"verb", "args"}.
    """

    id: str
    name: str
    kind: Kind
    role: Role
    by: str
    born: datetime
    until: datetime
    ends_at: float
    digest: str
    shows: Pass = field(default_factory=Pass)
    proved_at: float = float("-inf")
    does: Mapping[str, Any] | None = None

    def plain(self) -> dict[str, Any]:
        """As people and programs may see it."""
        shows = self.shows
        return {
            "id": self.id,
            "name": self.name,
            "kind": self.kind,
            "role": self.role.value,
            "verbs": None if shows.verbs is None else sorted(shows.verbs),
            "devices": None if shows.devices is None else sorted(shows.devices),
            "does": self.does,
            "by": self.by,
            "made": stamp(self.born),
            "until": stamp(self.until),
        }


class Tokens:
    """All tokens that are out. The daemon alone writes their file."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._all: dict[str, Token] = {}  # by id, oldest first
        self._known: dict[str, list[Token]] = {}  # by the beginning of the digest
        self._turn = asyncio.Lock()  # one write after another
        self._refused_at: float | None = None  # when the disk did not take the last write
        self.on_trouble: Callable[[str | None], None] = lambda text: None

    def load(self) -> None:
        """Read the file; what is over is left out. Raises SiteError: it is open to others, or not what we wrote."""
        data = privatefile.read(self._world.storage, FILE)
        if data is None:
            return
        try:
            for entry in privatefile.parsed(FILE, data)["tokens"]:
                token = self._read(entry)
                if token.ends_at > self._world.clock.now():
                    self._keep(token)
        except (TypeError, KeyError, ValueError) as error:
            raise SiteError(
                f"{FILE} in the data folder is not what stagectl wrote. Take it away; everybody logs in again."
            ) from error

    def all(self) -> list[Token]:
        """Those that are not over, oldest first."""
        now = self._world.clock.now()
        return [token for token in self._all.values() if token.ends_at > now]

    def find(self, text: str) -> Token | None:
        """The token of a text that was shown; None: there is none, or it is over."""
        if not text or len(text) > LONGEST:
            return None
        digest = _digest(text)
        found = None
        for token in self._known.get(digest[:8], ()):
            if hmac.compare_digest(token.digest, digest):
                found = token
        if found is None or found.ends_at <= self._world.clock.now():
            return None
        return found

    def named(self, name: str, kind: Kind) -> Token | None:
        """The newest token of that name and kind."""
        return next((one for one in reversed(self.all()) if one.name == name and one.kind == kind), None)

    async def issue(
        self,
        name: str,
        kind: Kind,
        role: Role,
        life_s: float,
        *,
        by: str,
        shows: Pass,
        does: Mapping[str, Any] | None = None,
    ) -> tuple[Token, Secret]:
        """Make a token; the secret is given once and never again. `does`: see Token.

        Raises:
            RefusedError: too many are out.
            OSError: it can't be kept, so it is not given.
        """
        self.sweep()
        if kind == "person":
            mine = [one for one in self._all.values() if one.kind == "person" and one.name == name]
            for old in mine[: max(0, len(mine) - LOGINS + 1)]:
                self._drop(old)
        if len(self._all) >= MOST:
            raise RefusedError(f"{MOST} tokens are out already.", remedy="Revoke some.", code="tokens")
        secret = Secret(self._world.ids.secret())
        born, now = self._world.clock.wall(), self._world.clock.now()
        token = Token(
            self._world.ids.new(),
            name,
            kind,
            role,
            by,
            born,
            born + timedelta(seconds=life_s),
            now + life_s,
            _digest(secret.reveal()),
            shows,
            now if shows.login else float("-inf"),
            does,
        )
        self._keep(token)
        try:
            await self._write()
        except OSError:
            self._drop(token)
            raise
        return token, secret

    async def revoke(self, chosen: Iterable[Token]) -> None:
        """End tokens: at once for every door, then on disk. Raises OSError: after a restart they may live again."""
        gone = [token for token in chosen if token.id in self._all]
        for token in gone:
            self._drop(token)
        if gone:
            await self._write()

    def end(self, token: Token) -> None:
        """End one for every door now; it leaves the file with the next write, and is not read from there any more."""
        self._drop(token)

    def by_id(self, identifier: str) -> Token | None:
        return self._all.get(identifier)

    def sweep(self) -> None:
        """End what is over."""
        now = self._world.clock.now()
        for token in [one for one in self._all.values() if one.ends_at <= now]:
            self._drop(token)

    # -- inside ---------------------------------------------------------------------------------------------------

    def _keep(self, token: Token) -> None:
        self._all[token.id] = token
        self._known.setdefault(token.digest[:8], []).append(token)

    def _drop(self, token: Token) -> None:
        self._all.pop(token.id, None)
        some = self._known.get(token.digest[:8], [])
        if token in some:
            some.remove(token)
            if not some:
                del self._known[token.digest[:8]]
        token.shows.end()

    async def _write(self) -> None:
        """Write what is so now."""
        try:
            async with asyncio.timeout(WRITE_S), self._turn:
                told = {"v": 1, "tokens": [_kept(one) for one in self._all.values()]}
                await privatefile.write(self._world.storage, FILE, told)
        except OSError as error:  # a deadline that passed is one too
            why = error.strerror or "it takes too long"
            self._refused_at = self._world.clock.now()
            self.on_trouble(
                f"{FILE} can't be written: {why}. Free the disk: till then what was revoked is not so after a restart."
            )
            raise
        self._refused_at = None
        self.on_trouble(None)

    async def mend(self) -> None:
        """Write again what the disk refused a while ago, so that what was revoked is so after a restart too."""
        if self._refused_at is not None and self._world.clock.now() - self._refused_at > AGAIN_S:
            with suppress(OSError):
                await self._write()

    def _read(self, entry: Mapping[str, Any]) -> Token:
        clock = self._world.clock
        until = datetime.fromisoformat(entry["until"])
        shows = Pass(_set(entry["verbs"]), _set(entry["devices"]), sees=bool(entry["sees"]), login=bool(entry["login"]))
        left_s = (until - clock.wall()).total_seconds()
        kind = entry["kind"]
        does = entry.get("does")
        if kind not in LONGEST_S or (kind == "hook") is not isinstance(does, dict):
            raise ValueError(kind)
        return Token(
            str(entry["id"]),
            str(entry["name"]),
            kind,
            Role(entry["role"]),
            str(entry["by"]),
            datetime.fromisoformat(entry["made"]),
            until,
            clock.now() + min(left_s, LONGEST_S[kind]),
            str(entry["digest"]),
            shows,
            does=does,
        )


def _kept(token: Token) -> dict[str, Any]:
    return token.plain() | {"digest": token.digest, "sees": token.shows.sees, "login": token.shows.login}


def _set(value: list[str] | None) -> frozenset[str] | None:
    return None if value is None else frozenset(map(str, value))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()
