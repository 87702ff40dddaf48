"""Runs of chords become arcs again, polygons stay polygons."""

from __future__ import annotations

import time
from math import pi

import numpy as np
import pytest
import shapely

from cam.geometry.arcfit_chords import fit_chords, fit_contour_chords
from cam.geometry.contour import Contour, circle, find_segments, polygon
from cam.geometry.flatten import flatten
from cam.geometry.measure import measure_area_mm2
from cam.panel.nesting import find_diameter_mm


def ring(radius, count, centre=(0.0, 0.0), start=0.3, clockwise=False):
    turn = start + np.linspace(0, -2 * pi if clockwise else 2 * pi, count + 1)[:-1]
    return np.column_stack((centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)))


@pytest.mark.parametrize("clockwise", [False, True])
def test_a_circle_of_64_chords_is_a_circle_again(clockwise):
    fitted = fit_contour_chords(polygon(ring(17.5, 64, (1e4, -30), clockwise=clockwise)), tol_mm=0.05)
    assert len(fitted) == 2
    assert find_segments(fitted.vertices).radius_mm == pytest.approx([17.5, 17.5], abs=1e-6)
    assert measure_area_mm2(fitted) == pytest.approx((-1 if clockwise else 1) * pi * 17.5**2, rel=1e-9)


def test_chords_rounded_to_three_decimals():
    fitted = fit_contour_chords(polygon(ring(17.5, 64).round(3)), tol_mm=0.05)
    assert len(fitted) == 2
    assert find_segments(fitted.vertices).radius_mm == pytest.approx([17.5, 17.5], abs=0.001)


@pytest.mark.parametrize("count", [3, 4, 6, 8, 12])
def test_a_polygon_stays_a_polygon(count):
    """The sagitta of a chord of a circle of radius 50 with 12 chords is 1.7 mm (r (1 - cos(pi / n)))."""
    shape = polygon(ring(50, count))
    assert (fit_contour_chords(shape, tol_mm=0.1).vertices == shape.vertices).all()


def test_a_rounded_rectangle_of_chords():
    b = np.tan(pi / 8)
    rows = [(10, 0, 0), (90, 0, b), (100, 10, 0), (100, 50, b), (90, 60, 0), (10, 60, b), (0, 50, 0), (0, 10, b)]
    exact = Contour(np.array(rows, dtype=float))
    chords = polygon(flatten(exact, chord_tol_mm=0.02))
    fitted = fit_contour_chords(chords, tol_mm=0.03)
    assert len(fitted) == 8
    assert sorted(find_segments(fitted.vertices).radius_mm)[:4] == pytest.approx([10.0] * 4, abs=1e-6)
    assert measure_area_mm2(fitted) == pytest.approx(measure_area_mm2(exact), rel=1e-9)


def test_chords_and_arcs_stay_within_the_distance():
    t = np.linspace(0, 2 * pi, 241)[:-1]
    wobbly = polygon(np.column_stack(((80 + 9 * np.cos(3 * t)) * np.cos(t), (80 + 9 * np.cos(3 * t)) * np.sin(t))))
    fitted = fit_contour_chords(wobbly, tol_mm=0.1)
    assert len(fitted) < 60
    one, other = (shapely.LinearRing(flatten(shape, chord_tol_mm=1e-4)) for shape in (wobbly, fitted))
    assert one.hausdorff_distance(other) <= 0.1 + 1e-3


def test_arcs_that_are_there_already_stay():
    path = np.array([[0, 0, 0.5], [10, 0, 0], *[[10 + x, x * x / 50, 0] for x in (1, 2, 3, 4)]], dtype=float)
    fitted = fit_chords(path, tol_mm=0.2)
    assert (fitted[0] == path[0]).all()
    assert len(fitted) == 3
    assert (
        fit_contour_chords(circle((0, 0), radius_mm=5), tol_mm=0.1).vertices == circle((0, 0), radius_mm=5).vertices
    ).all()


@pytest.mark.parametrize("count", [16, 24, 64, 360])
@pytest.mark.parametrize("centre", [(0.0, 0.0), (1e4, -3e3), (1e6, 1e6)])
@pytest.mark.parametrize("decimals", [3, 9])
def test_a_fitted_circle_is_a_hole(count, centre, decimals):
    """As the panel's nesting knows one: two arcs about one centre to 1e-6 mm. 3 decimals are 0.0007 mm off at most."""
    fitted = fit_contour_chords(polygon(ring(4.0, count, centre, clockwise=True).round(decimals)), tol_mm=0.1)
    assert find_diameter_mm(fitted) == pytest.approx(8.0, abs=1e-3 if decimals == 3 else 2e-9)


@pytest.mark.parametrize("count", [3, 4, 5, 6, 8, 10, 12, 15])
@pytest.mark.parametrize("radius", [0.2, 1.0, 3.0])
def test_a_small_polygon_within_the_distance_of_a_circle_stays(count, radius):
    shape = polygon(ring(radius, count))
    assert fit_contour_chords(shape, tol_mm=5.0) is shape


@pytest.mark.parametrize("chamfers", [1, 2, 3])
def test_chamfered_corners_stay(chamfers):
    """Corners of a plate cut off once, twice or three times: 45, 30 or 22.5 degrees at each vertex."""
    corner = 0.5 * np.column_stack(
        (np.cos(np.linspace(0, pi / 2, chamfers + 1)), np.sin(np.linspace(0, pi / 2, chamfers + 1)))
    )
    quarter = np.array([[0, -1], [1, 0]])
    points = [
        p @ np.linalg.matrix_power(quarter, -k)
        for k in range(4)
        for p in np.array([30.0, 20.0] if k % 2 == 0 else [20.0, 30.0]) + corner
    ]
    shape = polygon(points)
    assert (fit_contour_chords(shape, tol_mm=0.5).vertices == shape.vertices).all()


def lay_frame(gap, radius):
    """A rounded square with straight sides of a length."""
    b, r, g = np.tan(pi / 8), radius, radius + gap
    rows = [(r, 0, 0), (g, 0, b), (g + r, r, 0), (g + r, g, b), (g, g + r, 0), (r, g + r, b), (0, g, 0), (0, r, b)]
    return Contour(np.array(rows, dtype=float))


@pytest.mark.parametrize("gap", [0.5, 2.0, 80.0])
@pytest.mark.parametrize("decimals", [3, 12])
def test_no_end_of_a_side_is_drawn_into_a_fillet(gap, decimals):
    """Whatever vertex the ring starts at, and however short the sides are beside the distance."""
    exact = lay_frame(gap, 10.0)
    points = flatten(exact, chord_tol_mm=0.02).round(decimals)
    off = 0.004 if decimals == 3 else 1e-6
    for first in range(0, len(points), 7):
        fitted = fit_contour_chords(polygon(np.roll(points, first, axis=0)), tol_mm=0.1)
        assert len(fitted) == 8
        radii = find_segments(fitted.vertices).radius_mm
        assert np.isinf(radii).sum() == 4
        assert radii[np.isfinite(radii)] == pytest.approx([10.0] * 4, abs=off)
        for row in exact.points_mm:
            assert np.hypot(*(fitted.points_mm - row).T).min() < 1e-3


@pytest.mark.parametrize("decimals", [3, 12])
def test_a_slot_of_chords_has_two_half_round_ends(decimals):
    exact = Contour(np.array([[0, -5, 0], [40, -5, 1], [40, 5, 0], [0, 5, 1]], dtype=float))
    points = flatten(exact, chord_tol_mm=0.01).round(decimals)
    fitted = fit_contour_chords(polygon(np.roll(points, 7, axis=0)), tol_mm=0.03)
    assert len(fitted) == 4
    assert sorted(find_segments(fitted.vertices).radius_mm)[:2] == pytest.approx([5.0, 5.0], abs=0.001)


def test_a_disc_with_a_flat_keeps_it():
    turn = np.radians(np.linspace(30, 330, 61))
    fitted = fit_contour_chords(polygon(20 * np.column_stack((np.cos(turn), np.sin(turn)))), tol_mm=0.1)
    segments = find_segments(fitted.vertices)
    assert segments.radius_mm[segments.is_arc] == pytest.approx([20.0, 20.0], abs=1e-9)
    assert np.abs(segments.sweep_rad).sum() == pytest.approx(np.radians(300.0))


def test_a_line_with_flaws_stays_a_line():
    """Vertices of a side that lie 0.001 mm off it, all to one side."""
    x = np.linspace(10, 90, 9)
    side = np.column_stack((x, -0.001 * np.sin((x - 10) / 80 * pi)))
    shape = polygon([(0, 0), *side, (100, 0), (100, 50), (0, 50)])
    assert (fit_contour_chords(shape, tol_mm=0.1).vertices == shape.vertices).all()


@pytest.mark.parametrize("seed", range(6))
def test_any_chords_stay_within_the_distance_both_ways(seed):
    """By shapely's Hausdorff distance, which looks at vertices only: both rings are cut to 0.4 mm first."""
    rng = np.random.default_rng(seed)
    count, waves, tol = int(rng.integers(40, 400)), int(rng.integers(1, 6)), 10 ** rng.uniform(-2.3, -0.3)
    t = np.linspace(0, 2 * pi, count, endpoint=False) + rng.uniform(-0.3, 0.3, count) * 2 * pi / count
    radius = 40 + rng.uniform(0, 12) * np.cos(waves * t) + rng.normal(0, rng.choice([0.0, 0.002, 0.05]), count)
    shape = polygon(np.column_stack((radius * np.cos(t), radius * np.sin(t))).round(int(rng.choice([3, 9]))))
    fitted = fit_contour_chords(shape, tol_mm=tol)
    one, other = (shapely.LinearRing(flatten(s, chord_tol_mm=1e-4)).segmentize(0.4) for s in (shape, fitted))
    assert one.hausdorff_distance(other) <= tol + 2e-4
    kept = {tuple(row) for row in shape.points_mm.tolist()}
    assert len(fitted) == 2 or all(tuple(row) in kept for row in fitted.points_mm.tolist())


def test_a_large_ring_is_fitted_in_little_time():
    t = np.linspace(0, 2 * pi, 5001)[:-1]
    start = time.process_time()
    fitted = fit_contour_chords(polygon(np.column_stack((1000 * np.cos(t), 600 * np.sin(t)))), tol_mm=0.05)
    assert len(fitted) < 40
    assert time.process_time() - start < 5.0


def test_a_distance_of_nothing_is_refused():
    with pytest.raises(ValueError, match="positive"):
        fit_contour_chords(polygon(ring(5, 20)), tol_mm=0.0)
