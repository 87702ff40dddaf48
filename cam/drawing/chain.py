"""Loose pieces to loops: ends paired by nearest mutual neighbour, tightest first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from cam.drawing.clean import SAME_MM
from cam.drawing.pieces import Pieces, find_piece_segments, measure_pieces_mm
from cam.geometry.contour import BoolArray, FloatArray, IntArray

MAX_PAIRS_PER_END = 50
CELL_STRIDE = 0x9E3779B97F4A7C1  # any large odd number: cells that share a key are told apart by distance

Number = TypeVar("Number", np.float64, np.int64, np.bool_)


class TooManyEnds(ValueError):  # noqa: N818 - a refusal in the making
    """More ends lie together than can be told apart; ``at_mm`` says where."""

    def __init__(self, at_mm: FloatArray, count: int) -> None:
        super().__init__(f"{count} ends lie within the join distance of each other")
        self.at_mm = at_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ends:
    """The two ends of every piece: end ``2 i`` is the start of piece i and end ``2 i + 1`` its end.

    ``points_mm`` (2 n, 2), ``outward`` (2 n, 2) the unit direction in which the piece arrives
    there, ``straight`` (2 n,) whether its last segment is a line, ``row`` (2 n,) its vertex.
    """

    points_mm: FloatArray
    outward: FloatArray
    straight: BoolArray
    row: IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Joints:
    """Ends joined to ends: ``one`` and ``other`` (k,) and the distance ``gap_mm`` (k,) bridged."""

    one: IntArray
    other: IntArray
    gap_mm: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chains:
    """Chains of pieces, laid end to end.

    ``vertices`` is (m, 3), all chains one after another; chain i owns rows ``first[i]`` to
    ``first[i + 1]``. An open chain ends with a row whose bulge is 0 and unused. ``piece`` (m,) is
    the piece that the segment from each row comes from, ``order`` the pieces in order of travel,
    ``entries`` the ends that they are entered by and ``first_piece`` (n + 1,) where each chain's
    begin in both.
    """

    vertices: FloatArray
    first: IntArray
    closed: BoolArray
    piece: IntArray
    order: IntArray
    entries: IntArray
    first_piece: IntArray

    def __len__(self) -> int:
        return len(self.closed)


def find_ends(pieces: Pieces) -> Ends:
    """Return the ends of pieces."""
    start, end, bulge = find_piece_segments(pieces)
    head, tail = pieces.first[:-1], pieces.first[1:] - 1
    into = _directions(start[head], end[head], -bulge[head])
    out_of = _directions(start[tail - 1], end[tail - 1], bulge[tail - 1])
    return Ends(
        points_mm=pieces.vertices[_alternate(head, tail), :2],
        outward=_alternate(-into, out_of),
        straight=_alternate(bulge[head] == 0.0, bulge[tail - 1] == 0.0),
        row=_alternate(head, tail),
    )


def _alternate(one: npt.NDArray[Number], other: npt.NDArray[Number]) -> npt.NDArray[Number]:
    """Return rows of two arrays in turn."""
    return np.stack((one, other), axis=1).reshape(2 * len(one), *one.shape[1:])


def _directions(start: FloatArray, end: FloatArray, bulge: FloatArray) -> FloatArray:
    """Return the unit tangents at the ends of segments."""
    chord = end - start
    size = np.hypot(*chord.T)
    unit = chord / np.where(size > 0.0, size, 1.0)[:, None]
    half = 2.0 * np.arctan(bulge)
    c, s = np.cos(half), np.sin(half)
    return np.column_stack((c * unit[:, 0] - s * unit[:, 1], s * unit[:, 0] + c * unit[:, 1]))


def pair_ends(pieces: Pieces, ends: Ends, *, join_tol_mm: float) -> Joints:
    """Return which ends of open pieces meet within a distance.

    Raises
    ------
    TooManyEnds
        If ends crowd so that they cannot be told apart.

    Notes
    -----
    Of all pairs of ends within the distance the tightest is joined first, then the tightest of the
    rest: each joint is between nearest mutual neighbours. Among pairs that coincide, ends of one
    layer go before ends of two and the smaller turn goes before the greater. A piece closes on
    itself only where it is at least four times as long as the gap.
    """
    free = np.flatnonzero(np.repeat(~pieces.closed, 2))
    one, other, distance = find_close_pairs(ends.points_mm, free, within_mm=join_tol_mm)
    keep = (one // 2 != other // 2) | may_close(pieces, one // 2, distance)
    one, other, distance = one[keep], other[keep], distance[keep]
    layers = [source.layer for source in pieces.sources]
    differs = np.array([layers[i // 2] != layers[j // 2] for i, j in zip(one.tolist(), other.tolist(), strict=True)])
    turn = np.round((ends.outward[one] * ends.outward[other]).sum(axis=1), 6)
    order = np.lexsort((turn, differs, np.where(distance <= SAME_MM, 0.0, distance)))
    taken = [False] * len(ends.points_mm)
    joined = []
    for k, i, j in zip(order.tolist(), one[order].tolist(), other[order].tolist(), strict=True):
        if not (taken[i] or taken[j]):
            taken[i] = taken[j] = True
            joined.append(k)
    return Joints(one=one[joined], other=other[joined], gap_mm=distance[joined])


def find_close_pairs(points: FloatArray, free: IntArray, *, within_mm: float) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the pairs of free points within a distance, and the distances.

    Raises
    ------
    TooManyEnds
        If there are more than ``MAX_PAIRS_PER_END`` for each point on average.
    """
    # a distance of 0 asks for coincident points, for which any small cell does
    cell = np.floor(points[free] / max(within_mm, 1e-9)).astype(np.int64)
    key = cell[:, 0] * CELL_STRIDE + cell[:, 1]
    order = np.argsort(key, kind="stable")
    rank = key[order]
    pairs: list[tuple[IntArray, IntArray]] = []
    # each cell against itself and half of its neighbours, so that every pair is met once
    for right, up in ((0, 0), (0, 1), (1, -1), (1, 0), (1, 1)):
        wanted = rank + right * CELL_STRIDE + up
        low, high = np.searchsorted(rank, wanted, side="left"), np.searchsorted(rank, wanted, side="right")
        count = high - low
        if count.sum() > MAX_PAIRS_PER_END * len(free) + 10_000:
            raise TooManyEnds(points[free[order[count.argmax()]]], int(count.max()))
        at = np.repeat(np.arange(len(free)), count)
        step = np.arange(len(at)) - np.repeat(np.cumsum(count) - count, count)
        one, other = order[at], order[low[at] + step]
        keep = one < other if (right, up) == (0, 0) else one != other
        pairs.append((free[one[keep]], free[other[keep]]))
    one, other = np.concatenate([p[0] for p in pairs]), np.concatenate([p[1] for p in pairs])
    distance = np.hypot(*(points[one] - points[other]).T)
    near = distance <= within_mm
    return one[near], other[near], distance[near]


def may_close(pieces: Pieces, piece: IntArray, gap_mm: FloatArray) -> BoolArray:
    """Return which pieces are so much longer than the gap between their ends that they may close on themselves."""
    return np.asarray((measure_pieces_mm(pieces)[piece] > 4.0 * gap_mm) & (np.diff(pieces.first)[piece] > 2))


def close_gaps(pieces: Pieces, ends: Ends, joints: Joints) -> Pieces:
    """Return the pieces with joined ends made one point.

    Notes
    -----
    Ends that differ by rounding only meet where the line ends, because its numbers are as drawn; a
    gap between a line and an arc is closed by the line, so that the arc keeps its radius; any
    other gap in its middle.
    """
    one, other = joints.one, joints.other
    first_wins = np.where(joints.gap_mm <= SAME_MM, ends.straight[one], ~ends.straight[one] & ends.straight[other])
    middle = (joints.gap_mm > SAME_MM) & (ends.straight[one] == ends.straight[other])
    a, b = ends.points_mm[one], ends.points_mm[other]
    met = np.where(middle[:, None], (a + b) / 2.0, np.where(first_wins[:, None], a, b))
    vertices = pieces.vertices.copy()
    vertices[ends.row[one], :2] = met
    vertices[ends.row[other], :2] = met
    return Pieces(vertices=vertices, first=pieces.first, closed=pieces.closed, sources=pieces.sources)


def chain_pieces(pieces: Pieces, joints: Joints) -> Chains:
    """Return the chains that joints make, closed pieces included, in order of their first piece."""
    partner = [-1] * (2 * len(pieces))
    for i, j in zip(joints.one.tolist(), joints.other.tolist(), strict=True):
        partner[i], partner[j] = j, i
    done = [False] * len(pieces)
    closed_piece = pieces.closed.tolist()
    entries: list[int] = []
    first_piece, closed = [0], []
    for first in range(len(pieces)):
        if done[first]:
            continue
        entry, is_closed = (2 * first, True) if closed_piece[first] else _find_entry(partner, 2 * first)
        end = entry
        while True:
            done[end // 2] = True
            entries.append(end)
            end = partner[end ^ 1]
            if end in (-1, entry):
                break
        first_piece.append(len(entries))
        closed.append(is_closed)
    return _lay(
        pieces,
        np.array(entries, dtype=np.int64),
        np.array(first_piece, dtype=np.int64),
        np.array(closed, dtype=np.bool_),
    )


def _find_entry(partner: list[int], end: int) -> tuple[int, bool]:
    """Return the end that a chain is entered by, going back from one of its ends, and whether it is closed."""
    entry = end
    while partner[entry] != -1:
        entry = partner[entry] ^ 1
        if entry == end:
            return end, True
    return entry, False


def _lay(pieces: Pieces, entries: IntArray, first_piece: IntArray, closed: BoolArray) -> Chains:
    """Lay pieces one after another, each entered by one of its ends."""
    order, turned = entries // 2, entries % 2 == 1
    rows = np.diff(pieces.first)[order]
    ends_open = np.zeros(len(order), dtype=np.bool_)
    ends_open[first_piece[1:][~closed] - 1] = True
    # an open piece gives its last vertex to the next piece, unless nothing follows
    counts = rows - (~pieces.closed[order] & ~ends_open)
    at = np.repeat(np.arange(len(order)), counts)
    step = np.arange(len(at)) - np.repeat(np.cumsum(counts) - counts, counts)
    head, tail = pieces.first[:-1][order][at], pieces.first[1:][order][at] - 1
    back = turned[at]
    row = np.where(back, tail - step, head + step)
    vertices = pieces.vertices[row]
    bulge_row = np.where(back, np.maximum(row - 1, head), row)
    vertices[:, 2] = pieces.vertices[bulge_row, 2] * np.where(back, -1.0, 1.0)
    starts = np.concatenate(([0], np.cumsum(counts)))
    vertices[starts[1:][ends_open] - 1, 2] = 0.0
    return Chains(
        vertices=vertices,
        first=starts[first_piece].astype(np.int64),
        closed=closed.astype(np.bool_),
        piece=order[at],
        order=order,
        entries=entries,
        first_piece=first_piece,
    )
