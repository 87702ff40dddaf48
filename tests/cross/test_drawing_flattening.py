"""Every entity and block reference against ezdxf's own flattening of it, an independent reading of the same file.

The second road is ``ezdxf.disassemble``: it explodes block references by ezdxf's own arithmetic,
flattens each entity, knowing nothing of frames, conics or arc fits here.
"""

from __future__ import annotations

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf import disassemble
from ezdxf.path import make_path

from cam.drawing.read import read_drawing
from cam.geometry.flatten import flatten, flatten_vertices

TOL_MM = 0.005


def circle(space):
    space.add_circle((40, 30), 25)


def tilted_over_circle(space):
    space.add_circle((40, 30), 25, dxfattribs={"extrusion": (0, 0, -1)})


def nearly_turned_over(space):
    space.add_circle((40, 30), 25, dxfattribs={"extrusion": (3e-8, -2e-8, -1)})
    space.add_lwpolyline(
        [(100, 0, 0.5), (180, 0, 0), (180, 60, -0.3)], format="xyb", close=True, dxfattribs={"extrusion": (1e-7, 0, -1)}
    )


def arcs(space):
    for k, (start, end) in enumerate([(0, 90), (350, 20), (90, 0), (45.5, 200.25), (0, 360), (-30, 30), (10, 370)]):
        space.add_arc((100 * k, 0), 30 + k, start, end)
        space.add_arc((100 * k, 100), 30 + k, start, end, dxfattribs={"extrusion": (0, 0, -1)})


def light_polylines(space):
    rows = [(0, 0, 0), (100, 0, 0.7), (120, 50, -1.5), (60, 80, 3.0), (0, 60, 0)]
    space.add_lwpolyline(rows, format="xyb", close=True)
    space.add_lwpolyline(
        [(x + 300, y, b) for x, y, b in rows], format="xyb", dxfattribs={"extrusion": (0, 0, -1), "elevation": 4}
    )


def heavy_polylines(space):
    rows = [(0, 0, 0), (100, 0, 0.7), (120, 50, -1.5), (60, 80, 0.2)]
    space.add_polyline2d(rows, format="xyb", close=True)
    space.add_polyline2d([(x + 300, y, b) for x, y, b in rows], format="xyb", dxfattribs={"extrusion": (0, 0, -1)})
    space.add_polyline3d([(0, 200, 7), (90, 200, 7), (90, 260, 7)], close=True)


def ellipses(space):
    space.add_ellipse((0, 0), (60, 0), 0.5)
    space.add_ellipse((200, 0), (40, 30), 0.25, 0.5, 4.0)
    space.add_ellipse((400, 0), (0, 50), 0.9, 5.0, 1.0)
    space.add_ellipse((600, 0), (50, 10), 0.4, 0.3, 2.0, dxfattribs={"extrusion": (0, 0, -1)})
    space.add_ellipse((800, 0), (50, 10), 1.0)
    space.add_ellipse((1000, 0), (50, 10), 1.0, 1.0, 2.5)


def splines(space):
    points = [(0, 0, 0), (30, 60, 0), (80, -20, 0), (120, 70, 0), (160, 10, 0), (200, 40, 0)]
    space.add_open_spline(points)
    space.add_open_spline([(x, y + 200, 0) for x, y, _ in points], degree=2)
    space.add_open_spline([(x, y + 300, 0) for x, y, _ in points], degree=5)
    space.add_rational_spline([(x, y + 400, 0) for x, y, _ in points], weights=[1, 3, 0.2, 5, 1, 1])
    space.add_spline([(x, y + 500, 0) for x, y, _ in points])
    with_tangents = space.add_spline([(x, y + 600, 0) for x, y, _ in points])
    with_tangents.dxf.start_tangent, with_tangents.dxf.end_tangent = (0, 1, 0), (1, -1, 0)


def rational_circle(space):
    """Nine control points of weight 1 and 1/sqrt 2, The NURBS Book's full circle."""
    corners = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    spline = space.add_spline()
    spline.dxf.degree = 2
    spline.control_points = [(40 * x, 40 * y, 0) for x, y in corners]
    spline.weights = [1, 0.5**0.5] * 4 + [1]
    spline.knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]


def fill_block(block):
    block.add_circle((5, 5), 10)
    block.add_lwpolyline([(30, 0, 0.4), (60, 0, 0), (60, 30, -0.8)], format="xyb", close=True)
    block.add_arc((90, 10), 12, 30, 200)
    block.add_ellipse((10, 50), (15, 5), 0.4)
    block.add_line((50, 50), (80, 60))
    block.add_circle((20, 80), 6, dxfattribs={"extrusion": (0, 0, -1)})
    block.add_open_spline([(60, 70, 0), (70, 90, 0), (90, 60, 0), (95, 80, 0)])
    block.base_point = (3, 4, 0)


def block(space, document, **attributes):
    fill_block(document.blocks.new("B", base_point=(3, 4, 0)))
    return space.add_blockref("B", (200, 100), dxfattribs=attributes)


def block_as_is(space, document):
    block(space, document)


def block_turned(space, document):
    block(space, document, rotation=33.0)


def block_scaled(space, document):
    block(space, document, xscale=2.5, yscale=2.5, zscale=2.5, rotation=-100)


def block_uneven(space, document):
    block(space, document, xscale=2.0, yscale=0.7, rotation=20)


def block_mirrored(space, document):
    block(space, document, xscale=-1.0, rotation=20)


def block_mirrored_uneven(space, document):
    block(space, document, xscale=-1.5, yscale=-0.5, zscale=3, rotation=75)


def block_turned_over(space, document):
    block(space, document, extrusion=(0, 0, -1), rotation=15, xscale=1.25, yscale=1.25)


def block_array(space, document):
    block(space, document, rotation=30, xscale=-1).grid((2, 3), (150, 220))


def nested_blocks(space, document):
    fill_block(document.blocks.new("B"))
    outer = document.blocks.new("OUTER")
    outer.add_blockref("B", (10, 0), dxfattribs={"rotation": 40, "yscale": 2.0})
    outer.add_blockref("B", (200, 0), dxfattribs={"xscale": -1.0, "extrusion": (0, 0, -1)})
    # even scales only: ezdxf keeps no shear, so what it explodes of a turned block in an unevenly scaled one is off
    space.add_blockref("OUTER", (0, 300), dxfattribs={"rotation": -25, "xscale": -1.5, "yscale": 1.5})


CASES = [
    circle, tilted_over_circle, nearly_turned_over, arcs, light_polylines, heavy_polylines, ellipses, splines,
    rational_circle, block_as_is, block_turned, block_scaled, block_uneven, block_mirrored, block_mirrored_uneven,
    block_turned_over, block_array, nested_blocks,
]  # fmt: skip


def flatten_by_ezdxf(path, chord_tol):
    document = ezdxf.readfile(path)
    entities = disassemble.recursive_decompose(document.modelspace())
    lines = []
    for entity in entities:
        if hasattr(entity, "flattening"):  # CIRCLE, ARC, ELLIPSE and SPLINE
            points = list(entity.flattening(chord_tol))
        else:
            points = list(make_path(entity).flattening(chord_tol, 64))
        lines.append(shapely.LineString([(point.x, point.y) for point in points]))
    return shapely.MultiLineString(lines)


def flatten_by_castcut(path):
    drawing = read_drawing(path, units="mm", join_tol_mm=1e-9)
    lines = [
        shapely.LineString(flatten_vertices(chain.vertices, chord_tol_mm=1e-3, closed=False)[0])
        for chain in drawing.open_chains
    ]
    for loop in drawing.loops:
        ring = flatten(loop.contour, chord_tol_mm=1e-3)
        lines.append(shapely.LineString(np.concatenate((ring, ring[:1]))))
    return shapely.MultiLineString(lines), drawing


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.__name__)
def test_contours_lie_where_ezdxf_draws_them(tmp_path, case):
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    case(space, document) if case.__code__.co_argcount > 1 else case(space)
    path = tmp_path / "a.dxf"
    document.saveas(path)
    theirs, (ours, drawing) = flatten_by_ezdxf(path, 5e-4), flatten_by_castcut(path)
    assert not [f for f in drawing.findings if f.code in ("broken-entity", "not-flat", "missing-block")]
    # ezdxf's paths draw a polyline's arcs by Bezier curves, off by up to 3e-4 of the radius on a quarter circle
    slack = 5e-4 + 1e-3 + 3e-4 * 40
    spread = shapely.segmentize(theirs, 3.0)
    back = shapely.segmentize(ours, 3.0)
    assert theirs.length == pytest.approx(ours.length, rel=2e-4)
    for one, other in ((spread, ours), (back, theirs)):
        tree = shapely.STRtree(shapely.get_parts(other))
        points = shapely.points(shapely.get_coordinates(one))
        _, distance = tree.query_nearest(points, return_distance=True, all_matches=False)
        assert distance.max() <= TOL_MM + slack
