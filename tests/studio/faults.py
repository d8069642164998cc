"""What can go wrong? Each fault by name: which entries of the fault catalogue it is, how it begins, how it heals."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from tests.studio.plan import Fault
from tests.studio.stage import DESK, Stage

Do = Callable[[Stage, Fault], None]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault.

    Attributes:
        ids: of the fault catalogue.
        at: "box" (any), "deck", "router", "daemon" or "disk": where it strikes.
        end: None: it heals by itself, or it is over as soon as it has happened.
    """

    ids: tuple[str, ...]
    at: str
    begin: Do
    end: Do | None = None


def _nothing(stage: Stage, fault: Fault) -> None:
    """It is over as soon as it has happened."""


def _out(stage: Stage, fault: Fault) -> tuple[str, str]:
    return DESK, stage.host(fault.dev)


# --- the way to a box -------------------------------------------------------------------------------------------------


def _knob(ids: tuple[str, ...], knob: str, on: object, off: object, *, back: bool = False, reset: bool = False) -> Kind:
    """A knob of the way to the box (`back`: of the way back)."""

    def turn(stage: Stage, fault: Fault, value: object) -> None:
        src, dst = _out(stage, fault)
        way = stage.net.way(dst, src) if back else stage.net.way(src, dst)
        setattr(way, knob, value)
        if reset:
            stage.net.reset(src, dst)

    return Kind(ids, "box", lambda stage, fault: turn(stage, fault, on), lambda stage, fault: turn(stage, fault, off))


def _cut_reply(stage: Stage, fault: Fault) -> None:
    way = stage.net.way(stage.host(fault.dev), DESK)
    way.end_after, way.end_by = 1 + int(fault.x * 600), "rst" if fault.x < 0.5 else "fin"


def _cut_no_more(stage: Stage, fault: Fault) -> None:
    stage.net.way(stage.host(fault.dev), DESK).end_after = None


def _half_open(stage: Stage, fault: Fault) -> None:
    stage.net.hold(*stage.net.both(*_out(stage, fault)))


def _open_again(stage: Stage, fault: Fault) -> None:
    stage.net.heal(*stage.net.both(*_out(stage, fault)))


def _drop_replies(stage: Stage, fault: Fault) -> None:
    stage.net.hold(stage.net.way(stage.host(fault.dev), DESK))


def _drop_asks(stage: Stage, fault: Fault) -> None:
    stage.net.hold(stage.net.way(DESK, stage.host(fault.dev)))


def _slow(low: float, high: float) -> Do:
    def begin(stage: Stage, fault: Fault) -> None:
        for way in stage.net.both(*_out(stage, fault)):
            way.latency = (low, high * (0.2 + 0.8 * fault.x))

    return begin


def _late(stage: Stage, fault: Fault) -> None:
    """Answers that come just before patience ends, or up to ten seconds late."""
    for way in stage.net.both(*_out(stage, fault)):
        way.latency = (1.0, 1.2 + fault.x) if fault.x < 0.6 else (2.0, 10.0 * fault.x)


def _fast(stage: Stage, fault: Fault) -> None:
    for way in stage.net.both(*_out(stage, fault)):
        way.latency = (0.0002, 0.001)


def _crumbs(stage: Stage, fault: Fault) -> None:
    way = stage.net.way(stage.host(fault.dev), DESK)
    way.slice_bytes, way.slice_s = (1, 0.002) if fault.x < 0.5 else (7, 0.05)


def _whole(stage: Stage, fault: Fault) -> None:
    way = stage.net.way(stage.host(fault.dev), DESK)
    way.slice_bytes, way.slice_s = 0, 0.0


def _flap(stage: Stage, fault: Fault) -> None:
    """Accept, then close, ten a second."""
    stage.net.reset(*_out(stage, fault))
    if stage.now() + 0.1 < fault.t + fault.lasts:
        stage.later(0.1, lambda: _flap(stage, fault))


def _garble(stage: Stage, fault: Fault) -> None:
    noise = stage.chance(f"garble:{fault.dev}:{fault.t}")

    def mangle(data: bytes) -> bytes:
        if noise.random() < 0.2:
            at = noise.randrange(len(data) + 1)
            return data[:at] + noise.randbytes(noise.randint(1, 40)) + data[at:]
        return data

    stage.net.way(stage.host(fault.dev), DESK).mangle = mangle


def _clear(stage: Stage, fault: Fault) -> None:
    stage.net.way(stage.host(fault.dev), DESK).mangle = None


def _hold_and_glue(stage: Stage, fault: Fault) -> None:
    """Replies wait on the way and come all at once, again and again."""
    way = stage.net.way(stage.host(fault.dev), DESK)
    stage.net.hold(way)
    stage.later(0.4, lambda: stage.net.heal(way))
    if stage.now() + 0.6 < fault.t + fault.lasts:
        stage.later(0.6, lambda: _hold_and_glue(stage, fault))


def _unglue(stage: Stage, fault: Fault) -> None:
    stage.net.heal(stage.net.way(stage.host(fault.dev), DESK))


def _session_held(stage: Stage, fault: Fault) -> None:
    stage.refuse_more(fault.dev, True)
    stage.net.reset(*_out(stage, fault))


def _session_free(stage: Stage, fault: Fault) -> None:
    stage.refuse_more(fault.dev, False)


def _twice(stage: Stage, fault: Fault) -> None:
    stage.box(fault.dev).twice = True


def _once(stage: Stage, fault: Fault) -> None:
    stage.box(fault.dev).twice = False


def _endless(stage: Stage, fault: Fault) -> None:
    stage.box(fault.dev).endless = True


def _swapped(stage: Stage, fault: Fault) -> None:
    stage.turn(fault.dev, "wrong_model", True)
    stage.net.reset(*_out(stage, fault))


def _right_again(stage: Stage, fault: Fault) -> None:
    stage.turn(fault.dev, "wrong_model", False)
    stage.net.reset(*_out(stage, fault))


def _all_dead(stage: Stage, fault: Fault) -> None:
    for device in stage.devices:
        stage.power_off(device, fault.lasts)
    stage.stop_daemon(restart_s=0.5)


def _switch_off(stage: Stage, _: Fault) -> None:
    """The switch between the daemon and every box is off; what was on its way waits, as TCP sends it again."""
    for device in stage.devices:
        stage.mark("fault", device, "half_open")
        stage.net.hold(*stage.net.both(DESK, stage.host(device)))


def _switch_on(stage: Stage, _: Fault) -> None:
    for device in stage.devices:
        stage.net.heal(*stage.net.both(DESK, stage.host(device)))
        stage.mark("healed", device, "half_open")


def _driver_slips(stage: Stage, fault: Fault) -> None:
    """A plug-in raises: once, or each time it hears anything."""
    stage.let_slip(fault.dev, for_ever=fault.x > 0.4)


def _driver_mended(stage: Stage, fault: Fault) -> None:
    stage.mend(fault.dev)


# --- the box itself ---------------------------------------------------------------------------------------------------


def _switch(ids: tuple[str, ...], switch: str, on: bool | float = True) -> Kind:
    """A fault switch of the simulator."""

    def turn(stage: Stage, fault: Fault, value: bool | float) -> None:
        stage.turn(fault.dev, switch, value)

    return Kind(
        ids, "deck", lambda stage, fault: turn(stage, fault, on), lambda stage, fault: turn(stage, fault, False)
    )


def _frozen(stage: Stage, fault: Fault) -> None:
    stage.turn(fault.dev, "freeze_timecode", True)
    stage.mark("stands", fault.dev)


def _runs(stage: Stage, fault: Fault) -> None:
    stage.turn(fault.dev, "freeze_timecode", False)
    stage.mark("advances", fault.dev)


def _panel(act: str, **arguments: object) -> Do:
    return lambda stage, fault: stage.panel(fault.dev, act, **arguments)


def _spill(stage: Stage, fault: Fault) -> None:
    """The medium in use is full now, the other one is not."""
    stage.fill_active_slot(fault.dev)


def _reboot(stage: Stage, fault: Fault) -> None:
    stage.power_off(fault.dev, fault.lasts)


def _lock(stage: Stage, _: Fault) -> None:
    stage.panel("hall", "lock", output=3)


def _unlock(stage: Stage, _: Fault) -> None:
    stage.panel("hall", "unlock", output=3)


def _name_used(stage: Stage, fault: Fault) -> None:
    """A clip of the next take's name is on the medium already."""
    stage.panel(fault.dev, "record", name=f"T00{1 + int(3 * fault.x)}_{fault.dev}")
    stage.later(0.9, lambda: stage.panel(fault.dev, "stop"))


def _tc_jump(stage: Stage, fault: Fault) -> None:
    """Its own clock is set: up to an hour on, or back."""
    stage.jump_label(fault.dev, int((fault.x - 0.5) * 180_000))


# --- daemon and host --------------------------------------------------------------------------------------------------


def _kill(stage: Stage, fault: Fault) -> None:
    stage.kill(restart_s=fault.lasts)


def _kill_twice(stage: Stage, fault: Fault) -> None:
    """The second one strikes while the first is being recovered from: within milliseconds as often as later."""
    stage.kill(restart_s=0.2)
    stage.later(0.2 + 0.0005 + 1.5 * fault.x**3, lambda: stage.kill(restart_s=max(0.3, fault.lasts - 1.7)))


def _stop(stage: Stage, fault: Fault) -> None:
    stage.stop_daemon(restart_s=fault.lasts)


def _pause(stage: Stage, _: Fault) -> None:
    stage.pause()


def _resume(stage: Stage, _: Fault) -> None:
    stage.resume()


def _power_cut(stage: Stage, fault: Fault) -> None:
    stage.power_cut(restart_s=fault.lasts)


def _sync_fail(stage: Stage, fault: Fault) -> None:
    stage.disk_fails("sync", for_ever=fault.x > 0.5)


def _write_fail(stage: Stage, fault: Fault) -> None:
    stage.disk_fails("write", for_ever=fault.x > 0.5)


def _disk_well(stage: Stage, _: Fault) -> None:
    stage.disk_well()


def _disk_full(stage: Stage, fault: Fault) -> None:
    stage.disk_full(room=int(fault.x * 3000))


def _slow_sync(stage: Stage, fault: Fault) -> None:
    stage.disk_slow(0.2 + 3.0 * fault.x)


def _flip_bit(stage: Stage, fault: Fault) -> None:
    """The daemon goes down, a bit of its journal flips, it comes back."""
    stage.kill(restart_s=1.0)
    stage.flip_bit(fault.x)


def _wall_step(stage: Stage, fault: Fault) -> None:
    stage.step_wall(7200.0 * (1 if fault.x >= 0.5 else -1))


def _wall_back(stage: Stage, fault: Fault) -> None:
    stage.step_wall(-7200.0 * (1 if fault.x >= 0.5 else -1))


def _no_handles(stage: Stage, _: Fault) -> None:
    """Every file handle of the daemon is taken: what is open goes on, nothing new is opened."""
    stage.no_handles(True)


def _handles_again(stage: Stage, _: Fault) -> None:
    stage.no_handles(False)


def _ask_flood(stage: Stage, fault: Fault) -> None:
    """Somebody's script asks a hundred and fifty times at once."""
    for number in range(150):
        stage.flood(number, fault.x)


def _starved(stage: Stage, fault: Fault) -> None:
    """It has a tenth of a processor: it stands still for most of each tenth of a second."""
    stage.doze(fault.t + fault.lasts)


def _their_clock(stage: Stage, fault: Fault) -> None:
    """Ben's machine is two hours behind, or some minutes ahead."""
    stage.off_s["ben"] = -7200.0 if fault.x < 0.7 else 600.0


KINDS: Final[Mapping[str, Kind]] = {
    "refuse": _knob(("N01",), "refuse", True, False, reset=True),
    "swallow": _knob(("N02",), "swallow", True, False, reset=True),
    "cut_reply": Kind(("N03",), "box", _cut_reply, _cut_no_more),
    "half_open": Kind(("N04",), "box", _half_open, _open_again),
    "drop_replies": Kind(("N05",), "box", _drop_replies, _unglue),
    "drop_asks": Kind(("N06",), "box", _drop_asks, _open_again),
    "latency": Kind(("N07",), "box", _late, _fast),
    "jitter": Kind(("N08",), "box", _slow(0.0, 2.0), _fast),
    "crumbs": Kind(("N09",), "box", _crumbs, _whole),
    "coalesce": Kind(("N10",), "box", _hold_and_glue, _unglue),
    "long_line": Kind(("N11",), "deck", _endless, _nothing),
    "notice_storm": _switch(("N12", "D22"), "notice_storm", 200.0),
    "echo_twice": Kind(("N13",), "deck", _twice, _once),
    "early_notices": _switch(("N14",), "early_notices"),
    "garbage": Kind(("N15",), "box", _garble, _clear),
    "flap": Kind(("N17",), "box", _flap, _nothing),
    "one_session": Kind(("N18",), "deck", _session_held, _session_free),
    "swapped": Kind(("N19",), "deck", _swapped, _right_again),
    "narrow": _knob(("N22",), "rate", 1000.0, 0.0, back=True),
    "silent": Kind(("N05",), "box", _drop_replies, _unglue),
    "medium_full": _switch(("D02", "D03"), "medium_full"),
    "no_input": _switch(("D04",), "no_input"),
    "remote_off": _switch(("D05",), "remote_off"),
    "reboot": Kind(("D06",), "box", _reboot),
    "never_roll": _switch(("D07",), "never_roll"),
    "freeze_timecode": Kind(("D08", "D13"), "deck", _frozen, _runs),
    "spill": Kind(("D09",), "deck", _spill, _nothing),
    "panel_stop": Kind(("D10",), "deck", _panel("stop"), _nothing),
    "panel_record": Kind(("D11",), "deck", _panel("record"), _nothing),
    "unknown_words": _switch(("D16",), "unknown_words"),
    "roll_late": _switch(("D17",), "roll_late", 3.0),
    "internal_error": _switch(("D01", "D18"), "internal_error"),
    "ignore_stop": _switch(("D19",), "ignore_stop"),
    "name_used": Kind(("D20",), "deck", _name_used, _nothing),
    "stops_by_itself": _switch(("D03",), "stops_by_itself", 2.0),
    "play_stops": _switch(("D16",), "play_stops"),
    "no_notices": _switch(("D16",), "no_notices"),
    "short_notices": _switch(("D16",), "short_notices"),
    "lock_output": Kind(("D23",), "router", _lock, _unlock),
    "kill": Kind(("P01", "P02"), "daemon", _kill),
    "kill_twice": Kind(("P17",), "daemon", _kill_twice),
    "stop": Kind(("P03",), "daemon", _stop),
    "pause": Kind(("P04",), "daemon", _pause, _resume),
    "power_cut": Kind(("P07",), "disk", _power_cut),
    "disk_full": Kind(("P05",), "disk", _disk_full, _disk_well),
    "sync_fail": Kind(("P06",), "disk", _sync_fail, _disk_well),
    "write_fail": Kind(("P05", "P06"), "disk", _write_fail, _disk_well),
    "slow_sync": Kind(("P06",), "disk", _slow_sync, _disk_well),
    "flip_bit": Kind(("P07",), "disk", _flip_bit),
    "wall_step": Kind(("P08",), "daemon", _wall_step, _wall_back),
    "all_dead": Kind(("P15",), "daemon", _all_dead),
    "switch_off": Kind(("N04",), "daemon", _switch_off, _switch_on),
    "driver_slips": Kind(("P10",), "box", _driver_slips, _driver_mended),
    "tc_jump": Kind(("D12",), "deck", _tc_jump, _nothing),
    "no_handles": Kind(("P12",), "daemon", _no_handles, _handles_again),
    "ask_flood": Kind(("P11",), "daemon", _ask_flood),
    "starved": Kind(("P16",), "daemon", _starved),
    "their_clock": Kind(("P08",), "daemon", _their_clock),
}


def begin(stage: Stage, fault: Fault) -> None:
    """Let it begin, and see that it heals."""
    kind = KINDS[fault.kind]
    if kind.at == "deck" and not fault.dev.startswith("iso-"):
        fault = Fault(fault.t, fault.lasts, fault.kind, "iso-1", fault.x)
    where = fault.dev if kind.at in ("box", "deck", "router") else ""
    stage.mark("fault", where, fault.kind)
    for one in kind.ids:
        stage.reached(one)
    kind.begin(stage, fault)

    def heal() -> None:
        if kind.end is not None:
            kind.end(stage, fault)
        stage.mark("healed", where, fault.kind)

    stage.later(fault.lasts, heal)
