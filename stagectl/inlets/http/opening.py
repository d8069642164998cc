"""When may this door be opened to a network? With TLS and an account, and not otherwise; and how TLS is spoken then."""

import ipaddress
import os
import ssl
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from stagectl.model.errors import SiteError

CIPHERS: Final = "ECDHE+AESGCM:ECDHE+CHACHA20"  # of TLS 1.2: forward-secret and authenticated; 1.3 has no others
HANDSHAKE_S: Final = 5.0
GOODBYE_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class Tls:
    """What proves who this door is.

    Attributes:
        certificate: PEM, with what stands between it and the authority.
        key: PEM, mode 0600, without a password.
        names: what the door is called, as the certificate says; none: all that it says.
    """

    certificate: Path
    key: Path
    names: tuple[str, ...] = ()


def check(host: str, tls: Tls | None, *, accounts: bool) -> None:
    """Let a door open at `host`, or say what is missing.

    Raises:
        SiteError: others could reach it, and there is no account, or what they send could be read.
    """
    if is_loopback(host):
        return
    if not accounts:
        raise SiteError(
            f'stagectl does not listen on "{host}": it knows no accounts, so anybody there could cut a take. '
            "Make one with `stagectl people add`, or use 127.0.0.1 and a tunnel."
        )
    if tls is None:
        raise SiteError(
            f'stagectl does not listen on "{host}" without TLS: passwords and tokens would go in clear. '
            "Make a certificate with `stagectl ca`, and name it with --tls."
        )


def is_loopback(host: str) -> bool:
    """Does it mean this machine alone?"""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def context(tls: Tls) -> ssl.SSLContext:
    """TLS 1.2 and 1.3 alone, for a server.

    Raises:
        SiteError: a file is not there, can be read by others, or does not fit the other.
    """
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    made.minimum_version = ssl.TLSVersion.TLSv1_2
    made.set_ciphers(CIPHERS)
    made.options |= ssl.OP_NO_COMPRESSION | ssl.OP_NO_RENEGOTIATION | ssl.OP_CIPHER_SERVER_PREFERENCE
    made.set_alpn_protocols(["http/1.1"])
    try:
        found = tls.key.stat()
        if found.st_uid not in (os.geteuid(), 0) or stat.S_IMODE(found.st_mode) & 0o077:
            raise SiteError(f"The key {tls.key} can be read by others. Close it: chmod 600 {tls.key}")
        made.load_cert_chain(tls.certificate, tls.key, password=lambda: "")
    except ssl.SSLError as error:
        why = (error.reason or "it is no PEM").replace("_", " ").lower()
        raise SiteError(
            f"{tls.certificate} and {tls.key} can't be used: {why}. Make them with `stagectl ca`."
        ) from error
    except OSError as error:
        raise SiteError(
            f"{error.filename or tls.certificate} can't be read: {(error.strerror or str(error)).lower()}. See --tls."
        ) from error
    return made
