"""Exchanges of two or three connections of a tour (Lin and Kernighan, 1973; 3-opt basis after Helsgaun, 2000).

An exchange begins at two neighbours t1, t2 of the ring. Without their connection the ring is a path
p0 = t2, p1, ... that ends at t1. A new connection t2-t3, where t3 = pj, and the loss of one beside t3 give
either a shorter path turned round (t4 = p(j-1)), or a ring and a path (t4 = p(j+1)), which a second new
connection t4-t5 puts together again.
"""

from __future__ import annotations

from typing import NamedTuple

from cam.plan.tour import HOME, Tour, turn_run
from cam.plan.tour_rules import Frame, Kind, find_cuts, may_exchange

LEAST_GAIN_MM = 1e-7


class Exchange(NamedTuple):
    """An exchange: what it gains, with or without the connection back to t1, and the nodes it touches."""

    gain_mm: float
    closes: bool
    kind: Kind
    j: int
    k: int
    ends: tuple[int, ...]


def find_exchange(tour: Tour, t1: int, t2: int, *, gain_mm: float, added: set[tuple[int, int]]) -> Exchange | None:
    """Return the first exchange that gains, or else the one whose open path is shortest, or None.

    Parameters
    ----------
    gain_mm
        What was gained before, the connection t1-t2 taken away.
    added
        Connections of the last exchanges, which are not taken away again.
    """
    ring, index, at, size, end = tour.ring, tour.index, tour.at, len(tour.ring), tour.end
    base, here, home = index[t2], at[t2], at[t1]
    way = 1 if ring[(index[t1] + 1) % size] == t2 else -1
    frame = Frame(t1, base, way)
    ruled = tour.grouped or tour.bound
    best: Exchange | None = None
    for t3, least in tour.near[t2]:
        if least >= gain_mm:
            break
        there = at[t3]
        first = gain_mm - abs(here - there)
        j = (index[t3] - base) * way % size
        if first <= LEAST_GAIN_MM or j == 0:
            continue
        for swaps in (False, True):
            if (j == 1) if not swaps else t3 == t1:
                continue
            t4 = ring[(index[t3] + (way if swaps else -way)) % size]
            if t4 == end:
                if t3 == HOME:
                    continue
                second = closed = first
            else:
                second = first + abs(there - at[t4])
                closed = second - abs(at[t4] - home)
            if not swaps and closed > LEAST_GAIN_MM and (not ruled or may_exchange(tour, frame, Kind.TURN, j, 0)):
                return Exchange(closed, True, Kind.TURN, j, 0, (t1, t2, t3, t4))
            found = _extend(tour, frame, t3, t4, j=j, gain_mm=second, swaps=swaps, added=added)
            if found is not None and (found.closes or best is None or found.gain_mm > best.gain_mm):
                best = found._replace(ends=(t1, t2, *found.ends))
                if best.closes:
                    return best
    return best


def _extend(
    tour: Tour,
    frame: Frame,
    t3: int,
    t4: int,
    *,
    j: int,
    gain_mm: float,
    swaps: bool,
    added: set[tuple[int, int]],
) -> Exchange | None:
    """Return the exchange that a second new connection t4-t5 makes, the first that gains or the shortest."""
    ring, index, at, size, end = tour.ring, tour.index, tour.at, len(tour.ring), tour.end
    t1, base, way = frame
    here, home = at[t4], at[t1]
    ruled = tour.grouped or tour.bound
    best, most = None, 0.0
    for t5, least in tour.close[t4]:
        if least >= gain_mm:
            break
        there = at[t5]
        third = gain_mm - abs(here - there)
        if third <= LEAST_GAIN_MM or t5 == t3:
            continue
        i = index[t5]
        k = (i - base) * way % size
        for kind, side in WAYS[swaps, (k > j) - (k < j), j - k == 1, k == 0]:
            t6 = ring[(i + way * side) % size]
            if t6 == end:
                opened = closed = third if t5 != HOME else 0.0
            else:
                opened = third + abs(there - at[t6])
                closed = opened - abs(at[t6] - home)
            if closed > LEAST_GAIN_MM:
                if not ruled or may_exchange(tour, frame, kind, j, k):
                    return Exchange(closed, True, kind, j, k, (t3, t4, t5, t6))
            elif opened <= most or t6 == end or (t5, t6) in added:
                continue
            elif not ruled or may_exchange(tour, frame, kind, j, k):
                best, most = Exchange(opened, False, kind, j, k, (t3, t4, t5, t6)), opened
    return best


def _find_ways(*, swaps: bool, beyond: int, next_before: bool, first: bool) -> tuple[tuple[Kind, int], ...]:
    """Return the kinds of exchange with t5 = pk, each with the side of t5 on which its connection is lost.

    Parameters
    ----------
    beyond
        -1, 0 or 1 as k is less than j, j, or more.
    next_before, first
        Whether k is j - 1, and whether k is 0.
    """
    if swaps:
        if beyond >= 0:
            return ()
        return ((Kind.SWAP, 1),) if first else ((Kind.SWAP, 1), (Kind.BOTH, -1))
    if beyond > 0:
        return ((Kind.FAR, -1),)
    return ((Kind.NEAR, 1),) if beyond < 0 and not next_before else ()


WAYS = {
    (swaps, beyond, next_before, first): _find_ways(swaps=swaps, beyond=beyond, next_before=next_before, first=first)
    for swaps in (False, True)
    for beyond in (-1, 0, 1)
    for next_before in (False, True)
    for first in (False, True)
}


def apply_exchange(tour: Tour, t1: int, t2: int, exchange: Exchange) -> None:
    """Make an exchange that begins at t1 and t2 by turning runs round."""
    ring, size, base = tour.ring, len(tour.ring), tour.index[t2]
    way = 1 if ring[(tour.index[t1] + 1) % size] == t2 else -1
    kind, j, k = exchange.kind, exchange.j, exchange.k
    split, stop = find_cuts(kind, j, k)
    # the first and last nodes of X and of Y
    x0, x1 = t2, ring[(base + way * (split - 1)) % size]
    y0, y1 = ring[(base + way * split) % size], ring[(base + way * (stop - 1)) % size]
    if kind is Kind.TURN:
        turn_run(tour, after=t1, first=x0, last=x1)
    elif kind is Kind.BOTH:
        turn_run(tour, after=t1, first=x0, last=x1)
        turn_run(tour, after=x0, first=y0, last=y1)
    else:
        # turned together, X and Y have changed places, and both run backwards
        turn_run(tour, after=t1, first=x0, last=y1)
        if kind is not Kind.FAR:
            turn_run(tour, after=t1, first=y1, last=y0)
        if kind is not Kind.NEAR:
            turn_run(tour, after=y1 if kind is Kind.SWAP else y0, first=x1, last=x0)
