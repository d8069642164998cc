"""What stands in a manifest or a chain of a media hash list? XML in, entries out, piece by piece; no file, no clock.

Source: as stagectl.copyoff.mhlxml. Lists come from anywhere: a document type, with the entities that grow or fetch, is
refused, and so is a path that leads out of the folder.
"""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Final
from xml.parsers import expat

from stagectl.copyoff.digests import FORMATS
from stagectl.copyoff.mhlxml import CHAIN, MANIFEST, Entry, FileEntry, Generation, Hash, Ignored, Reference

MAX_DEPTH: Final = 64  # elements inside each other; a manifest has 6, what others add as metadata a few more
MAX_TEXT: Final = 65_536  # characters of one path or hash; own choice, 16 times the longest path of Linux
MAX_TAG: Final = 1 << 20  # bytes between two places where the document makes sense; own choice
MAX_DIGITS: Final = 20  # of a number; 2**64 has as many
_SEPARATOR: Final = " "  # between namespace and name, as expat joins them
_CHAIN_HASHES: Final = frozenset(FORMATS)


class ManifestError(ValueError):
    """What should be a manifest or a chain is none; `str()` says where and why, without the file's name."""


def read_manifest(blocks: Iterable[bytes]) -> Iterator[Entry]:
    """Read a manifest of any length, entry by entry, in the order of the file.

    What others added is passed over, and so are hashes of folders: what they prove follows from those of the files.

    Raises:
        ManifestError: no manifest of version 2.0. What was given before stood there.
    """
    reading = _Reading(MANIFEST, "hashlist")
    for block in blocks:
        reading.feed(block)
        yield from reading.take()
    reading.finish()
    yield from reading.take()


def read_chain(data: bytes) -> list[Generation]:
    """Read a chain file.

    Raises:
        ManifestError: no chain, or its numbers don't run from 1 without gaps.
    """
    reading = _Reading(CHAIN, "ascmhldirectory")
    reading.feed(data)
    reading.finish()
    found = reading.generations
    if [one.number for one in found] != list(range(1, len(found) + 1)):
        raise ManifestError("the generations don't run from 1 without gaps")
    return found


class _Reading:
    """The state of reading one document: which elements are open, and what the entry under way holds so far."""

    def __init__(self, namespace: str, root: str) -> None:
        self._namespace, self._root = namespace, root
        self._open: list[str] = []
        self._text: list[str] = []
        self._length = 0
        self._done: list[Entry] = []
        self._attributes: dict[str, str] = {}
        self._begin()
        self.generations: list[Generation] = []
        self._number = ""
        self._fed = 0
        parser = expat.ParserCreate(namespace_separator=_SEPARATOR)
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        # no list has a document type: entities that grow, or that fetch, end here
        parser.StartDoctypeDeclHandler = self._refuse
        self._parser = parser

    def feed(self, data: bytes) -> None:
        for at in range(0, len(data), MAX_TAG):
            piece = data[at : at + MAX_TAG]
            self._parse(piece, final=False)
            self._fed += len(piece)
            if self._fed - self._parser.CurrentByteIndex > 2 * MAX_TAG:
                raise self._wrong(f"a tag has more than {MAX_TAG} bytes")

    def finish(self) -> None:
        self._parse(b"", final=True)

    def take(self) -> list[Entry]:
        done, self._done = self._done, []
        return done

    def _parse(self, data: bytes, *, final: bool) -> None:
        try:
            self._parser.Parse(data, final)
        except expat.ExpatError as error:
            raise ManifestError(f"line {error.lineno}: {expat.errors.messages[error.code]}") from error

    def _wrong(self, why: str) -> ManifestError:
        return ManifestError(f"line {self._parser.CurrentLineNumber}: {why}")

    def _refuse(self, *_: object) -> None:
        raise self._wrong("it has a document type, which no media hash list has")

    def _begin(self) -> None:
        self._path = self._previous = ""
        self._size: int | None = None
        self._modified: datetime | None = None
        self._hashes: list[Hash] = []

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        space, _, word = name.rpartition(_SEPARATOR)
        if not self._open and (word != self._root or space != self._namespace):
            raise self._wrong(f"its first element is {word}, not {self._root} of {self._namespace}")
        if not self._open and self._root == "hashlist" and attributes.get("version") != "2.0":
            raise self._wrong("its version is not 2.0")
        if len(self._open) >= MAX_DEPTH:
            raise self._wrong(f"more than {MAX_DEPTH} elements stand inside each other")
        # a word of another namespace keeps it, and so is none of ours
        self._open.append(word if space == self._namespace else name)
        self._text.clear()
        self._length = 0
        self._attributes = attributes
        if self._open[1:] == ["hashlist"]:
            self._number = attributes.get("sequencenr", "")
        if self._open[1:] in (["hashes", "hash"], ["references", "hashlistreference"]):
            self._begin()

    def _characters(self, text: str) -> None:
        self._length += len(text)
        if self._length <= MAX_TEXT:
            self._text.append(text)
        elif "metadata" not in self._open:
            raise self._wrong(f"a text has more than {MAX_TEXT} characters")

    def _end(self, _: str) -> None:
        where = self._open[1:]
        self._open.pop()
        if "metadata" not in where:
            text = "".join(self._text)
            if where[-1:] not in (["path"], ["previousPath"]):  # a name may begin or end with a space
                text = text.strip()
            match where:
                case ["hashes", "hash", *inside]:
                    self._of_entry(inside, text)
                case ["processinfo", "ignore", "pattern"]:
                    self._done.append(Ignored(text))
                case ["references", "hashlistreference", *inside]:
                    self._of_reference(inside, text)
                case ["hashlist", *inside] if self._root == "ascmhldirectory":
                    self._of_generation(inside, text)
                case _:
                    pass
        self._text.clear()
        self._length = 0

    def _of_entry(self, inside: list[str], text: str) -> None:
        match inside:
            case []:
                self._done.append(self._entry())
            case ["path"]:
                self._path = self._checked(text)
                self._size = self._bytes(self._attributes.get("size"))
                self._modified = self._moment(self._attributes.get("lastmodificationdate"))
            case ["previousPath"]:
                self._previous = self._checked(text)
            case [kind]:
                attributes = self._attributes
                action = attributes.get("action", "")
                if action not in ("original", "verified", "failed"):
                    raise self._wrong(f"a hash of {self._path} is neither original, verified nor failed")
                self._hashes.append(Hash(kind, text, action, self._moment(attributes.get("hashdate"))))
            case _:
                pass

    def _entry(self) -> FileEntry:
        if not self._path:
            raise self._wrong("an entry has no path")
        if not self._hashes:
            raise self._wrong(f"{self._path} has no hash")
        return FileEntry(self._path, tuple(self._hashes), self._size, self._modified, self._previous)

    def _of_reference(self, inside: list[str], text: str) -> None:
        match inside:
            case ["path"]:
                self._path = self._checked(text)
            case ["c4"]:
                self._done.append(Reference(self._path, text))
            case _:
                pass

    def _of_generation(self, inside: list[str], text: str) -> None:
        match inside:
            case ["path"]:
                self._path = text
            case [kind] if kind in _CHAIN_HASHES:
                number = _number(self._number)
                if number is None or not self._path or "/" in self._path:
                    raise self._wrong("a generation has no number, or no file name in this folder")
                self.generations.append(Generation(number, self._path, kind, text))
            case _:
                pass

    def _checked(self, path: str) -> str:
        """A path that stays inside the folder; a list must not make us read what is elsewhere."""
        plain = path.removesuffix("/")
        if not plain or any(part in ("", ".", "..") for part in plain.split("/")) or "\0" in plain:
            raise self._wrong(f"the path {path!a} leads out of the folder, or nowhere")
        return plain

    def _bytes(self, text: str | None) -> int | None:
        if text is None:
            return None
        number = _number(text)
        if number is None:
            raise self._wrong(f"a size is {text[:40]!a}")
        return number

    def _moment(self, text: str | None) -> datetime | None:
        """A date we can't read is left out: nothing is judged by one."""
        try:
            read = datetime.fromisoformat(text) if text is not None else None
            return read.astimezone(UTC) if read is not None and read.tzinfo is not None else None
        except (ValueError, OverflowError):
            return None


def _number(text: str) -> int | None:
    """A number as schemas know it; None: it is none."""
    return int(text) if text.isascii() and text.isdecimal() and len(text) <= MAX_DIGITS else None
