"""A tour through stops whose runs can be turned round and put back: the state of the search for an order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

NEAREST = 4
"""How many nearest stops a stop looks at as its next one."""
PER_QUADRANT = 1
"""How many more in each quadrant round it, so that clusters see one another."""
LIKELY = 16
"""Among how many, nearest by some of their places, these are looked for."""
FEW_PLACES = 8
"""So many places of each stop tell which are likely: all of them would take most of the time of a large sheet."""
CLOSE = 4
"""How many of all these the second new connection of an exchange looks at."""
HOME = 0


@dataclass(slots=True, kw_only=True)
class Tour:
    """A closed ring of nodes: the start `HOME`, the stops from 1, and an end that is free to reach from any stop.

    The ring may run either way round; start and end stay neighbours. Stops of one group stay
    together, and the groups follow one another in rising order from the start. Within a group a
    stop may have an owner, which comes after it.

    Attributes
    ----------
    ring, index
        The nodes in order, and where in it each node is.
    places
        Where each node may be visited, as complex numbers x + iy in mm.
    at
        Where each node is visited now.
    near
        For each node its likely neighbours, each with the least distance from any place to any
        place, nearest first.
    close
        The first `CLOSE` of them.
    group, owner, owned
        The group of each node, its owner or `HOME` for none, and the nodes that it owns.
    grouped, bound
        Whether there are several groups, and whether any node has an owner.
    end
        The node at the end.
    turned
        The runs turned round so far, for taking them back.
    """

    ring: list[int]
    index: list[int]
    places: tuple[tuple[complex, ...], ...]
    at: list[complex]
    near: list[list[tuple[int, float]]]
    close: list[list[tuple[int, float]]]
    group: list[int]
    owner: list[int]
    owned: list[list[int]]
    grouped: bool
    bound: bool
    end: int
    turned: list[tuple[int, int]] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """What a tour knows of a stop: its group, its places, and the number of its owner among the errands."""

    group: int
    places: tuple[complex, ...]
    owner: int | None = None


def lay_tour(errands: Sequence[Errand], *, start: complex) -> Tour:
    """Return a first tour through at least one stop: from stop to nearest stop, group by group."""
    places = ((start,), *(errand.places for errand in errands), (0j,))
    groups = [errand.group for errand in errands]
    group = [min(groups) - 1, *groups, max(groups) + 1]
    owner = [HOME, *(HOME if errand.owner is None else errand.owner + 1 for errand in errands), HOME]
    owned: list[list[int]] = [[] for _ in places]
    for node, over in enumerate(owner):
        if over != HOME:
            owned[over].append(node)
    least = find_least_distances([own[:: max(1, len(own) // FEW_PLACES)] for own in places[:-1]])
    ring = [*_find_nearest_chain(least, group=group[:-1], owner=owner, owned=owned), len(places) - 1]
    index = [0] * len(ring)
    for i, node in enumerate(ring):
        index[node] = i
    near = _find_near(places[:-1], least=least, group=np.array(group[:-1]))
    return Tour(
        ring=ring,
        index=index,
        places=places,
        at=[own[len(own) // 2] for own in places],
        near=near,
        close=[own[:CLOSE] for own in near],
        group=group,
        owner=owner,
        owned=owned,
        grouped=len(set(groups)) > 1,
        bound=any(owned),
        end=len(ring) - 1,
    )


def _find_nearest_chain(
    least: npt.NDArray[np.float64], *, group: list[int], owner: list[int], owned: list[list[int]]
) -> list[int]:
    """Return the nodes from the start, each the nearest that may follow; owners wait for what they own."""
    ring = [HOME]
    waiting = [len(nodes) for nodes in owned]
    for member in sorted(set(group))[1:]:
        members = [node for node in range(len(group)) if group[node] == member]
        ready = np.zeros(len(group), dtype=bool)
        ready[[node for node in members if not waiting[node]]] = True
        for _ in members:
            node = int(np.argmin(np.where(ready, least[ring[-1]], np.inf)))
            ring.append(node)
            ready[node] = False
            over = owner[node]
            waiting[over] -= 1
            if over != HOME and not waiting[over]:
                ready[over] = True
    return ring


def find_least_distances(places: Sequence[tuple[complex, ...]]) -> npt.NDArray[np.float64]:
    """Return for each pair of nodes (n, n) the least distance between any two of their places."""
    flat = np.array([place for own in places for place in own])
    first = np.cumsum([0, *(len(own) for own in places[:-1])])
    if len(flat) == len(places):
        return np.asarray(np.abs(flat[:, None] - flat[None]))
    x, y = flat.real.copy(), flat.imag.copy()
    rows = []
    for start, own in zip(first.tolist(), places, strict=True):
        ways = slice(start, start + len(own))
        squares = (x[ways, None] - x[None]) ** 2 + (y[ways, None] - y[None]) ** 2
        rows.append(np.minimum.reduceat(squares.min(axis=0), first))
    return np.asarray(np.sqrt(np.array(rows)))


def _find_near(
    places: Sequence[tuple[complex, ...]], *, least: npt.NDArray[np.float64], group: npt.NDArray[np.int64]
) -> list[list[tuple[int, float]]]:
    """Return each node's nearest nodes and the nearest in each quadrant, of its own group and of those beside it."""
    middle = np.array([sum(own) / len(own) for own in places])
    arrays = [np.array(own) for own in places]
    groups = np.unique(group)
    rank = np.searchsorted(groups, group)
    near: list[list[tuple[int, float]]] = []
    for node in range(len(places)):
        way = middle - middle[node]
        quadrant = (way.real >= 0.0) * 2 + (way.imag >= 0.0)
        found: dict[int, float] = {}
        for beside in (rank[node] - 1, rank[node], rank[node] + 1):
            members = np.flatnonzero((rank == beside) & (np.arange(len(places)) != node))
            members = members[np.argsort(least[node, members], kind="stable")]
            fewer = [members[:LIKELY], *(members[quadrant[members] == q][: LIKELY // 4] for q in range(4))]
            likely = np.unique(np.concatenate(fewer))
            ways = np.array([np.abs(arrays[node][:, None] - arrays[other][None]).min() for other in likely])
            order = np.argsort(ways, kind="stable")
            chosen = [
                *order[:NEAREST],
                *(i for q in range(4) for i in order[quadrant[likely[order]] == q][:PER_QUADRANT]),
            ]
            found.update((int(likely[i]), float(ways[i])) for i in chosen)
        near.append(sorted(found.items(), key=lambda pair: pair[::-1]))
    return [*near, []]


def reverse_run(tour: Tour, first: int, last: int) -> None:
    """Turn round the run of the ring from one index to another, or all the rest where that is shorter.

    Either way the ring is the same; only the way it runs differs.
    """
    ring, index, size = tour.ring, tour.index, len(tour.ring)
    tour.turned.append((first, last))
    length = (last - first) % size + 1
    if 2 * length > size:
        first, last = (last + 1) % size, (first - 1) % size
        length = size - length
    if first <= last:
        run = ring[first : last + 1]
        run.reverse()
        ring[first : last + 1] = run
        for i, node in enumerate(run, start=first):
            index[node] = i
        return
    for _ in range(length // 2):
        a, b = ring[first], ring[last]
        ring[first], index[b] = b, first
        ring[last], index[a] = a, last
        first = first + 1 if first + 1 < size else 0
        last = last - 1 if last else size - 1


def turn_run(tour: Tour, *, after: int, first: int, last: int) -> None:
    """Turn round the run of nodes from first to last, where first comes right after a node."""
    if first == last:
        return
    forward = (tour.index[after] + 1) % len(tour.ring) == tour.index[first]
    i, j = tour.index[first], tour.index[last]
    if forward:
        reverse_run(tour, i, j)
    else:
        reverse_run(tour, j, i)


def take_back(tour: Tour, *, to: int) -> None:
    """Take back all turns after the first so many."""
    while len(tour.turned) > to:
        reverse_run(tour, *tour.turned.pop())
        tour.turned.pop()


def is_in_one_group(tour: Tour, first: int, last: int) -> bool:
    """Return whether the run of the ring from one index to another lies within one group."""
    if tour.group[tour.ring[first]] != tour.group[tour.ring[last]]:
        return False
    # a run that leaves its group and comes back passes the start
    size = len(tour.ring)
    return (tour.index[HOME] - first) % size > (last - first) % size


def find_neighbours(tour: Tour, node: int) -> tuple[int, int]:
    """Return the nodes before and after a node of the ring."""
    i, size = tour.index[node], len(tour.ring)
    return tour.ring[i - 1], tour.ring[(i + 1) % size]


def find_path(tour: Tour) -> list[int]:
    """Return the stops in order from the start."""
    i = tour.index[HOME]
    ring = tour.ring[i:] + tour.ring[:i]
    return ring[1:-1] if ring[-1] == tour.end else ring[:1:-1]


def measure_tour_mm(tour: Tour) -> float:
    """Return the way from the start through all stops."""
    way = np.array([tour.at[node] for node in (HOME, *find_path(tour))])
    return float(np.abs(np.diff(way)).sum())
