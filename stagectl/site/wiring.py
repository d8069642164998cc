"""Which pictures and sounds go where, and who sees and hears them?"""

from collections.abc import Mapping
from dataclasses import replace

from stagectl.filetree import Node, Table, Text
from stagectl.model.timecode import rate_of_format
from stagectl.site.draft import Draft, unknown
from stagectl.site.entries import VIDEO, Level, Pictures, PlaybackEntry, Sound, StationEntry, TieLine, place
from stagectl.site.levels import Matrices, read_ends, read_matrices
from stagectl.site.schema import PicturesShape, PlaybackShape, SoundShape, StationShape, TieShape, words_of
from stagectl.site.words import read_frames, read_line, read_sound, read_tie


def read_pictures(draft: Draft) -> Pictures:
    """Read sources, destinations, tie-lines of all levels; each input has one feeder and each output one taker."""
    table = draft.table(draft.root.get("pictures"))
    if table is None:
        return Pictures({}, {})
    with draft.issues.gather():
        table.only(words_of(PicturesShape))
    matrices = read_matrices(draft, table.get("levels"))
    ins, outs = (
        read_ends(draft, table.get(name), side, matrices)
        for name, side in (("sources", "input"), ("destinations", "output"))
    )
    sources, destinations = ins[VIDEO], outs[VIDEO]
    everywhere = {name: port for ports in outs.values() for name, port in ports.items()}
    ties: list[TieLine] = []
    for node in draft.listed(table.get("tie-lines")):
        with draft.issues.gather():
            ties.extend(_read_tie(draft, node, everywhere, matrices))
    gives = {name: text.value for name, (text,) in _formats(draft, table.get("gives"), "source", sources).items()}
    takes = {
        name: tuple(text.value for text in texts)
        for name, texts in _formats(draft, table.get("takes"), "destination", destinations).items()
    }
    on_air: dict[str, None] = {}
    for node in draft.listed(table.get("on air")):
        with draft.issues.gather():
            text = node.as_text()
            if text.value not in everywhere and text.value not in draft.doubtful:
                raise unknown(text, "destination", everywhere)
            on_air[text.value] = None
    levels = {
        level: Level(tuple(beside.values()), ins[level], outs[level]) for level, beside in matrices.levels.items()
    }
    return Pictures(sources, destinations, tuple(ties), tuple(on_air), gives, takes, levels)


def read_sound_places(draft: Draft) -> Sound:
    """Read sound sources and buses."""
    table = draft.table(draft.root.get("sound"))
    if table is None:
        return Sound({}, {})
    with draft.issues.gather():
        table.only(words_of(SoundShape))
    sources = _read_places(draft, table.get("sources"), "strip")
    buses = _read_places(draft, table.get("buses"), "bus")
    return Sound(sources, buses, _read_mixes(draft, table.get("mixes"), sources))


def _read_mixes(draft: Draft, node: Node | None, sources: Mapping[str, object]) -> dict[str, tuple[str, ...]]:
    """Read which sources are meant by one name; that name is none of theirs."""
    mixes: dict[str, tuple[str, ...]] = {}
    for name, key, value in draft.named(node):
        with draft.issues.gather():
            if name in sources:
                raise key.wrong(f"{name} is a sound source already.", "Give the mix another name.")
            members: dict[str, None] = {}
            for item in value.as_rows():
                text = item.as_text()
                if text.value not in sources:
                    raise unknown(text, "sound source", sources)
                members[text.value] = None
            if not members:
                raise value.wrong("the list is empty.", "Write a sound source, or take the mix out.")
            mixes[name] = tuple(members)
    return mixes


def _read_places(draft: Draft, node: Node | None, side: str) -> dict[str, tuple[str, int]]:
    """Read names for strips or buses of mixers."""
    found: dict[str, tuple[str, int]] = {}
    for name, _, value in draft.named(node):
        with draft.issues.gather():
            found[name] = ("", 0)  # known by name, also if its place is wrong: the file is refused anyway
            text = value.as_text()
            device, number = read_sound(text, side)
            draft.must_be("mixer", device, text)
            draft.take(side, device, number, text)
            found[name] = (device, number)
    return found


def _formats(draft: Draft, node: Node | None, thing: str, known: Mapping[str, object]) -> dict[str, list[Text]]:
    """Read picture formats of sources or destinations: one word, or a list of them for a destination."""
    found: dict[str, list[Text]] = {}
    for name, key, value in draft.named(node):
        with draft.issues.gather():
            if name not in known and name not in draft.doubtful:
                raise unknown(key, thing, known)
            found[name] = _format_list(value) if thing == "destination" else [_format(value.as_text())]
    return found


def _format_list(node: Node) -> list[Text]:
    return [_format(item.as_text()) for item in node.as_rows()]


def _format(text: Text) -> Text:
    """A picture format. Raises FileError."""
    if rate_of_format(text.value) is None:
        raise text.wrong(f'"{text.value[:40]}" is no picture format.', "Write it like 1080p25 or 1080i50.")
    return text


def _read_tie(draft: Draft, node: Node, destinations: Mapping[str, object], matrices: Matrices) -> list[TieLine]:
    """Read a tie-line: its two ends alone, or a table with more; one for each level that it carries."""
    table = None if isinstance(node, Text) else node.as_table()
    text = node.as_text() if table is None else table["line"].as_text()
    from_router, output, to_router, number = read_tie(text)
    draft.must_be("router", from_router, text)
    draft.must_be("router", to_router, text)
    if from_router == to_router and (table is None or "called" not in table):
        remedy = "Look at the names." if table is None else "Look at the names, or say what processor it is: `called`."
        raise text.wrong("a tie-line leads to another router.", remedy)
    carried = matrices.of(from_router, to_router) if from_router != to_router else [VIDEO]
    if table is not None and "levels" in table:
        carried = list(dict.fromkeys(matrices.level(item.as_text()) for item in table["levels"].as_rows()))
        if not carried:
            raise table["levels"].wrong("the list is empty.", "Write a level, or take the list out: all of them.")
    ties = []
    for level in carried:
        near, far = (matrices.router(level, router, text) for router in (from_router, to_router))
        draft.take("output", near, output, text)
        draft.take("input", far, number, text)
        ties.append(TieLine(near, output, far, number))
    if table is None:
        return ties
    more = _read_more(draft, table, ties[0], destinations)
    return [
        _at_level(
            replace(more, from_router=one.from_router, output=one.output, to_router=one.to_router, input=one.input),
            level,
        )
        for one, level in zip(ties, carried, strict=True)
    ]


def _at_level(tie: TieLine, level: str) -> TieLine:
    """What is said of pictures counts for pictures alone, and it is kept for places at its own level."""
    if level == VIDEO:
        return tie
    return replace(tie, takes=(), gives="", kept_for=tuple(place(name, level) for name in tie.kept_for))


def _read_more(draft: Draft, table: Table, tie: TieLine, destinations: Mapping[str, object]) -> TieLine:
    with draft.issues.gather():
        table.only(words_of(TieShape))
    kept: dict[str, None] = {}
    for item in draft.listed(table.get("kept for")):
        with draft.issues.gather():
            name = item.as_text()
            if name.value not in destinations and name.value not in draft.doubtful:
                raise unknown(name, "destination", destinations)
            kept[name.value] = None
    return replace(
        tie,
        delay=read_frames(table["delay"].as_text()) if "delay" in table else 0,
        takes=tuple(text.value for text in _format_list(table["takes"])) if "takes" in table else (),
        gives=_format(table["gives"].as_text()).value if "gives" in table else "",
        kept_for=tuple(kept),
        called=read_line(table["called"].as_text()) if "called" in table else "",
    )


def read_stations(draft: Draft, pictures: Pictures, sound: Sound) -> dict[str, StationEntry]:
    """Read the places where somebody sees and hears."""
    stations: dict[str, StationEntry] = {}
    for name, key, value in draft.named(draft.root.get("stations")):
        with draft.issues.gather():
            table = value.as_table()
            with draft.issues.gather():
                table.only(words_of(StationShape))
            sees, hears = table.get("sees"), table.get("hears")
            if sees is None and hears is None:
                raise table.wrong("this station neither sees nor hears.", "Write `sees`, `hears` or both.")
            called = read_line(table["called"].as_text()) if "called" in table else name
            seen = heard = ""
            with draft.issues.gather():
                seen = _one_of(sees, "destination", pictures.destinations)
            with draft.issues.gather():
                heard = _one_of(hears, "bus", sound.buses)
            stations[name] = StationEntry(name, called, seen, heard, key.line)
    return stations


def read_playback(draft: Draft, pictures: Pictures, sound: Sound) -> dict[str, PlaybackEntry]:
    """Read what comes off each recorder when it plays."""
    found: dict[str, PlaybackEntry] = {}
    for name, key, value in draft.named(draft.root.get("playback")):
        with draft.issues.gather():
            draft.must_be("recorder", name, key)
            table = value.as_table()
            with draft.issues.gather():
                table.only(words_of(PlaybackShape))
            picture, heard = table.get("picture"), table.get("sound")
            if picture is None and heard is None:
                raise table.wrong("nothing comes off this recorder.", "Write `picture`, `sound` or both.")
            seen = sounds = ""
            with draft.issues.gather():
                seen = _one_of(picture, "picture source", pictures.sources)
            with draft.issues.gather():
                sounds = _one_of(heard, "sound source", sound.sources)
            found[name] = PlaybackEntry(name, seen, sounds, key.line)
    return found


def _one_of(node: Node | None, thing: str, known: Mapping[str, tuple[str, int]]) -> str:
    if node is None:
        return ""
    text = node.as_text()
    if text.value not in known:
        raise unknown(text, thing, known)
    return text.value
