"""What will happen in a run? Everything, drawn from a seed beforehand and kept as plain data.

During the run every consumer of chance has a stream of its own, so that taking one fault or act out of a plan shifts
nothing else: shrinking and twins rest on it. Times are virtual seconds since the start of the run.
"""

import json
import random
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Self

VERSION: Final = 2
READABLE: Final = (1, 2)  # older plans lack what came later, and mean the same without it
AIMED: Final = 0.6  # of the faults strike the device of an act, around it
QUIET_S: Final = 30.0  # after the last fault healed and the last act, rule 24
PROFILES: Final[Mapping[str, Sequence[tuple[str, float]]]] = {
    # fault -> weight; what each of them does stands in faults.py
    "general": (
        *(("refuse", 2), ("swallow", 2), ("cut_reply", 3), ("half_open", 3), ("drop_replies", 3), ("drop_asks", 3)),
        *(("latency", 2), ("crumbs", 1), ("echo_twice", 2), ("garbage", 2), ("flap", 2), ("one_session", 1)),
        *(("swapped", 2), ("narrow", 1), ("long_line", 1), ("coalesce", 1), ("jitter", 2)),
        *(("medium_full", 2), ("no_input", 1), ("remote_off", 2), ("reboot", 3), ("never_roll", 3)),
        *(("freeze_timecode", 2), ("spill", 2), ("panel_stop", 3), ("panel_record", 3), ("unknown_words", 1)),
        *(("roll_late", 2), ("internal_error", 2), ("ignore_stop", 2), ("stops_by_itself", 2), ("notice_storm", 1)),
        *(("no_notices", 2), ("early_notices", 2), ("short_notices", 1), ("play_stops", 1), ("silent", 2)),
        *(("kill", 4), ("kill_twice", 2), ("stop", 3), ("pause", 3), ("power_cut", 3)),
        *(("sync_fail", 2), ("disk_full", 2), ("slow_sync", 2), ("write_fail", 1), ("flip_bit", 1), ("wall_step", 3)),
        *(("all_dead", 1), ("lock_output", 1), ("name_used", 1), ("switch_off", 2), ("driver_slips", 2)),
        *(("tc_jump", 1), ("no_handles", 1), ("ask_flood", 1), ("starved", 1), ("their_clock", 2)),
    ),
    "slow-link": (
        *(("jitter", 5), ("latency", 12), ("narrow", 3), ("crumbs", 2), ("echo_twice", 2), ("cut_reply", 3)),
        *(("drop_replies", 3), ("drop_asks", 2), ("half_open", 2), ("no_notices", 3), ("panel_stop", 3)),
        *(("panel_record", 3), ("kill", 1), ("roll_late", 2), ("silent", 2), ("switch_off", 1)),
    ),
    "deck": (
        *(("medium_full", 3), ("no_input", 2), ("remote_off", 3), ("reboot", 3), ("never_roll", 4), ("swapped", 3)),
        *(("freeze_timecode", 3), ("spill", 3), ("panel_stop", 3), ("panel_record", 3), ("unknown_words", 5)),
        *(("roll_late", 3), ("internal_error", 3), ("ignore_stop", 3), ("stops_by_itself", 3), ("notice_storm", 2)),
        *(("no_notices", 2), ("early_notices", 2), ("short_notices", 2), ("play_stops", 1), ("name_used", 3)),
        *(("lock_output", 4), ("one_session", 2), ("long_line", 1), ("kill", 1), ("driver_slips", 3), ("tc_jump", 3)),
    ),
    "disk": (
        *(("sync_fail", 5), ("disk_full", 4), ("write_fail", 3), ("slow_sync", 3), ("power_cut", 6), ("kill", 3)),
        *(("flip_bit", 2), ("wall_step", 1), ("half_open", 1), ("kill_twice", 2), ("stop", 2)),
    ),
    "crash": (
        *(("kill", 6), ("kill_twice", 4), ("power_cut", 5), ("stop", 4), ("pause", 4), ("reboot", 2)),
        *(("panel_stop", 2), ("panel_record", 2), ("half_open", 2), ("never_roll", 2), ("sync_fail", 1)),
        *(("their_clock", 3), ("starved", 1), ("wall_step", 2)),
    ),
}
LASTING: Final[Mapping[str, tuple[float, float]]] = {
    # how long a fault lasts, where that differs from 0.5 to 8 s
    "pause": (0.3, 30.0),
    "latency": (2.0, 12.0),
    "reboot": (1.0, 8.0),
    "kill": (0.2, 6.0),
    "kill_twice": (0.5, 4.0),
    "power_cut": (0.5, 6.0),
    "stop": (0.2, 4.0),
    "disk_full": (1.0, 12.0),
    "switch_off": (4.0, 12.0),
    "starved": (1.0, 6.0),
}
# the house's first label, by name: what its clocks pass within the run
STARTS: Final = ("10:00:00:00", "23:59:40:00", "00:00:45;00 29.97 DF", "23:59:45;00 29.97 DF")


@dataclass(frozen=True, slots=True)
class Op:
    """One act of a person.

    Attributes:
        t: when.
        who: "ines" and "ben" may, "guest" may only watch, "hand" is at the front of the box.
        verb: "roll", "cut", "set", "identify", "scene" or "halt" (the newest scene); for a hand an act of its panel.
        dev: the device; empty: all recorders.
        id: the act's own, unique in the plan; the id on its way is made from it and its birth time.
        take: of a cut: "seen" (the last one this person saw running) or "old" (the one before that).
        again: how often the same id is sent once more although it was answered.
        arg: of a set: the source; of a hand: its argument.
        name: of a scene.
        sure: what somebody does who is shown what a cut would end: "" (asks again with the word), "late" (much
            later), "wrong" (says another word) or "no".
    """

    t: float
    who: str
    verb: str
    dev: str
    id: str
    take: str = ""
    again: int = 0
    arg: int = 0
    name: str = ""
    sure: str = ""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: from `t` for `lasts` seconds. `x` in 0..1 is its own strength, whatever that means for it."""

    t: float
    lasts: float
    kind: str
    dev: str
    x: float


@dataclass(frozen=True, slots=True)
class Plan:
    """All of a run.

    Attributes:
        rolling_at_start: decks that record before the daemon is there.
        mute: decks of old firmware, which never send a notice.
        accounts: people have passwords and tokens; else whoever sits at the machine may act.
        segment_bytes: a journal's file is full so soon; 0: as shipped.
        starts: the house's first label, one of STARTS.
    """

    seed: int
    profile: str
    decks: int
    length: float
    ops: tuple[Op, ...]
    faults: tuple[Fault, ...]
    v: int = VERSION
    rolling_at_start: tuple[str, ...] = field(default=())
    mute: tuple[str, ...] = field(default=())
    accounts: bool = False
    segment_bytes: int = 0
    starts: str = STARTS[0]

    @property
    def devices(self) -> tuple[str, ...]:
        return (*(f"iso-{number}" for number in range(1, self.decks + 1)), "hall")

    @property
    def ends(self) -> float:
        """When the run is over, its quiet included."""
        healed = max((fault.t + fault.lasts for fault in self.faults), default=0.0)
        return max(self.length, healed) + QUIET_S

    @property
    def healed(self) -> float:
        return self.ends - QUIET_S

    def without(self, *kinds: str) -> Self:
        """The same plan without faults of these kinds: a twin."""
        return replace(self, faults=tuple(fault for fault in self.faults if fault.kind not in kinds))

    def dump(self) -> str:
        plain: dict[str, Any] = asdict(self)
        for key in ("ops", "faults"):
            plain[key] = [json.dumps(one) for one in plain[key]]
        text = json.dumps(plain, indent=1)
        # one act or fault a line, so that a plan can be read
        return text.replace('"{', "{").replace('}"', "}").replace('\\"', '"') + "\n"

    @classmethod
    def load(cls, text: str) -> Self:
        plain = json.loads(text)
        if plain["v"] not in READABLE:
            raise ValueError(f"This plan is of version {plain['v']}, not {VERSION}. Draw it anew.")
        plain["ops"] = tuple(Op(**one) for one in plain["ops"])
        plain["faults"] = tuple(Fault(**one) for one in plain["faults"])
        plain["rolling_at_start"], plain["mute"] = tuple(plain["rolling_at_start"]), tuple(plain["mute"])
        return cls(**plain)

    @classmethod
    def read(cls, path: Path) -> Self:
        return cls.load(path.read_text("utf-8"))


def make_plan(seed: int, profile: str = "general") -> Plan:
    """Draw the plan of a seed. The same seed and profile give the same plan for ever, as long as VERSION stands."""
    chance = random.Random(f"plan:{profile}:{seed}")
    decks = chance.choice((2, 3, 3, 4, 5))
    length = round(chance.uniform(20, 40), 1)
    names = [f"iso-{number}" for number in range(1, decks + 1)]
    ops = _ops(chance, names, length, 0.5 if profile == "slow-link" else 0.3)
    faults = _faults(chance, profile, names, ops, length)
    start = tuple(name for name in names if chance.random() < 0.3) if chance.random() < 0.15 else ()
    old = chance.random() < (0.6 if profile == "slow-link" else 0.1)
    mute = tuple(name for name in names if old)
    accounts = chance.random() < 0.35
    segment = chance.choice((0, 0, 6_000, 20_000))
    starts = STARTS[0] if chance.random() < 0.7 else chance.choice(STARTS)
    return Plan(
        seed, profile, decks, length, tuple(ops), tuple(faults), rolling_at_start=start, mute=mute, accounts=accounts,
        segment_bytes=segment, starts=starts,
    )  # fmt: skip


def _ops(chance: random.Random, names: list[str], length: float, hands: float) -> list[Op]:
    times = sorted(round(chance.uniform(3.0, length), 3) for _ in range(chance.randint(8, 16)))
    ops: list[Op] = []
    rolled = False
    for number, at in enumerate(times):
        key = f"k{number:03}"
        who = chance.choice(("ines", "ines", "ben"))
        dev = "" if chance.random() < 0.6 else chance.choice(names)
        again = 1 if chance.random() < 0.15 else 0
        drawn = chance.random()
        if drawn < 0.05:
            verb = chance.choice(("roll", "cut"))
            ops.append(Op(at, "guest", verb, dev, key, take="seen" if verb == "cut" else "", again=again))
        elif drawn < 0.13:
            ops.append(Op(at, who, "set", "hall", key, again=again, arg=chance.randint(1, 8)))
        elif drawn < 0.15:
            ops.append(Op(at, who, "identify", chance.choice(names), key))
        elif drawn < 0.22:
            scene = chance.choice(("roll-all", "cut", "roll-and-wait", "impossible", "two-routes"))
            ops.append(Op(at, who, "scene", "", key, again=again, name=scene))
            rolled = rolled or scene.startswith("roll")
            if chance.random() < 0.3:
                ops.append(Op(round(at + chance.uniform(0.1, 4.0), 3), who, "halt", "", f"{key}9"))
        elif drawn < hands + 0.07:
            ops.append(Op(at, "hand", chance.choice(("record", "stop")), chance.choice(names), key))
        elif rolled and chance.random() < 0.7:
            sure = chance.choice(("", "", "", "late", "wrong", "no"))
            take = chance.choice(("seen", "seen", "old"))
            ops.append(Op(at, who, "cut", dev, key, take=take, again=again, sure=sure))
            rolled = False
        else:
            ops.append(Op(at, who, "roll", dev, key, again=again))
            rolled = True
    return sorted(ops, key=lambda op: op.t)


def _faults(chance: random.Random, profile: str, names: list[str], ops: Sequence[Op], length: float) -> list[Fault]:
    table = PROFILES[profile]
    kinds, weights = [kind for kind, _ in table], [weight for _, weight in table]
    faults: list[Fault] = []
    for _ in range(chance.choice((1, 2, 2, 3, 3, 4, 5))):
        kind = chance.choices(kinds, weights)[0]
        least, most = LASTING.get(kind, (0.5, 8.0))
        if profile in ("slow-link", "deck"):
            least, most = 2 * least, 2.5 * most
        lasts, x = round(chance.uniform(least, most), 3), round(chance.random(), 3)
        if ops and chance.random() < AIMED:
            op = chance.choice(ops)
            at = max(0.5, op.t + chance.uniform(-0.5, 1.0))
            dev = op.dev or chance.choice(names)
        else:
            at, dev = chance.uniform(0.5, length), chance.choice([*names, "hall"])
        faults.append(Fault(round(at, 3), lasts, kind, dev, x))
    return sorted(faults, key=lambda fault: fault.t)
