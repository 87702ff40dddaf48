from itertools import pairwise
from math import hypot, pi

import numpy as np
import pytest

from cam.geometry.along import (
    cut_pieces,
    find_heading_at,
    find_nearest_at,
    find_point_at,
    lay_ruler,
    start_at,
)
from cam.geometry.contour import Contour, circle, rectangle
from cam.geometry.measure import measure_area_mm2, measure_length_mm

STADIUM = Contour(np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 1.0], [10.0, 4.0, 0.0], [0.0, 4.0, 1.0]]))


def test_ruler_length_is_the_contours() -> None:
    assert lay_ruler(STADIUM).length_mm == pytest.approx(20.0 + 4.0 * pi, abs=1e-12)


def test_points_at_quarters_of_a_circle() -> None:
    ruler = lay_ruler(circle((1.0, 2.0), radius_mm=5.0))
    quarter = ruler.length_mm / 4.0
    for k, expected in enumerate([(6.0, 2.0), (1.0, 7.0), (-4.0, 2.0), (1.0, -3.0)]):
        assert find_point_at(ruler, k * quarter) == pytest.approx(expected, abs=1e-12)
        assert find_point_at(ruler, (k - 8) * quarter) == pytest.approx(expected, abs=1e-9)


def test_heading_turns_with_an_arc() -> None:
    ruler = lay_ruler(STADIUM)
    assert find_heading_at(ruler, 5.0) == pytest.approx(0.0)
    assert find_heading_at(ruler, 10.0 + pi) == pytest.approx(pi / 2.0)


@pytest.mark.parametrize("at", [0.0, 3.0, 10.0, 12.5, 20.0, 31.0])
def test_nearest_of_a_point_on_the_contour_is_itself(at: float) -> None:
    ruler = lay_ruler(STADIUM)
    assert find_nearest_at(ruler, find_point_at(ruler, at)) == pytest.approx(at, abs=1e-9)


def test_nearest_beyond_an_arcs_end_is_the_nearer_end() -> None:
    ruler = lay_ruler(Contour(np.array([[0.0, 0.0, 1.0], [2.0, 0.0, 0.0]])))
    point = find_point_at(ruler, find_nearest_at(ruler, (3.0, 5.0)))
    assert point == pytest.approx((2.0, 0.0), abs=1e-12)


def test_pieces_keep_vertices_exact_and_sum_to_the_way() -> None:
    ruler = lay_ruler(STADIUM)
    pieces = cut_pieces(ruler, from_mm=-3.0, to_mm=ruler.length_mm + 5.0, at_mm=(2.0, 12.0, 10.0 - 1e-11))
    assert sum(p.to_mm - p.from_mm for p in pieces) == pytest.approx(ruler.length_mm + 8.0, abs=1e-9)
    assert (10.0, 0.0) in [p.end_mm for p in pieces]
    for before, after in pairwise(pieces):
        assert hypot(before.end_mm[0] - after.start_mm[0], before.end_mm[1] - after.start_mm[1]) < 1e-9


def test_start_at_changes_neither_area_nor_length() -> None:
    for at in (0.0, 1.0, 10.0, 15.0):
        moved = start_at(STADIUM, at_mm=at)
        assert measure_area_mm2(moved) == pytest.approx(measure_area_mm2(STADIUM), abs=1e-9)
        assert measure_length_mm(moved) == pytest.approx(measure_length_mm(STADIUM), abs=1e-9)
        assert tuple(moved.points_mm[0]) == pytest.approx(find_point_at(lay_ruler(STADIUM), at), abs=1e-12)


def test_start_at_a_vertex_adds_none() -> None:
    assert len(start_at(rectangle((0.0, 0.0), width_mm=3.0, height_mm=2.0), at_mm=3.0)) == 4
