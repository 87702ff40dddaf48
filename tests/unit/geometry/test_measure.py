"""Measures, moves and chords of contours against closed forms and a general-purpose library."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
import shapely

from cam.geometry.contour import Contour, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import (
    contains_point,
    find_bounds_mm,
    find_distance_mm,
    find_min_radius_mm,
    is_counter_clockwise,
    measure_area_mm2,
    measure_length_mm,
)
from cam.geometry.transform import mirror, move, reverse, scale, turn

LENS = Contour(np.array([[0.0, 0.0, 0.5], [10.0, 0.0, 0.5]]))
BLOB = Contour(np.array([[0.0, 0.0, 0.3], [10.0, 0.0, -0.5], [10.0, 10.0, 1.0], [0.0, 10.0, 0.0]]))


def test_lens_of_two_arcs() -> None:
    # bulge 1/2: quarter of the angle has tangent 1/2, so the radius is c (1 + b^2) / (4 b) = 6.25
    r, half = 6.25, 2.0 * np.arctan(0.5)
    assert measure_area_mm2(LENS) == pytest.approx(2.0 * r * r * (half - np.sin(half) * np.cos(half)), abs=1e-12)
    assert measure_length_mm(LENS) == pytest.approx(4.0 * r * half, abs=1e-12)
    assert find_min_radius_mm(LENS) == pytest.approx(r)
    assert find_bounds_mm(LENS) == pytest.approx((0.0, -2.5, 10.0, 2.5), abs=1e-12)


def test_flat_arcs_keep_their_area() -> None:
    # sagitta s over chord c: area 2/3 s c to first order
    flat = Contour(np.array([[0.0, 0.0, 1e-7], [1000.0, 0.0, 1e-7]]))
    assert measure_area_mm2(flat) == pytest.approx(2.0 * 2.0 / 3.0 * (1e-7 * 500.0) * 1000.0, rel=1e-9)


def test_a_distant_origin_costs_no_area() -> None:
    assert measure_area_mm2(move(BLOB, by_mm=(1e6, -1e6))) == pytest.approx(measure_area_mm2(BLOB), abs=1e-7)


def test_containment_and_distance_agree_with_a_fine_polygon() -> None:
    fine = shapely.Polygon(flatten(BLOB, chord_tol_mm=1e-5))
    rng = np.random.default_rng(4)
    for x, y in rng.uniform(-8.0, 18.0, (1500, 2)).tolist():
        away = fine.boundary.distance(shapely.Point(x, y))
        assert find_distance_mm(BLOB, (x, y)) == pytest.approx(away, abs=2e-5)
        if away > 1e-4:
            assert contains_point(BLOB, (x, y)) == fine.contains(shapely.Point(x, y))
            assert contains_point(reverse(BLOB), (x, y)) == contains_point(BLOB, (x, y))


def test_chords_stay_within_their_distance_and_on_the_contour() -> None:
    for tol in (0.5, 0.01, 1e-4):
        ring = flatten(BLOB, chord_tol_mm=tol)
        middles = (ring + np.roll(ring, -1, axis=0)) / 2.0
        assert max(find_distance_mm(BLOB, (x, y)) for x, y in middles.tolist()) <= tol * (1.0 + 1e-9)
        assert max(find_distance_mm(BLOB, (x, y)) for x, y in ring.tolist()) < 1e-9


def test_mirror_turn_scale() -> None:
    area = measure_area_mm2(BLOB)
    seen = mirror(BLOB, x_mm=3.0)
    assert is_counter_clockwise(seen) == is_counter_clockwise(BLOB)
    assert measure_area_mm2(seen) == pytest.approx(area, abs=1e-12)
    assert mirror(seen, x_mm=3.0).vertices == pytest.approx(BLOB.vertices, abs=1e-12)
    assert measure_area_mm2(scale(BLOB, factor=3.0)) == pytest.approx(9.0 * area, rel=1e-12)
    assert turn(rectangle((1.0, 2.0), width_mm=3.0, height_mm=4.0), angle_rad=pi / 2.0).points_mm.tolist() == [
        [-2.0, 1.0],
        [-2.0, 4.0],
        [-6.0, 4.0],
        [-6.0, 1.0],
    ]
    with pytest.raises(ValueError, match="positive"):
        scale(BLOB, factor=-1.0)


def test_reverse_is_its_own_inverse() -> None:
    assert np.array_equal(reverse(reverse(BLOB)).vertices, BLOB.vertices)
    assert measure_area_mm2(reverse(BLOB)) == pytest.approx(-measure_area_mm2(BLOB), abs=1e-12)


@pytest.mark.parametrize(
    "rows",
    [[[0, 0, 0]], [[0, 0, 0], [1, 0, 0]], [[0, 0, 0], [0, 0, 0], [1, 1, 0]], [[0, 0, 0], [np.nan, 0, 0], [1, 1, 0]]],
)
def test_what_is_no_contour_is_not_made(rows: list[list[float]]) -> None:
    with pytest.raises(ValueError):
        Contour(np.array(rows, dtype=np.float64))
