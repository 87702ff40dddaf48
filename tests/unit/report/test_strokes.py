"""Strokes, kerf and bridges against the trace that made them."""

from itertools import pairwise
from math import pi

import numpy as np
import pytest
import shapely

from cam.backplot.trace import Kind
from cam.geometry.flatten import flatten
from cam.report.strokes import (
    Motion,
    find_boxes_mm,
    find_bridges,
    find_kerfs,
    find_strokes,
    trace_moves,
)
from cam.sheet.layout import place_region

HEIGHTS = {"bed_z_mm": 0.0, "top_z_mm": 4.8}


def moved(trace) -> int:
    return int(np.isin(trace.kind, (Kind.RAPID, Kind.LINE, Kind.ARC)).sum())


def test_every_move_is_in_one_stroke(trace):
    strokes = find_strokes(trace, **HEIGHTS)
    rows = np.concatenate([stroke.rows for stroke in strokes])
    assert len(np.unique(rows)) == len(rows) == moved(trace)


def test_level_cuts_are_told_apart_by_height_and_the_deepest_comes_last(trace):
    levels = [s for s in find_strokes(trace, **HEIGHTS) if s.motion is Motion.LEVEL]
    assert [level.min_z_mm for level in levels] == pytest.approx([3.2, 1.6, 0.8])
    order = [s.motion for s in find_strokes(trace, **HEIGHTS)]
    assert order.index(Motion.THROUGH) > max(i for i, motion in enumerate(order) if motion is Motion.LEVEL)
    (through,) = (s for s in find_strokes(trace, **HEIGHTS) if s.motion is Motion.THROUGH)
    assert through.min_z_mm == pytest.approx(-0.3)


def test_heights_are_above_the_bed_wherever_zero_is(trace):
    shifted = type(trace)(
        **{
            name: getattr(trace, name)
            for name in trace.__slots__
            if name not in {"start_mm", "end_mm"}
        },
        start_mm=trace.start_mm - (0.0, 0.0, 4.0),
        end_mm=trace.end_mm - (0.0, 0.0, 4.0),
    )  # fmt: skip
    at_bed = find_strokes(trace, **HEIGHTS)
    at_top = find_strokes(shifted, bed_z_mm=-4.0, top_z_mm=0.8)
    assert [(s.motion, round(s.min_z_mm, 6), len(s.rows)) for s in at_bed] == [
        (s.motion, round(s.min_z_mm, 6), len(s.rows)) for s in at_top
    ]


def test_many_heights_are_gathered_into_six_bands(moves):
    for z in np.linspace(4.0, 0.5, 50):
        moves.line(z=z)
        moves.line(x=moves.at[0] + 10.0)
    levels = [s for s in find_strokes(moves.as_trace(), **HEIGHTS) if s.motion is Motion.LEVEL]
    assert len(levels) == 6
    assert sum(len(level.rows) for level in levels) == 50
    assert levels[0].max_z_mm == pytest.approx(4.0)
    assert all(upper.min_z_mm > lower.max_z_mm for upper, lower in pairwise(levels))


def test_the_kerf_as_drawn_runs_along_the_panel_and_not_into_it(trace, layout, cutter, read_path):
    """Path data widened by shapely, as a second engine, against the panel flattened by our own code."""
    (through,) = (kerf for kerf in find_kerfs(trace, **HEIGHTS) if kerf.through)
    lines = [shapely.LineString(piece["points"]) for piece in read_path(trace_moves(trace, rows=through.rows))]
    kerf = shapely.union_all(lines).buffer(cutter.radius_mm, quad_segs=64)
    region = place_region(layout.placements[0])
    rings = [flatten(contour, chord_tol_mm=0.001) for contour in region.contours]
    panel = shapely.Polygon(rings[0], rings[1:])
    assert kerf.intersection(panel.buffer(-0.03)).area == 0.0
    touched = panel.boundary.intersection(kerf.buffer(0.05)).length
    bridges = 6 * 16.0  # a bridge is 18 mm of path, less the round ends
    assert touched == pytest.approx(panel.boundary.length - bridges, abs=15.0)


def test_kerfs_come_with_material_beneath_first(trace):
    assert [kerf.through for kerf in find_kerfs(trace, **HEIGHTS)] == [False, True]


def test_bridges_are_where_the_cutter_lifts_and_comes_back(trace):
    bridges = find_bridges(trace, **HEIGHTS)
    # six lines of the outline are longer than 150 mm; middles of the straight ones, offset by 3 mm
    places = {(round(bridge.x_mm), round(bridge.y_mm)) for bridge in bridges}
    assert places == {(612, 22), (1228, 248), (1008, 448), (540, 628), (188, 568), (22, 295)}
    assert all(bridge.height_mm == pytest.approx(0.8) for bridge in bridges)


def test_a_retract_is_no_bridge(moves):
    for x in (20.0, 60.0):
        moves.line(x=x)
        moves.line(z=10.0)
        moves.rapid(x=x + 5.0)
        moves.line(z=-0.3)
    assert find_bridges(moves.as_trace(), **HEIGHTS) == ()


def test_upright_arcs_show_as_the_lines_that_they_are_from_above(moves):
    """A half circle in the XZ plane from x 0 to x 10 bulges upwards: from above it is the line 0 to 10."""
    moves.at = (0.0, 5.0, 2.0)
    moves.add(Kind.ARC, (10.0, 5.0, 2.0), centre=(5.0, 5.0, 2.0), sweep=pi, plane=18, feed=1000.0)
    trace = moves.as_trace()
    numbers = [
        float(each)
        for each in trace_moves(trace, rows=np.array([len(trace) - 1])).lstrip("M").replace("H", " ").split()
    ]
    assert numbers[:2] == [0.0, 5.0]
    assert numbers[2:] == sorted(numbers[2:])
    assert numbers[-1] == 10.0
    box = find_boxes_mm(trace)[-1]
    assert box[0] <= 0.0 <= 10.0 <= box[2]


def test_a_trace_without_moves_has_no_strokes(empty_trace):
    assert find_strokes(empty_trace, **HEIGHTS) == ()
    assert find_kerfs(empty_trace, **HEIGHTS) == ()
    assert find_bridges(empty_trace, **HEIGHTS) == ()


def test_a_kerf_knows_how_deep_its_tip_goes(trace):
    # a pointed cutter is only as wide as that makes it; the trace's deepest level is 0.3 mm into the bed
    kerfs = find_kerfs(trace, **HEIGHTS)
    assert {kerf.through: round(kerf.depth_mm, 6) for kerf in kerfs} == {False: 5.1, True: 5.1}
