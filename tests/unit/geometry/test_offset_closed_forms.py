"""Offsets against closed forms: Steiner's formula for convex shapes, and shapes that split or close."""

from __future__ import annotations

from math import asin, pi, sqrt

import numpy as np
import pytest
import shapely

from cam.geometry.contour import Contour, Region, circle, polygon, rectangle
from cam.geometry.measure import (
    find_bounds_mm,
    is_counter_clockwise,
    measure_area_mm2,
    measure_length_mm,
    measure_region_area_mm2,
)
from cam.geometry.offset import offset_region
from cam.geometry.transform import move, reverse, turn

NEAR = {"rel": 1e-11, "abs": 1e-9}


def _offset_one(contour: Contour, distance_mm: float) -> Region:
    regions = offset_region(Region(outer=contour), distance_mm=distance_mm)
    assert len(regions) == 1
    assert is_counter_clockwise(regions[0].outer)
    assert not any(is_counter_clockwise(hole) for hole in regions[0].holes)
    return regions[0]


def _dent_mm2(width_mm: float, d: float) -> float:
    """Area between a line at d over two points a width apart and the arcs of radius d about them."""
    a = width_mm / 2.0
    return width_mm * d - (a * sqrt(d * d - a * a) + d * d * asin(a / d))


@pytest.mark.parametrize("d", [1e-3, 0.5, 3.0, 300.0])
def test_convex_polygons_grow_by_steiners_formula(d: float) -> None:
    rng = np.random.default_rng(3)
    for _ in range(10):
        hull = shapely.MultiPoint(rng.uniform(0.0, 500.0, (12, 2))).convex_hull
        contour = polygon(np.asarray(hull.exterior.coords)[:-1][::-1])
        contour = contour if is_counter_clockwise(contour) else reverse(contour)
        grown = _offset_one(contour, d).outer
        area, length = measure_area_mm2(contour), measure_length_mm(contour)
        assert measure_area_mm2(grown) == pytest.approx(area + length * d + pi * d * d, **NEAR)
        assert measure_length_mm(grown) == pytest.approx(length + 2.0 * pi * d, **NEAR)
        assert len(grown) == 2 * len(contour)


@pytest.mark.parametrize("d", [-4.999, -1.0, 0.001, 7.0])
def test_circles_stay_circles(d: float) -> None:
    grown = _offset_one(circle((1e6, -1e6), radius_mm=5.0), d).outer
    assert measure_area_mm2(grown) == pytest.approx(pi * (5.0 + d) ** 2, rel=1e-9)
    assert len(grown) == 2
    assert grown.bulges == pytest.approx([1.0, 1.0], abs=1e-12)


def test_what_is_smaller_than_the_distance_vanishes() -> None:
    assert offset_region(Region(outer=circle((0.0, 0.0), radius_mm=5.0)), distance_mm=-5.001) == ()
    assert offset_region(Region(outer=rectangle((0.0, 0.0), width_mm=9.0, height_mm=50.0)), distance_mm=-4.501) == ()


@pytest.mark.parametrize("d", [-1.9, -0.5, 0.5, 20.0])
def test_stadium(d: float) -> None:
    stadium = Contour(np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 1.0], [10.0, 4.0, 0.0], [0.0, 4.0, 1.0]]))
    grown = _offset_one(stadium, d).outer
    r = 2.0 + d
    assert measure_area_mm2(grown) == pytest.approx(20.0 * r + pi * r * r, **NEAR)
    assert len(grown) == 4


@pytest.mark.parametrize("d", [0.3, 3.0])
def test_l_shape_both_ways(d: float) -> None:
    shape = polygon([(0, 0), (60, 0), (60, 20), (25, 20), (25, 50), (0, 50)])
    area, length = measure_area_mm2(shape), measure_length_mm(shape)
    grown = _offset_one(shape, d).outer
    # five corners gain a quarter disc each; at the inner one two strips overlap in a square
    assert measure_area_mm2(grown) == pytest.approx(area + length * d + 1.25 * pi * d * d - d * d, **NEAR)
    assert len(grown) == 11
    shrunk = _offset_one(shape, -d).outer
    assert measure_area_mm2(shrunk) == pytest.approx(area - length * d + 5.0 * d * d - 0.25 * pi * d * d, **NEAR)
    assert len(shrunk) == 7


def test_u_shape_whose_slot_closes() -> None:
    w, d = 8.0, 5.0
    shape = polygon([(0, 0), (60, 0), (60, 40), (34, 40), (34, 15), (26, 15), (26, 40), (0, 40)])
    grown = _offset_one(shape, d)
    assert not grown.holes
    whole = 60.0 * 40.0 + 200.0 * d + pi * d * d
    assert measure_area_mm2(grown.outer) == pytest.approx(whole - _dent_mm2(w, d), **NEAR)


def test_c_shape_whose_mouth_closes_keeps_a_hole() -> None:
    # a ring with a mouth of 6 mm: grown by 4 the mouth closes and the room within stays as a hole
    shape = polygon(
        [
            (0, 0),
            (60, 0),
            (60, 60),
            (33, 60),
            (33, 50),
            (50, 50),
            (50, 10),
            (10, 10),
            (10, 50),
            (27, 50),
            (27, 60),
            (0, 60),
        ]
    )
    d = 4.0
    grown = _offset_one(shape, d)
    assert len(grown.holes) == 1
    hole = -measure_area_mm2(grown.holes[0])
    assert hole == pytest.approx((40.0 - 2 * d) ** 2 + _dent_mm2(6.0, d), **NEAR)
    assert measure_area_mm2(grown.outer) == pytest.approx(3600.0 + 240.0 * d + pi * d * d - _dent_mm2(6.0, d), **NEAR)


def test_key_slot_splits_in_two() -> None:
    # two squares of 30 mm joined by a neck of 6 mm
    shape = polygon(
        [
            (0, 0),
            (30, 0),
            (30, 12),
            (50, 12),
            (50, 0),
            (80, 0),
            (80, 30),
            (50, 30),
            (50, 18),
            (30, 18),
            (30, 30),
            (0, 30),
        ]
    )
    d = 4.0
    parts = offset_region(Region(outer=shape), distance_mm=-d)
    assert len(parts) == 2
    for part in parts:
        assert measure_region_area_mm2(part) == pytest.approx((30.0 - 2 * d) ** 2 + _dent_mm2(6.0, d), **NEAR)


def test_comb_loses_its_teeth() -> None:
    points: list[tuple[float, float]] = [(0.0, 0.0), (100.0, 0.0), (100.0, 20.0)]
    for k in range(9, -1, -1):
        points += [(k * 10.0 + 6.0, 20.0), (k * 10.0 + 6.0, 50.0), (k * 10.0, 50.0), (k * 10.0, 20.0)]
    shape = polygon(list(dict.fromkeys(points)))
    (spine,) = offset_region(Region(outer=shape), distance_mm=-3.5)
    min_x, min_y, max_x, max_y = find_bounds_mm(spine.outer)
    assert (min_x, min_y, max_x) == pytest.approx((3.5, 3.5, 96.5), abs=1e-9)
    assert max_y < 21.0


def test_holes_grow_where_the_region_shrinks() -> None:
    region = Region(
        outer=rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0),
        holes=(reverse(circle((30.0, 30.0), radius_mm=8.0)),),
    )
    (shrunk,) = offset_region(region, distance_mm=-2.0)
    assert measure_region_area_mm2(shrunk) == pytest.approx(96.0 * 56.0 - pi * 100.0, **NEAR)
    (merged,) = offset_region(
        Region(outer=region.outer, holes=(*region.holes, reverse(circle((50.0, 30.0), radius_mm=8.0)))),
        distance_mm=-3.0,
    )
    assert len(merged.holes) == 1


def test_out_and_in_again_is_the_shape_where_it_is_smooth() -> None:
    smooth = turn(
        Contour(np.array([[0.0, 0.0, 0.0], [90.0, 0.0, 1.0], [90.0, 30.0, 0.0], [0.0, 30.0, 1.0]])), angle_rad=0.3
    )
    back = _offset_one(_offset_one(smooth, 6.0).outer, -6.0).outer
    assert np.abs(np.sort(back.points_mm, axis=0) - np.sort(smooth.points_mm, axis=0)).max() < 1e-9


def test_a_straight_stays_one_line_and_a_move_moves_the_offset() -> None:
    shape = polygon([(0, 0), (60, 0), (60, 20), (25, 20), (25, 50), (0, 50)])
    near, far = _offset_one(shape, -3.0).outer, _offset_one(move(shape, by_mm=(1e6, 1e6)), -3.0).outer
    assert len(near) == len(far) == 7
    assert measure_area_mm2(far) == pytest.approx(measure_area_mm2(near), abs=1e-6)
