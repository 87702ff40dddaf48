"""Offsets of what breaks offset code, against closed forms: almost tangent arcs, cusps, small arcs, steps, size.

Areas of convex shapes grow by Steiner's formula ``A + L d + pi d^2``, and so do those of other shapes as long as
no two parts of the offset meet; where they meet, what they share is taken off.
"""

from __future__ import annotations

from math import acos, asin, cos, pi, sin, sqrt, tan

import numpy as np
import pytest

from cam.errors import PanelRefused
from cam.geometry.contour import Contour, Region, circle, polygon, rectangle
from cam.geometry.measure import find_bounds_mm, measure_area_mm2, measure_length_mm, measure_region_area_mm2
from cam.geometry.offset import offset_region
from cam.geometry.transform import move, reverse, turn

SMOOTH_MM = 4e-7
NEAR = {"rel": 1e-11, "abs": 1e-9}


def _offset_one(contour: Contour, distance_mm: float) -> Region:
    (region,) = offset_region(Region(outer=contour), distance_mm=distance_mm)
    return region


def _steiner_mm2(contour: Contour, d: float) -> float:
    return measure_area_mm2(contour) + measure_length_mm(contour) * d + pi * d * d


def _dent_mm2(width_mm: float, d: float) -> float:
    """Area between a line at d over two points a width apart and the arcs of radius d about them."""
    a = width_mm / 2.0
    return width_mm * d - (a * sqrt(d * d - a * a) + d * d * asin(a / d))


def _cap_mm2(radius_mm: float, away_mm: float) -> float:
    """Area of a disc beyond a line at a distance from its centre."""
    return radius_mm**2 * acos(away_mm / radius_mm) - away_mm * sqrt(radius_mm**2 - away_mm**2)


@pytest.mark.parametrize("bend", [0.0, 1e-12, 1e-9, 1e-7, 1e-6, 1e-5, 1e-4, 1e-2])
@pytest.mark.parametrize("d", [0.01, 2.5, 300.0])
def test_arcs_that_miss_their_tangent_outwards(bend: float, d: float) -> None:
    # a stadium whose ends sweep a little less than a half circle: four corners turn outwards by the bend
    bulge = tan((pi - 2.0 * bend) / 4.0)
    contour = Contour(np.array([[0.0, 0.0, 0.0], [10.0, 0.0, bulge], [10.0, 4.0, 0.0], [0.0, 4.0, bulge]]))
    grown = _offset_one(turn(contour, angle_rad=0.4), d).outer
    # ends within 0.4 nm of each other become one point, so that no more than that is missing all round
    assert measure_area_mm2(grown) == pytest.approx(_steiner_mm2(contour, d), abs=SMOOTH_MM * measure_length_mm(grown))


@pytest.mark.parametrize("bend", [1e-12, 1e-9, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3])
@pytest.mark.parametrize("d", [0.01, 2.5, 300.0])
def test_arcs_that_miss_their_tangent_inwards(bend: float, d: float) -> None:
    # the ends sweep a little more: four corners turn inwards, and what two strips share there is of the order
    # of d^2 bend^3, as for two lines, where it is d^2 (tan(bend / 2) - bend / 2) each
    bulge = tan((pi + 2.0 * bend) / 4.0)
    contour = Contour(np.array([[0.0, 0.0, 0.0], [10.0, 0.0, bulge], [10.0, 4.0, 0.0], [0.0, 4.0, bulge]]))
    grown = _offset_one(turn(contour, angle_rad=0.4), d).outer
    within = SMOOTH_MM * measure_length_mm(grown) + d * d * bend**3
    assert measure_area_mm2(grown) == pytest.approx(_steiner_mm2(contour, d), abs=within)
    assert len(grown) == 4


def _arbelos(left_mm: float, right_mm: float) -> Contour:
    """A half circle without two half circles on its diameter: three cusps."""
    r = left_mm + right_mm
    return Contour(np.array([[r, 0.0, 1.0], [-r, 0.0, -1.0], [-r + 2.0 * left_mm, 0.0, -1.0]]))


@pytest.mark.parametrize("d", [1e-3, 1.0, 5.999])
def test_cusps_are_rounded(d: float) -> None:
    shape = _arbelos(6.0, 11.0)
    grown = _offset_one(turn(shape, angle_rad=1.1), d).outer
    assert measure_area_mm2(grown) == pytest.approx(_steiner_mm2(shape, d), **NEAR)
    assert len(grown) == 6


@pytest.mark.parametrize("d", [11.5, 40.0])
def test_arcs_smaller_than_the_distance_leave_the_arcs_about_their_ends(d: float) -> None:
    left, right = 6.0, 11.0
    grown = _offset_one(_arbelos(left, right), d)
    below = pi * d * d / 2.0 + 2.0 * (left + right) * d - _dent_mm2(2.0 * left, d) - _dent_mm2(2.0 * right, d)
    assert not grown.holes
    assert measure_area_mm2(grown.outer) == pytest.approx(pi * (left + right + d) ** 2 / 2.0 + below, **NEAR)


@pytest.mark.parametrize("d", [2.0, 2.0 + 1e-9, 2.0 + 1e-6, 3.0, 14.999])
def test_fillets_as_small_as_the_distance_leave_sharp_corners(d: float) -> None:
    r, w, h = 2.0, 50.0, 30.0
    quarter = tan(pi / 8.0)
    corners = [(r, 0, 0), (w - r, 0, 1), (w, r, 0), (w, h - r, 1), (w - r, h, 0), (r, h, 1), (0, h - r, 0), (0, r, 1)]
    shape = Contour(np.array([[x, y, quarter * is_arc] for x, y, is_arc in corners]))
    shrunk = _offset_one(shape, -d).outer
    assert measure_area_mm2(shrunk) == pytest.approx((w - 2 * d) * (h - 2 * d), rel=1e-9, abs=1e-6)
    assert len(shrunk) == 4


@pytest.mark.parametrize("share", [1e-4, 0.01, 0.3, 0.5])
@pytest.mark.parametrize("d", [-4.9, -1.0, 1e-3, 40.0])
def test_circles_of_two_unequal_arcs(share: float, d: float) -> None:
    r, angle = 5.0, 2.0 * pi * share
    vertices = [[r, 0.0, tan(angle / 4.0)], [r * cos(angle), r * sin(angle), tan((2.0 * pi - angle) / 4.0)]]
    grown = _offset_one(move(Contour(np.array(vertices)), by_mm=(7.0, -3.0)), d).outer
    assert measure_area_mm2(grown) == pytest.approx(pi * (r + d) ** 2, rel=1e-8)
    assert find_bounds_mm(grown) == pytest.approx((2.0 - d, -8.0 - d, 12.0 + d, 2.0 + d), abs=1e-7)
    assert len(grown) == 2


@pytest.mark.parametrize("away", [-4.9, 0.0, 3.0, 4.999])
def test_a_circle_of_one_arc_cut_by_a_chord(away: float) -> None:
    # the part of a disc of 5 mm on one side of a line at a distance from its centre
    r, half = 5.0, acos(away / 5.0)
    shape = Contour(
        np.array([[r * sin(half), -away, tan((2.0 * pi - 2.0 * half) / 4.0)], [-r * sin(half), -away, 0.0]])
    )
    area = pi * r * r - _cap_mm2(r, away)
    assert measure_area_mm2(shape) == pytest.approx(area, **NEAR)
    for d in (0.01, 3.0, 100.0):
        assert measure_area_mm2(_offset_one(shape, d).outer) == pytest.approx(
            area + measure_length_mm(shape) * d + pi * d * d, **NEAR
        )
    for d in (0.01, 2.0):
        inner = offset_region(Region(outer=shape), distance_mm=-d)
        if away - d <= -(r - d):
            assert inner == ()
        else:
            assert measure_region_area_mm2(inner[0]) == pytest.approx(
                pi * (r - d) ** 2 - _cap_mm2(r - d, away - d), **NEAR
            )


def test_a_hole_that_merges_with_the_outline() -> None:
    # a hole 2 mm from the edge: at 1.5 mm the web is gone and the outline runs round the grown hole
    w, h, r, web, d = 100.0, 60.0, 8.0, 2.0, 1.5
    region = Region(
        outer=rectangle((0.0, 0.0), width_mm=w, height_mm=h),
        holes=(reverse(circle((40.0, r + web), radius_mm=r)),),
    )
    (merged,) = offset_region(region, distance_mm=-d)
    assert not merged.holes
    bite = pi * (r + d) ** 2 - _cap_mm2(r + d, r + web - d)
    assert measure_area_mm2(merged.outer) == pytest.approx((w - 2 * d) * (h - 2 * d) - bite, **NEAR)


def test_holes_that_merge_with_both_sides_split_the_panel() -> None:
    w, h, r, d = 100.0, 30.0, 6.0, 2.0
    region = Region(
        outer=rectangle((0.0, 0.0), width_mm=w, height_mm=h),
        holes=tuple(reverse(circle((50.0, y), radius_mm=r)) for y in (7.5, 22.5)),
    )
    # from 7.5 mm the grown holes of 8 mm reach over the edges, that have come in to 2 mm, and over each other's
    # halves at 15 mm: of each disc what lies between stays off the panel
    left, right = offset_region(region, distance_mm=-d)
    off = 2.0 * (pi * (r + d) ** 2 - _cap_mm2(r + d, 7.5 - d) - _cap_mm2(r + d, 15.0 - 7.5))
    both = measure_region_area_mm2(left) + measure_region_area_mm2(right)
    assert both == pytest.approx((w - 2 * d) * (h - 2 * d) - off, rel=1e-9)
    assert measure_region_area_mm2(left) == pytest.approx(measure_region_area_mm2(right), rel=1e-9)


@pytest.mark.parametrize("step", [1e-6, 3e-6, 1e-5, 1e-4, 1e-2])
@pytest.mark.parametrize("d", [0.05, 3.0, 100.0])
def test_a_step_of_a_millionth_of_a_millimetre(step: float, d: float) -> None:
    w, h, at = 50.0, 30.0, 20.0
    shape = polygon([(0, 0), (w, 0), (w, h + step), (at, h + step), (at, h), (0, h)])
    grown = _offset_one(shape, d).outer
    # above the offset of the lower rectangle: a strip as high as the step, and what the arc about its corner adds
    q = sqrt(2.0 * d * step - step * step)
    arc = (q * (d - step) + d * d * asin(q / d)) / 2.0 - q * (d - step)
    wanted = w * h + 2.0 * (w + h) * d + pi * d * d + step * (w + d - at) + min(arc, step * q)
    assert measure_area_mm2(grown) == pytest.approx(wanted, rel=1e-12, abs=1e-8)
    assert find_bounds_mm(grown) == pytest.approx((-d, -d, w + d, h + step + d), abs=1e-9)


@pytest.mark.parametrize("step", [1e-6, 1e-4])
def test_a_step_inwards_shifts_the_shrunk_side(step: float) -> None:
    w, h, at, d = 50.0, 30.0, 20.0, 3.0
    shape = polygon([(0, 0), (w, 0), (w, h + step), (at, h + step), (at, h), (0, h)])
    shrunk = _offset_one(shape, -d).outer
    q = sqrt(2.0 * d * step - step * step)
    arc = (q * (d - step) + d * d * asin(q / d)) / 2.0 - q * (d - step)
    wanted = (w - 2 * d) * (h - 2 * d) + step * (w - d - at) - arc
    assert measure_area_mm2(shrunk) == pytest.approx(wanted, rel=1e-12, abs=1e-8)


@pytest.mark.parametrize("d", [-3.0, 5.0])
def test_a_polygon_of_twenty_thousand_sides(d: float) -> None:
    n, reach = 20_000, 500.0
    angle = np.arange(n) * 2.0 * pi / n
    shape = polygon(reach * np.column_stack((np.cos(angle), np.sin(angle))))
    grown = _offset_one(shape, d).outer
    if d > 0.0:
        assert measure_area_mm2(grown) == pytest.approx(_steiner_mm2(shape, d), rel=1e-11)
        assert len(grown) == 2 * n
    else:
        inner = reach * cos(pi / n) + d
        assert measure_area_mm2(grown) == pytest.approx(n * tan(pi / n) * inner**2, rel=1e-9)
        assert len(grown) == n


@pytest.mark.parametrize("d", [-0.2, 0.2])
def test_a_comb_of_twenty_thousand_elements(d: float) -> None:
    teeth = 5_000
    x = np.arange(2 * teeth) * 1.25
    along = np.repeat(x, 2)
    y = np.tile([5.0, 25.0, 25.0, 5.0], teeth)
    points = [(along[0], 0.0), (along[-1], 0.0), *zip(along[-2:0:-1], y[-2:0:-1], strict=True)]
    shape = polygon(points)
    outward = 2 * teeth + 2
    inward = len(shape) - outward
    grown = _offset_one(shape, d).outer
    corners = (outward, inward) if d > 0.0 else (inward, outward)
    # a corner that opens gains a quarter disc, one that closes shares a square
    wanted = measure_area_mm2(shape) + measure_length_mm(shape) * d
    change = corners[0] * pi * d * d / 4.0 - corners[1] * d * d
    assert measure_area_mm2(grown) == pytest.approx(wanted + (change if d > 0.0 else -change), rel=1e-11)


def test_a_contour_that_crosses_itself_is_refused() -> None:
    shape = polygon([(0, 0), (60, 0), (60, 40), (20, -15), (0, 40)])
    with pytest.raises(PanelRefused, match="not certain"):
        offset_region(Region(outer=shape), distance_mm=-1.0)
