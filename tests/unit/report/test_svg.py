"""Path data against the contours it draws, read back by the formulas of the SVG standard."""

from math import cos, pi, sin, tau

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cam.geometry.contour import Contour, Region, circle, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_distance_mm, measure_area_mm2, measure_length_mm
from cam.geometry.transform import reverse
from cam.report.svg import PathData, trace_contour, trace_region, trace_vertices


def check_same_line(read_path, data: str, contour: Contour, *, tol_mm: float) -> None:
    pieces = read_path(data)
    assert sum(piece["length"] for piece in pieces) == pytest.approx(measure_length_mm(contour), abs=20 * tol_mm)
    for piece in pieces:
        for point in piece["points"][::16]:
            assert find_distance_mm(contour, point) < tol_mm


bulges = st.floats(min_value=-2.0, max_value=2.0).filter(lambda b: b == 0.0 or abs(b) > 0.01)


@settings(max_examples=50, deadline=None)
@given(st.lists(bulges, min_size=4, max_size=4), st.floats(min_value=10.0, max_value=500.0))
def test_every_piece_lies_on_its_contour(read_path, four_bulges, size_mm):
    points = np.array([(0.0, 0.0), (size_mm, 0.0), (size_mm, size_mm * 0.7), (0.0, size_mm)])
    contour = Contour(np.column_stack((points, four_bulges)))
    check_same_line(read_path, trace_contour(contour), contour, tol_mm=0.003)


def test_a_circle_is_four_arcs_and_no_chords(read_path):
    data = trace_contour(circle((3.0, 4.0), radius_mm=19.0))
    assert data.count("A") == 4
    assert "L" not in data
    check_same_line(read_path, data, circle((3.0, 4.0), radius_mm=19.0), tol_mm=0.001)


@pytest.mark.parametrize("sweep_rad", [tau, -tau, 1.9 * pi, -1.9 * pi, 5.0 * tau, pi, -pi, 0.02])
def test_long_arcs_are_split_so_that_their_centre_is_certain(read_path, sweep_rad):
    start = (10.0, 0.0)
    end = (10.0 * cos(sweep_rad), 10.0 * sin(sweep_rad))
    path = PathData()
    path.arc(start, end, centre_mm=(0.0, 0.0), sweep_rad=sweep_rad)
    arcs = read_path(str(path))
    assert sum(arc["turn"] for arc in arcs) == pytest.approx(sweep_rad, abs=2e-4)
    for arc in arcs:
        assert arc["centre"] == pytest.approx((0.0, 0.0), abs=0.05 if sweep_rad == 0.02 else 0.005)


def test_a_region_is_filled_by_the_even_odd_rule():
    outer = rectangle((0.0, 0.0), width_mm=100.0, height_mm=50.0)
    hole = reverse(circle((50.0, 25.0), radius_mm=10.0))
    data = trace_region(Region(outer=outer, holes=(hole,)))
    assert data.count("M") == data.count("Z") == 2
    assert measure_area_mm2(hole) < 0.0


def test_moves_that_follow_each_other_are_one_run():
    path = PathData()
    path.line((0.0, 0.0), (1.0, 2.0))
    path.line((1.0, 2.0), (5.0, 2.0))
    path.line((6.0, 2.0), (6.0, 9.0))
    path.line((6.0, 9.0), (6.0, 9.0))
    assert str(path) == "M0 0L1 2H5M6 2V9H6"


def test_an_open_chain_is_not_closed(read_path):
    vertices = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 1.0], [10.0, 6.0, 0.0]])
    data = trace_vertices(vertices, closed=False)
    assert "Z" not in data
    assert [round(piece["length"], 6) for piece in read_path(data)] == [10.0, round(1.5 * pi, 6), round(1.5 * pi, 6)]


def test_path_data_is_smaller_than_chords_of_the_same_closeness():
    contour = circle((0.0, 0.0), radius_mm=60.0)
    assert len(trace_contour(contour)) * 10 < sum(
        len(f"L{x:.3f} {y:.3f}") for x, y in flatten(contour, chord_tol_mm=0.001)
    )
