"""Places along a tour: the best for a given order, and stops put elsewhere at their best place there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cam.plan.tour import HOME, Tour, find_neighbours, find_path, turn_run
from cam.plan.tour_exchange import LEAST_GAIN_MM


def find_best_places(start: complex, places: Sequence[tuple[complex, ...]]) -> tuple[float, list[int]]:
    """Return the shortest way from a start through one place of each stop in their order, and which places.

    Notes
    -----
    Exact: the shortest way to each place of a stop needs only the shortest ways to the places of the
    stop before (dynamic programming).
    """
    here, cost = np.array([start]), np.zeros(1)
    best_from = []
    for own in places:
        there = np.array(own)
        ways = cost[:, None] + np.abs(here[:, None] - there[None])
        best_from.append(ways.argmin(axis=0))
        here, cost = there, ways.min(axis=0)
    choice = [int(cost.argmin())]
    for before in reversed(best_from[1:]):
        choice.append(int(before[choice[-1]]))
    return float(cost.min()), choice[::-1]


def choose_places(tour: Tour) -> list[int]:
    """Visit all stops at their best places in the present order; return the stops that moved, if that gains."""
    path = find_path(tour)
    way = np.array([tour.at[node] for node in (HOME, *path)])
    now = float(np.abs(np.diff(way)).sum())
    length, choice = find_best_places(tour.at[HOME], [tour.places[node] for node in path])
    if now - length <= LEAST_GAIN_MM:
        return []
    moved = []
    for node, index in zip(path, choice, strict=True):
        place = tour.places[node][index]
        if place != tour.at[node]:
            tour.at[node] = place
            moved.append(node)
    return moved


def reinsert_stops(tour: Tour) -> list[int]:
    """Put each stop with several places beside a stop near it where that gains; return the nodes concerned."""
    touched: list[int] = []
    for node in find_path(tour):
        if len(tour.places[node]) > 1:
            touched += _reinsert(tour, node)
    return list(dict.fromkeys(touched))


def _reinsert(tour: Tour, node: int) -> list[int]:
    """Put one stop where it costs least among the gaps beside its near ones; return the nodes concerned."""
    before, after = _find_around(tour, node)
    gaps = _find_gaps(tour, node)
    if not gaps:
        return []
    at, end = tour.at, tour.end
    own = np.array(tour.places[node])
    left = np.array([at[a] for a, _ in gaps])
    # after the last stop the way ends: nothing is added there but the way to the stop
    right = np.array([at[a if b == end else b] for a, b in gaps])
    last = np.array([b == end for _, b in gaps])
    to_left, to_right = np.abs(own[:, None] - left[None]), np.abs(own[:, None] - right[None])
    cost = to_left + np.where(last, 0.0, to_right - np.abs(left - right))
    place, number = divmod(int(cost.argmin()), len(gaps))
    here = abs(at[node] - at[before])
    if after != end:
        here += abs(at[node] - at[after]) - abs(at[before] - at[after])
    if here - float(cost[place, number]) <= LEAST_GAIN_MM:
        return []
    at[node] = tour.places[node][place]
    a, b = gaps[number]
    if _find_rank(tour, a) > _find_rank(tour, node):
        # the run between is turned twice, once with the stop and once without it
        turn_run(tour, after=before, first=node, last=a)
        turn_run(tour, after=before, first=a, last=after)
    else:
        turn_run(tour, after=a, first=b, last=node)
        turn_run(tour, after=node, first=before, last=b)
    return [before, after, a, node, b]


def _find_gaps(tour: Tour, node: int) -> list[tuple[int, int]]:
    """Return the connections into which a stop may go, beside its near stops and those near to them."""
    ring, index, size = tour.ring, tour.index, len(tour.ring)
    group, end, home = tour.group, tour.end, tour.index[HOME]
    own = group[node]
    least = max((_find_rank(tour, each) for each in tour.owned[node]), default=0)
    owner = tour.owner[node]
    most = _find_rank(tour, owner) if owner != HOME else size
    way = 1 if ring[home - 1] == end else -1
    gaps: dict[tuple[int, int], None] = {}
    close = [other for other, _ in tour.near[node]]
    for other in dict.fromkeys((*close, *(far for middle in close for far, _ in tour.near[middle]))):
        i = index[other]
        rank = (i - home) * way % size
        before, after = ring[(i - way) % size], ring[(i + way) % size]
        for a, b, first in ((before, other, (rank - 1) % size), (other, after, rank)):
            if first < least or (first + 1) % size > most or a == end or node in (a, b):
                continue
            if group[a] <= own <= group[b]:
                gaps[a, b] = None
    return list(gaps)


def _find_around(tour: Tour, node: int) -> tuple[int, int]:
    """Return the nodes before and after another in the direction of the path."""
    before, after = find_neighbours(tour, node)
    return (before, after) if tour.ring[tour.index[HOME] - 1] == tour.end else (after, before)


def _find_rank(tour: Tour, node: int) -> int:
    """Return how many nodes come before another on the path."""
    size, home = len(tour.ring), tour.index[HOME]
    forward = tour.ring[home - 1] == tour.end
    return (tour.index[node] - home if forward else home - tour.index[node]) % size
