"""Which exchanges a tour's groups and owners allow."""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

from cam.plan.tour import HOME, Tour, is_in_one_group


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


class Frame(NamedTuple):
    """Where an exchange begins: t1, the index of t2, and the way round the ring from t1 to t2."""

    t1: int
    base: int
    way: int


class Change(NamedTuple):
    """What an exchange does to the two runs that follow the start's own: change places, be turned round."""

    swapped: bool
    first_turned: bool
    second_turned: bool


# Seen from the run that holds the start (the rest of the path, X, or Y), the other two follow it on the
# ring in the order X Y, Y rest, and rest X. Where the start's own run is turned round, the ring is read
# the other way, which turns everything else instead.
CHANGES = {
    Kind.SWAP: (Change(True, False, False), Change(True, False, False), Change(True, False, False)),
    Kind.NEAR: (Change(True, True, False), Change(False, True, True), Change(True, False, True)),
    Kind.FAR: (Change(True, False, True), Change(True, True, False), Change(False, True, True)),
    Kind.BOTH: (Change(False, True, True), Change(True, False, True), Change(True, True, False)),
}


def find_cuts(kind: Kind, j: int, k: int) -> tuple[int, int]:
    """Return the numbers of the nodes that come after X and after Y."""
    if kind is Kind.TURN:
        return j, j
    if kind is Kind.NEAR:
        return k + 1, j
    if kind is Kind.FAR:
        return j, k
    return (k + 1 if kind is Kind.SWAP else k), j + 1


def may_exchange(tour: Tour, frame: Frame, kind: Kind, j: int, k: int) -> bool:
    """Return whether an exchange moves stops within one group only, and leaves owners after what they own."""
    if not tour.grouped and not tour.bound:
        return True
    size = len(tour.ring)
    x, y = find_cuts(kind, j, k)
    home = (tour.index[HOME] - frame.base) * frame.way % size
    if kind is Kind.TURN:
        first, middle, end = (x, size, size) if home < x else (0, x, x)
        change = Change(False, True, False)
    elif home >= y:
        (first, middle, end), change = (0, x, y), CHANGES[kind][0]
    elif home < x:
        (first, middle, end), change = (x, y, size), CHANGES[kind][1]
    else:
        (first, middle, end), change = (y, size, size + x), CHANGES[kind][2]
    way, base = frame.way, frame.base
    if tour.grouped:
        i, j = (base + way * first) % size, (base + way * (end - 1)) % size
        if not (is_in_one_group(tour, i, j) if way > 0 else is_in_one_group(tour, j, i)):
            return False
    if not tour.bound:
        return True
    if change.first_turned and not may_turn(tour, frame, first, middle):
        return False
    if change.second_turned and not may_turn(tour, frame, middle, end):
        return False
    return not change.swapped or may_swap(tour, frame, first, middle, end)


def may_turn(tour: Tour, frame: Frame, first: int, end: int) -> bool:
    """Return whether the run of nodes from one number up to another may be turned round: no owner with its own."""
    ring, index, owner, size = tour.ring, tour.index, tour.owner, len(tour.ring)
    base, way = frame.base, frame.way
    start, length = (base + way * first) % size, end - first
    for n in range(first, end):
        over = owner[ring[(base + way * n) % size]]
        if over != HOME and (index[over] - start) * way % size < length:
            return False
    return True


def may_swap(tour: Tour, frame: Frame, first: int, middle: int, end: int) -> bool:
    """Return whether two runs that follow one another may change places: no owner in the later, its own before."""
    ring, index, size = tour.ring, tour.index, len(tour.ring)
    base, way = frame.base, frame.way
    forward = 1 if ring[tour.index[HOME] - 1] == tour.end else -1
    early, late = ((first, middle), (middle, end)) if way == forward else ((middle, end), (first, middle))
    if early[1] - early[0] <= late[1] - late[0]:
        start, length = (base + way * late[0]) % size, late[1] - late[0]
        for n in range(*early):
            over = tour.owner[ring[(base + way * n) % size]]
            if over != HOME and (index[over] - start) * way % size < length:
                return False
        return True
    start, length = (base + way * early[0]) % size, early[1] - early[0]
    return not any(
        (index[own] - start) * way % size < length
        for n in range(*late)
        for own in tour.owned[ring[(base + way * n) % size]]
    )
