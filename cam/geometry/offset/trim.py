"""Where raw pieces can belong to an offset at all: a search by halving, with a certain bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.raw import Pieces, points_at
from cam.geometry.offset.skin import Skin, find_nearer


@dataclass(frozen=True, slots=True, eq=False)
class Intervals:
    """Parts of pieces: ``low_mm`` to ``high_mm`` along ``piece``, each (n,), sorted, not overlapping."""

    piece: IntArray
    low_mm: FloatArray
    high_mm: FloatArray

    def __len__(self) -> int:
        return len(self.piece)

    def take(self, which: BoolArray | IntArray) -> Intervals:
        """Return some of the intervals."""
        return Intervals(self.piece[which], self.low_mm[which], self.high_mm[which])


def find_live_intervals(pieces: Pieces, skin: Skin) -> Intervals:
    """Return intervals that hold every point of the pieces that keeps the distance from the source.

    Notes
    -----
    The distance to the source changes by no more than the way along a piece. An interval of half
    length h whose middle lies nearer than the distance by more than h can be dropped whole; others
    are halved until there are some four for each segment. What is left over is settled exactly.
    """
    quarters = np.maximum(np.ceil(np.abs(pieces.sweep_rad) / (np.pi / 2.0) - 1e-9), 1).astype(np.int64)
    live = _divide(pieces, np.arange(len(pieces)), np.zeros(len(pieces)), pieces.length_mm, quarters)
    limit = pieces.distance_mm - 1e-6
    done: list[Intervals] = []
    for _ in range(24):
        half = (live.high_mm - live.low_mm) / 2.0
        dead = find_nearer(skin, points_at(pieces, live.piece, live.low_mm + half), than_mm=limit - half)
        live, half = live.take(~dead), half[~dead]
        fine = 2.0 * half.sum() / (2.0 * len(skin.source) + 16.0)
        small = half <= fine
        done.append(live.take(small))
        live = live.take(~small)
        if not len(live):
            break
        live = _divide(pieces, live.piece, live.low_mm, live.high_mm, np.full(len(live), 2))
    done.append(live)
    piece = np.concatenate([part.piece for part in done])
    low = np.concatenate([part.low_mm for part in done])
    high = np.concatenate([part.high_mm for part in done])
    order = np.lexsort((low, piece))
    return Intervals(piece[order], low[order], high[order])


def _divide(pieces: Pieces, piece: IntArray, low: FloatArray, high: FloatArray, parts: IntArray) -> Intervals:
    owner = np.repeat(np.arange(len(piece)), parts)
    number = np.arange(len(owner)) - (np.cumsum(parts) - parts)[owner]
    step = ((high - low) / parts)[owner]
    bottom = low[owner] + step * number
    top = np.where(number + 1 == parts[owner], high[owner], low[owner] + step * (number + 1))
    return Intervals(piece[owner], bottom, top)


def hold(intervals: Intervals, pieces: Pieces, piece: IntArray, along_mm: FloatArray) -> BoolArray:
    """Return which places along pieces lie in one of the intervals."""
    if not len(intervals):
        return np.zeros(len(piece), dtype=np.bool_)
    scale = np.maximum(pieces.length_mm, np.finfo(np.float64).tiny) * 1.001
    start = intervals.piece + intervals.low_mm / scale[intervals.piece]
    at = np.searchsorted(start, piece + along_mm / scale[piece] + 1e-12, side="right") - 1
    known = at >= 0
    at = np.maximum(at, 0)
    inside = (intervals.piece[at] == piece) & (along_mm <= intervals.high_mm[at] + 1e-9)
    return np.asarray(known & inside)
