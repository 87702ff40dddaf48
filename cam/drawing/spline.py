"""Splines to rows of vertices: rational B-splines, and curves given by their fit points only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.drawing.pieces import Row
from cam.geometry.arcfit import fit_curve
from cam.geometry.arcfit_sampling import Curve
from cam.geometry.contour import FloatArray

MAX_DEGREE = 25
MAX_FIT_POINTS = 3000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BSpline:
    """A rational B-spline: ``points`` (n, 3), ``weights`` (n,), ``knots`` (n + degree + 1,)."""

    points: FloatArray
    weights: FloatArray
    knots: FloatArray
    degree: int


def check_bspline(spline: BSpline) -> None:
    """Raise what makes a B-spline no curve.

    Raises
    ------
    ValueError
        With the reason.
    """
    count, degree, knots = len(spline.points), spline.degree, spline.knots
    if not 1 <= degree <= MAX_DEGREE:
        raise ValueError(f"a degree of {degree}")
    if count < degree + 1:
        raise ValueError(f"{count} control points for degree {degree}")
    if len(knots) != count + degree + 1:
        raise ValueError(
            f"{len(knots)} knots where {count} control points of degree {degree} need {count + degree + 1}"
        )
    if len(spline.weights) != count:
        raise ValueError(f"{len(spline.weights)} weights for {count} control points")
    if not (np.isfinite(knots).all() and np.isfinite(spline.weights).all()):
        raise ValueError("knots or weights that are no numbers")
    if (np.diff(knots) < 0.0).any() or not knots[degree] < knots[count]:
        raise ValueError("knots that do not rise")
    inner, times = np.unique(knots[(knots > knots[degree]) & (knots < knots[count])], return_counts=True)
    if len(inner) and times.max() > degree:
        raise ValueError(f"a break in the curve at knot {inner[times.argmax()]:g}")
    if not (spline.weights > 0.0).all() or spline.weights.max() > 1e9 * spline.weights.min():
        raise ValueError("weights that are not positive")


def lay_bspline(spline: BSpline, *, tol: float) -> list[Row]:
    """Return the open path of arcs within a distance of a B-spline, seen from above.

    Raises
    ------
    ValueError
        If it is no curve; see :func:`check_bspline`.
    """
    check_bspline(spline)
    low, high = spline.knots[spline.degree], spline.knots[len(spline.points)]
    breaks = spline.knots[(spline.knots >= low) & (spline.knots <= high)]
    return lay_curve(trace_bspline(spline), breaks=breaks, tol=tol)


def trace_bspline(spline: BSpline) -> Curve:
    """Return the function that evaluates a B-spline.

    Notes
    -----
    De Boor's algorithm in homogeneous coordinates, for all parameters at once; the derivative is
    taken from its last step (Piegl and Tiller, The NURBS Book, from memory).
    """
    degree, knots = spline.degree, spline.knots
    control = np.column_stack((spline.points[:, :2] * spline.weights[:, None], spline.weights))
    high = knots[len(control)]
    last = int(np.searchsorted(knots, high, side="left")) - 1

    def run(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        span = np.clip(np.searchsorted(knots, t, side="right") - 1, degree, last)
        level = control[span[:, None] + np.arange(-degree, 1)]
        for r in range(1, degree):
            index = span[:, None] + np.arange(r - degree, 1)
            low, width = knots[index], knots[index + degree - r + 1] - knots[index]
            share = ((t[:, None] - low) / width)[:, :, None]
            level = (1.0 - share) * level[:, :-1] + share * level[:, 1:]
        width = (knots[span + 1] - knots[span])[:, None]
        share = (t[:, None] - knots[span][:, None]) / width
        point = (1.0 - share) * level[:, 0] + share * level[:, 1]
        rate = degree * (level[:, 1] - level[:, 0]) / width
        position = point[:, :2] / point[:, 2:]
        return position, (rate[:, :2] - position * rate[:, 2:]) / point[:, 2:]

    return run


def lay_curve(curve: Curve, *, breaks: FloatArray, tol: float) -> list[Row]:
    """Return the open path of arcs within a distance of a curve."""
    path = fit_curve(curve, breaks=breaks, tol_mm=tol)
    return [(float(x), float(y), float(bulge)) for x, y, bulge in path]


def find_periodic_rates(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return parameters (n + 1,) and derivatives (n, k) of the periodic cubic through fit points (n, k).

    Raises
    ------
    ValueError
        If there are fewer than three points, more than ``MAX_FIT_POINTS``, or two coincide.

    Notes
    -----
    The DXF reference does not say how a closed curve runs between fit points; this one has
    continuous curvature and the chord lengths as its parameter, as is common practice.
    """
    n = len(points)
    if not 3 <= n <= MAX_FIT_POINTS:
        raise ValueError(f"a closed curve through {n} fit points")
    ring = np.concatenate((points, points[:1]))
    step = np.linalg.norm(np.diff(ring, axis=0), axis=1)
    if not (step > 0.0).all():
        raise ValueError("fit points that coincide")
    slope = np.diff(ring, axis=0) / step[:, None]
    before = np.roll(step, 1)
    # one equation a point: the second derivative does not jump there
    system = np.zeros((n, n))
    index = np.arange(n)
    system[index, index] = 2.0 * (before + step)
    system[index, (index - 1) % n] += step
    system[index, (index + 1) % n] += before
    right = 3.0 * (step[:, None] * np.roll(slope, 1, axis=0) + before[:, None] * slope)
    return np.concatenate(([0.0], np.cumsum(step))), np.linalg.solve(system, right)


def lay_closed_cubic(points: FloatArray, *, rates: FloatArray, knots: FloatArray, tol: float) -> list[Row]:
    """Return the closed path of arcs along a cubic with given derivatives, seen from above, no last row."""
    ring = np.concatenate((points, points[:1]))[:, :2]
    rate = np.concatenate((rates, rates[:1]))[:, :2]

    def run(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        i = np.clip(np.searchsorted(knots, t, side="right") - 1, 0, len(points) - 1)
        h = (knots[i + 1] - knots[i])[:, None]
        s = (t - knots[i])[:, None] / h
        position = (
            (1 + 2 * s) * (1 - s) ** 2 * ring[i]
            + s * (1 - s) ** 2 * h * rate[i]
            + s * s * (3 - 2 * s) * ring[i + 1]
            + s * s * (s - 1) * h * rate[i + 1]
        )
        direction = (
            6 * s * (s - 1) * (ring[i] - ring[i + 1]) / h
            + (1 - s) * (1 - 3 * s) * rate[i]
            + s * (3 * s - 2) * rate[i + 1]
        )
        return position, direction

    return lay_curve(run, breaks=knots, tol=tol)[:-1]
