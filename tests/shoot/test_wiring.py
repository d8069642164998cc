"""Does the search find the shortest way, and never disturb another's picture?

The oracle walks every way there is; own construction.
"""

from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stagectl.shoot.wiring import Hop, NoWayError, Port, Wiring
from stagectl.site import TieLine

ROUTERS = ("hall", "gallery", "foyer", "loft")


def every_way(
    wiring: Wiring, start: Port, output: Port, stands: dict[Port, int], held: dict[Port, tuple[str, ...]]
) -> Iterator[tuple[Hop, ...]]:
    """All ways without a repeated output that the rules allow."""

    def walk(port: Port, after: tuple[Hop, ...], visited: tuple[Port, ...], shared: bool) -> Iterator[tuple[Hop, ...]]:
        if port[0] == start[0] and (not shared or stands[port] == start[1]):
            yield (Hop(*port, start[1]), *after)
        for tie in wiring.ties:
            near = (tie.from_router, tie.output)
            if tie.to_router != port[0] or near in visited or (shared and stands[port] != tie.input):
                continue
            if near in held and wiring.trace(near, stands.get).start != start:
                continue
            yield from walk(near, (Hop(*port, tie.input), *after), (*visited, near), near in held)

    yield from walk(output, (), (output,), False)


@st.composite
def houses(draw: st.DrawFn) -> tuple[Wiring, dict[Port, int]]:
    ties = []
    for number in range(draw(st.integers(0, 7))):
        one, other = draw(st.permutations(ROUTERS))[:2]
        ties.append(TieLine(one, 10 + number, other, 10 + number))
    sources = {f"s{n}": (draw(st.sampled_from(ROUTERS)), n) for n in range(1, 5)}
    destinations = {f"d{n}": (draw(st.sampled_from(ROUTERS)), n) for n in range(1, 6)}
    wiring = Wiring(sources, destinations, ties)
    stands = {}
    for port in wiring.outputs():
        ends = [n for router, n in sources.values() if router == port[0]]
        ends += [tie.input for tie in ties if tie.to_router == port[0]] * 2
        stands[port] = draw(st.sampled_from([*ends, 9]))
    return wiring, stands


@settings(max_examples=400, deadline=None)
@given(houses())
def test_the_way_is_as_short_as_the_shortest_of_all_ways(house: tuple[Wiring, dict[Port, int]]) -> None:
    wiring, stands = house
    for name, output in wiring.destinations.items():
        held = wiring.held(stands.get, but=(name,))
        for source, start in wiring.sources.items():
            ways = list(every_way(wiring, start, output, stands, held))
            if not ways:
                with pytest.raises(NoWayError):
                    wiring.plan(start, output, stands.get, held)
                continue
            plan = wiring.plan(start, output, stands.get, held)
            assert plan in ways
            assert len(plan) == min(len(way) for way in ways)
            before = {other: wiring.trace(port, stands.get).source for other, port in wiring.destinations.items()}
            after = stands | {(hop.router, hop.output): hop.input for hop in plan}
            for other, port in wiring.destinations.items():
                shown = wiring.trace(port, after.get).source
                assert shown == (source if other == name else before[other]), f"{other} by {name} shows {source}"


def test_a_loop_is_told_as_a_loop() -> None:
    ties = [TieLine("hall", 15, "gallery", 1), TieLine("gallery", 8, "hall", 16)]
    wiring = Wiring({}, {"program": ("gallery", 1)}, ties)
    way = wiring.trace(("gallery", 1), {("gallery", 1): 1, ("hall", 15): 16, ("gallery", 8): 1}.get)
    assert way.source == "a loop"
    assert way.start is None


def test_an_output_that_was_never_read_may_use_every_tie_line_into_its_router() -> None:
    ties = [TieLine("hall", 15, "gallery", 1), TieLine("hall", 16, "gallery", 2), TieLine("gallery", 8, "foyer", 1)]
    wiring = Wiring({"wide": ("hall", 4)}, {"program": ("gallery", 1), "door": ("foyer", 2)}, ties)
    stands = {("gallery", 1): 8, ("foyer", 2): None, ("gallery", 8): None}
    assert wiring.held(stands.get) == {("gallery", 8): ("door",), ("hall", 15): ("door",), ("hall", 16): ("door",)}


@pytest.mark.parametrize("word", ["hall input 0", "hall input x", "cellar input 1", "hall input 16", "hall 7", ""])
def test_a_word_that_is_no_input_is_no_source(word: str) -> None:
    wiring = Wiring({}, {"iso-1": ("hall", 1)}, [TieLine("gallery", 8, "hall", 16)])
    assert wiring.source(word) is None
    assert wiring.source("hall input 7") == ("hall", 7)
