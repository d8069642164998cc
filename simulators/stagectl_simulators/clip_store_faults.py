"""What can go wrong with a recorder's clip store? Its fault switches, each with the story behind it."""

from __future__ import annotations

from dataclasses import dataclass

from stagectl_simulators.model import FaultSet, number


@dataclass(slots=True)
class StoreFaults(FaultSet):
    """All off is a healthy store."""

    store_truncates: bool = False  # sends the first half of a file, then says 226: a medium that can't be read any more
    store_one_session: bool = False  # one session at a time, 421 for the next: a laptop was left logged in
    store_list_only: bool = False  # knows neither MLSD nor MLST: old firmware, its times to the minute
    store_no_epsv: bool = False  # knows neither EPSV nor EPRT: older firmware still
    store_stalls: bool = False  # data stops in mid-transfer, the connections stay: the deck is busy with itself
    store_resets: bool = False  # resets both connections in mid-transfer: the deck starts anew, or a cable is pulled
    store_changes_size: bool = False  # a file is longer when it is read than it was listed: its index is written late
    store_no_226: bool = False  # all the data, then no word: a box on the way forgot the silent control connection
    store_slow: float = number(200.0)  # reads at so many kB/s: a slow processor, a crowded line
    store_local_time: float = number(2.0)  # MDTM answers a clock so many hours ahead: local time, unlabelled
    store_flips_byte: bool = False  # one byte of the next read is wrong: bad memory in the deck; turns itself off
    store_vanishes: bool = False  # files are listed, but 550 when asked for: the medium was pulled, the list was kept
