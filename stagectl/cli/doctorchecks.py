"""What may be wrong with an installation, and how is each looked at? One function for each question."""

import asyncio
import ctypes
import errno
import os
import re
import resource
import shutil
import socket
import stat
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from stagectl.cli.folder import Folder, checked
from stagectl.cli.running import HANDLES
from stagectl.driverkit.kinds import find_kinds
from stagectl.model.errors import SiteError

if TYPE_CHECKING:
    from stagectl.inlets.http.opening import Tls
    from stagectl.site import Site

PYTHON: Final = (3, 11)
ROOM: Final = 1 << 30  # bytes; a busy day writes some ten MB, a backup as much again; own choice
SYNC_S: Final = 0.05  # the answer to a press waits for it; reliability goal: p99 of 50 ms
SYNCS: Final = 9
REACH_S: Final = 2.0  # as long as the daemon waits for a box
AT_ONCE: Final = 64  # boxes tried together
_TIME_ERROR: Final = 5  # adjtimex(2): the clock is not synchronised
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


@dataclass(frozen=True, slots=True)
class Finding:
    """What was looked at. `well` None: it can't be known here. `say` is a sentence, `remedy` what to do about it."""

    what: str
    well: bool | None
    say: str
    remedy: str = ""

    def plain(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {"what": self.what, "well": self.well, "say": self.say, "remedy": self.remedy}


def python(version: tuple[int, ...] = tuple(sys.version_info[:3])) -> Finding:
    """Is this Python new enough?"""
    told = ".".join(map(str, version))
    if version[:2] >= PYTHON:
        return Finding("python", True, f"Python {told} runs stagectl.")
    return Finding("python", False, f"Python {told} is too old.", "Install Python 3.11 or newer, and stagectl with it.")


def libraries(requires: list[str] | None = None) -> list[Finding]:
    """Is each library there that stagectl names?"""
    wanted = requires if requires is not None else metadata.requires("stagectl") or []
    names = [found[0] for one in wanted if "extra ==" not in one and (found := _NAME.match(one))]
    missing = []
    for name in names:
        try:
            metadata.version(name)
        except metadata.PackageNotFoundError:
            missing.append(name)
    if not missing:
        return [Finding("libraries", True, f"All {len(names)} libraries are there.")]
    remedy = "Install stagectl again from its lock file."
    return [Finding("libraries", False, f"The library {name} is missing.", remedy) for name in missing]


def drivers() -> list[Finding]:
    """Can every installed driver be used?"""
    kinds, broken = find_kinds()
    found = [Finding("drivers", True, f"{len(kinds)} kinds of box can be driven: {', '.join(kinds)}.")] if kinds else []
    if not kinds and not broken:
        found = [Finding("drivers", False, "No driver is installed.", "Install stagectl again.")]
    return [*found, *(Finding("drivers", False, why, "Mend it, or uninstall it.") for why in broken.values())]


def site_file(path: Path) -> list[Finding]:
    """Is the site file right, and its scenes?"""
    from stagectl.cli.checking import check_all

    report = check_all(path)
    wrong = [Finding("site", False, line, f"See: stagectl check {path}") for line in report.wrong]
    return wrong or [Finding("site", True, report.say)]


def data(folder: Path, now: Callable[[], float]) -> list[Finding]:
    """Is the data folder its owner's alone, with room, on a quick disk, and its journal whole? `now`: monotonic."""
    if not folder.is_dir():
        where = next((parent for parent in folder.absolute().parents if parent.is_dir()), Path("/"))
        if os.access(where, os.W_OK):
            return [Finding("data", True, f"{folder} is not there yet; the first start makes it.")]
        return [Finding("data", False, f"{folder} is not there, and can't be made in {where}.", _made(folder))]
    found = [_owner(folder), _room(folder)]
    if os.access(folder, os.W_OK):
        found.append(_sync(folder, now))
    report = checked(Folder(folder))
    if report.newer:
        say = "The journal was written by a newer stagectl."
        found.append(Finding("journal", False, say, "Install that version again; this one leaves it alone."))
    elif not report.whole:
        say = f"The journal is damaged: {next(one for one in report.damage if not one.known)}"
        found.append(Finding("journal", False, say, f"See: stagectl journal verify {folder}"))
    else:
        found.append(Finding("journal", True, f"The journal is whole: {report.records} records."))
    return found


def _made(folder: Path) -> str:
    return f"As root: install -d -m 700 -o {os.geteuid()} {folder}"


def _owner(folder: Path) -> Finding:
    status = folder.stat()
    if status.st_uid != os.geteuid():
        say = f"{folder} belongs to user {status.st_uid}, and this is user {os.geteuid()}."
        return Finding("data", False, say, f"As root: chown -R {os.geteuid()} {folder}. Or ask as its owner.")
    mode = stat.S_IMODE(status.st_mode)
    if mode & 0o077:
        return Finding("data", False, f"{folder} is open to others (mode {mode:04o}).", f"Close it: chmod 700 {folder}")
    return Finding("data", True, f"{folder} is its owner's alone.")


def _room(folder: Path, least: int = ROOM) -> Finding:
    free = shutil.disk_usage(folder).free
    say = f"{free / 1e9:.1f} GB are free at {folder}."
    if free < least:
        return Finding("disk", False, say, "Free the disk: when it is full, what happens is kept in memory only.")
    return Finding("disk", True, say)


def _sync(folder: Path, now: Callable[[], float], longest_s: float = SYNC_S) -> Finding:
    """Write and sync a small file of our own some times; the middle time counts."""
    path = folder / ".doctor"
    times = []
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
        try:
            for _ in range(SYNCS):
                begun = now()
                os.write(handle, b"x" * 300)
                os.fdatasync(handle)
                times.append(now() - begun)
        finally:
            os.close(handle)
            path.unlink(missing_ok=True)
    except OSError as error:
        say = f"{folder} can't be written: {(error.strerror or str(error)).lower()}."
        return Finding("disk", False, say, "Look at its disk.")
    middle = sorted(times)[SYNCS // 2]
    say = f"A line is safe on disk after {middle * 1000:.1f} ms."
    if middle > longest_s:
        return Finding("disk", False, say, "Take a faster disk: every answer to a press waits for it.")
    return Finding("disk", True, say)


async def boxes(site: "Site") -> list[Finding]:
    """Does something answer at each box's address? Nothing is sent to it."""
    gate = asyncio.Semaphore(AT_ONCE)

    async def one(called: str, host: str, port: int) -> Finding:
        async with gate:
            why = await _reached(host, port)
        if not why:
            return Finding("boxes", True, f"{called} answers at {host}:{port}.")
        return Finding(
            "boxes", False, f"{called} is not reached at {host}:{port}: {why}.", "Check its power and cable."
        )

    return await asyncio.gather(*(one(entry.called, entry.host, entry.port) for entry in site.devices.values()))


async def _reached(host: str, port: int) -> str:
    """Why nothing answers there; empty: something does."""
    try:
        async with asyncio.timeout(REACH_S):
            _, writer = await asyncio.open_connection(host, port)
    except TimeoutError:
        return f"no answer for {REACH_S:g} s"
    except OSError as error:
        # asyncio puts the address into its text, which is told beside it already
        return (os.strerror(error.errno) if error.errno and error.errno > 0 else str(error)).lower()
    writer.transport.abort()
    return ""


async def web(host: str, port: int) -> Finding:
    """Is the web door's address free, or is stagectl there already?"""
    try:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, port))
        return Finding("port", True, f"{host}:{port} is free for the web door.")
    except OSError as error:
        if error.errno != errno.EADDRINUSE:
            say = f"{host}:{port} can't be opened: {(error.strerror or str(error)).lower()}."
            return Finding("port", False, say, "Choose another with --http.")
    if await _is_ours(host, port):
        return Finding("port", True, f"stagectl answers at {host}:{port}.")
    say = f"{host}:{port} is taken by another program."
    return Finding("port", False, say, "End it, or choose another with --http.")


async def _is_ours(host: str, port: int) -> bool:
    try:
        async with asyncio.timeout(REACH_S):
            reader, writer = await asyncio.open_connection(host, port)
            try:
                writer.write(f"GET /livez HTTP/1.1\r\nHost: {host}:{port}\r\nConnection: close\r\n\r\n".encode())
                answer = await reader.read(4096)
            finally:
                writer.transport.abort()
    except (OSError, TimeoutError):
        return False
    return b'"alive"' in answer


def certificate(tls: "Tls", now: datetime) -> Finding:
    """Can the web door prove who it is, and for how long yet?"""
    from stagectl.inlets.http.certificate import shown, warned

    try:
        found = shown(tls)
    except SiteError as error:
        sentence, _, remedy = str(error).partition(". ")
        return Finding("certificate", False, f"{sentence}.", remedy)
    told = warned(found, now)
    if told is not None:
        sentence, _, remedy = told[1].partition(". ")
        return Finding("certificate", False, f"{sentence}.", remedy)
    names = ", ".join(found.names)
    return Finding("certificate", True, f"The certificate of {names} serves {found.days(now):.0f} days more.")


async def mqtt(site: "Site", which: Callable[[str], str | None] = shutil.which) -> Finding:
    """Is the broker there that the site names?"""
    entry = site.mqtt
    if entry.broker == "off":
        return Finding("mqtt", True, "MQTT is off in the site file.")
    if entry.broker == "managed":
        if which("mosquitto") or which("/usr/sbin/mosquitto"):
            return Finding("mqtt", True, "mosquitto is installed; stagectl starts it itself.")
        remedy = "Install mosquitto, or set mqtt: broker: off in the site file."
        return Finding("mqtt", False, "The site wants a broker of its own, and mosquitto is not installed.", remedy)
    why = await _reached(entry.host, entry.port or 1883)
    if why:
        say = f"The MQTT broker at {entry.at} is not reached: {why}."
        return Finding("mqtt", False, say, "Start it, or look at its address in the site file.")
    return Finding("mqtt", True, f"A broker answers at {entry.at}.")


def clock(adjtimex: Callable[[Any], int] | None = None) -> Finding:
    """Is this machine's clock kept right by somebody? Asked of the kernel, and nothing is changed."""
    ask = adjtimex or getattr(ctypes.CDLL(None), "adjtimex", None)
    state = ask(ctypes.create_string_buffer(512)) if ask is not None else -1
    if state < 0:
        return Finding(
            "clock", None, "It can't be known here if the clock is kept right.", "Look at your time service."
        )
    if state == _TIME_ERROR:
        remedy = "Turn a time service on, such as chrony: the journal's times are read beside the boxes' own."
        return Finding("clock", False, "The clock is not synchronised.", remedy)
    return Finding("clock", True, "The clock is synchronised.")


def handles(limit: int | None = None) -> Finding:
    """May the daemon open enough files and connections? It takes all that it may have by itself."""
    most = resource.getrlimit(resource.RLIMIT_NOFILE)[1] if limit is None else limit
    if most == resource.RLIM_INFINITY or most >= HANDLES:
        return Finding("limits", True, f"The daemon may open {'any number of' if most < 0 else most} files.")
    remedy = f"Raise it: ulimit -Hn {HANDLES}, or LimitNOFILE={HANDLES} in the unit."
    return Finding("limits", False, f"The daemon may open {most} files only.", remedy)
