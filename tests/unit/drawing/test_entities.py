"""Entities in every form: polylines that were fitted, splines of all kinds, blocks in any frame, and their faults."""

from __future__ import annotations

from math import cos, pi, radians, sin, tan

import numpy as np
import pytest

from cam.drawing.conic import lay_arc, split_wide_arcs
from cam.drawing.spline import BSpline, check_bspline, find_periodic_rates, lay_bspline, trace_bspline
from cam.errors import DrawingRefused
from cam.findings import Severity
from cam.geometry.contour import find_segments
from cam.geometry.measure import find_bounds_mm, measure_area_mm2, measure_length_mm


def errors(drawing):
    return [f for f in drawing.findings if f.severity is Severity.ERROR]


def test_a_curve_fitted_polyline_keeps_its_bulges(read):
    """Curve fitting stores extra vertices (flag 1) with bulges; all of them are on the curve."""

    def draw(space):
        line = space.add_polyline2d(
            [(0, 0, 0.3), (50, 20, 0.2), (100, 0, 0.4), (50, -60, 0.4)], format="xyb", close=True
        )
        line.dxf.flags |= 2
        for vertex in line.vertices[1::2]:
            vertex.dxf.flags |= 1

    (loop,) = read(draw).loops
    assert (loop.contour.vertices == [[0, 0, 0.3], [50, 20, 0.2], [100, 0, 0.4], [50, -60, 0.4]]).all()


def test_a_spline_fitted_polyline_leaves_its_frame_out(read):
    """Spline fitting stores control points (flag 16), which are not on the curve, beside curve vertices (flag 8)."""

    def draw(space):
        line = space.add_polyline2d([(0, 0), (500, 500), (100, 0), (100, 90), (0, 90)], close=True)
        line.dxf.flags |= 4
        for vertex in line.vertices:
            vertex.dxf.flags |= 8
        line.vertices[1].dxf.flags = 16

    (loop,) = read(draw).loops
    assert find_bounds_mm(loop.contour) == (0, 0, 100, 90)


def test_a_polyline_that_repeats_its_first_vertex(read, codes):
    drawing = read(
        lambda space: space.add_lwpolyline([(0, 0), (90, 0), (90, 50), (90, 50), (0, 50), (0, 0)], close=True)
    )
    assert len(drawing.loops[0].contour) == 4
    assert codes(drawing) == ["zero-length-dropped"]
    assert drawing.findings[0].message.startswith("2 pieces")


def test_an_open_polyline_that_ends_where_it_began(read, codes):
    drawing = read(lambda space: space.add_lwpolyline([(0, 0), (90, 0), (90, 50), (0, 50), (0, 0)]))
    assert len(drawing.loops[0].contour) == 4
    assert codes(drawing) == []


def test_two_vertices_and_two_arcs(read):
    (loop,) = read(lambda space: space.add_lwpolyline([(0, 0, 1), (50, 0, 0.5)], format="xyb", close=True)).loops
    assert len(loop.contour) == 2


def test_an_arc_too_flat_to_see_is_a_line(read):
    rows = [(0, 0, 1e-10), (100, 0, 0), (100, 50, 0), (0, 50, 0)]
    (loop,) = read(lambda space: space.add_lwpolyline(rows, format="xyb", close=True)).loops
    assert not loop.contour.bulges.any()


def test_ellipse_area_and_axes(read):
    """pi a b, and the axes met to the fit distance."""
    (loop,) = read(lambda space: space.add_ellipse((10, 20), (60, 0), 0.5)).loops
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(pi * 60 * 30, abs=0.005 * 300)
    assert find_bounds_mm(loop.contour) == pytest.approx((-50, -10, 70, 50), abs=0.005)
    (finer,) = read(lambda space: space.add_ellipse((10, 20), (60, 0), 0.5), fit_tol_mm=1e-4).loops
    assert abs(measure_area_mm2(finer.contour)) == pytest.approx(pi * 60 * 30, abs=1e-4 * 300)


def test_an_ellipse_that_is_a_circle_is_two_arcs(read):
    for x, y in ((60, 0), (0, 30), (20, 50)):
        (loop,) = read(lambda space, x=x, y=y: space.add_ellipse((0, 0), (x, y), 1.0)).loops
        assert len(loop.contour) == 2
        assert find_segments(loop.contour.vertices).radius_mm == pytest.approx([np.hypot(x, y)] * 2)


def test_a_rational_spline_circle_is_two_arcs(read):
    """The full circle of nine control points (The NURBS Book, from memory) is exactly a circle."""

    def draw(space):
        corners = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
        spline = space.add_spline()
        spline.dxf.degree = 2
        spline.control_points = [(40 * x + 7, 40 * y, 0) for x, y in corners]
        spline.weights = [1, 0.5**0.5] * 4 + [1]
        spline.knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]

    (loop,) = read(draw).loops
    assert find_segments(loop.contour.vertices).radius_mm == pytest.approx([40.0, 40.0], abs=1e-9)
    assert measure_length_mm(loop.contour) == pytest.approx(80 * pi, abs=1e-9)


def test_a_spline_goes_through_the_control_point_of_a_full_knot(read):
    """At a knot of multiplicity 3 a cubic passes through its control point, with a kink there."""
    points = [(0, 0, 0), (30, 60, 0), (80, -20, 0), (120, 70, 0), (160, 10, 0), (200, 40, 0), (240, 0, 0)]

    def draw(space):
        spline = space.add_open_spline(points)
        spline.knots = [0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2]

    (chain,) = read(draw).open_chains
    assert (np.hypot(*(chain.vertices[:, :2] - (120, 70)).T) < 1e-12).sum() == 1


@pytest.mark.parametrize("count", [1000, 5000])
def test_splines_of_thousands_of_control_points(read, count):
    turn = np.linspace(0, 2 * pi, count, endpoint=False)
    r = 300 + 20 * np.sin(9 * turn) + 0.3 * np.sin(151 * turn)
    points = [(x, y, 0.0) for x, y in zip(r * np.cos(turn), r * np.sin(turn), strict=True)]

    def draw(space):
        space.add_spline().set_closed(points)

    (loop,) = read(draw).loops
    area = (r**2).mean() * pi  # a curve in polar form encloses half the integral of r^2
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(area, rel=2e-3)
    assert len(loop.contour) < 3000


def test_a_closed_spline_of_fit_points_only(read):
    """Fit points on a circle: the periodic cubic strays from it by about r (step)^4 / 384, and closes smoothly."""
    turn = np.linspace(0, 2 * pi, 24, endpoint=False)

    def draw(space):
        spline = space.add_spline([(50 * cos(t), 50 * sin(t), 0) for t in turn])
        spline.closed = True

    (loop,) = read(draw).loops
    away = np.hypot(*loop.contour.points_mm.T) - 50
    assert np.abs(away).max() < 0.006
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(pi * 2500, rel=1e-4)


def test_the_periodic_cubic_has_continuous_curvature():
    rng = np.random.default_rng(3)
    points = rng.uniform(0, 100, (9, 2))
    knots, rates = find_periodic_rates(points)
    ring, rate, step = np.vstack((points, points[:1])), np.vstack((rates, rates[:1])), np.diff(knots)[:, None]
    slope = np.diff(ring, axis=0) / step
    bend_start = (6 * slope - 4 * rate[:-1] - 2 * rate[1:]) / step
    bend_end = (-6 * slope + 2 * rate[:-1] + 4 * rate[1:]) / step
    assert np.roll(bend_end, 1, axis=0) == pytest.approx(bend_start, abs=1e-9)


def test_de_boor_against_ezdxf():
    from ezdxf.math import BSpline as Theirs  # noqa: PLC0415 - the second engine of this test alone

    rng = np.random.default_rng(1)
    for degree in range(1, 7):
        points, weights = rng.uniform(0, 50, (12, 3)), rng.uniform(0.2, 4, 12)
        points[:, 2] = 0
        inner = np.sort(rng.uniform(0, 10, 12 - degree - 1))
        knots = np.concatenate((np.zeros(degree + 1), inner, np.full(degree + 1, 10.0)))
        t = np.linspace(0, 10, 101)
        position, rate = trace_bspline(BSpline(points=points, weights=weights, knots=knots, degree=degree))(t)
        theirs = Theirs(points.tolist(), order=degree + 1, knots=list(knots), weights=list(weights))
        wanted = np.array([[(v.x, v.y) for v in pair] for pair in theirs.derivatives(t, 1)])
        assert position == pytest.approx(wanted[:, 0], abs=1e-9)
        assert rate[1:-1] == pytest.approx(wanted[1:-1, 1], abs=1e-7)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"knots": [0, 0, 0, 1, 2, 2, 2]}, "7 knots"),
        ({"knots": [0, 0, 0, 0, 1, 0.5, 2, 2, 2, 2]}, "do not rise"),
        ({"knots": [0, 0, 0, 0, 1, np.nan, 2, 2, 2, 2]}, "no numbers"),
        ({"knots": [1] * 10}, "do not rise"),
        ({"weights": [1, 1, -1, 1, 1, 1]}, "not positive"),
        ({"weights": [1, 1, 1]}, "3 weights"),
        ({"degree": 6}, "6 control points for degree 6"),
        ({"degree": 0}, "degree of 0"),
        ({"degree": 2, "knots": [0, 0, 0, 1, 1, 1, 2, 2, 2]}, "a break"),
    ],
)
def test_splines_that_give_no_curve(change, reason):
    points = np.array([(0, 0), (1, 5), (4, 4), (6, 0), (8, 2), (9, 9)], dtype=float)
    fields = {"knots": [0, 0, 0, 0, 1, 1.5, 2, 2, 2, 2], "weights": [1] * 6, "degree": 3, **change}
    spline = BSpline(
        points=points,
        knots=np.array(fields["knots"], dtype=float),
        weights=np.array(fields["weights"], dtype=float),
        degree=fields["degree"],
    )
    with pytest.raises(ValueError, match=reason):
        check_bspline(spline)
    with pytest.raises(ValueError, match=reason):
        lay_bspline(spline, tol=0.005)


def test_broken_entities_are_named(read):
    def draw(space):
        space.add_lwpolyline([(0, 0), (100, 0), (100, 100), (0, 100)], close=True)
        space.add_circle((0, 0), -5)
        space.add_lwpolyline([(5, 5)])
        space.add_polyline2d([(5, 5)])
        space.add_ellipse((0, 0), (5, 0), 1e-6).dxf.ratio = 1e-9
        space.add_open_spline([(0, 0), (1, 1), (2, 0), (3, 1)]).knots = [0, 0, 0, 1, 1, 1, 1, 1]

    found = errors(read(draw))
    assert [f.code for f in found] == ["broken-entity"] * 5
    for word, finding in zip(("radius", "vertices", "vertices", "line", "knots"), found, strict=True):
        assert word in finding.message
        assert finding.origin.handle


def test_an_entity_without_a_needed_value(read, tmp_path):
    """ezdxf would hand out (0, 0) for a missing start: a line that nobody drew."""
    import ezdxf  # noqa: PLC0415

    from cam.drawing.read import read_drawing  # noqa: PLC0415

    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_circle((50, 50), 20)
    document.modelspace().add_line((31, 32), (33, 34))
    path = tmp_path / "a.dxf"
    document.saveas(path)
    text = path.read_text()
    path.write_text(text.replace(" 11\n33.0\n", " 90\n33\n", 1))
    (finding,) = errors(read_drawing(path))
    assert finding.code == "broken-entity"
    assert "end" in finding.message


@pytest.mark.parametrize(
    ("start", "end", "sweep"), [(0, 90, 90), (350, 20, 30), (0, 360, 360), (90, 90, 360), (720, 30, 30)]
)
def test_arc_sweeps(start, end, sweep):
    rows = np.array(lay_arc(1, 2, 10, start, end))
    segments = find_segments(rows, closed=False)
    assert np.degrees(segments.sweep_rad.sum()) == pytest.approx(sweep)
    assert segments.radius_mm == pytest.approx(np.full(len(segments), 10.0))
    assert segments.centre_mm == pytest.approx(np.tile((1.0, 2.0), (len(segments), 1)), abs=1e-12)


@pytest.mark.parametrize("bulge", [2.5, -3.0, 20.0, -500.0])
def test_wide_arcs_are_cut_in_two_on_the_same_circle(bulge):
    rows = [(0.0, 0.0, bulge), (10.0, 4.0, 0.0)]
    whole = find_segments(np.array(rows), closed=False)
    halves = find_segments(np.array(split_wide_arcs(rows, closed=False)), closed=False)
    assert len(halves) == 2
    assert halves.radius_mm == pytest.approx(np.repeat(whole.radius_mm, 2), rel=1e-9)
    assert halves.centre_mm == pytest.approx(np.repeat(whole.centre_mm, 2, axis=0), rel=1e-9, abs=1e-7)
    assert halves.sweep_rad.sum() == pytest.approx(whole.sweep_rad[0])


def test_an_unevenly_scaled_circle_is_an_ellipse(read):
    def draw(space, document):
        document.blocks.new("HOLE").add_circle((10, 5), 8)
        space.add_blockref("HOLE", (100, 50), dxfattribs={"xscale": 3, "yscale": -2, "layer": "CUT"})

    (loop,) = read(draw).loops
    assert (loop.layer, loop.block_path[:5]) == ("CUT", "HOLE(")
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(pi * 24 * 16, rel=1e-4)
    assert find_bounds_mm(loop.contour) == pytest.approx((106, 24, 154, 56), abs=0.005)


def place(point, xscale, yscale, rotation_deg, insert, base=(0, 0)):
    """INSERT by hand (DXF reference): from the base point, scaled, turned, put at the insertion point."""
    x, y = (point[0] - base[0]) * xscale, (point[1] - base[1]) * yscale
    c, s = cos(radians(rotation_deg)), sin(radians(rotation_deg))
    return insert[0] + c * x - s * y, insert[1] + s * x + c * y


def test_a_turned_block_in_an_unevenly_scaled_one_is_sheared(read):
    corners = [(0, 0), (60, 0), (60, 40), (0, 40)]

    def draw(space, document):
        document.blocks.new("B", base_point=(3, 4)).add_lwpolyline(corners, close=True)
        document.blocks.new("OUTER", base_point=(7, 0)).add_blockref(
            "B", (10, 5), dxfattribs={"rotation": 40, "yscale": 2}
        )
        space.add_blockref("OUTER", (0, 300), dxfattribs={"rotation": -25, "xscale": 1.5, "yscale": 0.8})

    (loop,) = read(draw).loops
    wanted = [place(place(p, 1, 2, 40, (10, 5), (3, 4)), 1.5, 0.8, -25, (0, 300), (7, 0)) for p in corners]
    assert loop.contour.points_mm == pytest.approx(np.array(wanted), abs=1e-9)
    assert "/" in loop.block_path


def test_arrays_and_mirrors_keep_circles(read):
    def draw(space, document):
        document.blocks.new("B").add_lwpolyline(
            [(0, 0, 0), (40, 0, tan(pi / 8)), (50, 10, 0), (0, 30, 0)], format="xyb", close=True
        )
        space.add_blockref("B", (0, 0), dxfattribs={"xscale": -1, "rotation": 30}).grid((2, 3), (100, 200))

    loops = read(draw).loops
    assert len(loops) == 6
    for loop in loops:
        segments = find_segments(loop.contour.vertices)
        assert segments.radius_mm[segments.is_arc] == pytest.approx([10])
    base = loops[0].contour.points_mm
    offsets = [tuple((loop.contour.points_mm - base)[0].round(9)) for loop in loops]
    turned = [place((200 * column, 100 * row), 1, 1, 30, (0, 0)) for row in range(2) for column in range(3)]
    assert offsets == [pytest.approx(point, abs=1e-8) for point in turned]


def test_a_z_scale_of_nought_is_no_error(read):
    def draw(space, document):
        document.blocks.new("B").add_circle((0, 0, 3), 8)
        space.add_blockref("B", (100, 50), dxfattribs={"zscale": 0})

    drawing = read(draw)
    assert len(drawing.loops[0].contour) == 2
    assert errors(drawing) == []


def test_blocks_that_cannot_be_laid_out(read):
    def draw(space, document):
        space.add_lwpolyline([(0, 0), (100, 0), (100, 100), (0, 100)], close=True)
        space.add_blockref("NOWHERE", (0, 0))
        one, other = document.blocks.new("ONE"), document.blocks.new("OTHER")
        one.add_blockref("OTHER", (0, 0))
        other.add_blockref("ONE", (0, 0))
        space.add_blockref("ONE", (0, 0))

    found = errors(read(draw))
    assert [f.code for f in found] == ["missing-block", "looping-block"]
    assert "'NOWHERE'" in found[0].message


@pytest.mark.parametrize("number", [1e12, float("nan"), float("inf")])
def test_a_base_point_that_no_drawing_holds(read, number):
    def draw(space, document):
        document.blocks.new("B", base_point=(number, 0)).add_circle((0, 0), 5)
        space.add_blockref("B", (0, 0))

    with pytest.raises(DrawingRefused) as refusal:
        read(draw)
    assert [f.code for f in refusal.value.findings] == ["coordinates-too-large"]


def test_clips_and_outside_references_are_warned_of(read, codes):
    def draw(space, document):
        from ezdxf.xclip import XClip  # noqa: PLC0415

        document.blocks.new("B").add_circle((50, 50), 20)
        reference = space.add_blockref("B", (0, 0))
        XClip(reference).set_block_clipping_path([(0, 0), (50, 50)])
        document.add_xref_def("plan.dxf", "PLAN")
        space.add_blockref("PLAN", (0, 0))

    drawing = read(draw)
    assert codes(drawing) == ["clipped-block", "outside-reference"]
    assert len(drawing.loops) == 1


def test_layer_0_in_a_block_is_the_layer_of_its_reference(read):
    def draw(space, document):
        document.layers.add("GONE").freeze()
        document.layers.add("OFF").off()
        block = document.blocks.new("B")
        block.add_circle((0, 0), 5)
        block.add_circle((20, 0), 5, dxfattribs={"layer": "OWN"})
        for k, layer in enumerate(("CUT", "OFF", "GONE")):
            space.add_blockref("B", (100 * k, 0), dxfattribs={"layer": layer})

    loops = read(draw).loops
    assert [loop.layer for loop in loops] == ["CUT", "OWN", "OWN"]  # what is frozen goes whole, what is off by entity
