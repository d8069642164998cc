"""How is copying off made of what a site file says? Decks, places, care and alarms, handed to the engine."""

import os
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Final

from stagectl.copyoff.engine import Engine, threads_needed
from stagectl.copyoff.ftp import FtpStore
from stagectl.copyoff.jobs import Jobs
from stagectl.copyoff.keys import two_lines
from stagectl.copyoff.mhl import Sealing
from stagectl.copyoff.part import CopyPart
from stagectl.copyoff.places import place_of
from stagectl.copyoff.plan import Layout
from stagectl.copyoff.record import Published
from stagectl.copyoff.runs import CopyOff, Rest
from stagectl.copyoff.schedule import Schedule
from stagectl.copyoff.settings import Care, Deck
from stagectl.copyoff.source import Store
from stagectl.model.world import Clock, Offload
from stagectl.site import DeviceEntry, Site

DATABASE: Final = "copies.db"  # in the data folder
OWN_THREADS: Final = 4  # plan, report, sums and a verification, beside the engine's


@dataclass(frozen=True, slots=True)
class Machine:
    """What copying off takes of this machine.

    Attributes:
        data: the folder of journal and state.
        elapsed: monotonic seconds, callable from any thread.
        threads: makes so many of copying off's own.
    """

    data: Path
    elapsed: Callable[[], float]
    threads: Callable[[int], Offload]


def copy_off(part: CopyPart, site: Site, rest: Rest, machine: Machine) -> CopyOff:
    """Everything, ready to be started.

    Raises:
        SiteError: the database can't be used.
    """
    entry, clock = site.copy, rest.clock
    jobs = Jobs(machine.data / DATABASE)
    decks = [_deck(one, clock) for one in site.devices.values() if one.store is not None]
    places = [place_of(target, machine.data) for target in entry.targets]
    threads = machine.threads(threads_needed(decks, places) + OWN_THREADS)

    def engine(changed: Callable[[], None], published: Callable[[Published], None]) -> Engine:
        return Engine(
            clock=clock,
            ids=rest.ids,
            threads=threads,
            elapsed=machine.elapsed,
            jobs=jobs,
            decks=decks,
            places=places,
            layout=Layout(entry.layout),
            order=entry.order,
            takes=rest.takes,
            rests=part.rests,
            care=Care(int(entry.rate_bps) if entry.rate_bps is not None else None, double_read=entry.double_read),
            seal=Sealing(clock.wall, os.uname().nodename, version("stagectl")),
            on_published=published,
            changed=changed,
        )

    schedule = Schedule(entry.at, entry.after_wrap_s)
    return CopyOff(part, rest, jobs, threads=threads, places=places, schedule=schedule, engine=engine)


def _deck(entry: DeviceEntry, clock: Clock) -> Deck:
    store = entry.store
    assert store is not None

    def open_store() -> Store:
        what = f"the login of {entry.called}'s clip store"
        user, password = two_lines(store.login, what) if store.login is not None else ("anonymous", "")
        return FtpStore(
            entry.called,
            store.host,
            store.port,
            user=user,
            password=password if isinstance(password, str) else password.reveal(),
            folders={folder: slot for slot, folder in store.folders.items()},
            wall=clock.wall,
        )

    return Deck(entry.id, entry.called, open_store, store.sessions, while_recording=store.while_recording)
