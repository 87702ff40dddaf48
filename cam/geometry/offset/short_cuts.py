"""Which segments of a source an offset can pass by, because the segments round them cover theirs."""

from __future__ import annotations

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray
from cam.geometry.offset.source import Source

ROUNDS = 4
FLAT_RAD = 0.01
"""Sweep up to which an arc counts as straight here."""
MAX_TURN_RAD = 0.5
COVER = 1.05
"""How much longer than a segment the laps over its ends must be together."""
SIDE = 0.8
"""How long its neighbours must be for that, against its own length."""


def find_passed(source: Source, *, closing_rad: FloatArray, distance_mm: float) -> BoolArray:
    """Return which segments can be left out of the chain at a distance, shape (n,).

    Parameters
    ----------
    source
        The segments.
    closing_rad
        (n,) by how much the vertex at the start of each segment closes, 0 where it does not.
    distance_mm
        The distance.

    Notes
    -----
    Between two closing vertices a segment of length L shorter than the distance d is passed by
    where the laps of its offset over its neighbours', ``d tan(t / 2)`` at either end, are longer
    together than L: then its neighbours, made longer until they meet in a point u, cover all that
    it covers, by convexity: every point over the segment lies between one within d of an end of it
    and one that a neighbour covers. The material without the triangle below u has the same offset,
    and a link from the end of one neighbour's offset to the start of the other's stays within d of
    that triangle and goes round it the same way. Four rounds leave one segment in sixteen.
    """
    segments = source.segments
    alive = np.arange(len(source))
    length = segments.length_mm
    closing = closing_rad.copy()
    flat = np.abs(segments.sweep_rad) <= FLAT_RAD
    passed = np.zeros(len(source), dtype=np.bool_)
    for _ in range(ROUNDS):
        if len(alive) < 5:
            break
        here = np.arange(1, len(alive) - 1, 2)
        before, after = here - 1, here + 1
        start, end, own = closing[alive[here]], closing[alive[after]], length[alive[here]]
        contour = source.contour[alive]
        sides = np.minimum(length[alive[before]], length[alive[after]])
        near = (contour[before] == contour[after]) & flat[alive[before]] & flat[alive[here]] & flat[alive[after]]
        turns = (start > 0.0) & (end > 0.0) & (start + end <= MAX_TURN_RAD)
        laps = distance_mm * (start + end) / 2.0
        chosen = near & turns & (laps >= COVER * own) & (own <= 0.5 * distance_mm) & (sides >= SIDE * own)
        if not chosen.any():
            break
        here, start, end, own = here[chosen], start[chosen], end[chosen], own[chosen]
        whole = np.sin(start + end)
        length[alive[here - 1]] += own * np.sin(end) / whole
        length[alive[here + 1]] += own * np.sin(start) / whole
        closing[alive[here + 1]] = start + end
        passed[alive[here]] = True
        alive = np.flatnonzero(~passed)
    return passed
