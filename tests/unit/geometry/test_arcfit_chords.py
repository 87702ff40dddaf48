"""Runs of chords become arcs again, polygons stay polygons."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import shapely

from cam.geometry.arcfit_chords import fit_chords, fit_contour_chords
from cam.geometry.contour import Contour, circle, find_segments, polygon
from cam.geometry.flatten import flatten
from cam.geometry.measure import measure_area_mm2


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
