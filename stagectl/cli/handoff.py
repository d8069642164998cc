"""What is handed to the edit? Files of takes in a folder; what stands there is never overwritten."""

import os
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from stagectl.cli.client import RefusalError
from stagectl.cli.codes import Exit
from stagectl.cli.days import day as read_day
from stagectl.cli.face import Face, client_verb

if TYPE_CHECKING:
    from stagectl.handoff.ranges import TakeRange

NAMED: Final = 8  # takes that are named in a file's name
ASKED: Final = 10  # takes whose copies are asked after at once: a question has room for so many numbers
MOST: Final = 1000  # takes that are asked for; the daemon keeps half as many


@client_verb("handoff")
@click.option("--day", callback=read_day, metavar="today|DATE", help="The takes of this day.")
@click.option("--take", "numbers", type=click.IntRange(1), multiple=True, help="This take; may be said again.")
@click.option("--slate", metavar="NAME", default="", help="The takes of this slate.")
@click.option(
    "--font",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A TrueType file for names that the PDF's own face lacks.",
)
@click.option("--to", "folder", type=click.Path(file_okay=False, path_type=Path), required=True, help="Into here.")
def handoff(  # noqa: PLR0917 - what its line may hold
    face: Face, day: date | None, numbers: tuple[int, ...], slate: str, font: Path | None, folder: Path
) -> int:
    """Write takes for the edit: lists, a timeline, a table, a log sheet.

    Nothing is overwritten: where a file of another content stands, none is written. Needs the extra "editorial" for the
    timeline and "print" for the log sheet as PDF, and writes the others without them.
    """
    if (day is not None) + bool(numbers) + bool(slate.strip()) != 1:
        remedy = "Give --day today, a date, --take N or --slate NAME."
        return face.no(Exit.UNCLEAR, "Which takes?", remedy, "argument")
    found = face.client.get("takes", count=MOST)["takes"]
    wanted = [take for take in found if take["take"] in numbers or _rolled(take) == day or _is_of(take, slate)]
    if missing := sorted(set(numbers) - {take["take"] for take in wanted}):
        return face.no(Exit.UNCLEAR, f"There is no take {missing[0]}.", "See: stagectl takes", "take")
    if not wanted:
        which = f"was rolled on {day}" if day is not None else f'has the slate "{slate}"'
        return face.no(Exit.UNCLEAR, f"No take {which}.", "See: stagectl takes", "take")
    if rolls := [take["take"] for take in wanted if take["running"]]:
        say = f"Take {rolls[0]} still rolls: its clips are not whole."
        return face.no(Exit.REFUSED, say, "Hand over when it has ended.", "take")
    site = face.client.get("site")["name"]
    stem = str(day) if day is not None else _named(slate) if slate else _numbered(sorted(t["take"] for t in wanted))
    files, troubles = _files(wanted, site, stem, font, _copied(face, wanted))
    return _written(face, folder, files, troubles)


def _rolled(take: Mapping[str, Any]) -> date:
    """The day on which it was rolled, here."""
    return datetime.fromisoformat(take["opened"]).astimezone().date()


def _copied(face: Face, takes: Sequence[Mapping[str, Any]]) -> dict[tuple[str, str], str]:
    """Recorder and clip -> where its verified copy stands, below the top of the copies."""
    rows: list[Mapping[str, Any]] = []
    numbers = [str(take["take"]) for take in takes]
    try:
        for first in range(0, len(numbers), ASKED):
            told = face.client.get("copy", "report", take=",".join(numbers[first : first + ASKED]))
            rows += told["copied"]["rows"]
    except RefusalError:
        return {}  # nothing is copied off here
    paths: dict[tuple[str, str], str] = {}
    for row in rows:
        stands = [copy["path"] for copy in row["copies"] if copy["state"] == "published"]
        name = row["clip"].rpartition("/")[2]
        # recorders tell a clip's name with its ending or without
        paths |= dict.fromkeys(((row["recorder"], one.casefold()) for one in (name, _stem(name))), stands[0])
    clips = ((lane["device"], lane["clip"]) for take in takes for lane in take["lanes"] if lane["clip"])
    return {clip: path for clip in clips if (path := paths.get((clip[0], clip[1].casefold())))}


def _stem(name: str) -> str:
    return name.rpartition(".")[0] or name


def _files(
    takes: Sequence[Mapping[str, Any]],
    site: str,
    stem: str,
    font: Path | None,
    copied: Mapping[tuple[str, str], str],
) -> tuple[dict[str, bytes], list[str]]:
    """Name -> content, and what an editor must know."""
    from stagectl.handoff.cliptable import clip_table
    from stagectl.handoff.edl import edls
    from stagectl.handoff.logsheet import log_sheet
    from stagectl.handoff.ranges import ranged
    from stagectl.handoff.timeline import timelines

    ready = ranged(takes)
    title = f"{site} {stem}"
    texts = {f"{stem}_{name}": text for name, text in edls(ready, title).items()}
    texts[f"{stem}_clips.csv"] = clip_table(ready)
    texts[f"{stem}_log.html"] = log_sheet(ready, title)
    troubles = [f"Take {take.number}: {trouble}" for take in ready for trouble in take.troubles]
    try:
        texts |= {f"{stem}_{name}": text for name, text in timelines(ready, title, copied).items()}
    except ImportError:
        troubles.append('The timeline is left out: it needs the extra. Install it: pip install "stagectl[editorial]"')
    files = {name: text.encode() for name, text in texts.items()}
    sheet, more = _printed(ready, title, font)
    if sheet is not None:
        files[f"{stem}_log.pdf"] = sheet
    return files, [*troubles, *more]


def _printed(takes: "Sequence[TakeRange]", title: str, font: Path | None) -> tuple[bytes | None, list[str]]:
    """The log sheet as PDF, and what is not as it should be with it."""
    try:
        from stagectl.handoff.faces import OWN, Faces, is_face
        from stagectl.handoff.printsheet import log_pdf
    except ImportError:
        return None, ['The PDF is left out: it needs the extra. Install it: pip install "stagectl[print]"']
    from stagectl.cli.typefaces import base_faces, more_faces

    troubles = []
    if font is not None and not is_face(font):
        troubles.append(f"{font} is no TrueType file that can be set, and is not used.")
    plain, bold = base_faces() or OWN
    faces = Faces(plain, bold, chain([font] if font is not None else [], more_faces()))
    sheet = log_pdf(takes, title, faces)
    if faces.lacking:
        one = min(faces.lacking)
        troubles.append(
            f"The PDF shows {len(faces.lacking)} signs by number, such as [U+{ord(one):04X}]: no face here sets them. "
            "The HTML sheet shows them; or give a face that holds them: --font FILE"
        )
    return sheet, troubles


def _is_of(take: Mapping[str, Any], slate: str) -> bool:
    """Does it have this slate, however that is written?"""
    from stagectl.shoot.takenumbers import slate_key

    return bool(slate) and slate_key(take["name"]) == slate_key(slate)


def _named(slate: str) -> str:
    """A name of files for this slate, fit for any disk, that stays short."""
    plain = "".join(sign if sign.isalnum() else "-" for sign in slate.casefold())
    return f"slate-{'-'.join(part for part in plain.split('-') if part)[:40] or 'unnamed'}"


def _numbered(numbers: Sequence[int]) -> str:
    """A name of files for these takes, that stays short."""
    if len(numbers) > NAMED:
        return f"takes-{numbers[0]}-to-{numbers[-1]}-{len(numbers)}"
    return "-".join(("take" if len(numbers) == 1 else "takes", *map(str, numbers)))


def _written(face: Face, folder: Path, files: Mapping[str, bytes], troubles: Sequence[str]) -> int:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        there = {name for name in files if (folder / name).exists()}
        if other := sorted(name for name in there if (folder / name).read_bytes() != files[name]):
            say = f"{folder / other[0]} stands there with another content, and is left as it is. Nothing was written."
            return face.no(Exit.FAILED, say, "Give another folder.", "exists")
        for name, content in files.items():
            if name not in there:
                _write(folder / name, content)
    except FileExistsError as error:
        return face.no(Exit.FAILED, f"{error.filename} came meanwhile, and is left.", "Give another folder.", "exists")
    except OSError as error:
        return face.no(
            Exit.FAILED, f"{folder}: {error.strerror or error}.", "Give a folder that can be written.", "disk"
        )
    names = sorted(files)
    text = [*troubles, *(f"{folder / name}{' (was there already)' if name in there else ''}" for name in names)]
    rows = [{"name": name, "new": name not in there} for name in names]
    face.answer({"folder": str(folder), "files": rows, "troubles": list(troubles)}, text)
    return Exit.DONE


def _write(file: Path, content: bytes) -> None:
    """Write a file that was not there; straight to its name, since a stick or a share may know no links.

    Raises:
        FileExistsError: somebody made it meanwhile.
        OSError: it can't be written, and is not there.
    """
    with file.open("xb") as out:
        try:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        except OSError:
            file.unlink()
            raise
