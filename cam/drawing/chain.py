"""Loose pieces to loops: ends paired by nearest mutual neighbour, tightest first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.pieces import Pieces
from cam.geometry.contour import BoolArray, FloatArray, IntArray, find_segments


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Pieces joined end to end, in order of travel.

    ``pieces`` are indices and ``turned`` says which of them run backwards.
    """

    pieces: tuple[int, ...]
    turned: tuple[bool, ...]
    closed: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joints:
    """Ends joined to ends.

    End ``2 i`` is the start of piece i and end ``2 i + 1`` its end. ``partner`` is (2 n,), -1 for an
    end that stayed free; ``gap_mm`` is (2 n,), the distance bridged, nan for a free end.
    """

    partner: IntArray
    gap_mm: FloatArray


def find_ends_mm(pieces: Pieces) -> FloatArray:
    """Return the two ends of every piece, (2 n, 2), start and end in turn."""
    rows = np.column_stack((pieces.first[:-1], pieces.first[1:] - 1)).reshape(-1)
    return pieces.vertices[rows, :2]


def pair_ends(pieces: Pieces, *, join_tol_mm: float) -> Joints:
    """Return which ends of open pieces meet within a distance."""
    ends = find_ends_mm(pieces)
    free = np.flatnonzero(np.repeat(~pieces.closed, 2))
    partner = np.full(len(ends), -1, dtype=np.int64)
    gap = np.full(len(ends), np.nan)
    if not len(free):
        return Joints(partner=partner, gap_mm=gap)
    points = np.asarray(shapely.points(ends[free]))
    one, other = shapely.STRtree(points).query(points, predicate="dwithin", distance=join_tol_mm)
    one, other = free[one[one < other]], free[other[one < other]]
    distance = np.hypot(*(ends[one] - ends[other]).T)
    keep = (one // 2 != other // 2) | _may_close(pieces, one // 2, distance)
    one, other, distance = one[keep], other[keep], distance[keep]
    for k in np.argsort(distance, kind="stable").tolist():
        i, j = one[k], other[k]
        if partner[i] < 0 and partner[j] < 0:
            partner[i], partner[j] = j, i
            gap[i] = gap[j] = distance[k]
    return Joints(partner=partner, gap_mm=gap)


def _may_close(pieces: Pieces, piece: IntArray, gap_mm: FloatArray) -> BoolArray:
    """Return which pieces are so much longer than the gap between their ends that they may close on themselves."""
    lengths = find_segments(pieces.vertices, closed=False).length_mm
    lengths = np.append(lengths, 0.0)
    lengths[pieces.first[1:] - 1] = 0.0
    total = np.add.reduceat(lengths, pieces.first[:-1])
    return np.asarray((total[piece] > 4.0 * gap_mm) & (np.diff(pieces.first)[piece] > 2))


def chain_pieces(pieces: Pieces, joints: Joints) -> list[Chain]:
    """Return the chains that joints make, closed pieces included, in order of their first piece."""
    partner = joints.partner.tolist()
    done = [False] * len(pieces)
    closed = pieces.closed.tolist()
    chains: list[Chain] = []
    for first in range(len(pieces)):
        if done[first]:
            continue
        if closed[first]:
            done[first] = True
            chains.append(Chain(pieces=(first,), turned=(False,), closed=True))
            continue
        entry, is_closed = _find_entry(partner, 2 * first)
        order, turned = [], []
        end = entry
        while True:
            done[end // 2] = True
            order.append(end // 2)
            turned.append(end % 2 == 1)
            end = partner[end ^ 1]
            if end in (-1, entry):
                break
        chains.append(Chain(pieces=tuple(order), turned=tuple(turned), closed=is_closed))
    return chains


def _find_entry(partner: list[int], end: int) -> tuple[int, bool]:
    """Return the end that a chain is entered by, going back from one of its ends, and whether it is closed."""
    entry = end
    while partner[entry] != -1:
        entry = partner[entry] ^ 1
        if entry == end:
            return end, True
    return entry, False


def lay_chain(pieces: Pieces, chain: Chain) -> FloatArray:
    """Return the vertices along a chain, (n, 3); of a closed one the first is not repeated."""
    if len(chain.pieces) == 1 and pieces.closed[chain.pieces[0]]:
        i = chain.pieces[0]
        return pieces.vertices[pieces.first[i] : pieces.first[i + 1]]
    runs = []
    for i, turned in zip(chain.pieces, chain.turned, strict=True):
        run = pieces.vertices[pieces.first[i] : pieces.first[i + 1]]
        runs.append(turn_run(run) if turned else run)
    last = runs[-1][-1:]
    path = np.concatenate([run[:-1] for run in runs])
    return path if chain.closed else np.concatenate((path, last))


def turn_run(run: FloatArray) -> FloatArray:
    """Return an open run the other way round."""
    bulges = np.append(-run[-2::-1, 2], 0.0)
    return np.column_stack((run[::-1, :2], bulges))
