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
    """Put each stop with several places between two others where that gains most; return the nodes concerned."""
    touched: list[int] = []
    for node in [node for node in find_path(tour) if len(tour.places[node]) > 1]:
        touched += _reinsert(tour, node)
    return touched


def _reinsert(tour: Tour, node: int) -> list[int]:
    """Put one stop where it costs least within its group; return the nodes concerned."""
    path = find_path(tour)
    i = path.index(node)
    rest = [HOME, *path[:i], *path[i + 1 :]]
    group = np.array([tour.group[other] for other in rest])
    at = np.array([tour.at[other] for other in rest])
    own = np.array(tour.places[node])
    to = np.abs(own[:, None] - at[None])
    # between each node and the next; after the last the way ends
    cost = to.copy()
    cost[:, :-1] += to[:, 1:] - np.abs(np.diff(at))[None]
    next_group = np.append(group[1:], tour.group[tour.end])
    allowed = (group <= tour.group[node]) & (next_group >= tour.group[node])
    cost = np.where(allowed[None], cost, np.inf)
    place, gap = divmod(int(cost.argmin()), len(rest))
    before = i  # the gap in which it is now: rest[i] comes before it
    here = abs(tour.at[node] - at[before])
    if before + 1 < len(rest):
        here += abs(tour.at[node] - at[before + 1]) - abs(at[before] - at[before + 1])
    if here - cost[place, gap] <= LEAST_GAIN_MM:
        return []
    old = find_neighbours(tour, node)
    tour.at[node] = tour.places[node][place]
    if gap > before:
        # the run between is turned twice, once with the stop and once without it
        turn_run(tour, after=rest[before], first=node, last=rest[gap])
        turn_run(tour, after=rest[before], first=rest[gap], last=rest[before + 1])
    elif gap < before:
        turn_run(tour, after=rest[gap], first=rest[gap + 1], last=node)
        turn_run(tour, after=node, first=rest[before], last=rest[gap + 1])
    return list(dict.fromkeys((*old, node, *find_neighbours(tour, node))))
