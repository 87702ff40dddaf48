"""The order of stops against other roads: the routing solver OR-Tools, and the smallest spanning tree.

OR-Tools is in the extra ``crosscheck``; without it that test is skipped and says so. Its search ends after
a number of solutions, not by the clock, so that the test is the same everywhere. The campaign with 60
sheets is ``tests/bench/bench_order.py``.
"""

from __future__ import annotations

from math import dist
from random import Random

import pytest

from cam.plan.order import Stop, measure_travel_mm, order_stops

HOME = (0.0, 0.0)
SOLUTIONS = 300


def draw_holes(seed, *, count):
    draw = Random(seed)
    return [(draw.uniform(20.0, 2400.0), draw.uniform(20.0, 1200.0)) for _ in range(count)]


def solve_ortools(holes):
    """Return the way of OR-Tools' order through holes from home, ending anywhere."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2  # noqa: PLC0415  an optional extra

    places = [HOME, *holes]
    n = len(places)
    rows = [[round(1000.0 * dist(a, b)) for b in places] + [0] for a in places] + [[0] * (n + 1)]
    manager = pywrapcp.RoutingIndexManager(n + 1, 1, [0], [n])
    model = pywrapcp.RoutingModel(manager)
    way = model.RegisterTransitMatrix(rows)
    model.SetArcCostEvaluatorOfAllVehicles(way)
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.solution_limit = SOLUTIONS
    search.time_limit.FromSeconds(60)
    found = model.SolveWithParameters(search)
    assert found is not None
    length, index = 0.0, model.Start(0)
    while not model.IsEnd(index):
        following = found.Value(model.NextVar(index))
        if not model.IsEnd(following):
            length += dist(places[manager.IndexToNode(index)], places[manager.IndexToNode(following)])
        index = following
    return length


@pytest.mark.parametrize("seed", range(2))
def test_holes_take_no_longer_than_by_or_tools(seed):
    pytest.importorskip("ortools", reason="ortools is in the extra 'crosscheck'")
    holes = draw_holes(seed, count=20)
    stops = [Stop(key=n, group=0, places_mm=(hole,)) for n, hole in enumerate(holes)]
    own = measure_travel_mm(order_stops(stops, from_mm=HOME), from_mm=HOME)
    assert own <= solve_ortools(holes) * 1.005


def test_no_order_is_shorter_than_a_spanning_tree():
    """A path is a spanning tree, so that the smallest of these (Prim) bounds it from below, found without the tour."""
    for seed in range(2):
        holes = draw_holes(seed, count=20)
        stops = [Stop(key=n, group=0, places_mm=(hole,)) for n, hole in enumerate(holes)]
        own = measure_travel_mm(order_stops(stops, from_mm=HOME), from_mm=HOME)
        near = {hole: dist(HOME, hole) for hole in holes}
        tree = 0.0
        while near:
            hole = min(near, key=near.__getitem__)
            tree += near.pop(hole)
            near = {other: min(far, dist(hole, other)) for other, far in near.items()}
        # for even points a path is about a seventh longer than the tree
        assert tree <= own <= 1.4 * tree
