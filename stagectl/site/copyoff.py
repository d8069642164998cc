"""Where do a recorder's clips lie, where are they copied to, and when? The words `clip store` and `copy` of a site."""

import re
import string
from collections.abc import Collection, Mapping
from datetime import time
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

from stagectl.filetree import Node, Table, Text
from stagectl.model.words import nearest
from stagectl.site.copyentries import GOOD, NEWEST, OLDEST, CopyEntry, StoreEntry, TargetEntry
from stagectl.site.draft import Draft
from stagectl.site.schema import CopyShape, StoreShape, TargetShape, words_of
from stagectl.site.words import read_address, read_line, read_size, read_span

FTP_PORT: Final = 21
SFTP_PORT: Final = 22
MOST_TARGETS: Final = 2  # a copy is proven when each has it; a third is made of one of them
MOST_SLOTS: Final = 8
MOST_SESSIONS: Final = 4  # recorders take one or two
LAYOUT_WORDS: Final = (
    "recorder",
    "clip",
    "stem",
    "ext",
    "slot",
    "day",
    "slate",
    "take",
)  # what `copyoff.plan` fills in
_OF_KIND: Final[Mapping[str, tuple[str, ...]]] = {
    "folder": ("folder", "mounted", "keep free"),
    "sftp": ("sftp", "folder", "key", "known hosts", "keep free"),
    "s3": ("s3", "folder", "bucket", "region", "key"),
}


def read_store(draft: Draft, node: Node, host: str, kind: str, folder: Path) -> StoreEntry:
    """Read a recorder's `clip store`: an address, or a table.

    Args:
        draft: the file; what is wrong within the table is told to it.
        node: what stands there.
        host: the recorder's own address, where the store names none.
        kind: of the device.
        folder: where the path of a login begins.

    Raises:
        FileError: the device is no recorder, or the address is none.
    """
    if kind != "recorder":
        raise node.wrong(f"this is a {kind}, and has no clips.", "Take it out.")
    if isinstance(node, Text):
        return StoreEntry(*read_address(node, FTP_PORT), line=node.line)
    table = node.as_table()
    port, login, folders, sessions, recording = FTP_PORT, None, {}, 1, False
    with draft.issues.gather():
        table.only(words_of(StoreShape))
    with draft.issues.gather():
        if "at" in table:
            host, port = read_address(table["at"].as_text(), FTP_PORT)
    with draft.issues.gather():
        if "login" in table:
            login = folder / read_line(table["login"].as_text())
    folders = _folders(draft, table.get("folders"))
    with draft.issues.gather():
        if "sessions" in table:
            sessions = _count(table["sessions"].as_text(), MOST_SESSIONS)
    with draft.issues.gather():
        if "read while recording" in table:
            recording = _yes(table["read while recording"])
    return StoreEntry(host, port, login, folders, sessions, recording, node.line)


def _folders(draft: Draft, node: Node | None) -> dict[int, str]:
    folders: dict[int, str] = {}
    table = draft.table(node)
    for slot, value in table.items() if table is not None else ():
        with draft.issues.gather():
            assert table is not None
            folders[_count(table.keys[slot], MOST_SLOTS)] = read_line(value.as_text()).strip("/")
    return folders


def read_copy(draft: Draft, folder: Path) -> CopyEntry:
    """Read `copy` of a site; what is wrong is told. Paths of keys begin at `folder`."""
    node = draft.root.get("copy")
    table = draft.table(node)
    if table is None or node is None:
        return CopyEntry()
    with draft.issues.gather():
        table.only(words_of(CopyShape))
    found: dict[str, Any] = {"line": node.line}
    with draft.issues.gather():
        found["targets"] = _targets(draft, table["to"], folder)
    for word, field, read in _FACTS:
        if word in table:
            with draft.issues.gather():
                found[field] = read(table[word].as_text())
    with draft.issues.gather():
        if draft.devices and not draft.doubtful and all(one.store is None for one in draft.devices.values()):
            raise table.wrong(
                "no recorder has a clip store, so there is nothing to copy.", "Add `clip store:` to a recorder."
            )
    return CopyEntry(**found)


def _targets(draft: Draft, node: Node, folder: Path) -> tuple[TargetEntry, ...]:
    table = node.as_table()
    if not len(table):
        raise node.wrong("there is no place to copy to.", "Write one: `shuttle: {folder: /mnt/shuttle}`.")
    targets: list[TargetEntry] = []
    for name, key, value in draft.named(table):
        with draft.issues.gather():
            if len(targets) == MOST_TARGETS:
                raise key.wrong(f"these are more than {MOST_TARGETS} places.", "Copy on from one of them.")
            target = _target(draft, name, value.as_table(), folder)
            twin = next((one for one in targets if _place(one) == _place(target)), None)
            if twin is not None:
                raise value.wrong(f"this is the same place as {twin.name}.", "Two copies in one place are one copy.")
            targets.append(target)
    return tuple(targets)


def _place(target: TargetEntry) -> tuple[object, ...]:
    return (target.kind, target.host, target.port, target.url, target.bucket, target.folder.rstrip("/"))


def _target(draft: Draft, name: str, table: Table, folder: Path) -> TargetEntry:
    """Read one place. Raises FileError."""
    with draft.issues.gather():
        table.only(words_of(TargetShape))
    kind = "sftp" if "sftp" in table else "s3" if "s3" in table else "folder"
    _fitting(table, kind)
    root = read_line(table["folder"].as_text()) if "folder" in table or kind != "s3" else ""
    if ".." in root.split("/"):
        raise table["folder"].wrong("a way out of the folder stands here.", "Write the place itself, without `..`.")
    keep_free = read_size(table["keep free"].as_text()) if "keep free" in table else None
    if kind == "folder":
        mounted = "mounted" in table and _yes(table["mounted"])
        if mounted and not root.startswith("/"):
            raise table["mounted"].wrong("a folder in the data folder is no mount.", "Take it out.")
        return TargetEntry(name, "folder", root, keep_free, mounted=mounted, line=table.line)
    key = folder / read_line(table["key"].as_text())
    if kind == "sftp":
        text = table["sftp"].as_text()
        user, at, address = text.value.rpartition("@")
        if not at or not re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]{0,63}", user):
            raise text.wrong(f'"{text.value[:60]}" names nobody to come in as.', "Write it like copy@10.0.5.9:22.")
        host, port = read_address(Text(text.file, text.line, text.column, text.path, address), SFTP_PORT)
        known = folder / read_line(table["known hosts"].as_text())
        return TargetEntry(
            name, "sftp", root, keep_free, host=host, port=port, user=user, key=key, known_hosts=known, line=table.line
        )
    bucket = read_line(table["bucket"].as_text())
    region = read_line(table["region"].as_text()) if "region" in table else ""
    return TargetEntry(
        name,
        "s3",
        root.strip("/"),
        url=_url(table["s3"].as_text()),
        bucket=bucket,
        region=region,
        key=key,
        line=table.line,
    )


def _fitting(table: Table, kind: str) -> None:
    """Refuse words that this kind of place does not read. Raises FileError."""
    for word, place in table.keys.items():
        if word not in _OF_KIND[kind] and word in words_of(TargetShape):
            what = "is a folder" if kind == "folder" else f"speaks {kind}"
            raise place.wrong(f"a place that {what} has none.", "Take it out.")


def _url(text: Text) -> str:
    try:
        found = urlsplit(text.value)
        fits = found.scheme in ("http", "https") and found.hostname and found.port != 0 and not found.query
    except ValueError:
        fits = None
    if not fits or found.username is not None:
        raise text.wrong(f'"{text.value[:60]}" is no address of a store.', "Write it like https://10.0.5.9:9000.")
    return text.value.rstrip("/")


def _count(text: Text, most: int) -> int:
    if not re.fullmatch("[1-9]", text.value) or int(text.value) > most:
        raise text.wrong(f'"{text.value[:20]}" is out of range.', f"Count from 1, to {most} at most.")
    return int(text.value)


def _yes(node: Node) -> bool:
    return node.as_text().one_of(("yes", "no"), "answer") == "yes"


def _layout(text: Text) -> str:
    """Read "{day}/{recorder}/{clip}". Raises FileError."""
    try:
        parts = list(string.Formatter().parse(text.value))
    except ValueError as error:
        raise text.wrong(f'"{text.value[:60]}" has a brace too many or too few.', _like()) from error
    words = [word for _, word, _, _ in parts if word is not None]
    for _, word, spec, conversion in parts:
        if word is not None and (word not in LAYOUT_WORDS or spec or conversion):
            raise text.wrong(f'"{{{word[:20]}}}" stands for nothing.', _like(LAYOUT_WORDS))
    steps = text.value.split("/")
    if "recorder" not in words or not {"clip", "stem"}.intersection(words):
        raise text.wrong("clips of two recorders could have one name here.", "Write {recorder} and {clip} in it.")
    if any(step in ("", ".", "..") for step in steps) or "\\" in text.value:
        raise text.wrong(f'"{text.value[:60]}" is no path within a place.', _like())
    return text.value


def _like(words: Collection[str] = ()) -> str:
    known = f" There is {', '.join(f'{{{word}}}' for word in words)}." if words else ""
    return f"Write it like {{day}}/{{recorder}}/{{clip}}.{known}"


def _order(text: Text) -> tuple[str, ...]:
    """Read "good takes first, oldest day first". Raises FileError."""
    words = tuple(" ".join(word.split()) for word in text.value.split(","))
    known = (GOOD, NEWEST, OLDEST)
    for word in words:
        if word not in known:
            raise text.wrong(f'"{word[:40]}" is no order.', nearest(word[:40], known))
    if len(set(words)) < len(words) or {NEWEST, OLDEST} <= set(words):
        raise text.wrong("these words contradict or repeat each other.", f"Write it like {GOOD}, {OLDEST}.")
    return words


def _rate(text: Text) -> float:
    """Read "80 MB/s" as bytes a second. Raises FileError."""
    found = re.fullmatch(r"([0-9]{1,5}(?:\.[0-9]{1,3})?) MB/s", " ".join(text.value.split()))
    if found is None or not float(found[1]):
        raise text.wrong(f'"{text.value[:40]}" can\'t be read.', "Write it like 80 MB/s.")
    return float(found[1]) * 1e6


def _time(text: Text) -> time:
    """Read "02:00" as a time of day. Raises FileError."""
    found = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})", text.value)
    if found is None or int(found[1]) > 23 or int(found[2]) > 59:
        raise text.wrong(f'"{text.value[:20]}" is no time of day.', 'Write it like "02:00".')
    return time(int(found[1]), int(found[2]))


_FACTS: Final = (
    # word in the file, field, reader
    ("layout", "layout", _layout),
    ("order", "order", _order),
    ("rate", "rate_bps", _rate),
    ("double read", "double_read", _yes),
    ("at", "at", _time),
    ("after wrap", "after_wrap_s", read_span),
)
