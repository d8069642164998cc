"""Is a file of the site, a scene, or of secrets read whole, or refused with place and remedy? Nothing in between."""

from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, Final

from stagectl import yamlfile
from stagectl.control import passwords, people
from stagectl.control.tokens import Tokens
from stagectl.daemon import PARTS
from stagectl.driverkit.kinds import find_kinds
from stagectl.filetree import FileError, FileErrors, Node
from stagectl.model.errors import RefusedError, SiteError
from stagectl.model.secret import Secret
from stagectl.model.world import World
from stagectl.shoot.scenefile import read_scene
from stagectl.shoot.scenes import Scenes
from stagectl.shoot.scenewords import Words
from stagectl.site.load import read_site
from stagectl.site.simfile import read_sim
from tests.control.disk import ManualClock
from tests.fuzz.target import Outcome, SlipError, Target
from tests.fuzz.targets.texts import demo
from tests.fuzz.targets.wires import Still
from tests.shoot.hall import DEMO, shipped

KINDS: Final = find_kinds()[0]
FILE: Final = "file.yaml"
MASTER: Final = DEMO / "tidewater-hall.yaml"


def site(data: bytes) -> Outcome:
    """A site file, with its alarms, limits and protections."""
    return _read(data, lambda root: read_site(root, DEMO / FILE, KINDS, PARTS))


def sim(data: bytes) -> Outcome:
    """The options of simulated boxes."""
    return _read(data, lambda root: read_sim(root, demo()))


@cache
def _words() -> Words:
    """Whom the scenes of the shipped hall may speak of."""
    return Scenes(shipped(ManualClock()))._words


def scene(data: bytes) -> Outcome:
    """A scene, as it is checked and as it is started."""

    def read(root: Node) -> None:
        found = read_scene(root, "fuzzed", _words())
        for step in found.every_step():
            repr(step)
        try:
            read_scene(root, "fuzzed", _words(), dict.fromkeys(list(found.arguments)[:3], "wide"))
        except RefusedError as refused:
            if not str(refused):
                raise SlipError("refused without a word") from refused

    return _read(data, read)


def _read(data: bytes, read: Any) -> Outcome:
    try:
        read(yamlfile.parse(data, FILE))
    except FileErrors as errors:
        for error in errors.errors:
            _placed(error)
        return ("refused", "many", errors.errors[0].problem[:40] if errors.errors else "")
    except FileError as error:
        _placed(error)
        return ("refused", error.problem[:40])
    return ("read",)


def _placed(error: FileError) -> None:
    """An error says where, what and what to do, in one line that a terminal can show."""
    said = str(error)
    if not error.problem.strip() or not said.startswith(FILE):
        raise SlipError(f"an error without a place or a word: {said!r}")
    if any(ord(sign) < 32 or ord(sign) == 127 for sign in said):
        raise SlipError(f"an error holds a control sign: {said!r}")


class OneFile:
    """Storage that holds one file, its owner's alone."""

    def __init__(self, name: str, data: bytes) -> None:
        self._name = name
        self._data = data

    def read(self, name: str) -> bytes:
        if name != self._name:
            raise FileNotFoundError(name)
        return self._data

    def exposure(self, name: str) -> str:
        return ""


class _Wall(Still):
    def wall(self) -> datetime:
        return datetime(2027, 3, 12, 14, 2, tzinfo=UTC)


def keys(data: bytes) -> Outcome:
    """The files of accounts and of tokens: read, or refused with the way out; no damaged entry opens anything."""
    ways: list[str] = []
    try:
        for account in people.parsed(data).values():
            repr(account)
            if _cheap(account.kept) and passwords.matches(Secret("four canvas otters yawn"), account.kept):
                ways.append("opens")
    except SiteError as error:
        ways.append(str(error)[:30])
    else:
        ways.append("people")
    world: Any = World(_Wall(), None, OneFile("tokens.json", data), None, None, None)  # type: ignore[arg-type]
    tokens = Tokens(world)
    try:
        tokens.load()
        for token in tokens.all():
            token.plain()
        if tokens.find("A" * 43) is not None:
            raise SlipError("a token that nobody made is known")
        ways.append(f"{min(len(tokens.all()), 3)} tokens")
    except SiteError as error:
        ways.append(str(error)[:30])
    return ("read" if "people" in ways or "1 tokens" in ways else "refused", *ways)


def _cheap(kept: str) -> bool:
    """Is its hash quick to compute, or none? A dear one is scrypt's own matter."""
    parts = kept.split("$")
    return len(parts) != 6 or not parts[1].strip("-+ _").isdigit() or len(parts[1]) < 4 or len(parts[1]) > 12


def _bytes_of(*paths: Path) -> list[bytes]:
    return [path.read_bytes() for path in paths]


SCENES: Final = [path for path in sorted(DEMO.glob("*.yaml")) if not path.name.startswith("tidewater")]
GRAMMAR: Final = [
    *(
        b"scene",
        b"steps",
        b"check",
        b"wait for",
        b"within",
        b"set",
        b"set up",
        b"do",
        b"with",
        b"together",
        b"ask",
        b"of",
    ),
    *(
        b"pause",
        b"only if",
        b"otherwise",
        b"go on",
        b"ends with",
        b"if it fails",
        b"put back",
        b"any of",
        b"not",
        b"for",
    ),
    *(b"site", b"devices", b"box", b"at", b"called", b"groups", b"pictures", b"sources", b"destinations", b"tie-lines"),
    *(b"on air", b"sound", b"buses", b"stations", b"sees", b"hears", b"limits", b"protect", b"points", b"because"),
    *(b"while", b"may lift", b"people", b"operator", b"engineer", b"alarms", b"when", b"grade", b"says", b"remedy"),
    *(
        b"text-deck",
        b"block-router",
        b"mixer-text",
        b"takes roll",
        b"takes cut",
        b"{called}",
        b"{camera}",
        b"{",
        b"10 s",
    ),
]
TARGETS: Final = [
    Target("site-file", "site file with its alarms", site, "yaml", GRAMMAR, _bytes_of(MASTER)),
    Target("sim-file", "simulators' file", sim, "yaml", GRAMMAR, _bytes_of(DEMO / "tidewater-hall.sim.yaml")),
    Target("scene-file", "scene file", scene, "yaml", GRAMMAR, _bytes_of(*SCENES)),
    Target("keys-file", "files of accounts and tokens", keys, "json"),
]
