"""Boundaries of hatches, on request: against closed forms, and against ezdxf's own rendering of the same paths."""

from __future__ import annotations

from math import pi, tan

import numpy as np
import pytest
import shapely
from ezdxf.entities import Hatch
from ezdxf.path import from_hatch

from cam.drawing.read import read_drawing
from cam.findings import Severity
from cam.geometry.contour import find_segments
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_bounds_mm, measure_area_mm2


def errors(drawing):
    return [f for f in drawing.findings if f.severity is Severity.ERROR]


def polyline_paths(hatch):
    b = tan(pi / 8)
    hatch.paths.add_polyline_path([(10, 0, 0), (190, 0, b), (200, 10, 0), (200, 100, 0), (0, 100, 0), (0, 10, b)])
    hatch.paths.add_polyline_path([(50, 40, 1), (80, 40, 1)], flags=16)


def edges(hatch):
    """A plate with an arc's bite, an ellipse's quarter and a spline for a side; edges of both senses."""
    path = hatch.paths.add_edge_path()
    path.add_line((0, 0), (60, 0))
    path.add_arc((80, 0), radius=20, start_angle=0, end_angle=180, ccw=False)
    path.add_line((100, 0), (200, 0))
    path.add_line((200, 0), (200, 60))
    path.add_ellipse((160, 60), major_axis=(40, 0), ratio=0.5, start_angle=0, end_angle=90)
    path.add_line((160, 80), (40, 80))
    path.add_spline(
        control_points=[(40, 80), (30, 120), (-20, 40), (0, 0)], knot_values=[0, 0, 0, 0, 1, 1, 1, 1], degree=3
    )


def whole_curves(hatch):
    hatch.paths.add_edge_path().add_arc((50, 50), radius=30)
    hatch.paths.add_edge_path().add_ellipse((150, 50), major_axis=(0, 40), ratio=0.5)


def turned_over(hatch):
    edges(hatch)
    hatch.dxf.extrusion = (0, 0, -1)


def draw_with(fill):
    def draw(space):
        fill(space.add_hatch(dxfattribs={"layer": "FILL"}))

    return draw


@pytest.mark.parametrize("fill", [polyline_paths, edges, whole_curves, turned_over])
def test_boundaries_lie_where_ezdxf_draws_them(read, fill):
    hatch = Hatch.new()
    fill(hatch)
    theirs = shapely.MultiLineString(
        [[(v.x, v.y) for v in path.flattening(1e-3, 64)] for path in from_hatch(hatch) if len(path)]
    )
    drawing = read(draw_with(fill), hatches=True)
    assert errors(drawing) == []
    assert {loop.layer for loop in drawing.loops} == {"FILL"}
    rings = [flatten(loop.contour, chord_tol_mm=1e-3) for loop in drawing.loops]
    ours = shapely.MultiLineString([np.concatenate((ring, ring[:1])) for ring in rings])
    assert ours.length == pytest.approx(theirs.length, rel=1e-3)
    # ezdxf draws arcs by Bezier curves, off by up to 3e-4 of the radius on a quarter circle
    slack = 0.005 + 1e-3 + 3e-4 * 40
    assert shapely.hausdorff_distance(shapely.segmentize(ours, 1), shapely.segmentize(theirs, 1)) < 0.6
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(ours, 1.0)))
    assert shapely.distance(points, theirs).max() < slack
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(theirs, 1.0)))
    assert shapely.distance(points, ours).max() < slack


def test_areas_by_closed_form(read):
    plate, hole = read(draw_with(polyline_paths), hatches=True).loops
    assert abs(measure_area_mm2(plate.contour)) == pytest.approx(200 * 100 - 2 * (1 - pi / 4) * 100)
    assert abs(measure_area_mm2(hole.contour)) == pytest.approx(pi * 15**2)
    disc, oval = read(draw_with(whole_curves), hatches=True).loops
    assert find_segments(disc.contour.vertices).radius_mm == pytest.approx([30, 30])
    assert abs(measure_area_mm2(oval.contour)) == pytest.approx(pi * 40 * 20, rel=1e-4)
    assert find_bounds_mm(oval.contour) == pytest.approx((130, 10, 170, 90), abs=0.005)


def test_without_the_request_hatches_are_counted(read, codes):
    def draw(space):
        space.add_circle((0, 0), 50)
        draw_with(polyline_paths)(space)

    drawing = read(draw)
    assert len(drawing.loops) == 1
    assert drawing.passed_over == (("HATCH", 1),)
    assert codes(drawing) == ["passed-over"]
    assert len(read(draw, hatches=True).loops) == 3


def test_a_hatch_that_fills_a_drawn_contour_is_dropped_wherever_it_stands(read, codes):
    """The hatch first in the file, on a layer of its own; the contour is the one that stays."""
    rows = [(0, 0, 0), (200, 0, 0.2), (200, 100, 0), (0, 100, 0)]

    def draw(space):
        hatch = space.add_hatch(dxfattribs={"layer": "FILL"})
        hatch.paths.add_polyline_path(rows[1:] + rows[:1])
        hatch.paths.add_edge_path().add_arc((50, 50), radius=20)
        space.add_lwpolyline(rows, format="xyb", close=True, dxfattribs={"layer": "CUT"})
        space.add_circle((50, 50), 20, dxfattribs={"layer": "CUT"})

    drawing = read(draw, hatches=True)
    assert [loop.layer for loop in drawing.loops] == ["CUT", "CUT"]
    assert codes(drawing) == ["duplicate-dropped"]
    assert "HATCH" in drawing.findings[0].message


def test_text_boxes_are_left_out(read):
    def draw(space):
        hatch = space.add_hatch()
        hatch.paths.add_polyline_path([(0, 0), (200, 0), (200, 100), (0, 100)])
        hatch.paths.add_polyline_path([(50, 50), (90, 50), (90, 60), (50, 60)], flags=8)

    assert len(read(draw, hatches=True).loops) == 1


def test_a_hatch_in_a_scaled_block_and_at_a_height(read):
    def draw(space, document):
        hatch = document.blocks.new("B").add_hatch(dxfattribs={"elevation": (0, 0, 5)})
        hatch.paths.add_polyline_path([(0, 0, 1), (20, 0, 1)])
        space.add_blockref("B", (100, 50), dxfattribs={"xscale": -3, "yscale": 2})

    (loop,) = read(draw, hatches=True).loops
    assert find_bounds_mm(loop.contour) == pytest.approx((40, 30, 100, 70), abs=0.005)
    assert loop.block_path.startswith("B(")


def test_impossible_boundaries_are_named(read):
    def draw(space):
        space.add_circle((0, 0), 50)
        space.add_hatch().paths.add_polyline_path([(0, 0)])
        space.add_hatch().paths.add_edge_path().add_arc((0, 0), radius=-4, start_angle=0, end_angle=90)
        space.add_hatch(dxfattribs={"extrusion": (1, 0, 1)}).paths.add_polyline_path([(0, 0), (9, 0), (9, 9)])

    found = errors(read(draw, hatches=True))
    assert [f.code for f in found] == ["broken-entity", "broken-entity", "not-flat"]
    assert all("HATCH" in f.message and f.origin.handle for f in found)


def test_a_boundary_in_a_file_written_by_hand(tmp_path):
    """Group codes of the DXF reference, HATCH: 91 paths, 92 type, 93 vertices, 42 bulge; an arc turned clockwise."""
    head = "0 SECTION 2 ENTITIES 0 HATCH 5 2F 8 0 100 AcDbEntity 8 0 100 AcDbHatch 10 0.0 20 0.0 30 0.0"
    head += " 210 0.0 220 0.0 230 1.0 2 SOLID 70 1 71 0 91 2"
    slot = "92 3 72 1 73 1 93 4 10 0.0 20 0.0 42 0.0 10 60.0 20 0.0 42 1.0 10 60.0 20 40.0 42 0.0"
    slot += " 10 0.0 20 40.0 42 1.0 97 0"
    # a half disc on the chord from (10, 20) to (50, 20): clockwise angles are stored as 360 less
    half = "92 1 93 2 72 1 10 50.0 20 20.0 11 10.0 21 20.0 72 2 10 30.0 20 20.0 40 20.0 50 180.0 51 360.0 73 0 97 0"
    tail = "75 0 76 1 98 0 0 ENDSEC 0 EOF"
    path = tmp_path / "hand.dxf"
    path.write_text("\n".join(" ".join((head, slot, half, tail)).split()) + "\n")
    drawing = read_drawing(path, units="mm", hatches=True)
    slot_loop, half_loop = drawing.loops
    assert abs(measure_area_mm2(slot_loop.contour)) == pytest.approx(60 * 40 + pi * 400)
    assert abs(measure_area_mm2(half_loop.contour)) == pytest.approx(pi * 200)
    assert find_bounds_mm(half_loop.contour) == pytest.approx((10, 20, 50, 40), abs=1e-9)


def test_a_polygon_entity_with_a_hole_is_read_like_a_hatch(read):
    def draw(space):
        polygon = space.add_mpolygon()
        polygon.paths.add_polyline_path([(0, 0), (200, 0), (200, 100), (0, 100)])
        polygon.paths.add_polyline_path([(50, 50, 1), (70, 50, 1)], flags=16)

    outer, hole = read(draw, hatches=True).loops
    assert abs(measure_area_mm2(outer.contour)) == pytest.approx(20000)
    assert abs(measure_area_mm2(hole.contour)) == pytest.approx(100 * pi)
