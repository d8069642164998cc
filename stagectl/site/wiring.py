"""Which pictures and sounds go where, and who sees and hears them?"""

from collections.abc import Callable, Mapping

from stagectl.filetree import Node, Text
from stagectl.site.draft import Draft, unknown
from stagectl.site.entries import Pictures, Sound, StationEntry, TieLine
from stagectl.site.schema import PicturesShape, SoundShape, StationShape, words_of
from stagectl.site.words import read_line, read_socket, read_sound, read_tie


def read_pictures(draft: Draft) -> Pictures:
    """Read sources, destinations, tie-lines; each input has one feeder and each output one taker."""
    table = draft.table(draft.root.get("pictures"))
    if table is None:
        return Pictures({}, {})
    with draft.issues.gather():
        table.only(words_of(PicturesShape))
    sources = _read_places(draft, table.get("sources"), "router", "input", read_socket)
    destinations = _read_places(draft, table.get("destinations"), "router", "output", read_socket)
    ties = []
    for node in draft.listed(table.get("tie-lines")):
        with draft.issues.gather():
            ties.append(_read_tie(draft, node.as_text()))
    on_air: dict[str, None] = {}
    for node in draft.listed(table.get("on air")):
        with draft.issues.gather():
            text = node.as_text()
            if text.value not in destinations and text.value not in draft.doubtful:
                raise unknown(text, "destination", destinations)
            on_air[text.value] = None
    return Pictures(sources, destinations, tuple(ties), tuple(on_air))


def read_sound_places(draft: Draft) -> Sound:
    """Read sound sources and buses."""
    table = draft.table(draft.root.get("sound"))
    if table is None:
        return Sound({}, {})
    with draft.issues.gather():
        table.only(words_of(SoundShape))
    sources = _read_places(draft, table.get("sources"), "mixer", "strip", lambda text: read_sound(text, "strip"))
    buses = _read_places(draft, table.get("buses"), "mixer", "bus", lambda text: read_sound(text, "bus"))
    return Sound(sources, buses)


def _read_places(
    draft: Draft, node: Node | None, kind: str, side: str, read: Callable[[Text], tuple[str, int]]
) -> dict[str, tuple[str, int]]:
    """Read names for the places of one side of routers or mixers."""
    found: dict[str, tuple[str, int]] = {}
    for name, _, value in draft.named(node):
        with draft.issues.gather():
            found[name] = ("", 0)  # known by name, also if its place is wrong: the file is refused anyway
            text = value.as_text()
            device, number = read(text)
            draft.must_be(kind, device, text)
            draft.take(side, device, number, text)
            found[name] = (device, number)
    return found


def _read_tie(draft: Draft, text: Text) -> TieLine:
    from_router, output, to_router, number = read_tie(text)
    draft.must_be("router", from_router, text)
    draft.must_be("router", to_router, text)
    if from_router == to_router:
        raise text.wrong("a tie-line leads to another router.", "Look at the names.")
    draft.take("output", from_router, output, text)
    draft.take("input", to_router, number, text)
    return TieLine(from_router, output, to_router, number)


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


def _one_of(node: Node | None, thing: str, known: Mapping[str, tuple[str, int]]) -> str:
    if node is None:
        return ""
    text = node.as_text()
    if text.value not in known:
        raise unknown(text, thing, known)
    return text.value
