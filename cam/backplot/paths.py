"""The geometry of a trace's moves: lengths, directions, portions below a height, chords."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.backplot.trace import Kind, Trace
from cam.geometry.contour import BoolArray, FloatArray, IntArray

# the in-plane axes, first to second counter-clockwise seen against the normal, then the normal
PLANE_AXES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Paths:
    """Lengths and directions of the moves of a trace; n rows.

    Attributes
    ----------
    moving
        (n,) whether the move is a rapid, a line or an arc of a length above zero.
    length_mm
        (n,) length along the path, 0 where nothing moves.
    radius_mm
        (n,) an arc's radius in its plane, inf elsewhere.
    first_direction, last_direction
        (n, 3) unit vectors of travel at start and end, 0 where nothing moves.
    """

    moving: BoolArray
    length_mm: FloatArray
    radius_mm: FloatArray
    first_direction: FloatArray
    last_direction: FloatArray


def find_paths(trace: Trace) -> Paths:
    """Return lengths and directions of a trace's moves.

    Notes
    -----
    A helix of radius r, turn t and rise h has the length ``hypot(r t, h)``; it climbs evenly.
    """
    chord = trace.end_mm - trace.start_mm
    length = np.sqrt((chord**2).sum(axis=1))
    straight = (trace.kind == Kind.RAPID) | (trace.kind == Kind.LINE)
    length = np.where(straight, length, 0.0)
    first = np.divide(chord, length[:, None], out=np.zeros_like(chord), where=length[:, None] > 0.0)
    last = first.copy()
    radius = np.full(len(trace), np.inf)
    for plane, (a, b, n) in PLANE_AXES.items():
        at = np.flatnonzero((trace.kind == Kind.ARC) & (trace.plane == plane))
        if not len(at):
            continue
        turn = trace.sweep_rad[at]
        out = trace.start_mm[at] - trace.centre_mm[at]
        radius[at] = np.hypot(out[:, a], out[:, b])
        along = radius[at] * np.abs(turn)
        length[at] = np.hypot(along, chord[at, n])
        for into, spoke in ((first, out), (last, trace.end_mm[at] - trace.centre_mm[at])):
            size = np.hypot(spoke[:, a], spoke[:, b])
            level = np.sign(turn) * along / (length[at] * size)
            into[at, a], into[at, b] = -spoke[:, b] * level, spoke[:, a] * level
            into[at, n] = chord[at, n] / length[at]
    return Paths(
        moving=length > 0.0,
        length_mm=length,
        radius_mm=radius,
        first_direction=first,
        last_direction=last,
    )


def find_plane_axes(trace: Trace) -> IntArray:
    """Return the first, second and normal axis of each move's plane, shape (n, 3)."""
    table = np.zeros((20, 3), dtype=np.int64)
    for plane, axes in PLANE_AXES.items():
        table[plane] = axes
    return np.asarray(table[trace.plane])
