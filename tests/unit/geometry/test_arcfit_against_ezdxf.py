"""Fitted splines and ellipses against a second engine's flattening, and the counts of arcs against the fewest.

The second engine is ezdxf 1.x: ``ConstructionEllipse`` and ``BSpline`` flatten themselves within a distance of
1e-5 mm. The fewest arcs are found by dynamic programming over the same samples with the same kind of pair.
"""

from __future__ import annotations

from itertools import pairwise
from math import pi

import numpy as np
import pytest
import shapely
from ezdxf.math import BSpline, ConstructionEllipse

from cam.geometry.arcfit import _keeps_distance, fit_curve, lay_biarc
from cam.geometry.arcfit_sampling import sample_curve
from cam.geometry.contour import find_segments
from cam.geometry.flatten import flatten_vertices

TOL_MM = 0.005


def ellipse(a, b, rotation=0.3):
    c, s = np.cos(rotation), np.sin(rotation)
    turn = np.array([[c, s], [-s, c]])

    def run(t):
        x, y = np.cos(t), np.sin(t)
        return np.column_stack((a * x, b * y)) @ turn, np.column_stack((-a * y, b * x)) @ turn

    reference = ConstructionEllipse((0, 0), (a * c, a * s, 0), ratio=b / a, start_param=0.0, end_param=2 * pi)
    return run, np.array([0.0, 2 * pi]), [(p.x, p.y) for p in reference.flattening(1e-5)]


def spline(points, degree=3, weights=None):
    """A clamped B-spline of ezdxf, traced by its own derivatives."""
    reference = BSpline(points, order=degree + 1, weights=weights)

    def run(t):
        # ezdxf takes one parameter at a time, within the knots
        rows = [reference.derivative(float(u), n=1) for u in np.clip(t, 0.0, reference.max_t)]
        return np.array([[p.x, p.y] for p, _ in rows]), np.array([[d.x, d.y] for _, d in rows])

    breaks = np.unique(np.array(reference.knots()))
    return run, breaks, [(p.x, p.y) for p in reference.flattening(1e-5)]


def curves():
    rng = np.random.default_rng(5)
    wander = [(float(x), float(y)) for x, y in np.column_stack((np.arange(9) * 25, rng.uniform(-30, 30, 9)))]
    loop = [(60 * np.cos(t), 35 * np.sin(t) + 10 * np.sin(2 * t)) for t in np.linspace(0, 2 * pi, 11)]
    return {
        "ellipse": ellipse(120.0, 70.0),
        "thin ellipse": ellipse(250.0, 12.0),
        "small ellipse": ellipse(3.0, 2.0),
        "cubic": spline(wander),
        "quintic": spline(wander, degree=5),
        "rational": spline(loop, weights=[1, 2, 1, 0.5, 1, 3, 1, 1, 0.7, 1, 1]),
        "quadratic": spline(loop[:6], degree=2),
    }


CURVES = curves()


@pytest.mark.parametrize("name", CURVES)
def test_arcs_and_flattening_stay_within_the_distance_both_ways(name):
    """Measured at every point of either trace to the other's chords; both traces' own chords add 2e-5 mm."""
    run, breaks, reference = CURVES[name]
    path = fit_curve(run, breaks=breaks, tol_mm=TOL_MM)
    flat = flatten_vertices(path, chord_tol_mm=1e-5, closed=False)[0]
    for points, line in ((flat, reference), (reference, flat)):
        line_of_chords = shapely.linestrings(np.array(list(pairwise(np.asarray(line)))))
        tree = shapely.STRtree(line_of_chords)
        away = tree.query_nearest(shapely.points(np.asarray(points)), return_distance=True, all_matches=False)[1]
        assert away.max() <= TOL_MM + 2e-5
    # the greedy fit uses what it is given: half of it would take a quarter more arcs
    assert away.max() > 0.5 * TOL_MM


@pytest.mark.parametrize("name", CURVES)
def test_arcs_meet_without_a_kink(name):
    run, breaks, _ = CURVES[name]
    segments = find_segments(fit_curve(run, breaks=breaks, tol_mm=TOL_MM), closed=False)
    chord = segments.end_mm - segments.start_mm
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    kink = np.angle(
        np.exp(1j * (heading[1:] - segments.sweep_rad[1:] / 2 - heading[:-1] - segments.sweep_rad[:-1] / 2))
    )
    # the one degree of freedom that a quadratic's knots leave is its curvature, not its tangent
    assert np.abs(kink).max() < 1e-6


def count_fewest_pairs(points, tangents, *, tol_mm, chord_tol_mm):
    """The fewest pairs of arcs between samples, by dynamic programming over all spans that may be kept."""
    step = np.hypot(*np.diff(points, axis=0).T)
    count = len(points)
    fewest = np.full(count, count)
    fewest[0] = 0
    for at in range(count - 1):
        misses = 0
        for to in range(at + 1, count):
            pair = lay_biarc(points[at], tangents[at], points[to], tangents[to])
            kept = pair is not None and _keeps_distance(
                pair, points[at : to + 1], step[at:to], tol_mm=tol_mm - chord_tol_mm
            )
            if kept or to == at + 1:
                fewest[to] = min(fewest[to], fewest[at] + 1)
                misses = 0
            else:
                misses += 1
                if misses > 4:  # far beyond the first that fails: none is kept again
                    break
    return int(fewest[-1])


@pytest.mark.parametrize(("name", "tol_mm"), [("ellipse", 1.5), ("cubic", 0.5), ("quadratic", 0.2)])
def test_the_greedy_count_is_the_fewest(name, tol_mm):
    """On samples coarse enough to try every pair of them; arcs of one circle may be one arc in the end."""
    run, breaks, _ = CURVES[name]
    path = fit_curve(run, breaks=breaks, tol_mm=tol_mm)
    runs = sample_curve(run, breaks=breaks, chord_tol_mm=tol_mm / 50.0)
    assert len(runs) == 1
    fewest = count_fewest_pairs(runs[0].points_mm, runs[0].tangents, tol_mm=tol_mm, chord_tol_mm=tol_mm / 50.0)
    assert len(path) - 1 <= 2 * fewest
