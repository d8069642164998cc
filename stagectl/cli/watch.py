"""What happens, as it happens? A live view that only reads."""

import json
import os
import select
import sys
from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Final

from stagectl.cli.client import Client, LostError, RefusalError, UnreachedError
from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.reads import rise_rows, wrong_rows
from stagectl.cli.sheet import lanes
from stagectl.cli.tables import local, width

EVERY_S: Final = 0.15  # so that it says what the pages say within 200 ms
ACTS_EVERY: Final = 4  # looks at the house until the next one at the journal: a token may ask 20 times a second
ACTS: Final = 3  # newest acts at boxes on the page; the journal holds all
CLEAR: Final = "\x1b[H\x1b[J"  # home, and clear from there
SCREEN: Final = ("\x1b[?1049h\x1b[?25l", "\x1b[?25h\x1b[?1049l")  # a page of its own without cursor, and back


@client_verb("watch")
def watch(face: Face) -> int:
    """Watch the house; q leaves. Plain and JSON: one line for each change, also for what is done at a box."""
    drawn = sys.stdout.isatty() and sys.stdin.isatty() and not (face.plain or face.as_json)
    return _redraw(face) if drawn else _lines(face)


def _lines(face: Face) -> int:
    """A line whenever the sentence or what is wrong changes, and for each act at a box.

    The running time alone is no change.
    """
    shown: Any = None
    acts = _Acts(face.client)
    while True:
        for act in acts.new():
            if face.as_json:
                print(json.dumps({"v": 1, "verb": "watch", "act": act}, ensure_ascii=False), flush=True)
            else:
                print(_told(act), flush=True)
        answer = face.client.get("now")
        key = _key(answer)
        if key != shown:
            shown = key
            if face.as_json:
                print(json.dumps({"v": 1, "verb": "watch", **answer}, ensure_ascii=False), flush=True)
            else:
                rises = answer.get("rises", ())
                print(
                    " ".join([local(answer["at"]), answer["say"], *wrong_rows(answer["wrong"]), *rise_rows(rises)]),
                    flush=True,
                )
        select.select([], [], [], EVERY_S)


class _Acts:
    """What is done at the boxes themselves, from now on: by hand, or by the box."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._seen = int(client.get("journal", count=1)["last"])
        self._looks = 0

    def new(self) -> list[Mapping[str, Any]]:
        """The journal's entries since the last look at it, oldest first."""
        self._looks += 1
        if self._looks % ACTS_EVERY != 1:
            return []
        entries = self._client.get("journal", since=self._seen, count=1000)["entries"]
        if entries:
            self._seen = int(entries[-1]["n"])
        return [entry for entry in entries if entry["kind"] == "hand"]


def _told(act: Mapping[str, Any]) -> str:
    return f"{local(act['at'])} {act['say']}"


def _key(answer: Mapping[str, Any]) -> Any:
    """What makes two answers tell the same: durations left out."""
    take = answer["take"]
    rolling = (take["take"], take["rolling"], take["spread"], take["good"], take["marks"]) if take else None
    wrong = [(row["device"], row["grade"], row["remedy"]) for row in answer["wrong"]]
    rises = [(row["device"], row["point"], row["to"]) for row in answer.get("rises", ())]
    return rolling, wrong, rises, answer["can_roll"], answer["last"], answer["next"]


def _redraw(face: Face) -> int:
    acts: _Acts | None = None
    newest: deque[str] = deque(maxlen=ACTS)
    with _screen():
        while True:
            try:
                acts = acts or _Acts(face.client)
                newest.extend(map(_told, acts.new()))
                page = [*_page(face.client.get("now")), *(["", *newest] if newest else [])]
            except (UnreachedError, LostError, RefusalError) as gone:
                page = ["This view has lost stagectl. Recorders go on by themselves.", str(gone), "Trying again."]
            sys.stdout.write(CLEAR + "\r\n".join(line[: width()] for line in [*page, "", "q leaves"]))
            sys.stdout.flush()
            if _left():
                return Exit.DONE


def _page(answer: Mapping[str, Any]) -> list[str]:
    page = [answer["say"], *wrong_rows(answer["wrong"]), *rise_rows(answer.get("rises", ())), ""]
    if answer["take"] is not None:
        return [*page, *lanes(answer["take"], width())]
    following = answer["next"]
    name = f", {following['name']}" if following["name"] else ""
    return [*page, *filter(None, (answer["last"], f"Next: take {following['take']}{name}."))]


def _left() -> bool:
    """Wait until the next look; True if somebody pressed q or Ctrl-C."""
    if select.select([sys.stdin], [], [], EVERY_S)[0]:
        return os.read(sys.stdin.fileno(), 64)[:1] in (b"q", b"Q", b"\x03", b"")
    return False


@contextmanager
def _screen() -> Iterator[None]:
    """Keys at once and unseen, on a page of its own; both are put back."""
    import termios
    import tty

    before = termios.tcgetattr(sys.stdin)
    sys.stdout.write(SCREEN[0])
    try:
        tty.setcbreak(sys.stdin)
        yield
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)
        sys.stdout.write(SCREEN[1])
        sys.stdout.flush()
