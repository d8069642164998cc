"""Who is it that stands at a door? Accounts, tokens and guesses, asked in one place by every door.

Without a file of accounts the house is open to whoever sits at this machine, as installed. With one, nobody is anybody
without a token: what is not known is refused, and every refusal is written down.
"""

import asyncio
from collections.abc import Callable, Collection, Mapping
from typing import Any, Final, Protocol

import structlog

from stagectl.control import passwords, people
from stagectl.control.access import FRESH_S, Pass, Person, Role
from stagectl.control.guesses import Guesses
from stagectl.control.people import Account
from stagectl.control.tokens import GUEST_S, LOGIN_S, MACHINE_S, Token, Tokens
from stagectl.model.errors import RefusedError, SiteError
from stagectl.model.secret import Secret
from stagectl.model.world import World

LOOK_S: Final = 0.4  # how often the file of accounts is read and what is over is ended: dead within a second
WAITING: Final = 8  # logins whose password is being checked or waits for it; one is checked at a time
LINES_PER_S: Final = 5.0  # refusals written down; of a flood the rest is counted
LINES_AT_ONCE: Final = 20.0
_NEVER: Final = "scrypt$131072$8$1$AAAAAAAAAAAAAAAAAAAAAA==$" + "A" * 43 + "="  # no password gives this

log = structlog.get_logger()


class Log(Protocol):
    """The chronicle, as far as writing goes."""

    def write(self, kind: str, who: str, **data: object) -> int: ...


class Gate:
    """The one gate of a daemon.

    Attributes:
        accounts: by name; None: no file, the house is open to this machine.
        tokens: those that are out.
        trouble: the house's, where it says what is wrong with the files.
    """

    def __init__(self, world: World, chronicle: Log) -> None:
        self.accounts: Mapping[str, Account] | None = None
        self.tokens = Tokens(world)
        self.trouble: Callable[[str, str | None], None] = lambda part, text: None
        self._world = world
        self._log = chronicle
        self._guesses = Guesses(world.clock)
        self._seen: bytes | None = None
        self._waiting = 0
        self._turn = asyncio.Lock()
        self._task: asyncio.Task[None] | None = None
        self._lines = LINES_AT_ONCE
        self._lines_at = float("-inf")
        self._unwritten = 0

    @property
    def guarded(self) -> bool:
        """Does everybody need a token?"""
        return self.accounts is not None

    # -- files ----------------------------------------------------------------------------------------------------

    def load(self) -> None:
        """Read accounts and tokens. Raises SiteError: a file is open to others, or not what we wrote."""
        self.accounts = people.read(self._world.storage)
        self.tokens.on_trouble = lambda text: self.trouble("tokens", text)
        self.tokens.load()
        self._end_strangers({})

    def start(self) -> None:
        """Begin to follow the file of accounts, and to end what is over."""
        self._task = asyncio.create_task(self._follow(), name="gate")

    async def stop(self) -> None:
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    async def _follow(self) -> None:
        while True:
            await asyncio.sleep(LOOK_S)
            try:
                self.look()
                await self.tokens.mend()
            except Exception:  # a slip of ours must not keep a revoked token alive
                log.exception("gate_slipped")

    def look(self) -> None:
        """Read the accounts anew if they changed; end tokens that are over or whose account is gone or another."""
        self.tokens.sweep()
        before = self.accounts
        try:
            found = people.read(self._world.storage)
        except SiteError as error:
            self.trouble("people", f"{error} The accounts of before are kept.")
            return
        self.trouble("people", None)
        if found is None and before is None:
            return
        found = found or {}  # a file that is taken away while we run opens nothing
        if found != before:
            self.accounts = found
            self._end_strangers(before or {})
            log.info("accounts_read", people=len(found))

    def _end_strangers(self, before: Mapping[str, Account]) -> None:
        """End logins whose account is gone, or has another role or password than `before`; and accounts' namesakes."""
        accounts = self.accounts or {}
        for token in self.tokens.all():
            if token.kind != "person" and token.name in accounts:
                self.tokens.end(token)  # or a program would pass for the person who holds the desk
            elif token.kind == "person":
                account = accounts.get(token.name)
                if account is None or before.get(token.name, account) != account:
                    self.tokens.end(token)

    # -- who is it ------------------------------------------------------------------------------------------------

    def bearer(self, text: str) -> tuple[Person, Token]:
        """Who came in with a token. Raises RefusedError, code "token": it is unknown, revoked or over."""
        token = self.tokens.find(text)
        if token is None or token.kind == "hook":  # a hook does its one thing; it lets nobody in
            raise RefusedError("This token is not known, or has ended.", remedy="Log in again.", code="token")
        return self.person(token), token

    def hooked(self, text: str) -> Token | None:
        """The hook of an address; None: there is none, or it has ended."""
        token = self.tokens.find(text)
        return token if token is not None and token.kind == "hook" else None

    def person(self, token: Token) -> Person:
        """The bearer of a token that is out. Raises RefusedError: its account is gone."""
        if token.kind != "person":
            return Person(token.name, token.role, token.shows)
        account = (self.accounts or {}).get(token.name)
        if account is None:
            raise RefusedError("This token is not known, or has ended.", remedy="Log in again.", code="token")
        fresh = self._world.clock.now() - token.proved_at < FRESH_S
        return Person(account.name, account.role, token.shows, fresh)

    def principal(self, name: str, known: Mapping[str, Role]) -> Person:
        """Who a broker says it is. With accounts only a machine that holds a token of that name; else as `known` says.

        Raises:
            RefusedError: code "token".
        """
        if not self.guarded:
            return Person(name, known.get(name, Role.OPERATOR))
        token = self.tokens.named(name, "machine")
        if token is None:
            raise RefusedError(
                f'No machine token is called "{name[:64]}".', remedy="Make one: stagectl token new", code="token"
            )
        return self.person(token)

    # -- tokens ---------------------------------------------------------------------------------------------------

    async def login(self, name: str, password: Secret, source: str) -> tuple[Token, Secret]:
        """A token for who knows the password of an account; a wrong one costs time, more each time.

        Raises:
            RefusedError: code "login" (wrong), "late" (too soon after a wrong one) or "no-accounts".
            OSError: the token can't be kept.
        """
        if self.accounts is None:
            raise RefusedError(
                "This house has no accounts: whoever sits at this machine may act.",
                remedy="To make one: stagectl people add",
                code="no-accounts",
            )
        account = self.accounts.get(name)
        told = name if account is not None else "somebody"  # what was typed there may be a password
        wait_s = self._guesses.wait_s(source, name)
        if wait_s or self._waiting >= WAITING:
            self.refuse(told, source, "login", "too soon after another try", "late")
            raise RefusedError(
                "Too many passwords were tried.", remedy=f"Wait {max(1.0, wait_s):.0f} s, then try again.", code="late"
            )
        self._guesses.begin(source, name)
        kept = account.kept if account is not None else _NEVER
        self._waiting += 1
        try:
            async with self._turn:
                right = await self._world.offload.run("password", passwords.matches, password, kept)
        finally:
            self._waiting -= 1
        if not right or account is None or (self.accounts or {}).get(name) != account:
            self.refuse(told, source, "login", "wrong name or password", "login")
            raise RefusedError("The name or the password is wrong.", remedy="Try again.", code="login")
        self._guesses.right(source, name)
        token, secret = await self.tokens.issue(name, "person", account.role, LOGIN_S, by=name, shows=Pass(login=True))
        self._log.write("access", name, what="login", source=source, token=token.id)
        return token, secret

    async def machine(
        self,
        by: Person,
        name: str,
        role: Role,
        *,
        verbs: Collection[str],
        devices: Collection[str],
        days: float,
    ) -> tuple[Token, Secret]:
        """A token for a program. A viewer's acts on nothing; an operator's on what is listed.

        Raises:
            RefusedError: code "role" (never an engineer), "argument" or "tokens".
            OSError: it can't be kept.
        """
        people.named(name)
        if role is Role.ENGINEER:
            raise RefusedError("A machine is never an engineer.", remedy="Make it operator or viewer.", code="argument")
        if role is Role.OPERATOR and not (verbs and devices):
            raise RefusedError(
                "A machine that acts needs its verbs and its devices listed.",
                remedy="Name them, or make it a viewer.",
                code="argument",
            )
        if name in (self.accounts or {}) or self.tokens.named(name, "machine") is not None:
            raise RefusedError(f'"{name}" has a token or an account.', remedy="Take another name.", code="argument")
        shows = Pass(frozenset(verbs), frozenset(devices))
        token, secret = await self.tokens.issue(
            name, "machine", role, min(days * 86400.0, MACHINE_S), by=by.name, shows=shows
        )
        self._log.write("access", by.name, what="token", token=token.id, name=name, role=role.value)
        return token, secret

    async def guest(self, by: Person, name: str, *, verbs: Collection[str], hours: float) -> tuple[Token, Secret]:
        """A token that grants these acts for some hours, and sees nothing else. Raises as `machine`."""
        people.named(name)
        if not verbs:
            raise RefusedError("A guest needs an act.", remedy="Name one, such as call.", code="argument")
        if name in (self.accounts or {}) or self.tokens.named(name, "machine") is not None:
            raise RefusedError(f'"{name}" is somebody else here.', remedy="Take another name.", code="argument")
        shows = Pass(frozenset(verbs), None, sees=False)
        token, secret = await self.tokens.issue(
            name, "guest", Role.OPERATOR, min(hours * 3600.0, GUEST_S), by=by.name, shows=shows
        )
        self._log.write("access", by.name, what="guest", token=token.id, name=name, verbs=sorted(verbs))
        return token, secret

    async def hook(
        self, by: Person, name: str, does: Mapping[str, Any], *, words: Collection[str], days: float
    ) -> tuple[Token, Secret]:
        """A token that stands in an address and does one thing, {"verb", "args"}, which asks for `words`.

        Raises as `machine`.
        """
        people.named(name)
        if name in (self.accounts or {}) or any(one.name == name for one in self.tokens.all()):
            raise RefusedError(f'"{name}" has a token or an account.', remedy="Take another name.", code="argument")
        shows = Pass(frozenset(words), None, sees=False)
        life_s = min(days * 86400.0, MACHINE_S)
        token, secret = await self.tokens.issue(name, "hook", Role.OPERATOR, life_s, by=by.name, shows=shows, does=does)
        self._log.write("access", by.name, what="hook", token=token.id, name=name, does=does)
        return token, secret

    async def revoke(self, by: Person, token: Token) -> None:
        """End a token on every door at once. Raises OSError: it is dead now, but may live after a restart."""
        self._log.write("access", by.name, what="revoked", token=token.id, name=token.name)
        await self.tokens.revoke([token])

    # -- what is written down -------------------------------------------------------------------------------------

    def refuse(self, who: str, source: str, what: str, why: str, code: str) -> None:
        """Write a refusal down; of a flood, what the journal can bear, and how many more.

        Args:
            who: a name that is known here, else "somebody".
            source: address and door, "127.0.0.1 http".
            what: which act or address was asked for.
            why: one clause; never holds what was sent.
            code: as the refusal's.
        """
        now = self._world.clock.now()
        self._lines = min(LINES_AT_ONCE, self._lines + max(0.0, now - self._lines_at) * LINES_PER_S)
        self._lines_at = now
        if self._lines < 1:
            self._unwritten += 1
            return
        self._lines -= 1
        more = {"more": self._unwritten} if self._unwritten else {}
        self._unwritten = 0
        self._log.write("access", who, what="refused", source=source, act=what[:100], why=why[:300], code=code, **more)
