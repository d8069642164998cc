"""How do stagectl and a broker prove themselves to each other? By a file of two lines, and an authority for TLS."""

import os
import ssl
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from stagectl.model.errors import SiteError
from stagectl.model.secret import Secret
from stagectl.site import MqttEntry

LONGEST: Final = 1024  # bytes of the file; own choice


@dataclass(frozen=True, slots=True)
class Login:
    """A name and a password at a broker."""

    name: str
    password: Secret


def login_of(entry: MqttEntry) -> Login | None:
    """The login of the site's broker, read anew at every connection, so that it may be changed; None: it asks for none.

    Raises:
        SiteError: the file is not there, can be read by others, or holds no two lines.
    """
    path = entry.login
    if path is None:
        return None
    name, _, password = _kept(path).partition("\n")
    password = password.removesuffix("\n")
    if not name.strip() or not password or "\n" in password:
        raise SiteError(
            f"{path} is no login for a broker. Write the name in its first line, the password in its second."
        )
    return Login(name.strip(), Secret(password))


def _kept(path: Path) -> str:
    try:
        with path.open("rb") as file:
            found = os.fstat(file.fileno())
            if found.st_uid not in (os.geteuid(), 0) or stat.S_IMODE(found.st_mode) & 0o077:
                raise SiteError(f"The broker's login in {path} can be read by others. Close it: chmod 600 {path}")
            return file.read(LONGEST).decode("utf-8")
    except (OSError, ValueError) as error:
        why = (error.strerror or "it is no text").lower() if isinstance(error, OSError) else "it is no text"
        raise SiteError(
            f"The broker's login in {path} can't be read: {why}. See mqtt: login in the site file."
        ) from error


def tls_of(entry: MqttEntry) -> ssl.SSLContext | None:
    """TLS to a broker that the site's authority vouches for; None: the link goes in clear.

    Raises:
        SiteError: the authority can't be read.
    """
    if entry.ca is None:
        return None
    try:
        made = ssl.create_default_context(cafile=str(entry.ca))
    except (OSError, ValueError) as error:  # ssl.SSLError is an OSError
        raise SiteError(f"{entry.ca} is no authority for the broker. See mqtt: ca in the site file.") from error
    made.minimum_version = ssl.TLSVersion.TLSv1_2
    return made
