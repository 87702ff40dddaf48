"""From raw pieces and their crossings to closed loops of the parts that keep the distance."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.clearance import SourceTree, find_neighbours
from cam.geometry.offset.crossings import Crossings
from cam.geometry.offset.raw import TOUCH_MM, Pieces, directions_at, points_at
from cam.geometry.offset.skin import Skin, find_nearer
from cam.geometry.offset.trim import Intervals, hold

NOISE_MM = 1e-8
"""Clearances that differ from the distance by less than this may do so through rounding alone."""

CROSSING_SINE = 1e-3
"""Sine of the angle from which two ways through a point cross rather than touch."""


class LoopsOpen(Exception):  # noqa: N818 - caught inside the package, never seen outside it
    """The kept parts do not close: two decisions on the same point disagree."""


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """Parts of pieces between two nodes: ``low_mm`` to ``high_mm`` along ``piece``; all (n,)."""

    piece: IntArray
    low_mm: FloatArray
    high_mm: FloatArray
    start_node: IntArray
    end_node: IntArray

    def __len__(self) -> int:
        return len(self.piece)

    def take(self, which: BoolArray | IntArray) -> Parts:
        """Return some of the parts."""
        return Parts(
            self.piece[which], self.low_mm[which], self.high_mm[which], self.start_node[which], self.end_node[which]
        )


def cut_at_crossings(pieces: Pieces, crossings: Crossings) -> Parts:
    """Return the parts of the pieces between crossings, ends at the same point sharing a node."""
    count = len(pieces)
    every = np.arange(count)
    number = 2 * count + np.arange(len(crossings.first))
    piece = np.concatenate((every, every, crossings.first, crossings.second))
    along = np.concatenate((np.zeros(count), pieces.length_mm, crossings.first_mm, crossings.second_mm))
    node = np.concatenate((2 * every, 2 * every + 1, number, number))
    order = np.lexsort((along, piece))
    piece, along, node = piece[order], along[order], node[order]
    same = piece[1:] == piece[:-1]
    near = same & (along[1:] - along[:-1] <= TOUCH_MM)
    pairs = np.concatenate((pieces.joined, np.column_stack((node[:-1], node[1:]))[near]))
    label = _find_labels(2 * count + len(number), pairs)
    # a short part whose ends are one point by way of other pieces is no part either
    looped = (label[node[:-1]] == label[node[1:]]) & (along[1:] - along[:-1] <= 100.0 * TOUCH_MM)
    apart = same & ~near & ~looped
    return Parts(
        piece[:-1][apart], along[:-1][apart], along[1:][apart], label[node[:-1][apart]], label[node[1:][apart]]
    )


def _find_labels(count: int, pairs: IntArray) -> IntArray:
    """Return for each number the smallest number that it is connected to by pairs."""
    label = np.arange(count)
    while True:
        low = np.minimum(label[pairs[:, 0]], label[pairs[:, 1]])
        lower = label.copy()
        np.minimum.at(lower, label[pairs[:, 0]], low)
        np.minimum.at(lower, label[pairs[:, 1]], low)
        lower = lower[lower]
        if (lower == label).all():
            return label
        label = lower


def keep_distant(
    parts: Parts, *, pieces: Pieces, skin: Skin, tree: SourceTree, intervals: Intervals
) -> tuple[Parts, FloatArray]:
    """Return the parts that keep the distance from every segment, and by how much, closed gaps left out.

    Returns
    -------
    tuple
        The parts, and for each how much farther its middle is from the nearest other segment than
        from its own: at least ``-NOISE_MM``, at most ``TOUCH_MM``.

    Notes
    -----
    A part between two crossings keeps the distance everywhere or nowhere, so its middle decides.
    Where another segment faces a part at the same distance, within ``TOUCH_MM``, the gap between
    them is as wide as twice the distance: nothing remains there and both parts are left out.
    """
    parts = parts.take(hold(intervals, pieces, parts.piece, (parts.low_mm + parts.high_mm) / 2.0))
    points = points_at(pieces, parts.piece, (parts.low_mm + parts.high_mm) / 2.0)
    far = ~find_nearer(skin, points, than_mm=pieces.distance_mm - NOISE_MM)
    parts, points = parts.take(far), points[far]
    # the source lies to the left of travel where it is passed on the right
    ahead = directions_at(pieces, parts.piece, (parts.low_mm + parts.high_mm) / 2.0)
    to_source = pieces.side * np.column_stack((-ahead[:, 1], ahead[:, 0]))
    point, segment, foot = find_neighbours(tree, points, within_mm=pieces.distance_mm + TOUCH_MM)
    reach = np.hypot(foot[:, 0], foot[:, 1])
    facing = (foot * to_source[point]).sum(axis=1) < -0.9 * reach
    closed = facing & (reach < pieces.distance_mm + TOUCH_MM)
    # the foot on the part's own maker says nothing
    own = np.hypot(*(foot - pieces.distance_mm * to_source[point]).T) <= NOISE_MM
    own &= (segment == pieces.maker[parts.piece[point]]) | (pieces.maker[parts.piece[point]] >= len(tree.source))
    margin = np.full(len(parts), TOUCH_MM)
    np.minimum.at(margin, point[~own], reach[~own] - pieces.distance_mm)
    kept = margin >= -NOISE_MM
    kept[point[closed]] = False
    return parts.take(kept), margin[kept]


def trace_loops(parts: Parts, margin_mm: FloatArray, *, pieces: Pieces) -> list[list[int]]:
    """Return closed loops of parts, each a list of numbers of parts in order of travel.

    Raises
    ------
    LoopsOpen
        If a way ends, and leaving out parts whose margin is in doubt does not mend it.
    """
    alive = settle_balance(parts, margin_mm)
    leaving: dict[int, list[int]] = {}
    for number in np.flatnonzero(alive).tolist():
        leaving.setdefault(int(parts.start_node[number]), []).append(number)
    piece, end_node = parts.piece.tolist(), parts.end_node.tolist()
    unused = set(np.flatnonzero(alive).tolist())
    loops = []
    for first in np.flatnonzero(alive).tolist():
        if first not in unused:
            continue
        loop, number = [], first
        while number in unused:
            unused.remove(number)
            loop.append(number)
            ways = [way for way in leaving[end_node[number]] if way in unused or way == first]
            if not ways:
                raise LoopsOpen
            same = [way for way in ways if piece[way] == piece[number]]
            if same and len(ways) > 1:
                _refuse_crossing(parts, pieces, number, [way for way in ways if way not in same])
            number = same[0] if same else ways[0] if len(ways) == 1 else _leftmost(parts, pieces, number, ways)
        if number != first:
            raise LoopsOpen
        loops.append(loop)
    return loops


def _refuse_crossing(parts: Parts, pieces: Pieces, arriving: int, ways: list[int]) -> None:
    """Refuse two ways that cross and both go on: beyond a crossing each is nearer to the other's source."""
    into = directions_at(pieces, parts.piece[[arriving]], parts.high_mm[[arriving]])[0]
    out = directions_at(pieces, parts.piece[ways], parts.low_mm[ways])
    if (np.abs(into[0] * out[:, 1] - into[1] * out[:, 0]) > CROSSING_SINE).any():
        raise LoopsOpen


def settle_balance(parts: Parts, margin_mm: FloatArray) -> BoolArray:
    """Return which parts to keep so that as many arrive at each node as leave it.

    Notes
    -----
    Where two carriers almost coincide, as on both sides of an almost tangent joint, both of two
    parts may seem to keep the distance within the noise. The one with the smaller margin goes,
    and what then leads nowhere. A part beyond doubt always stays.
    """
    alive = np.ones(len(parts), dtype=np.bool_)
    count = int(max(parts.start_node.max(), parts.end_node.max())) + 1 if len(parts) else 0
    excess = np.bincount(parts.start_node, minlength=count) - np.bincount(parts.end_node, minlength=count)
    doubtful = (margin_mm <= NOISE_MM) | (parts.high_mm - parts.low_mm <= 10.0 * TOUCH_MM)
    while excess.any():
        gain = (excess[parts.start_node] > 0).astype(np.int64) + (excess[parts.end_node] < 0)
        at = np.flatnonzero(alive & doubtful & (gain > 0))
        if not len(at):
            raise LoopsOpen
        at = at[gain[at] == gain[at].max()]
        worst = at[int(np.argmin(margin_mm[at]))]
        alive[worst] = False
        excess[parts.start_node[worst]] -= 1
        excess[parts.end_node[worst]] += 1
    return alive


def _leftmost(parts: Parts, pieces: Pieces, arriving: int, ways: list[int]) -> int:
    """Return the way that turns most to the left, so that loops that touch stay apart."""
    into = directions_at(pieces, parts.piece[[arriving]], parts.high_mm[[arriving]])[0]
    out = directions_at(pieces, parts.piece[ways], parts.low_mm[ways])
    turn = np.arctan2(into[0] * out[:, 1] - into[1] * out[:, 0], out @ into)
    return ways[int(np.argmax(np.where(turn > pi - 1e-6, -pi, turn)))]
