"""Does the solver find what can be found? Held against a foreign library on plants drawn at random.

Outside: networkx 3 (shortest paths; maximum flow after Ford and Fulkerson, an upper bound for pictures of one source
router to one destination router, and for all wants together by a common source and sink).
"""

import random
from itertools import product
from typing import Any

import networkx as nx
import pytest

from stagectl.shoot.routes.problem import Answer, Arc, Problem, Want
from stagectl.shoot.routes.search import in_turn, short_first
from stagectl.shoot.routes.solve import in_the_way, solve

SEEDS = range(40)


def drawn(seed: int, wants: int, *, routers: int = 6, shared: bool = False) -> Problem:
    """A plant of some routers and bundles, and pictures that shall cross it."""
    chance = random.Random(seed)
    names = [f"r{number}" for number in range(routers)]
    arcs = [
        Arc(start, end, chance.randint(0, 3))
        for start, end in product(names, names)
        if start != end and chance.random() < 0.4
    ]
    told = []
    for number in range(wants):
        source = chance.randrange(max(1, wants // 3)) if shared else number
        start = random.Random(f"{seed} {source}").choice(names) if shared else chance.choice(names)
        told.append(Want(f"d{number}", f"s{source}", start, chance.choice(names)))
    return Problem(tuple(arcs), tuple(told))


def graph(problem: Problem) -> Any:
    made = nx.DiGraph()
    made.add_nodes_from(arc.start for arc in problem.arcs)
    for arc in problem.arcs:
        made.add_edge(arc.start, arc.end, capacity=arc.room)
    return made


def judged(problem: Problem, answer: Answer) -> None:
    """Is the answer a true one: every way connected, from where its picture is, within every bundle's room?"""
    room = [arc.room for arc in problem.arcs]
    trees = {want.source: {(want.start, want.form)} for want in problem.wants}
    for source, spots in problem.present.items():
        trees.setdefault(source, set()).update(spots)
    assert sorted(answer.order) == [number for number, way in enumerate(answer.ways) if way is not None]
    for number in answer.order:
        want, way, spot = problem.wants[number], answer.ways[number], answer.starts[number]
        assert spot in trees[want.source]
        for taken in way or ():
            arc = problem.arcs[taken]
            assert arc.start == spot[0]
            behind = arc.behind(spot[1], want.destination)
            assert behind is not None
            room[taken] -= 1
            spot = arc.end, behind
            trees[want.source].add(spot)
        assert want.served_at(spot)
    assert all(left >= 0 for left in room)


@pytest.mark.parametrize("seed", SEEDS)
def test_one_picture_takes_a_shortest_way_or_there_is_none(seed: int) -> None:
    problem = drawn(seed, 1)
    open_graph = graph(Problem(tuple(arc for arc in problem.arcs if arc.room), problem.wants))
    open_graph.add_nodes_from((problem.wants[0].start, problem.wants[0].end))
    answer = solve(problem)
    judged(problem, answer)
    try:
        hops = nx.shortest_path_length(open_graph, problem.wants[0].start, problem.wants[0].end)
    except nx.NetworkXNoPath:
        assert answer.served == 0
    else:
        assert answer.cost(problem) == hops
    assert answer.exact


@pytest.mark.parametrize("seed", SEEDS)
def test_between_two_routers_as_many_pictures_pass_as_the_maximum_flow(seed: int) -> None:
    plant = drawn(seed, 1)
    start, end = "r0", "r1"
    wants = tuple(Want(f"d{number}", f"s{number}", start, end) for number in range(12))
    problem = Problem(plant.arcs, wants)
    made = graph(problem)
    made.add_nodes_from((start, end))
    answer = solve(problem)
    judged(problem, answer)
    assert answer.served == min(12, nx.maximum_flow_value(made, start, end))


@pytest.mark.parametrize("seed", SEEDS)
def test_many_pictures_never_pass_the_bound_of_flow_and_never_fall_behind_who_comes_first(seed: int) -> None:
    problem = drawn(seed, 30, routers=8)
    made = graph(problem)
    for number, want in enumerate(problem.wants):
        made.add_edge("all", f"s{number}", capacity=1)
        made.add_edge(f"s{number}", want.start, capacity=1)
        made.add_edge(want.end, f"d{number}", capacity=1)
        made.add_edge(f"d{number}", "none", capacity=1)
    bound = nx.maximum_flow_value(made, "all", "none")
    answer = solve(problem)
    judged(problem, answer)
    assert max(in_turn(problem).served, short_first(problem).served) <= answer.served <= bound


@pytest.mark.parametrize("seed", SEEDS)
def test_one_source_to_many_destinations_crosses_each_bundle_once(seed: int) -> None:
    """Outside: where every bundle has room for one picture, a source reaches what networkx calls its descendants."""
    problem = drawn(seed, 1, routers=8)
    routers = sorted({arc.end for arc in problem.arcs} - {"r0"})
    arcs = tuple(Arc(arc.start, arc.end, 1) for arc in problem.arcs)
    problem = Problem(arcs, tuple(Want(f"d-{router}", "wide", "r0", router) for router in routers))
    made = graph(problem)
    made.add_node("r0")
    answer = solve(problem)
    judged(problem, answer)
    assert {problem.wants[number].end for number in answer.order} == nx.descendants(made, "r0") & set(routers)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_answer_beats_the_exact_one(seed: int) -> None:
    """Outside: every set of simple paths of networkx, tried by brute force, for wants that share nothing."""
    problem = drawn(seed, 4, routers=4)
    made = graph(problem)
    made.add_nodes_from(f"r{number}" for number in range(4))
    choices: list[list[list[tuple[str, str]] | None]] = []
    for want in problem.wants:
        paths = [[]] if want.start == want.end else nx.all_simple_edge_paths(made, want.start, want.end)
        choices.append([None, *paths])
    best = (0, 0)
    for chosen in product(*choices):
        used: dict[tuple[str, str], int] = {}
        for edge in (edge for path in chosen for edge in path or ()):
            used[edge] = used.get(edge, 0) + 1
        if all(count <= made.edges[edge]["capacity"] for edge, count in used.items()):
            served = sum(path is not None for path in chosen)
            best = max(best, (served, -sum(used.values())))
    answer = solve(problem)
    judged(problem, answer)
    assert answer.exact
    assert (answer.served, -answer.cost(problem)) == best


@pytest.mark.parametrize("seed", SEEDS)
def test_shared_pictures_stay_true(seed: int) -> None:
    problem = drawn(seed, 40, routers=8, shared=True)
    judged(problem, solve(problem))


def test_who_is_in_the_way_is_the_full_bundle_that_leads_on() -> None:
    arcs = (Arc("hall", "gallery", 1), Arc("hall", "foyer", 0), Arc("gallery", "hall", 1))
    wants = (Want("program", "wide", "hall", "gallery"), Want("director", "hands", "hall", "gallery"))
    problem = Problem(arcs, wants)
    answer = solve(problem)
    assert answer.served == 1
    refused = next(number for number, way in enumerate(answer.ways) if way is None)
    assert in_the_way(problem, answer, refused) == [0]


def test_a_picture_in_a_format_that_does_not_serve_goes_through_a_processor() -> None:
    arcs = (Arc("hall", "gallery", 2), Arc("hall", "hall", 1, 3, frozenset({"1080i50"}), "1080p25"))
    form = frozenset({"1080p25"})
    wants = (
        Want("mix-rec", "guest", "hall", "gallery", "1080i50", form),
        Want("iso-4", "guest", "hall", "hall", "1080i50", form),
        Want("iso-3", "laptop", "hall", "hall", "720p60", form),
    )
    answer = solve(Problem(arcs, wants))
    judged(Problem(arcs, wants), answer)
    assert (answer.ways[2], answer.served, answer.exact) == (None, 2, True)
    assert sorted(arc for way in answer.ways for arc in way or ()) == [0, 1]


def test_a_tie_line_that_is_kept_serves_its_own_destination_alone() -> None:
    arcs = (Arc("hall", "gallery", 1, only_for=frozenset({"program"})),)
    others = Problem(arcs, (Want("director", "wide", "hall", "gallery"),))
    own = Problem(arcs, (Want("program", "wide", "hall", "gallery"),))
    assert (solve(others).served, solve(own).served) == (0, 1)


def test_a_picture_that_is_there_already_costs_nothing() -> None:
    problem = Problem(
        (Arc("hall", "gallery", 0),),
        (Want("director", "wide", "hall", "gallery"),),
        {"wide": (("gallery", ""),)},
    )
    answer = solve(problem)
    assert (answer.ways, answer.starts) == (((),), (("gallery", ""),))


def test_a_plant_that_is_too_large_to_try_everything_says_so() -> None:
    arcs = tuple(Arc(f"r{a}", f"r{b}", 1) for a, b in product(range(9), range(9)) if a != b)
    wants = tuple(Want(f"d{number}", f"s{number}", "r0", "r1") for number in range(12))
    answer = solve(Problem(arcs, wants))
    judged(Problem(arcs, wants), answer)
    assert not answer.exact
    assert answer.served == 8  # as many as leave r0
