"""Parts of an offset joined to a loop: joints computed, parts of one carrier made one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import FloatArray, IntArray
from cam.geometry.offset.raw import TOUCH_MM, Pieces, points_at
from cam.geometry.offset.trace import Parts

MAX_MERGED_RAD = 1.5 * np.pi
"""Arcs of one circle become one arc up to this sweep; beyond it the chord would lose digits."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loop:
    """A closed loop of an offset, and what made it.

    ``vertices`` is (n, 3) as in a contour. ``maker``, (m,), names the segment or vertex that made
    each of the parts of the loop in order of travel, ``low_share`` and ``high_share``, (m,), say
    from where to where along that maker's whole piece it runs, and ``joint_mm``, (m, 2), where it
    starts. Parts on one circle are one segment in ``vertices``, so m may be more than n.
    """

    vertices: FloatArray
    length_mm: float
    maker: IntArray
    low_share: FloatArray
    high_share: FloatArray
    joint_mm: FloatArray


def join_parts(parts: Parts, *, pieces: Pieces) -> Loop | None:
    """Return the loop of parts in order, None if fewer than two distinct points remain."""
    parts = _join_same_piece(parts, pieces)
    start = points_at(pieces, parts.piece, parts.low_mm)
    end = points_at(pieces, parts.piece, parts.high_mm)
    joint = (np.roll(end, 1, axis=0) + start) / 2.0
    share = (parts.high_mm - parts.low_mm) / pieces.length_mm[parts.piece]
    sweep = pieces.sweep_rad[parts.piece] * share
    points, sweeps = _merge_carriers(joint, sweep, parts, pieces)
    vertices = np.column_stack((points, np.tan(sweeps / 4.0)))
    if len(vertices) < 2 or (len(vertices) == 2 and not vertices[:, 2].any()):
        return None
    return Loop(
        vertices=vertices,
        length_mm=float((parts.high_mm - parts.low_mm).sum()),
        maker=pieces.maker[parts.piece],
        low_share=parts.low_mm / pieces.length_mm[parts.piece],
        high_share=parts.high_mm / pieces.length_mm[parts.piece],
        joint_mm=joint,
    )


def _join_same_piece(parts: Parts, pieces: Pieces) -> Parts:
    """Return the parts with those that follow each other on one piece made one."""
    goes_on = (parts.piece == np.roll(parts.piece, 1)) & (np.abs(parts.low_mm - np.roll(parts.high_mm, 1)) <= TOUCH_MM)
    if goes_on.all():
        return parts
    first = int(np.flatnonzero(~goes_on)[0])
    order = np.roll(np.arange(len(parts)), -first)
    goes_on = goes_on[order]
    parts = parts.take(order)
    starts = np.flatnonzero(~goes_on)
    ends = np.append(starts[1:], len(parts)) - 1
    return Parts(
        parts.piece[starts],
        parts.low_mm[starts],
        parts.high_mm[ends],
        parts.start_node[starts],
        parts.end_node[ends],
    )


def _merge_carriers(
    joint: FloatArray, sweep: FloatArray, parts: Parts, pieces: Pieces
) -> tuple[FloatArray, FloatArray]:
    """Return points and sweeps with consecutive arcs of one circle made one."""
    n = len(parts)
    arc = pieces.is_arc[parts.piece]
    centre, radius = pieces.centre_mm[parts.piece], pieces.radius_mm[parts.piece]
    before = np.roll(np.arange(n), 1)
    same = (
        arc
        & arc[before]
        & (sweep * sweep[before] > 0.0)
        & (np.hypot(*(centre - centre[before]).T) <= 1e-9)
        & (np.abs(radius - radius[before]) <= 1e-9)
    )
    if not same.any():
        return joint, sweep
    if same.all() and abs(abs(float(sweep.sum())) - 2.0 * np.pi) < 1e-6:
        return _whole_circle(joint, sweep, centre[0])
    first = int(np.argmin(same))
    joint, sweep, same = np.roll(joint, -first, axis=0), np.roll(sweep, -first), np.roll(same, -first)
    starts, total = [], 0.0
    for i, (turn, goes_on) in enumerate(zip(sweep.tolist(), same.tolist(), strict=True)):
        if goes_on and abs(total + turn) <= MAX_MERGED_RAD:
            total += turn
        else:
            starts.append(i)
            total = turn
    return joint[starts], np.add.reduceat(sweep, starts)


def _whole_circle(joint: FloatArray, sweep: FloatArray, centre: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a whole circle as two half arcs."""
    half = float(np.copysign(np.pi, sweep[0]))
    return np.array([joint[0], 2.0 * centre - joint[0]]), np.array([half, half])
