"""Arcs within a distance of a curve: exact ends, no kink, the distance held both ways, few pieces."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import shapely

from cam.geometry.arcfit import fit_curve, lay_biarc, merge_arcs
from cam.geometry.arcfit_sampling import sample_curve
from cam.geometry.contour import find_segments
from cam.geometry.flatten import flatten_vertices


def ellipse(a, b, x=0.0, y=0.0):
    def run(t):
        c, s = np.cos(t), np.sin(t)
        return np.column_stack((x + a * c, y + b * s)), np.column_stack((-a * s, b * c))

    return run


def log_spiral(t):
    r = np.exp(0.2 * t)
    c, s = np.cos(t), np.sin(t)
    return np.column_stack((r * c, r * s)), np.column_stack((r * (0.2 * c - s), r * (0.2 * s + c)))


def sine_wave(t):
    return np.column_stack((t, 5 * np.sin(t / 3))), np.column_stack((np.ones_like(t), 5 / 3 * np.cos(t / 3)))


CURVES = {
    "ellipse": (ellipse(100, 50), [0, 2 * pi]),
    "flat ellipse": (ellipse(300, 4), [0, 2 * pi]),
    "nearly a circle": (ellipse(80, 79.99), [0, 2 * pi]),
    "far ellipse": (ellipse(40, 25, 1e6, -1e6), [0, 4.0]),
    "spiral": (log_spiral, [0, 14]),
    "wave": (sine_wave, [0, 60]),
}


def measure_hausdorff_mm(curve, breaks, path):
    """The distance by shapely between a dense trace of the curve and one of the arcs, both ways."""
    origin = path[0, :2]
    dense = curve(np.linspace(breaks[0], breaks[-1], 4001))[0] - origin
    flat = flatten_vertices(path - np.array([*origin, 0.0]), chord_tol_mm=1e-4, closed=False)[0]
    return shapely.hausdorff_distance(shapely.LineString(flat), shapely.LineString(dense))


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize("tol_mm", [0.05, 0.005])
def test_arcs_stay_within_the_distance_and_meet_without_a_kink(name, tol_mm):
    curve, breaks = CURVES[name]
    path = fit_curve(curve, breaks=np.array(breaks, dtype=float), tol_mm=tol_mm)
    ends = curve(np.array(breaks, dtype=float))[0]
    assert (path[[0, -1], :2] == ends).all()
    assert measure_hausdorff_mm(curve, breaks, path) <= tol_mm + 2.5e-4  # the two traces' own chords
    segments = find_segments(path, closed=False)
    chord = segments.end_mm - segments.start_mm
    direction = np.arctan2(chord[:, 1], chord[:, 0])
    leaving, arriving = direction - segments.sweep_rad / 2, direction + segments.sweep_rad / 2
    kink = np.angle(np.exp(1j * (leaving[1:] - arriving[:-1])))
    assert np.abs(kink).max() < 1e-6


@pytest.mark.parametrize("name", ["ellipse", "spiral", "wave", "flat ellipse"])
@pytest.mark.parametrize("tol_mm", [0.005, 0.0001])
def test_piece_counts_are_what_biarcs_need(name, tol_mm):
    """Of a curve whose curvature changes at the rate k' two tangent arcs over a length L stray by k' L^3 / 324.

    With the curvature k0 + k' s over -h to h and the arcs' k0 -+ c, equal ends ask for c = 2 k' h / 3;
    twice integrated, the offset k' u^2 (u - h) / 6 is greatest at u = 2 h / 3. So a curve takes
    2 integral (k' / (324 tol))^(1/3) ds arcs, and up to two pairs more on each side of an extreme of its
    curvature, where k' vanishes and the next term of the series rules.
    """
    curve, breaks = CURVES[name]
    t = np.linspace(breaks[0], breaks[-1], 400_001)
    points, derivative = curve(t)
    ds = np.hypot(*np.diff(points, axis=0).T)
    curvature = np.diff(np.unwrap(np.arctan2(derivative[:, 1], derivative[:, 0]))) / ds
    rate = np.abs(np.diff(curvature)) / ((ds[1:] + ds[:-1]) / 2)
    ideal = 2 * (np.cbrt(rate / (324 * tol_mm)) * ds[1:]).sum()
    count = len(fit_curve(curve, breaks=np.array(breaks, dtype=float), tol_mm=tol_mm)) - 1
    # the start of a closed curve may be an extreme too
    turns_back = (np.diff(np.sign(np.diff(curvature[::100]))) != 0).sum()
    assert 0.9 * ideal < count < 1.05 * ideal + 2 + 8 * (turns_back + ("ellipse" in name))


def test_perimeter_of_an_ellipse():
    """Against the series of Gauss and Kummer, pi (a + b) sum (binomial(1/2, n) h^n)^2 (handbook of mathematics)."""
    a, b = 100.0, 50.0
    h = (a - b) / (a + b)
    coefficient, total = 1.0, 0.0
    for n in range(40):
        total += (coefficient * h**n) ** 2
        coefficient *= (0.5 - n) / (n + 1)
    path = fit_curve(ellipse(a, b), breaks=np.array([0.0, 2 * pi]), tol_mm=1e-4)
    assert find_segments(path, closed=False).length_mm.sum() == pytest.approx(pi * (a + b) * total, abs=2e-4)


def test_a_circle_becomes_its_half_arcs():
    path = fit_curve(ellipse(30, 30, 5, 7), breaks=np.array([0.0, 2 * pi]), tol_mm=0.005)
    assert len(path) == 3
    assert find_segments(path, closed=False).radius_mm == pytest.approx([30.0, 30.0], abs=1e-9)


def test_a_straight_curve_becomes_one_line():
    def line(t):
        return np.column_stack((t**3, 2 * t**3)), np.column_stack((3 * t**2, 6 * t**2))

    path = fit_curve(line, breaks=np.array([0.1, 5.0]), tol_mm=0.005)
    assert path.shape == (2, 3)
    assert abs(path[0, 2]) < 1e-12


def test_a_kink_stays_a_vertex():
    def corner(t):
        before = t[:, None] < 1
        point = np.where(before, np.column_stack((t, 0 * t)), np.column_stack((1 + 0 * t, t - 1)))
        return point, np.where(before, np.array([1.0, 0.0]), np.array([0.0, 1.0]))

    path = fit_curve(corner, breaks=np.array([0.0, 1.0, 2.0]), tol_mm=0.001)
    assert path == pytest.approx(np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0]]), abs=1e-12)


def test_a_cusp_is_reached():
    def cusp(t):  # t^2, t^3: the derivative vanishes at 0 and turns back
        return np.column_stack((20 * t**2, 20 * t**3)), np.column_stack((40 * t, 60 * t**2))

    path = fit_curve(cusp, breaks=np.array([-1.0, 1.0]), tol_mm=0.005)
    dense = cusp(np.linspace(-1, 1, 4001))[0]
    flat = flatten_vertices(path, chord_tol_mm=1e-5, closed=False)[0]
    assert shapely.hausdorff_distance(shapely.LineString(flat), shapely.LineString(dense)) <= 0.00501
    assert len(path) < 40


def test_samples_keep_the_chord_distance():
    """To the share that three probes of an interval can miss."""
    curve = CURVES["wave"][0]
    (run,) = sample_curve(curve, breaks=np.array([0.0, 60.0]), chord_tol_mm=1e-4)
    dense = curve(np.linspace(0, 60, 6001))[0]
    assert shapely.LineString(dense).hausdorff_distance(shapely.LineString(run.points_mm)) <= 1.2e-4


def test_a_curve_that_is_not_finite_is_refused():
    with pytest.raises(ValueError, match="not finite"), np.errstate(divide="ignore", invalid="ignore"):
        fit_curve(
            lambda t: (np.column_stack((1 / t, t)), np.column_stack((-1 / t**2, t))),
            breaks=np.array([0.0, 1]),
            tol_mm=0.1,
        )


def test_a_curve_without_length_is_refused():
    with pytest.raises(ValueError, match="no length"):
        fit_curve(lambda t: (np.zeros((len(t), 2)), np.ones((len(t), 2))), breaks=np.array([0.0, 1]), tol_mm=0.1)


def test_a_biarc_leaves_and_arrives_as_told():
    row = lay_biarc(np.zeros(2), np.array([1.0, 0.0]), np.array([10.0, 10.0]), np.array([0.0, 1.0]))
    assert find_segments(np.vstack((row, [[10, 10, 0]])), closed=False).radius_mm == pytest.approx([10.0, 10.0])
    assert lay_biarc(np.zeros(2), np.array([-1.0, 0.0]), np.array([10.0, 0.0]), np.array([-1.0, 0.0])) is None


def test_merging_keeps_what_is_not_one_circle():
    path = np.array([[0, 0, 0.1], [10, 0, 0.1], [20, 0, 0], [30, 0, 0], [40, 0, 0]], dtype=float)
    assert merge_arcs(path) == pytest.approx(path[[0, 1, 2, 4]])
