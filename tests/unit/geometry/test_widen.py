"""Grooves: paths and loops widened, against a polygon engine (shapely) and closed forms."""

from math import pi

import numpy as np
import pytest
import shapely

from cam.geometry.contour import circle, polygon, rectangle
from cam.geometry.flatten import flatten, flatten_vertices
from cam.geometry.measure import find_min_radius_mm, is_counter_clockwise, measure_region_area_mm2
from cam.geometry.offset.widen import widen_loop, widen_path
from cam.geometry.transform import reverse

CHORD_MM = 1e-4


def build_polygon(region):
    outer, *holes = (flatten(contour, chord_tol_mm=CHORD_MM) for contour in region.contours)
    return shapely.Polygon(outer, holes)


def widen_by_polygon(points, *, width_mm):
    return shapely.LineString(points).buffer(width_mm / 2.0, quad_segs=512)


def find_hausdorff_mm(one, other):
    return max(
        shapely.distance(shapely.points(shapely.get_coordinates(one.boundary)), other.boundary).max(),
        shapely.distance(shapely.points(shapely.get_coordinates(other.boundary)), one.boundary).max(),
    )


@pytest.mark.parametrize("turned", [0.0, 0.7, 2.1, 4.0])
def test_a_straight_groove_has_round_ends(turned):
    end = [30.0 + 50.0 * np.cos(turned), 10.0 + 50.0 * np.sin(turned), 0.0]
    region = widen_path(np.array([[30.0, 10.0, 0.0], end]), width_mm=6.0)
    assert measure_region_area_mm2(region) == pytest.approx(50.0 * 6.0 + pi * 9.0)
    assert is_counter_clockwise(region.outer) and find_min_radius_mm(region.outer) == pytest.approx(3.0)


def test_a_bent_groove_has_the_area_of_its_parts():
    # two legs, their two half discs, the quarter disc outside the bend, less the square that both legs cover inside it
    region = widen_path(np.array([[0, 0, 0], [50, 0, 0], [50, 40, 0]], dtype=float), width_mm=6.0)
    assert measure_region_area_mm2(region) == pytest.approx((50 + 40) * 6 + pi * 9 + pi * 9 / 4 - 9)


def test_the_bulge_past_the_end_of_a_path_counts_for_nothing():
    line = np.array([[0, 0, 0], [50, 0, 0.7]], dtype=float)
    bent = np.array([[0, 0, 0], [50, 0, 0], [50, 40, 0.7]], dtype=float)
    assert measure_region_area_mm2(widen_path(line, width_mm=6.0)) == pytest.approx(300 + pi * 9)
    plain = widen_path(np.array([*bent[:2], [50, 40, 0]]), width_mm=6.0)
    assert (widen_path(bent, width_mm=6.0).outer.vertices == plain.outer.vertices).all()


PATHS = {
    "u closer than its width": [[0, 0, 0], [50, 0, 0], [50, 5, 0], [0, 5, 0]],
    "u with a hole": [[0, 0, 0], [50, 0, 0], [50, 20, 0], [0, 20, 0], [0, 2, 0]],
    "half circle": [[0, 0, 1], [10, 0, 0]],
    "arc tighter than the width": [[0, 0, 0], [20, 0, 0.9], [20, 4, 0], [0, 4, 0]],
    "sharp turn": [[0, 0, 0], [50, 0, 0], [20, 10, 0]],
    "ess": [[0, 0, 0], [10, 0, 0.5], [20, 0, 0], [30, 0, -0.6], [40, 5, 0]],
    "nearly closed": [[0, 0, 0], [40, 0, 0], [40, 40, 0], [0, 40, 0], [0, 0.5, 0]],
    "in line": [[0, 0, 0], [30, 0, 0], [70, 0, 0], [70, 30, 0]],
}


@pytest.mark.parametrize("path", PATHS.values(), ids=PATHS)
def test_a_groove_is_what_a_polygon_engine_makes_of_it(path):
    vertices = np.array(path, dtype=float)
    region = widen_path(vertices, width_mm=6.0)
    want = widen_by_polygon(flatten_vertices(vertices, chord_tol_mm=CHORD_MM, closed=False)[0], width_mm=6.0)
    assert find_hausdorff_mm(build_polygon(region), want) < 1e-3
    backwards = vertices[::-1].copy()
    backwards[:-1, 2] = -vertices[::-1][1:, 2]
    assert measure_region_area_mm2(widen_path(backwards, width_mm=6.0)) == pytest.approx(
        measure_region_area_mm2(region), abs=1e-6
    )


def test_random_grooves_hold_just_what_is_near_the_path():
    # by distances, not by the engine's own buffer, which rounds off what is much smaller than the width
    rng = np.random.default_rng(4)
    seen = 0
    while seen < 25:
        count = int(rng.integers(3, 7))
        bulges = np.where(rng.random(count) < 0.4, rng.uniform(-0.8, 0.8, count), 0.0)
        path = np.column_stack((rng.uniform(0.0, 100.0, (count, 2)), bulges))
        line = shapely.LineString(flatten_vertices(path, chord_tol_mm=1e-4, closed=False)[0])
        if not line.is_simple:
            continue
        seen += 1
        region = widen_path(path, width_mm=5.0)
        edge = np.concatenate([flatten(contour, chord_tol_mm=0.01) for contour in region.contours])
        assert np.abs(shapely.distance(shapely.points(edge), line) - 2.5).max() < 1e-3
        points = shapely.points(rng.uniform(-10.0, 110.0, (500, 2)))
        away = shapely.distance(points, line)
        sure = np.abs(away - 2.5) > 0.01
        inside = shapely.contains(build_polygon(region), points)
        assert (inside == (away < 2.5))[sure].all() and sure.sum() > 400


@pytest.mark.parametrize("turned", [False, True])
def test_a_closed_line_gives_a_ring(turned):
    loop = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)
    region = widen_loop(reverse(loop) if turned else loop, width_mm=6.0)
    outside = 100 * 60 + 2 * (100 + 60) * 3 + pi * 9
    assert measure_region_area_mm2(region) == pytest.approx(outside - 94 * 54)
    assert is_counter_clockwise(region.outer) and not is_counter_clockwise(region.holes[0])


def test_a_small_ring_fills():
    assert measure_region_area_mm2(widen_loop(circle((5, 5), radius_mm=2.5), width_mm=6.0)) == pytest.approx(
        pi * 5.5**2
    )
    ring = widen_loop(circle((5, 5), radius_mm=20.0), width_mm=6.0)
    assert measure_region_area_mm2(ring) == pytest.approx(pi * (23.0**2 - 17.0**2))


def test_a_waist_narrower_than_the_groove_leaves_two_islands():
    half = [(0, 0), (40, 0), (40, 18), (60, 18), (60, 0), (100, 0)]
    bone = polygon([*half, *((100 - x, 40 - y) for x, y in half)])
    region = widen_loop(bone, width_mm=6.0)
    assert len(region.holes) == 2
    points = np.concatenate((flatten(bone, chord_tol_mm=CHORD_MM), bone.points_mm[:1]))
    assert find_hausdorff_mm(build_polygon(region), widen_by_polygon(points, width_mm=6.0)) < 1e-3
