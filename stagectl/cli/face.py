"""How does a client verb answer and end? As text or as one JSON object, with an exit code."""

import functools
import json
import os
import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Concatenate, Final, ParamSpec

import click

from stagectl.cli import keyfile
from stagectl.cli.client import Client, LostError, RefusalError, UnreachedError
from stagectl.cli.codes import Exit, of_refusal

P = ParamSpec("P")

URL: Final = "http://127.0.0.1:8420"


@dataclass(frozen=True, slots=True)
class Face:
    """One call of one verb: how it asks, and how it speaks.

    Attributes:
        verb: its name.
        client: asks the daemon.
        as_json: one JSON object instead of text.
        plain: no redraw, no colour, no drawn lanes, one fact a line.
    """

    verb: str
    client: Client
    as_json: bool
    plain: bool

    def answer(self, data: Mapping[str, Any], text: Iterable[str]) -> None:
        """The result, on stdout: `data` for programs, `text` line by line for people."""
        if self.as_json:
            print(json.dumps({"v": 1, "verb": self.verb, **data}, ensure_ascii=False), flush=True)
        else:
            for line in text:
                print(line.rstrip())
            sys.stdout.flush()

    def strong(self, text: str) -> str:
        """Text that should be seen first; bold on a terminal, never the only sign."""
        return text if self.plain or not sys.stdout.isatty() else click.style(text, bold=True)

    def no(self, exit_code: Exit, say: str, remedy: str = "", code: str = "") -> Exit:
        """Why there is no result: a sentence on stderr, or an object on stdout."""
        if self.as_json:
            told = {"v": 1, "verb": self.verb, "say": say, "remedy": remedy, "code": code, "exit": int(exit_code)}
            print(json.dumps(told, ensure_ascii=False), flush=True)
        else:
            print(" ".join(filter(None, (say, remedy))), file=sys.stderr, flush=True)
        return exit_code


def progress(text: str) -> None:
    """What is waited for, on stderr."""
    print(text, file=sys.stderr, flush=True)


def client_verb(
    name: str, *, waits_for: str = "an answer", acts: bool = False
) -> Callable[[Callable[Concatenate[Face, P], int]], click.Command]:
    """Make a verb of a function that takes its Face first and returns its exit code.

    Args:
        name: the verb.
        waits_for: told when an answer takes longer than a second.
        acts: it asks for an act, so that a lost answer leaves open whether it happened.
    """

    def make(do: Callable[Concatenate[Face, P], int]) -> click.Command:
        @functools.wraps(do)
        def run(as_json: bool, plain: bool, *args: P.args, **kwargs: P.kwargs) -> int:
            given = click.get_current_context().find_root().obj or {}
            plain = plain or bool(given.get("plain")) or bool(os.environ.get("NO_COLOR"))
            as_json = as_json or bool(given.get("json"))
            client = Client(
                os.environ.get("STAGECTL_URL") or URL,
                os.environ.get("STAGECTL_WHO", ""),
                lambda: progress(f"Waiting for {waits_for}. Ctrl-C ends the waiting only."),
            )
            face = Face(name, client, as_json, plain)

            def ask() -> int:
                token = "" if name == "login" else keyfile.kept()
                return do(replace(face, client=replace(client, token=token)), *args, **kwargs)

            return _ended(face, ask, acts=acts)

        verb = click.command(name)(
            click.option("--plain", is_flag=True, help="No redraw, no drawn lanes, one fact a line.")(
                click.option("--json", "as_json", is_flag=True, help="One JSON object.")(run)
            )
        )
        assert isinstance(verb, click.Command)
        return verb

    return make


def _ended(face: Face, do: Callable[[], int], *, acts: bool) -> int:
    try:
        return do()
    except RefusalError as refused:
        return face.no(of_refusal(refused.status, refused.code), str(refused), refused.remedy, refused.code)
    except UnreachedError as unreached:
        return face.no(Exit.UNREACHED, str(unreached), code="unreached")
    except LostError as lost:
        if not acts:
            return face.no(Exit.UNREACHED, str(lost), code="unreached")
        say = f"{str(lost).rstrip('.')}. It is not known if it was carried out."
        return face.no(Exit.UNKNOWN, say, "Look first: stagectl now", "lost")
    except KeyboardInterrupt:
        progress("Left. What was asked goes on: stagectl now" if acts else "Left.")
        return Exit.LEFT
