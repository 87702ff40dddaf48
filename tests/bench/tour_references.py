"""Other roads to a short tour: two solvers, and the bound of Held and Karp.

All take an open path: from a given place through every point, ending anywhere. For the solvers the path
is closed by one further point that is free to reach from the end and from the start.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from math import inf

import fast_tsp
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
MOST_CONVERGED = 700
"""Up to so many points fast-tsp ends when it has converged, which takes some seconds; above, when its time is up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """Points in their order, the start apart, and the way through them."""

    order: tuple[int, ...]
    length_mm: float


def measure_path_mm(points_mm: FloatArray, *, order: list[int], from_mm: tuple[float, float]) -> float:
    """Return the way from a start through points (n, 2) in an order."""
    way = np.vstack([[from_mm], points_mm[order]])
    return float(np.hypot(*np.diff(way, axis=0).T).sum())


def find_distances_mm(points_mm: FloatArray, *, from_mm: tuple[float, float]) -> FloatArray:
    """Return distances (n + 1, n + 1) between the start, which is 0, and the points, from 1."""
    places = np.vstack([[from_mm], points_mm])
    return np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))


def solve_fast_tsp(points_mm: FloatArray, *, from_mm: tuple[float, float], seconds: float) -> Path:
    """Return the solver's shortest path in a processor time; its whole numbers end at 65,535.

    The solver goes by the wall clock, so on a busy machine it is called again until the processor time
    is used up. The further point costs nothing from the start and more than any way from elsewhere, so the best
    tour has it beside the start and may come to it from any point.
    """
    n = len(points_mm)
    way = find_distances_mm(points_mm, from_mm=from_mm)
    largest = 32_000
    whole = np.full((n + 2, n + 2), largest + 1, dtype=np.uint16)
    whole[:-1, :-1] = np.rint(way / way.max() * largest)
    whole[0, -1] = whole[-1, 0] = whole[-1, -1] = 0
    paths: list[Path] = []
    begun, left = time.process_time(), seconds
    while not paths or left > 0.05 * seconds:
        converges = n <= MOST_CONVERGED
        tour = fast_tsp.find_tour(
            whole, duration_seconds=inf if converges else left, candidates="alpha", stop_when_converged=converges
        )
        at = tour.index(0)
        tour = tour[at:] + tour[:at]
        if tour[-1] != n + 1:
            tour = [tour[0], *reversed(tour[1:])]
        assert tour[-1] == n + 1
        order = [place - 1 for place in tour[1:-1]]
        paths.append(Path(order=tuple(order), length_mm=measure_path_mm(points_mm, order=order, from_mm=from_mm)))
        left = 0.0 if converges else seconds - (time.process_time() - begun)
    return min(paths, key=lambda path: path.length_mm)


def solve_ortools(points_mm: FloatArray, *, from_mm: tuple[float, float], seconds: float) -> Path:
    """Return OR-Tools' path in a time by the wall clock: cheapest arc, then guided local search; in micrometres."""
    from ortools.constraint_solver import pywrapcp, routing_enums_pb2  # noqa: PLC0415  an optional extra

    n = len(points_mm)
    way = np.zeros((n + 2, n + 2), dtype=np.int64)
    way[:-1, :-1] = np.rint(find_distances_mm(points_mm, from_mm=from_mm) * 1000.0)
    rows = way.tolist()
    manager = pywrapcp.RoutingIndexManager(n + 2, 1, [0], [n + 1])
    model = pywrapcp.RoutingModel(manager)
    model.SetArcCostEvaluatorOfAllVehicles(model.RegisterTransitMatrix(rows))
    search = pywrapcp.DefaultRoutingSearchParameters()
    search.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PATH_CHEAPEST_ARC
    search.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    search.time_limit.FromMilliseconds(int(seconds * 1000))
    found = model.SolveWithParameters(search)
    assert found is not None
    order, index = [], model.Start(0)
    while not model.IsEnd(index):
        order.append(manager.IndexToNode(index) - 1)
        index = found.Value(model.NextVar(index))
    order = order[1:]
    assert sorted(order) == list(range(n))
    return Path(order=tuple(order), length_mm=measure_path_mm(points_mm, order=order, from_mm=from_mm))


def bound_held_karp_mm(points_mm: FloatArray, *, from_mm: tuple[float, float], upper_mm: float, rounds: int) -> float:
    """Return a length below which no path can be: the best 1-tree under penalties (Held and Karp, 1970).

    The further point of the closed tour is the special node of the 1-tree: one of its two edges goes
    to the start, both cost nothing. So the 1-tree is a spanning tree of start and points, and the
    penalties drive its degrees towards a path's: one for the start, one for whichever point is the
    end, two for the others. Penalties follow the subgradient with steps that shrink as the bound
    comes near ``upper_mm``.
    """
    way = find_distances_mm(points_mm, from_mm=from_mm)
    size = len(way)
    penalty = np.zeros(size)
    best, scale, stale, last = 0.0, 2.0, 0, np.zeros(size)
    for _ in range(rounds):
        cost, degree = _span(way + penalty[:, None] + penalty[None])
        # the special node: an edge to the start, whose cost is the start's penalty, and one to the
        # point that is cheapest to end at; its own penalty is 0
        end = 1 + int(np.argmin(penalty[1:]))
        degree[0] += 1
        degree[end] += 1
        bound = cost + float(penalty[0] + penalty[end] - 2.0 * penalty.sum())
        if bound > best + 1e-6 * upper_mm:
            best, stale = bound, 0
        else:
            best, stale = max(best, bound), stale + 1
            if stale >= 10:
                scale, stale = scale / 2.0, 0
        excess = degree - 2.0
        if not excess.any():
            break
        step = scale * (upper_mm - bound) / float(excess @ excess)
        penalty = penalty + step * (0.7 * excess + 0.3 * last)
        last = excess
    return best


def _span(cost: FloatArray) -> tuple[float, FloatArray]:
    """Return the cost of the smallest spanning tree (Prim) and the degree of each node."""
    size = len(cost)
    degree = np.zeros(size)
    near, parent = cost[0].copy(), np.zeros(size, dtype=np.int64)
    near[0] = np.inf
    total = 0.0
    outside = np.ones(size, dtype=bool)
    outside[0] = False
    for _ in range(size - 1):
        node = int(np.argmin(near))
        total += float(near[node])
        degree[node] += 1
        degree[parent[node]] += 1
        outside[node] = False
        near[node] = np.inf
        closer = outside & (cost[node] < near)
        near[closer] = cost[node][closer]
        parent[closer] = node
    return total, degree
