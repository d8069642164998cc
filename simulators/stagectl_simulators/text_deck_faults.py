"""What can go wrong with a text deck? Its fault switches, each with the story behind it."""

from __future__ import annotations

from dataclasses import dataclass

from stagectl_simulators.model import FaultSet, number


@dataclass(slots=True)
class TextDeckFaults(FaultSet):
    """All off is a healthy deck."""

    never_roll: bool = (
        False  # says 200 ok to record, then does nothing: the input standard does not fit, seen in the edit
    )
    roll_late: float = number(3.0)  # rolls so many seconds after its ok: a slow medium wakes up first
    stops_by_itself: float = number(2.0)  # ends a take so many seconds after it rolled: a medium too slow for the codec
    freeze_timecode: bool = False  # its labels stand still while it records: the timecode cable fell out
    medium_full: bool = False  # every medium is full at once: somebody else's clips were never copied off
    remote_off: bool = False  # remote is locked off at the front; `remote: enable: true` does not help
    no_input: bool = False  # no picture arrives: a cable, a camera without power. A take goes on, in black
    ignore_stop: bool = False  # says 200 ok to stop and records on
    play_stops: bool = False  # `play` while it records ends the take instead of being refused, as some firmware does
    dropped_frames: float = number(1.0)  # loses so many frames a second while it records: a worn medium
    notice_storm: float = number(1000.0)  # sends so many transport notices a second: a firmware slip
    no_notices: bool = False  # never sends a notice, whatever was asked for: old firmware
    short_notices: bool = False  # a transport notice carries only what changed
    early_notices: bool = False  # rolls at once, and the notice arrives before the ok that caused it
    wrong_model: bool = False  # answers as another deck: two boxes were swapped, or took one address
    unknown_words: bool = False  # newer firmware: status words, parameters and notices nobody knows yet
    garbage: bool = False  # one burst of binary noise to every client; turns itself off
    internal_error: bool = False  # refuses every act with 108: a unit that wants a power cycle
