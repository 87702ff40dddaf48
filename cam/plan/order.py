"""The order of workingsteps: inside before outside, least travel otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

import fast_tsp

MAX_DISTANCE = 30_000
"""What the longest distance becomes for the solver, which takes whole numbers up to 65,535."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A feature to visit: its key, the group it is cut in, and where the cutter comes down."""

    key: int
    group: int
    at_mm: tuple[float, float]


def order_stops(stops: Sequence[Stop], *, from_mm: tuple[float, float]) -> tuple[int, ...]:
    """Return the keys of stops, group by group in rising order, each group by a short tour.

    Notes
    -----
    A group is an open path from where the last one ended; it is solved as a closed tour with one
    further stop whose way home costs nothing. Groups of up to 20 are solved exactly, larger ones by
    local search that stops when it has converged, so that the order does not hang on the clock.
    """
    order: list[int] = []
    here = from_mm
    for group in sorted({stop.group for stop in stops}):
        members = [stop for stop in stops if stop.group == group]
        for i in _find_path(here, [stop.at_mm for stop in members]):
            order.append(members[i].key)
            here = members[i].at_mm
    return tuple(order)


def _find_path(start_mm: tuple[float, float], points_mm: list[tuple[float, float]]) -> list[int]:
    """Return the order of a short open path from a start through all points."""
    if len(points_mm) < 2:
        return list(range(len(points_mm)))
    places = [start_mm, *points_mm]
    way_mm = [[hypot(a[0] - b[0], a[1] - b[1]) for b in places] for a in places]
    unit_mm = max(max(row) for row in way_mm) / MAX_DISTANCE or 1.0
    way = [[round(distance / unit_mm) for distance in row] for row in way_mm]
    # the extra stop n is free from the start and costs the same from anywhere else, more than any
    # way: the best tour has it beside the start, and may come to it from any place
    n, toll = len(places), MAX_DISTANCE + 1
    dists = [[*row, toll if i else 0] for i, row in enumerate(way)]
    dists.append([0] + [toll] * (n - 1) + [0])
    tour = fast_tsp.find_tour(dists, duration_seconds=float("inf"), stop_when_converged=True)
    at = tour.index(0)
    tour = tour[at:] + tour[:at]
    if tour[-1] != n:
        tour = [tour[0], *reversed(tour[1:])]
    return [place - 1 for place in tour[1:-1]]
