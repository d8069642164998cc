"""How does a studio make its own certificates? With a small authority in a folder, by the program openssl.

Why a program and no library: docs/decisions/0009. What is run is written here, so that it can be done by hand.
"""

import os
import re
import subprocess
import tempfile
from pathlib import Path
from typing import Final

import click

from stagectl.cli.codes import Exit

CA_DAYS: Final = 3650
DAYS: Final = 397  # browsers take no more
RUN_S: Final = 30.0
_NAME: Final = re.compile(r"(?=.{1,253}$)[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")
_ADDRESS: Final = re.compile(r"[0-9.]+")
_KEY: Final = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-noenc")
_OWN: Final = """\
[req]
distinguished_name = who
prompt = no
x509_extensions = authority
[who]
CN = {called}
[authority]
basicConstraints = critical, CA:TRUE, pathlen:0
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
"""
_DOOR: Final = """\
[req]
distinguished_name = who
prompt = no
[who]
CN = {called}
[door]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = serverAuth
subjectAltName = {names}
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
"""


class AuthorityError(click.ClickException):
    """It can't be done: one sentence or two, exit 2."""

    exit_code = int(Exit.UNCLEAR)


@click.group("ca")
def ca() -> None:
    """Certificates of your own, for a door that is open."""


@ca.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
def new(folder: Path) -> int:
    """Make an authority in FOLDER: ca.pem for every machine that asks, ca.key for nobody else."""
    key, certificate = folder / "ca.key", folder / "ca.pem"
    if key.exists() or certificate.exists():
        raise AuthorityError(f"{folder} has an authority. Take another folder, so that none is lost.")
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    _openssl(
        _OWN.format(called="stagectl studio authority"),
        [
            "req",
            "-x509",
            *_KEY,
            "-config",
            "{file}",
            "-days",
            str(CA_DAYS),
            "-keyout",
            str(key),
            "-out",
            str(certificate),
        ],
    )
    print(f"{certificate} goes to every machine that asks, as STAGECTL_CA or into its browser. {key} stays here.")
    return Exit.DONE


@ca.command("issue")
@click.argument("folder", type=click.Path(path_type=Path))
@click.argument("names", nargs=-1, required=True)
def issue(folder: Path, names: tuple[str, ...]) -> int:
    """Make a certificate for a door of these NAMES, the first one naming its files."""
    for name in names:
        if not _NAME.fullmatch(name) or _ADDRESS.fullmatch(name):
            raise AuthorityError(f'"{name[:60]}" is no name for a door. Take one such as stage.example, no address.')
    authority = folder / "ca.pem"
    if not authority.exists():
        raise AuthorityError(f"{folder} has no authority. Make one: stagectl ca new {folder}")
    key, certificate = folder / f"{names[0]}.key", folder / f"{names[0]}.pem"
    told = _DOOR.format(called=names[0][:64], names=", ".join(f"DNS:{name}" for name in names))
    with tempfile.TemporaryDirectory() as made:
        asked, fresh = Path(made) / "door.csr", Path(made) / "door.pem"
        secret = Path(made) / "door.key"
        _openssl(told, ["req", "-new", *_KEY, "-config", "{file}", "-keyout", str(secret), "-out", str(asked)])
        sign = ["x509", "-req", "-in", str(asked), "-CA", str(authority), "-CAkey", str(folder / "ca.key")]
        _openssl(told, [*sign, "-days", str(DAYS), "-extfile", "{file}", "-extensions", "door", "-out", str(fresh)])
        _put(key, secret.read_bytes())
        _put(certificate, fresh.read_bytes())
    called = " ".join(f"--name {name}" for name in names)
    print(f"For {DAYS} days: stagectl serve ... --tls {certificate} {key} {called}")
    print("A door that stands open with these files takes the new ones within 10 s.")
    return Exit.DONE


def _put(path: Path, data: bytes) -> None:
    """In place of what was there, for its owner's eyes only."""
    fresh = path.with_name(f"{path.name}.new")
    fresh.unlink(missing_ok=True)
    with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(data)
    fresh.replace(path)


def _openssl(config: str, args: list[str]) -> None:
    """Run openssl with a file of its own settings where "{file}" stands; what it makes is its owner's alone."""
    with tempfile.NamedTemporaryFile("w", suffix=".cnf") as file:
        file.write(config)
        file.flush()
        command = ["openssl", *(file.name if arg == "{file}" else arg for arg in args)]
        try:
            done = subprocess.run(  # noqa: S603 - our own words, names checked
                command,
                capture_output=True,
                text=True,
                timeout=RUN_S,
                check=False,
                umask=0o077,
                stdin=subprocess.DEVNULL,
            )
        except FileNotFoundError as error:
            raise AuthorityError(
                "The program openssl is not here. Install it, on Debian: apt-get install openssl"
            ) from error
        except (OSError, subprocess.TimeoutExpired) as error:
            raise AuthorityError(f"openssl did not do it: {error}.") from error
    if done.returncode:
        why = (done.stderr.strip().splitlines() or ["no word"])[-1]
        raise AuthorityError(f"openssl did not do it: {why[:200]}. Look at the folder and its disk.")
