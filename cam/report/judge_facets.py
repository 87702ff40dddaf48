"""Arcs that a program writes as short straights: the circle that they follow."""

from __future__ import annotations

import numpy as np

from cam.backplot.portions import Portions
from cam.geometry.contour import FloatArray

INCH_MM = 25.4
SAME_CHORD = 1.05
"""The chord at the end of an arc is at most so many times as long as the one beside it."""
FACET_TOL_MM = 0.0055
"""Short straights that lie within this of the circle round their ends are that circle, written in chords: such chords
leave it by half as much on either side."""


def find_faceted_radius_mm(chord_mm: float, *, turn_rad: float, step_mm: float) -> float:
    """Return the radius of the circle that two straights follow, 0 where they follow none.

    Parameters
    ----------
    chord_mm
        The length of the shorter one.
    turn_rad
        The angle by which they turn, without sign.
    step_mm
        The last digit of the numbers that their ends are written in.

    Notes
    -----
    Chords of length c that turn by t at each joint have their ends on a circle of radius c / (2 sin(t / 2)), and
    bow away from it by c tan(t / 4) / 2. The shorter of the two decides: where a straight runs into an arc
    written in chords, only the last chord follows the circle. Rounded ends turn each chord by up to
    sqrt(2) last digits over its length, which is not the corner's doing.
    """
    if not np.isfinite(chord_mm) or chord_mm * np.tan(turn_rad / 4.0) / 2.0 > FACET_TOL_MM:
        return 0.0
    own = turn_rad - 2.0 * np.sqrt(2.0) * step_mm / chord_mm
    return float(chord_mm / (2.0 * np.sin(own / 2.0))) if own > 0.0 else float("inf")


def find_curvature_per_mm(portions: Portions) -> FloatArray:
    """Return the signed curvature of the path at the middle of each portion, (n,), positive to the left.

    Notes
    -----
    Of an arc it is its own. Of a straight between two others that it meets smoothly, within `FACET_TOL_MM`, it is
    the mean of the turns at its ends over its length. One that meets such a straight at one end only, and is no
    longer than it, is the last chord of the same arc: its curvature is that one turn over the mean of both lengths.
    0 of any other.
    """
    with np.errstate(invalid="ignore", divide="ignore"):
        own = np.sign(portions.sweep_rad) / portions.radius_mm
    curvature = np.where(portions.sweep_rad != 0.0, own, 0.0)
    if len(portions) < 3:
        return curvature
    chord = (portions.end_mm - portions.start_mm)[:, :2]
    length = np.hypot(chord[:, 0], chord[:, 1])
    straight = (portions.sweep_rad == 0.0) & (length > 0.0)
    before, after = chord[:-1], chord[1:]
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1))
    joined = (portions.end_mm[:-1] == portions.start_mm[1:]).all(axis=1) & straight[:-1] & straight[1:]
    shorter = np.minimum(length[:-1], length[1:])
    smooth = joined & (shorter * np.tan(np.abs(turn) / 4.0) / 2.0 <= FACET_TOL_MM)
    middle = np.flatnonzero(smooth[:-1] & smooth[1:]) + 1
    # only where the path goes on turning the same way, as an arc does
    middle = middle[turn[middle - 1] * turn[middle] > 0.0]
    curvature[middle] = (turn[middle - 1] + turn[middle]) / (2.0 * length[middle])
    joint = np.flatnonzero(smooth)
    for end, beside in ((joint, joint + 1), (joint + 1, joint)):
        last = np.isin(beside, middle) & ~np.isin(end, middle) & (length[end] <= SAME_CHORD * length[beside])
        last &= turn[joint] * curvature[beside] > 0.0
        curvature[end[last]] = 2.0 * turn[joint[last]] / (length[end[last]] + length[beside[last]])
    return curvature
