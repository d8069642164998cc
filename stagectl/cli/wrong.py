"""What is wrong, who knows of it, and what can wait?"""

import re
from collections.abc import Iterable, Mapping
from typing import Any, Final

import click

from stagectl.cli.codes import Exit
from stagectl.cli.face import Face, client_verb
from stagectl.cli.reads import wrong_rows
from stagectl.cli.tables import local

_TIME: Final = re.compile(r"([0-9]{1,5}(?:\.[0-9]{1,3})?) ?(s|min|m|h)")
_SECONDS: Final = {"s": 1.0, "min": 60.0, "m": 60.0, "h": 3600.0}


class Span(click.ParamType[float]):
    """A time such as "2h" or "30 min", in seconds."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        found = _TIME.fullmatch(str(value).strip())
        if found is None:
            self.fail(f'"{value}" is no time. Write it like 2h or 30min.', param, ctx)
        return float(found[1]) * _SECONDS[found[2]]


@client_verb("wrong")
@click.argument("act", required=False, type=click.Choice(["know", "aside"]))
@click.argument("alarm", required=False, metavar="[N]")
@click.option("--for", "for_s", type=Span(), metavar="TIME", help="Aside so long, such as 2h; 8h at most.")
@click.option("--because", metavar="TEXT", help="Why it can wait.")
def wrong(face: Face, act: str | None, alarm: str | None, for_s: float | None, because: str | None) -> int:
    """What is wrong, worst first; exit 6 if anything is.

    "wrong know N" says that somebody has seen it; "wrong aside N --for 2h --because TEXT" leaves it out for a time.
    N is the number behind its row, or its id.
    """
    if act is None:
        return _shown(face)
    if alarm is None:
        return face.no(Exit.UNCLEAR, f"Which one? Say: stagectl wrong {act} N", "See: stagectl wrong", "alarm")
    if act == "know":
        return _done(face, face.client.post("alarms", alarm, "ack"))
    if for_s is None or not because:
        usage = f'stagectl wrong aside {alarm} --for 2h --because "the cable is on order"'
        return face.no(Exit.UNCLEAR, "An alarm is put aside for a time and with a reason.", f"As in: {usage}", "alarm")
    from datetime import datetime, timedelta

    # by the daemon's clock, not by that of this machine
    until = datetime.fromisoformat(face.client.get("alarms")["at"]) + timedelta(seconds=for_s)
    return _done(face, face.client.post("alarms", alarm, "aside", body={"until": until.isoformat(), "reason": because}))


def _shown(face: Face) -> int:
    answer = face.client.get("wrong")
    rows = [*_numbered(answer["wrong"]), *(f". {row['say']}{_number(row)}" for row in answer.get("back", []))]
    face.answer(answer, rows or ["Nothing is wrong."])
    return Exit.NO if answer["wrong"] else Exit.DONE


def _numbered(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    return [f"{text}{_number(row)}" for text, row in zip(wrong_rows(rows), rows, strict=True)]


def _number(row: Mapping[str, Any]) -> str:
    """What the row is called here, and who knows of it."""
    if not row.get("number"):
        return ""
    known = f", {row['known_by']} knows" if row.get("known_by") else ""
    return f"  [{row['number']}{known}]"


def _done(face: Face, answer: Mapping[str, Any]) -> int:
    text = [answer["done"]]
    if answer["aside"] is not None:
        text.append(f"It comes back at {local(answer['aside']['until'])}.")
    face.answer(answer, text)
    return Exit.DONE
