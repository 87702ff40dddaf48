"""Curves to arcs: a tangent-continuous arc spline within a stated distance of a curve."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from cam.geometry.arcfit_sampling import Curve, sample_curve
from cam.geometry.contour import FloatArray

SAMPLE_SHARE = 1.0 / 50.0  # of the tolerance: how far the curve may stray from the chords between samples
LOOK_BEYOND = 6  # samples that are tried beyond the first that fails: where the curvature turns back, one may do again
MAX_SWEEP_RAD = 2.8  # turn of the curve under one pair of arcs; beyond a half turn the pair is not unique


def fit_curve(curve: Curve, *, breaks: FloatArray, tol_mm: float) -> FloatArray:
    """Return arcs within a distance of a parametric curve.

    Parameters
    ----------
    curve
        Points and derivatives at parameters.
    breaks
        (m,) the first and the last parameter and between them, rising, those where the curve may
        change its law, such as the knots of a spline. Each span is sampled on its own.
    tol_mm
        The distance within which curve and arcs stay of each other.

    Returns
    -------
    FloatArray
        (n, 3) open path ``x_mm, y_mm, bulge``, exact at both ends and at kinks, tangent-continuous
        elsewhere; the last bulge is 0 and unused.

    Raises
    ------
    ValueError
        If the curve is not finite or needs more than ``MAX_SAMPLES`` samples.

    Examples
    --------
    >>> def half_circle(t):
    ...     return np.column_stack((5 * np.cos(t), 5 * np.sin(t))), np.column_stack((-np.sin(t), np.cos(t)))
    >>> fit_curve(half_circle, breaks=np.array([0.0, np.pi]), tol_mm=0.005).round(6) + 0.0
    array([[ 5.,  0.,  1.],
           [-5.,  0.,  0.]])
    """
    runs = sample_curve(curve, breaks=breaks, chord_tol_mm=tol_mm * SAMPLE_SHARE)
    paths = [fit_arcs(run.points_mm, run.tangents, tol_mm=tol_mm, chord_tol_mm=tol_mm * SAMPLE_SHARE) for run in runs]
    return np.concatenate([path[:-1] for path in paths] + [paths[-1][-1:]])


def fit_arcs(points_mm: FloatArray, tangents: FloatArray, *, tol_mm: float, chord_tol_mm: float = 0.0) -> FloatArray:
    """Return arcs within a distance of a smooth curve that is given by close samples.

    Parameters
    ----------
    points_mm, tangents
        (n, 2) samples in order and the unit tangents there.
    tol_mm
        The distance within which curve and arcs stay of each other.
    chord_tol_mm
        How far the curve may stray from the chord between two samples; it is taken off ``tol_mm``.

    Returns
    -------
    FloatArray
        (m, 3) open path ``x_mm, y_mm, bulge``, exact at both ends; the last bulge is 0 and unused.

    Notes
    -----
    Greedy: from each sample the farthest one is sought to which a biarc with equal tangent lengths
    (Bolton, "Biarc curves", 1975, from memory) keeps the distance. The distance is verified at
    every sample; between two samples neither curve nor arc strays farther than ``chord_tol_mm``
    and the arc's own sagitta over that chord, which are taken off. Samples whose feet on the arcs
    do not advance are refused, so that the distance holds from the arcs to the curve too.
    """
    turn = np.concatenate(([0.0], np.cumsum(np.abs(_turns(tangents)))))
    step = np.hypot(*np.diff(points_mm, axis=0).T)
    rows: list[FloatArray] = []
    at, reach = 0, 8
    last = len(points_mm) - 1
    while at < last:
        limit = min(last, max(at + 1, int(np.searchsorted(turn, turn[at] + MAX_SWEEP_RAD, side="right")) - 1))

        def keeps(to: int, start: int = at) -> bool:
            biarc = lay_biarc(points_mm[start], tangents[start], points_mm[to], tangents[to])
            return biarc is not None and _keeps_distance(
                biarc, points_mm[start : to + 1], step[start:to], tol_mm=tol_mm - chord_tol_mm
            )

        to = _find_farthest(keeps, first=at + 1, guess=at + reach, limit=limit)
        biarc = lay_biarc(points_mm[at], tangents[at], points_mm[to], tangents[to])
        if biarc is None or (to == at + 1 and not keeps(to)):
            # two neighbouring samples: the chord itself is within chord_tol_mm of the curve
            biarc = np.array([[*points_mm[at], 0.0]])
        rows.append(biarc)
        at, reach = to, max(2, to - at)
    rows.append(np.array([[*points_mm[last], 0.0]]))
    return merge_arcs(np.concatenate(rows))


def _find_farthest(keeps: Callable[[int], bool], *, first: int, guess: int, limit: int) -> int:
    """Return the farthest index that keeps, by doubling and halving from a guess; at least ``first``."""
    good, bad = first, limit + 1
    trial = min(max(guess, first), limit)
    step = max(1, trial - first)
    while good < trial < bad:
        if keeps(trial):
            good = trial
            trial = min(limit, trial + step)
            step *= 2
        else:
            bad = trial
            trial = (good + bad) // 2
            step = 1
        if bad <= limit:
            trial = (good + bad) // 2
    beyond = good + 2
    while beyond <= min(limit, good + LOOK_BEYOND):
        if keeps(beyond):
            good = beyond
        beyond += 1
    return good


def lay_biarc(start: FloatArray, leaving: FloatArray, end: FloatArray, arriving: FloatArray) -> FloatArray | None:
    """Return two arcs that leave and arrive along given unit tangents, or None where none are plain.

    Returns
    -------
    FloatArray | None
        (2, 3) vertices of the start and of the joint; (1, 3) where one arc or line does.
    """
    chord = end - start
    square = float(chord @ chord)
    if square == 0.0:
        return None
    along = float(chord @ (leaving + arriving))
    bend = 2.0 * (1.0 - float(leaving @ arriving))
    root = along * along + bend * square
    denominator = along + root**0.5
    if not denominator > 0.0:
        return None
    # the smaller root written so that nearly equal tangents (bend near 0) lose no digits
    length = square / denominator
    joint = (start + end + length * (leaving - arriving)) / 2.0
    first, second = joint - start, end - joint
    bulges = np.tan([_angle(leaving, first) / 2.0, _angle(second, arriving) / 2.0])
    if np.abs(bulges).max() > 1.0:
        return None
    return np.array([[*start, bulges[0]], [*joint, bulges[1]]])


def _angle(one: FloatArray, other: FloatArray) -> float:
    return float(np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other))


def _turns(tangents: FloatArray) -> FloatArray:
    """Return the angle from each tangent to the next, (n - 1,)."""
    one, other = tangents[:-1], tangents[1:]
    return np.asarray(np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1)))


def _keeps_distance(biarc: FloatArray, points: FloatArray, step: FloatArray, *, tol_mm: float) -> bool:
    """Return whether samples lie within a distance of a biarc, their feet advancing along it."""
    joint, end = biarc[1, :2], points[-1]
    ahead = _directions_at_end(biarc[0], joint)
    second = ((points - joint) @ ahead) > 0.0
    if np.any(second[:-1] & ~second[1:]):
        return False
    split = int(np.argmax(second)) if second.any() else len(points)
    for row, to, part in (
        (biarc[0], joint, points[:split]),
        (biarc[1], end, points[split:]),
    ):
        offset, along, curvature, length = find_offsets(row, to, part)
        sagitta = float(step.max()) ** 2 * abs(curvature) / 8.0
        if len(part) and (np.abs(offset).max() + sagitta > tol_mm or along[-1] > length + tol_mm):
            return False
        if np.any(np.diff(along) < 0.0) or (len(part) and along[0] < -tol_mm):
            return False
    return True


def _directions_at_end(row: FloatArray, end: FloatArray) -> FloatArray:
    """Return the unit tangent where the arc from a vertex ends."""
    chord = (end - row[:2]) / np.hypot(*(end - row[:2]))
    half = 2.0 * np.arctan(row[2])
    c, s = np.cos(half), np.sin(half)
    return np.array([c * chord[0] - s * chord[1], s * chord[0] + c * chord[1]])


def find_offsets(row: FloatArray, end: FloatArray, points: FloatArray) -> tuple[FloatArray, FloatArray, float, float]:
    """Return how points lie to an arc: offset to its left, foot's length along it, its curvature and length.

    Notes
    -----
    With the arc's start as origin, its tangent T, left normal N and curvature k a point q has
    ``f = q.N - k |q|^2 / 2`` and the offset ``2 f / (1 + sqrt(1 - 2 k f))``: exact, and without
    loss where the arc is nearly straight (algebraic circle distance, from memory).
    """
    chord = end - row[:2]
    size = float(np.hypot(*chord))
    half = 2.0 * float(np.arctan(row[2]))
    c, s = float(np.cos(half)), float(np.sin(half))
    tangent = np.array([c * chord[0] + s * chord[1], -s * chord[0] + c * chord[1]]) / size
    normal = np.array([-tangent[1], tangent[0]])
    curvature = 2.0 * float(np.sin(half)) / size
    q = points - row[:2]
    across, forward = q @ normal, q @ tangent
    f = across - curvature * (q * q).sum(axis=1) / 2.0
    offset = 2.0 * f / (1.0 + np.sqrt(np.maximum(1.0 - 2.0 * curvature * f, 0.0)))
    length = size if half == 0.0 else size * half / float(np.sin(half))
    if abs(curvature) * size < 1e-12:
        return offset, forward, 0.0, size
    along = np.arctan2(curvature * forward, 1.0 - curvature * across) / curvature
    return offset, along, curvature, float(length)


def merge_arcs(path: FloatArray, *, same_mm: float = 1e-7) -> FloatArray:
    """Return an open path in which arcs of one circle that follow each other, or lines of one line, are one.

    What lies on one carrier to within ``same_mm`` becomes the fewest equal pieces of at most half a
    turn each, so that a whole circle becomes two half arcs.
    """
    rows: list[FloatArray] = []
    at, last = 0, len(path) - 1
    while at < last:
        to, half = at + 1, 2.0 * float(np.arctan(path[at, 2]))
        while to < last and _continues(path[at], path[at + 1, :2], path[to], path[to + 1, :2], same_mm):
            more = half + 2.0 * float(np.arctan(path[to, 2]))
            if abs(more) > np.pi * (1.0 + 1e-9):
                break
            to, half = to + 1, more
        rows.extend(_lay_equal(path[at], path[at + 1, :2], path[to, :2], half) if to > at + 1 else [path[at]])
        at = to
    rows.append(path[last])
    return np.array(rows)


def _continues(row: FloatArray, end: FloatArray, onward: FloatArray, beyond: FloatArray, same_mm: float) -> bool:
    """Return whether a segment goes on along the carrier of an earlier one, in the same sense."""
    if row[2] * onward[2] < 0.0:
        return False
    offset, along, curvature, _ = find_offsets(row, end, np.array([_find_middle(onward, beyond), beyond]))
    goes_on = curvature != 0.0 or 0.0 < along[0] < along[1]
    return bool(np.abs(offset).max() <= same_mm and goes_on)


def _lay_equal(row: FloatArray, end: FloatArray, to: FloatArray, half_sweep_rad: float) -> list[FloatArray]:
    """Return equal arcs from a vertex to a point on the circle of the arc from it to ``end``; one if a line."""
    count = max(1, int(np.ceil(abs(half_sweep_rad) * 2.0 / np.pi - 1e-9)))
    bulge = np.tan(half_sweep_rad / 2.0 / count)
    if count == 1:
        return [np.array([row[0], row[1], bulge])]
    chord = end - row[:2]
    normal = np.array([-chord[1], chord[0]])
    centre = (row[:2] + end) / 2.0 + normal * (1.0 - row[2] ** 2) / (4.0 * row[2])
    turn = 2.0 * half_sweep_rad / count
    offset = row[:2] - centre
    c, s = np.cos(turn), np.sin(turn)
    middle = centre + np.array([c * offset[0] - s * offset[1], s * offset[0] + c * offset[1]])
    return [np.array([row[0], row[1], bulge]), np.array([*middle, bulge])]


def _find_middle(row: FloatArray, end: FloatArray) -> FloatArray:
    """Return the point half way along an arc."""
    chord = end - row[:2]
    return np.asarray((row[:2] + end) / 2.0 + row[2] / 2.0 * np.array([chord[1], -chord[0]]))
