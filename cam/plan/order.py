"""The order of workingsteps: group after group, least travel within and between them, start points free."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import dist

from cam.plan.tour import Errand, find_path, lay_tour
from cam.plan.tour_exact import MAX_STOPS, find_exact_path
from cam.plan.tour_search import search_tour

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A feature to visit: its key, the group it is cut in, and the places where the cutter may come down.

    ``before`` is the key of a stop that must come later: what is inside goes before what is round it.
    """

    key: int
    group: int
    places_mm: tuple[Point, ...]
    before: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A feature in its turn, and where the cutter comes down."""

    key: int
    at_mm: Point


def order_stops(stops: Sequence[Stop], *, from_mm: Point) -> tuple[Visit, ...]:
    """Return visits to all stops, group by group in rising order, on one short way from a start.

    Notes
    -----
    The end of a group is where the next begins: the way is one chain, and its places are chosen
    together with its order. Groups of up to `MAX_STOPS` stops each are solved exactly; otherwise local
    search of a fixed number of steps, so that the order does not hang on the clock.

    Raises
    ------
    ValueError
        If a stop must come before one of an earlier group.

    Examples
    --------
    >>> row = [Stop(key=key, group=0, places_mm=((x, 0.0),)) for key, x in enumerate([30.0, 10.0, 20.0])]
    >>> [visit.key for visit in order_stops(row, from_mm=(0.0, 0.0))]
    [1, 2, 0]
    """
    if not stops:
        return ()
    numbers = {stop.key: number for number, stop in enumerate(stops)}
    for stop in stops:
        if stop.before is not None and stops[numbers[stop.before]].group < stop.group:
            raise ValueError(f"stop {stop.key} must come before {stop.before}, whose group is earlier")
    members = [[stop for stop in stops if stop.group == group] for group in sorted({stop.group for stop in stops})]
    if max(map(len, members)) <= MAX_STOPS:
        chain = find_exact_path(complex(*from_mm), [_find_errands(group) for group in members])
        return tuple(
            Visit(key=group[number].key, at_mm=group[number].places_mm[place])
            for group, order in zip(members, chain, strict=True)
            for number, place in order
        )
    tour = lay_tour(_find_errands(stops), start=complex(*from_mm))
    search_tour(tour)
    return tuple(
        Visit(key=stops[node - 1].key, at_mm=stops[node - 1].places_mm[tour.places[node].index(tour.at[node])])
        for node in find_path(tour)
    )


def _find_errands(stops: Sequence[Stop]) -> list[Errand]:
    """Return what a search needs of stops; an owner of a later group waits for its own anyway."""
    numbers = {stop.key: number for number, stop in enumerate(stops)}
    errands = []
    for stop in stops:
        owner = None if stop.before is None else numbers.get(stop.before)
        if owner is not None and stops[owner].group != stop.group:
            owner = None
        places = tuple(complex(*place) for place in stop.places_mm)
        errands.append(Errand(group=stop.group, places=places, owner=owner))
    return errands


def measure_travel_mm(visits: Sequence[Visit], *, from_mm: Point) -> float:
    """Return the way from a start from visit to visit."""
    return sum(dist(a, b) for a, b in pairwise([from_mm, *(visit.at_mm for visit in visits)]))
