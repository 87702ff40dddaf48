"""Exchanges of two or three connections of a tour (Lin and Kernighan, 1973; 3-opt basis after Helsgaun, 2000).

An exchange begins at two neighbours t1, t2 of the ring. Without their connection the ring is a path
p0 = t2, p1, ... that ends at t1. A new connection t2-t3, where t3 = pj, and the loss of one beside t3 give
either a shorter path turned round (t4 = p(j-1)), or a ring and a path (t4 = p(j+1)), which a second new
connection t4-t5 puts together again.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

from cam.plan.tour import HOME, Tour, is_in_one_group, turn_run

LEAST_GAIN_MM = 1e-7


class Kind(IntEnum):
    """What becomes of p0 ... before the rest of the path: runs X and Y, reversed where marked with R."""

    TURN = 0
    """R(X), X up to p(j-1)"""
    NEAR = 1
    """Y R(X), X up to pk, Y from there up to p(j-1)"""
    FAR = 2
    """R(Y) X, X up to p(j-1), Y from there up to p(k-1)"""
    SWAP = 3
    """Y X, X up to pk, Y from there up to pj"""
    BOTH = 4
    """R(X) R(Y), X up to p(k-1), Y from there up to pj"""


class Exchange(NamedTuple):
    """An exchange: what it gains, with or without the connection back to t1, and the nodes it touches."""

    gain_mm: float
    closes: bool
    kind: Kind
    j: int
    k: int
    ends: tuple[int, ...]


class Frame(NamedTuple):
    """Where an exchange begins: t1, the index of t2, and the way round the ring from t1 to t2."""

    t1: int
    base: int
    way: int


def find_exchange(tour: Tour, t1: int, t2: int, *, gain_mm: float, added: set[tuple[int, int]]) -> Exchange | None:
    """Return the first exchange that gains, or else the one whose open path is shortest, or None.

    Parameters
    ----------
    gain_mm
        What was gained before, the connection t1-t2 taken away.
    added
        Connections of the last exchanges, which are not taken away again.
    """
    ring, index, at, size = tour.ring, tour.index, tour.at, len(tour.ring)
    base = index[t2]
    way = 1 if ring[(index[t1] + 1) % size] == t2 else -1
    frame = Frame(t1, base, way)
    best: Exchange | None = None
    for t3, least in tour.near[t2]:
        if least >= gain_mm:
            break
        first = gain_mm - abs(at[t2] - at[t3])
        j = (index[t3] - base) * way % size
        if first <= LEAST_GAIN_MM or j == 0:
            continue
        for t4, swaps in ((ring[(index[t3] - way) % size], False), (ring[(index[t3] + way) % size], True)):
            if (t4 == t2 if not swaps else t3 == t1) or {t3, t4} == {HOME, tour.end}:
                continue
            free = t4 == tour.end
            second = first if free else first + abs(at[t3] - at[t4])
            if not swaps:
                closed = second if free else second - abs(at[t4] - at[t1])
                if closed > LEAST_GAIN_MM and _keeps_groups(tour, frame, Kind.TURN, j, 0):
                    return Exchange(closed, True, Kind.TURN, j, 0, (t1, t2, t3, t4))
            found = _extend(tour, frame, t3, t4, j=j, gain_mm=second, swaps=swaps, added=added)
            if found is not None:
                if found.closes:
                    return found._replace(ends=(t1, t2, *found.ends))
                if best is None or found.gain_mm > best.gain_mm:
                    best = found._replace(ends=(t1, t2, *found.ends))
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
    best, most = None, 0.0
    for t5, least in tour.near[t4]:
        if least >= gain_mm:
            break
        third = gain_mm - abs(at[t4] - at[t5])
        if third <= LEAST_GAIN_MM or t5 == t3:
            continue
        k = (index[t5] - base) * way % size
        for kind, side in _find_ways(j, k, way=way, swaps=swaps):
            t6 = ring[(index[t5] + side) % size]
            if t6 == end:
                opened = closed = third if t5 != HOME else 0.0
            else:
                opened = third + abs(at[t5] - at[t6])
                closed = opened - abs(at[t6] - at[t1])
            if closed > LEAST_GAIN_MM:
                if _keeps_groups(tour, frame, kind, j, k):
                    return Exchange(closed, True, kind, j, k, (t3, t4, t5, t6))
            elif opened > most and t6 != end and (t5, t6) not in added and _keeps_groups(tour, frame, kind, j, k):
                best, most = Exchange(opened, False, kind, j, k, (t3, t4, t5, t6)), opened
    return best


def _find_ways(j: int, k: int, *, way: int, swaps: bool) -> tuple[tuple[Kind, int], ...]:
    """Return the kinds of exchange with t5 = pk, each with the side of t5 on which its connection is lost."""
    if swaps:
        if k >= j:
            return ()
        return ((Kind.SWAP, way), (Kind.BOTH, -way)) if k else ((Kind.SWAP, way),)
    if k > j:
        return ((Kind.FAR, -way),)
    return ((Kind.NEAR, way),) if k <= j - 2 else ()


def _keeps_groups(tour: Tour, frame: Frame, kind: Kind, j: int, k: int) -> bool:
    """Return whether an exchange moves stops within one group only.

    Of the path's three runs X, Y and the rest, any two that are neighbours on the ring may be moved
    against the third.
    """
    if not tour.grouped:
        return True
    size, base, way = len(tour.ring), frame.base, frame.way

    def lies(first: int, last: int) -> bool:
        i, j = (base + way * first) % size, (base + way * last) % size
        return is_in_one_group(tour, i, j) if way > 0 else is_in_one_group(tour, j, i)

    if kind is Kind.TURN:
        return lies(0, j - 1) or lies(j, size - 1)
    x, y = {Kind.NEAR: (k + 1, j), Kind.FAR: (j, k), Kind.SWAP: (k + 1, j + 1), Kind.BOTH: (k, j + 1)}[kind]
    return lies(0, y - 1) or lies(x, size - 1) or lies(y, size + x - 1)


def apply_exchange(tour: Tour, t1: int, t2: int, exchange: Exchange) -> None:
    """Make an exchange that begins at t1 and t2 by turning runs round."""
    ring, size, base = tour.ring, len(tour.ring), tour.index[t2]
    way = 1 if ring[(tour.index[t1] + 1) % size] == t2 else -1
    kind, j, k = exchange.kind, exchange.j, exchange.k
    split, stop = {
        Kind.TURN: (j, j),
        Kind.NEAR: (k + 1, j),
        Kind.FAR: (j, k),
        Kind.SWAP: (k + 1, j + 1),
        Kind.BOTH: (k, j + 1),
    }[kind]
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
