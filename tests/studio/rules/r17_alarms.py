"""Each cause gives one alarm in its time, none comes without a cause, and after the quiet none stands."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from tests.studio.histories import FOREVER, Histories, Seen
from tests.studio.loop import START_S
from tests.studio.rules.rule import DISKS, LINKS, Breach

# nothing at all passes: how long until that is an alarm. Half open: silence of 3 s, an answer awaited for 5 s
IN_TIME_S: Final = {"refuse": 2.0, "swallow": 2.0, "half_open": 9.0}
AFTER_S: Final = 22.0  # a link that was slow, and the wait before the next try
# a fault that is alone at its box for that long -> the one alarm it makes
ALONE: Final = {
    "refuse": ("unreached", 1.0),
    "swallow": ("unreached", 1.0),
    "half_open": ("unreached", 9.5),
    "swapped": ("unreached", 2.0),
    "no_input": ("no-input", 3.0),
}
IN_SIGHT_S: Final = 0.5  # from a take that is seen to go on to what follows from that
STRANGE: Final = ("unknown_words", "garbage", "crumbs")  # what a box says in these can mean anything
# an alarm of a box -> the faults that may be its cause; of the others see `_acted`
CAUSES: Final = {
    "unreached": (*LINKS, "unknown_words"),
    "left-alone": ("driver_slips",),
    "no-input": ("no_input", *STRANGE),
    "remote-off": ("remote_off", *STRANGE),
    "cannot-roll": ("medium_full", "remote_off", "spill", "no_input", *STRANGE),
    "filling": ("medium_full", "spill", *STRANGE),
    "timecode-stands": ("freeze_timecode", "tc_jump", *STRANGE),
    "frames-dropped": ("spill", *STRANGE),
    # of the daemon itself
    "journal": (*DISKS, "all_dead"),
    "journal-damage": (*DISKS, "kill", "kill_twice", "stop", "all_dead"),
    "tokens": DISKS,
    "loop": ("pause", "starved"),
}


@dataclass(slots=True)
class Told:
    """One time that an alarm stood, as the journal has it. `heads`: how often it was news by itself."""

    id: str
    device: str
    at: float
    until: float = FOREVER
    heads: int = 0
    say: str = ""

    @property
    def name(self) -> str:
        return self.id.rpartition(".")[2]


def check(run: Histories) -> Iterator[Breach]:
    told = _told(run)
    yield from _missed(run)
    for one in told:
        if why := _groundless(run, one):
            yield Breach(17, one.at, f"{one.id} came without a cause: {why}")
            break
    yield from _once(run, told)
    yield from _flood(run, told)
    yield from _at_rest(run)


def _told(run: Histories) -> list[Told]:
    """Every time that an alarm came, with its end; a daemon that ends takes its alarms with it."""
    found: list[Told] = []
    open_: dict[str, Told] = {}
    epoch = 0
    for line in run.journal.lines:
        if line.epoch != epoch:
            epoch, open_ = line.epoch, {}
        if line.kind != "alarm" or line.data.get("what") not in ("on", "off"):
            continue
        name, at = str(line.data["alarm"]), line.mono - START_S
        if line.data["what"] == "off":
            if name in open_:
                open_.pop(name).until = at
            continue
        if name not in open_:  # what got worse is told again, and is the same alarm
            open_[name] = Told(name, str(line.data["device"]), at, say=str(line.data["say"]))
            found.append(open_[name])
        open_[name].heads += "under" not in line.data
    return found


# --- in time ----------------------------------------------------------------------------------------------------------


def _missed(run: Histories) -> Iterator[Breach]:
    told: set[str] = set()
    for seen in run.seen:
        for device in run.plan.devices:
            on = f"{device}.unreached" in seen.alarms or any(name.startswith("net-") for name in seen.alarms)
            if device in told or on or f"{device}.left-alone" in seen.alarms:
                continue
            if why := _missing(run, seen, device):
                told.add(device)
                yield Breach(17, seen.at, f"{device} {why}")


def _missing(run: Histories, seen: Seen, device: str) -> str:
    for kind, within_s in IN_TIME_S.items():
        since = seen.at - within_s
        begun = [at for at, until in run.spans_of(kind, device) if at <= since and until > seen.at]
        healed = any(mark.what == "healed" and mark.dev == device and since < mark.at <= seen.at for mark in run.marks)
        if begun and not healed and not run.was_away(since - 4.0, seen.at) and not _dozed(run, since, seen.at):
            return f"has been out of reach by {kind} since {begun[0]:.1f}, and no alarm says so"
    return ""


def _dozed(run: Histories, since: float, until: float) -> bool:
    return run.faulty(since - 4.0, until, "", "starved")


# --- with a cause -----------------------------------------------------------------------------------------------------


def _groundless(run: Histories, one: Told) -> str:
    since, until = run.awake_since(one.at, AFTER_S), one.at  # what was paused learns afterwards what had gone before
    if one.id.startswith("net-"):
        sick = [device for device in run.plan.devices if run.faulty(since, until, device, *LINKS)]
        return "" if len(sick) > 1 or _met_anew(run, one.at) else "at most one box of it was out of reach"
    if one.name in CAUSES:
        kinds = CAUSES[one.name]
        if run.faulty(since, until, one.device, *kinds) or (one.name == "unreached" and _met_anew(run, one.at)):
            return ""
        return f"none of its causes was there in the {AFTER_S:g} s that it was awake before"
    if "may only watch" in one.say:
        return "it is about who asked"
    if one.name in ("stopped", "not-rolled"):
        return "" if _acted(run, one) else "nobody had asked anything of it, and nothing had ended"
    return "nobody knows what it is for"


def _met_anew(run: Histories, at: float) -> bool:
    """A daemon that has just started has not reached everything yet."""
    return any(begin <= at <= end + 8.0 for begin, end in run.spans("dead", "ready"))


def _acted(run: Histories, one: Told) -> bool:
    """Did a recording of it end, or was it asked to roll and did not?"""
    truth = run.truths[one.device]
    ends = [clip.ended for clip in truth.clips if clip.ended <= one.at]
    if ends and (max(ends) >= one.at - AFTER_S or run.faulty(max(ends), one.at, one.device, *LINKS)):
        return True
    if ends and (run.was_away(max(ends), one.at) or _goes_on(run, one.at)):
        return True
    asks = [asked for asked in run.asked.values() if one.device in asked.devices and asked.who != "guest"]
    if any(asked.verb == "cut" and asked.at <= one.at <= asked.last + AFTER_S for asked in asks):
        return True
    if one.name != "not-rolled":
        return False
    tries = [answer for asked in asks if asked.verb == "roll" for answer in asked.tries if answer.at <= one.at]
    judged = [answer for answer in tries if one.device in answer.boxes and answer.ends <= one.at + 0.2]
    last = max(judged, key=lambda answer: answer.ends, default=None)
    return (last is not None and _badly(last.boxes[one.device])) or any(not answer.boxes for answer in tries)


def _goes_on(run: Histories, at: float) -> bool:
    """A take that was over, as far as anybody could see, is seen to go on: who left it long ago is missing again."""
    over: set[int] = set()
    for line in run.journal.of("take"):
        if line.data.get("what") != "head" or (when := line.mono - START_S) > at:
            continue
        number = int(line.data["take"])
        if line.data["closed"] is not None:
            over.add(number)
        elif number in over and at - when <= IN_SIGHT_S:
            return True
    return False


def _badly(ended: tuple[str, bool, str, str]) -> bool:
    return ended[0] in ("failed", "unconfirmed")


# --- once -------------------------------------------------------------------------------------------------------------


def _once(run: Histories, told: list[Told]) -> Iterator[Breach]:
    for device in run.plan.devices:
        for kind, (name, least_s) in ALONE.items():
            for begin, end in run.spans_of(kind, device):
                if end - begin < least_s or not _alone(run, device, begin, end):
                    continue
                came = [one for one in told if one.id == f"{device}.{name}" and begin - 0.1 <= one.at <= end + AFTER_S]
                if len(came) != 1:
                    yield Breach(
                        17, begin, f"{device}.{name} came {len(came)} times for one {kind} of {end - begin:.1f} s"
                    )
                others = [one for one in told if one.device == device and one.name in CAUSES and begin < one.at < end]
                if more := [one.id for one in others if one.name != name and not _folded(one)]:
                    yield Breach(17, begin, f"one {kind} raised {', '.join(more)} too")


def _alone(run: Histories, device: str, begin: float, end: float) -> bool:
    """Nothing else happened to it, to the daemon or to its disk around that."""
    since, until = begin - AFTER_S, end + AFTER_S
    others = [
        mark
        for mark in run.marks
        if mark.what in ("fault", "healed") and since <= mark.at <= until and mark.dev in ("", device)
        and not (mark.at in (begin, end) and mark.dev == device)
    ]  # fmt: skip
    return not others and not run.was_away(max(begin - 6.0, 1.0), until) and begin > 6.0


def _folded(one: Told) -> bool:
    return one.heads == 0


# --- floods -----------------------------------------------------------------------------------------------------------


def _flood(run: Histories, told: list[Told]) -> Iterator[Breach]:
    """One switch that is off is at most three alarms that are news by themselves, however many boxes are behind it."""
    for begin, end in run.spans_of("switch_off", ""):
        quiet = not run.was_away(begin - 8.0, end + 1.0) and not any(
            mark.what == "fault" and mark.note not in ("switch_off", "half_open") and begin - AFTER_S < mark.at < end
            for mark in run.marks
        )
        if not quiet or end - begin < 10.0 or len(run.plan.devices) < 4:
            continue
        news = [one for one in told if one.name == "unreached" and begin <= one.at <= end and one.heads]
        if len(news) > 3:
            yield Breach(17, begin, f"one switch off was {len(news)} alarms: {', '.join(one.id for one in news)}")


# --- at rest ----------------------------------------------------------------------------------------------------------


def _at_rest(run: Histories) -> Iterator[Breach]:
    """What stands at the end has a cause that lasts: damage that was found, a take that runs on without a recorder."""
    if not run.seen or run.seen[-1].at < run.ended - 2.0:
        return
    last = run.seen[-1]
    for name in last.alarms:
        rule = name.rpartition(".")[2]
        lasting = rule == "journal-damage" or (rule in ("stopped", "not-rolled") and last.running)
        lasting |= rule == "loop" and bool(run.spans("paused", "resumed"))  # told for a minute
        lasting |= rule in ("cannot-roll", "filling", "frames-dropped") and _full(run, name.rpartition(".")[0])
        if not lasting:
            yield Breach(17, last.at, f"{name} stands though all has healed long ago")


def _full(run: Histories, device: str) -> bool:
    """A medium of it is full for good: it spilled."""
    return any(clip.by == "spill" or clip.cut_by in ("spill", "self") for clip in run.truths[device].clips)
