"""How does the daemon run in the foreground? From a site file until a signal, and then in order."""

import asyncio
import contextlib
import errno
import gc
import resource
import signal
import sys
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from stagectl.cli.addresses import Address, written
from stagectl.cli.codes import Exit
from stagectl.cli.inuse import InUseError, in_use
from stagectl.cli.logs import LEVELS
from stagectl.cli.servicemanager import ServiceManager

if TYPE_CHECKING:
    from stagectl.control.watchdog import Watchdog
    from stagectl.daemon import Daemon, Settings
    from stagectl.driverkit.driver import BoxKind
    from stagectl.inlets.http.opening import Tls
    from stagectl.site import Site

STOP_S: Final = 5.0
HANDLES: Final = 8192  # 500 boxes, 2000 pages, the journal; twice that and round
AT: Final = ("127.0.0.1", 8420)  # where the web door opens if neither the site file nor the call says


class WrongError(click.ClickException):
    """Something outside is wrong: one sentence or more, exit 2."""

    exit_code = int(Exit.UNCLEAR)


def log_option(level: str) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """The option that says how much is logged; `level` is what it is without."""
    return click.option(
        "--log", type=click.Choice(LEVELS), default=level, show_default=True, help="How much is logged, to stderr."
    )


@click.command("serve")
@click.argument("site", type=click.Path(path_type=Path))
@click.option(
    "--http",
    type=Address(),
    help="Where the web door opens; without, as the site file says, else 127.0.0.1:8420.",
)
@click.option("--data", type=click.Path(path_type=Path), required=True, help="Folder of the journal; made if absent.")
@click.option("--no-mqtt", is_flag=True, help="Leave MQTT off, whatever the site file says.")
@click.option("--tls", nargs=2, type=click.Path(path_type=Path), help="Certificate and key, as stagectl ca makes them.")
@click.option("--name", "names", multiple=True, help="What the door is called; without, all names of its certificate.")
@click.option(
    "--followers", type=click.IntRange(1), default=2000, show_default=True, help="How many may follow live at once."
)
@log_option("info")
def serve(
    site: Path,
    *,
    http: tuple[str, int] | None,
    data: Path,
    no_mqtt: bool,
    tls: tuple[Path, Path] | None,
    names: tuple[str, ...],
    followers: int,
    log: str,
) -> int:
    """Run the daemon on a site file, in the foreground.

    Ctrl-C ends it; what rolls goes on rolling. The web door opens to other machines only with --tls, and once there is
    an account.
    """
    from stagectl.cli.logs import set_up
    from stagectl.daemon import Settings

    whole, kinds = read_site(site)
    set_up(log)
    door = tls_of(whole, tls, names)
    settings = Settings(data, http or at_of(whole), mqtt=not no_mqtt, tls=door, followers=followers)
    open_many()
    return asyncio.run(_keep(whole, kinds, settings, _ready))


def open_many() -> None:
    """Take as many file handles as the machine lets us have: each box, page and file is one."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = HANDLES if hard == resource.RLIM_INFINITY else min(HANDLES, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


def at_of(site: "Site") -> tuple[str, int]:
    """Where the web door opens if nobody says otherwise."""
    return (site.http.host, site.http.port) if site.http is not None else AT


def tls_of(site: "Site", files: tuple[Path, Path] | None, names: tuple[str, ...] = ()) -> "Tls | None":
    """What the web door proves itself with: the files that are given, else those of the site file; None: nothing."""
    from stagectl.inlets.http.opening import Tls

    own = site.http
    if files is not None:
        return Tls(*files, names)
    if own is None or own.certificate is None or own.key is None:
        return None
    return Tls(own.certificate, own.key, names or own.names)


def read_site(path: Path) -> "tuple[Site, Mapping[str, BoxKind]]":
    """The site and the kinds of box there are. Raises WrongError with all that is wrong in the file."""
    from stagectl.daemon import PARTS
    from stagectl.driverkit.kinds import find_kinds
    from stagectl.model.errors import SiteError
    from stagectl.site import load_site

    kinds, broken = find_kinds()
    for why in broken.values():
        print(why, file=sys.stderr)
    try:
        return load_site(path, kinds, PARTS), kinds
    except SiteError as wrong:
        raise WrongError(str(wrong)) from wrong


async def _ready(daemon: "Daemon") -> None:
    assert daemon.http is not None
    print(f"{daemon.house.site.name} is served at {daemon.http.url}", flush=True)


class End:
    """When the process is to end: by a signal, or because something it needs is gone."""

    def __init__(self) -> None:
        """Listen for signals; call it inside the running loop. A second Ctrl-C is Python's own again."""
        self.code: int = Exit.DONE
        self._event = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        for each in (signal.SIGINT, signal.SIGTERM):
            self._loop.add_signal_handler(each, self.come)

    def come(self, code: int = Exit.DONE) -> None:
        """End now, with this exit code; the first one counts."""
        if not self._event.is_set():
            self.code = code
            self._event.set()
            self._loop.remove_signal_handler(signal.SIGINT)

    @property
    def has_come(self) -> bool:
        return self._event.is_set()

    async def wait(self) -> None:
        """Until it is to end."""
        await self._event.wait()


async def _keep(
    site: "Site", kinds: "Mapping[str, BoxKind]", settings: "Settings", ready: "Callable[[Daemon], Awaitable[None]]"
) -> int:
    return await keep(End(), site, kinds, settings, ready)


async def keep(
    end: End,
    site: "Site",
    kinds: "Mapping[str, BoxKind]",
    settings: "Settings",
    ready: "Callable[[Daemon], Awaitable[None]]",
) -> int:
    """Run a daemon until `end`, then stop it. `ready` tells that it runs; returns the exit code.

    Raises:
        WrongError: it can't start.
    """
    try:
        with in_use(settings.data):
            return await _keep_alone(end, site, kinds, settings, ready)
    except InUseError as other:
        who = f" (process {other.pid})" if other.pid else ""
        said = f"Another stagectl{who} works with {settings.data}. Two must not drive one house: end that one first."
        raise WrongError(said) from other


async def _keep_alone(
    end: End,
    site: "Site",
    kinds: "Mapping[str, BoxKind]",
    settings: "Settings",
    ready: "Callable[[Daemon], Awaitable[None]]",
) -> int:
    gc.freeze()  # what was imported lives as long as we do; a full look at it holds the loop up for 60 ms, else for 3
    daemon = await start(site, kinds, settings)
    telling = asyncio.ensure_future(ready(daemon))
    manager = ServiceManager()
    manager.ready(f"{site.name} is served.")
    dog = _watched(daemon, manager)
    await end.wait()
    manager.stopping()
    if dog is not None:
        dog.stop()
    telling.cancel()
    await asyncio.gather(telling, return_exceptions=True)  # nobody may listen any more; what runs has gone on
    await stop(daemon)
    return end.code


def _watched(daemon: "Daemon", manager: ServiceManager) -> "Watchdog | None":
    """What feeds the service manager, if it waits for that."""
    from stagectl.control.watchdog import Watchdog

    if manager.patience_s is None:
        return None
    judge = daemon.house.commands.judge
    dog = Watchdog(daemon.house.world.clock, judge.overdue, manager.alive, manager.patience_s / 3)
    dog.start()
    return dog


async def start(site: "Site", kinds: "Mapping[str, BoxKind]", settings: "Settings") -> "Daemon":
    """A running daemon. Raises WrongError: an address is taken, the folder can't be used, the site is wrong."""
    from stagectl.daemon import Daemon
    from stagectl.model.errors import SiteError

    try:
        return await Daemon.start(site, kinds, settings)
    except SiteError as wrong:
        raise WrongError(str(wrong)) from wrong
    except OSError as error:
        if error.errno == errno.EADDRINUSE and settings.http is not None:
            at = written(*settings.http)
            raise WrongError(f"{at} is taken by another program. End it, or choose another with --http.") from error
        if settings.http is not None and error.errno == errno.EADDRNOTAVAIL:
            at = written(*settings.http)
            raise WrongError(f"{at} is no address of this machine. Choose another with --http.") from error
        what = error.strerror or str(error)
        raise WrongError(f"The daemon can't start with {settings.data}: {what.lower()}. See --data.") from error


async def stop(daemon: "Daemon") -> None:
    """Let go of everything, within a deadline; nothing is sent to any box."""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(STOP_S):
            await daemon.stop()
            return
    print(f"Not all let go within {STOP_S:g} s; the process ends now.", file=sys.stderr)
