"""Does the certificate of an open door still serve? What it says, when it ends, and taking a new one in its place.

A new certificate is for who comes next: connections that stand go on with the one they began with. One that is over
ends nothing either; whoever comes anew is warned away by their own program, so it is told 30, 7 and 1 days before.
"""

import ssl
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import structlog

from stagectl.inlets.http.opening import Tls, context
from stagectl.model.errors import SiteError
from stagectl.model.world import Clock, Handle

LOOK_S: Final = 10.0  # how often the files are looked at
# days before the end, and the house's trouble of it: a suffix says how much that hurries
STEPS: Final = ((1, "certificate"), (7, "certificate-soon"), (30, "certificate-later"))
UNUSED: Final = "certificate-new-soon"  # the trouble of files that can't be taken
_NO_TIME: Final = 0x200000  # X509_V_FLAG_NO_CHECK_TIME of OpenSSL: one that is over is read too
_ROUNDS: Final = 10  # of a handshake; three are usual

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Shown:
    """What a client is shown: the names the door may be called, and when it ends, UTC."""

    names: tuple[str, ...]
    ends: datetime

    def days(self, now: datetime) -> float:
        """How many days it serves yet; negative: it is over."""
        return (self.ends - now) / timedelta(days=1)

    def answers_to(self, name: str) -> bool:
        """Is the door called so? A "*" stands for one label, as RFC 6125 has it."""
        parent = name.casefold().partition(".")[2]
        return any(one.casefold() in (name.casefold(), f"*.{parent}") for one in self.names)


def shown(tls: Tls) -> Shown:
    """What the certificate of these files says, seen as a client sees it: by shaking hands in memory.

    Raises:
        SiteError: the files can't be used, or the certificate is for other names.
    """
    server = context(tls)
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.check_hostname = False  # the names are what is asked
    try:
        client.load_verify_locations(cadata=tls.certificate.read_text("ascii"))
        client.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN | ssl.VerifyFlags(_NO_TIME)
        told = _met(server, client)
    except (ssl.SSLError, ValueError) as error:
        raise SiteError(f"No client can use {tls.certificate}: {error}. Make it with `stagectl ca`.") from error
    names = tuple(str(value) for kind, value in told.get("subjectAltName", ()) if kind == "DNS")
    found = Shown(names, datetime.fromtimestamp(ssl.cert_time_to_seconds(told["notAfter"]), UTC))
    for name in tls.names:
        if not found.answers_to(name):
            raise SiteError(
                f"{tls.certificate} is for {', '.join(names) or 'no name'}, not for {name}. "
                f"Take a name of it, or make one: stagectl ca issue FOLDER {name}"
            )
    return found


def _met(server: ssl.SSLContext, client: ssl.SSLContext) -> dict[str, Any]:
    """The server's certificate after a handshake without a network. Raises ssl.SSLError."""
    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    ends = client.wrap_bio(back, there), server.wrap_bio(there, back, server_side=True)
    for _ in range(_ROUNDS):
        for end in ends:
            with suppress(ssl.SSLWantReadError):
                end.do_handshake()
    return dict(ends[0].getpeercert() or {})


def warned(found: Shown, now: datetime) -> tuple[str, str] | None:
    """The trouble of a certificate that ends soon, as (part, sentence); None: it serves long enough."""
    days = found.days(now)
    for within, part in STEPS:
        if days <= within:
            name = found.names[0] if found.names else "the door"
            when = f"is over since {found.ends:%d %B %Y}" if days <= 0 else f"ends on {found.ends:%d %B %Y}"
            return part, f"The certificate of {name} {when}. Make another: stagectl ca issue FOLDER {name}"
    return None


class Keeper:
    """Keeps the certificate of a door that stands open.

    Attributes:
        found: the one that is shown now.
        names: what the door answers to: those it was given, else those of the certificate it began with.
    """

    def __init__(
        self, tls: Tls, live: ssl.SSLContext, clock: Clock, trouble: Callable[[str, str | None], None]
    ) -> None:
        """`live`: the context of the listener. `trouble`: told what is wrong, by part; None: no more.

        Raises:
            SiteError: the files can't be used.
        """
        self.found = shown(tls)
        self.names = tls.names or self.found.names
        self._tls = tls
        self._live = live
        self._clock = clock
        self._trouble = trouble
        self._taken = self._state()
        self._failed = False
        self._timer: Handle | None = None
        self._warn()

    def start(self) -> None:
        """Look from time to time from now on."""
        self._timer = self._clock.later(self._clock.now() + LOOK_S, self._again)

    def stop(self) -> None:
        """Look no more. Safe to call twice."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def look(self) -> None:
        """Take the files if they have changed, and tell how long the certificate serves."""
        state = self._state()
        if state != self._taken:
            try:
                self.found = shown(self._tls)
                self._live.load_cert_chain(self._tls.certificate, self._tls.key, password=lambda: "")
            except (SiteError, OSError) as error:  # ssl.SSLError is one too
                if self._failed:  # the two files are written one after the other: the first time may be in between
                    self._trouble(UNUSED, f"{error} The door goes on with the certificate of before.")
                self._failed = True
            else:
                self._taken, self._failed = state, False
                self._trouble(UNUSED, None)
                log.info("certificate_taken", until=f"{self.found.ends:%Y-%m-%d}", names=self.found.names)
        self._warn()

    def _again(self) -> None:
        try:
            self.look()
        except Exception:  # a slip of ours must not end the looking
            log.exception("certificate_slipped")
        self.start()

    def _warn(self) -> None:
        told = warned(self.found, self._clock.wall())
        for _, part in STEPS:
            self._trouble(part, told[1] if told is not None and told[0] == part else None)

    def _state(self) -> list[tuple[int, int, int] | None]:
        return [_stamp(path) for path in (self._tls.certificate, self._tls.key)]


def _stamp(path: Path) -> tuple[int, int, int] | None:
    """What changes with a file; None: it is not there."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino
