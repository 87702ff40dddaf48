"""Clean drawings: exact contours in mm, with their layers and handles, and notes on what was not used."""

from __future__ import annotations

from itertools import pairwise
from math import pi, sqrt, tan

import ezdxf
import numpy as np
import pytest

from cam.drawing.read import read_drawing, refuse_faults
from cam.errors import DrawingRefused
from cam.findings import Severity
from cam.geometry.contour import find_segments
from cam.geometry.measure import find_bounds_mm, measure_area_mm2, measure_length_mm

RECTANGLE = [(0, 0), (600, 0), (600, 400), (0, 400)]


def draw_rectangle(space, x=0.0, y=0.0, width=600.0, height=400.0, **attributes):
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    return space.add_lwpolyline(corners, close=True, dxfattribs=attributes)


def test_a_light_polyline_keeps_its_vertices_and_bulges_to_the_last_bit(read):
    rows = [
        (0.1, 0.2, 0.0),
        (700.3, 0.2, 0.4142135623730951),
        (710.3, 10.2, 0.0),
        (710.3, 300.7, 0.0),
        (0.1, 300.7, -0.25),
    ]
    drawing = read(lambda space: space.add_lwpolyline(rows, format="xyb", close=True, dxfattribs={"layer": "CUT"}))
    (loop,) = drawing.loops
    assert (loop.contour.vertices == np.array(rows)).all()
    assert (loop.layer, loop.handles) == ("CUT", (loop.handle,))
    assert drawing.findings == drawing.open_chains == drawing.passed_over == drawing.texts == ()
    assert (drawing.units, drawing.mm_per_unit) == ("mm", 1.0)


def test_a_circle_is_two_half_arcs(read):
    (loop,) = read(lambda space: space.add_circle((100.5, -20.25), 35.75)).loops
    assert (loop.contour.vertices == [[136.25, -20.25, 1.0], [64.75, -20.25, 1.0]]).all()


def test_loose_lines_and_arcs_in_any_order_and_direction(read):
    def draw(space):
        for cx, cy, start in ((590, 390, 0), (10, 390, 90), (590, 10, 270), (10, 10, 180)):
            space.add_arc((cx, cy), 10, start, start + 90)
        for start, end in (((10, 0), (590, 0)), ((600, 390), (600, 10)), ((0, 10), (0, 390)), ((590, 400), (10, 400))):
            space.add_line(start, end)

    drawing = read(draw)
    (loop,) = drawing.loops
    assert len(loop.contour) == len(loop.handles) == 8
    assert drawing.findings == ()
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(600 * 400 - (4 - pi) * 100, abs=1e-9)
    straight = loop.contour.vertices[loop.contour.bulges == 0, :2]
    assert {tuple(point) for point in straight} <= {
        (10, 0),
        (590, 0),
        (600, 390),
        (600, 10),
        (0, 10),
        (0, 390),
        (590, 400),
        (10, 400),
    }


@pytest.mark.parametrize("sweep", [(0, 300), (30, 330), (10, 359)])
def test_an_arc_of_more_than_three_quarters_keeps_its_circle(read, sweep):
    def draw(space):
        arc = space.add_arc((50, 60), 40, *sweep)
        space.add_line(arc.end_point, arc.start_point)

    (loop,) = read(draw).loops
    arcs = find_segments(loop.contour.vertices)
    assert arcs.radius_mm[arcs.is_arc] == pytest.approx([40, 40], rel=1e-12)
    alpha = np.radians(sweep[1] - sweep[0])
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(800 * (alpha - np.sin(alpha)), rel=1e-9)


@pytest.mark.parametrize(
    ("stated", "name", "factor"),
    [(4, "mm", 1), (5, "cm", 10), (6, "m", 1000), (1, "in", 25.4), (2, "ft", 304.8), (14, "dm", 100)],
)
def test_the_stated_unit_is_obeyed(read, stated, name, factor):
    """Factors of the DXF reference, $INSUNITS; the inch of 1959."""
    size = 600 / factor
    drawing = read(lambda space: draw_rectangle(space, width=size, height=size / 2), stated=stated)
    assert (drawing.units, drawing.mm_per_unit) == (name, factor)
    assert find_bounds_mm(drawing.loops[0].contour) == pytest.approx((0, 0, 600, 300), rel=1e-12)


def test_the_user_settles_the_unit(read, codes):
    drawing = read(lambda space: draw_rectangle(space, width=24, height=12), stated=6, units="in")
    assert find_bounds_mm(drawing.loops[0].contour) == pytest.approx((0, 0, 609.6, 304.8))
    assert codes(drawing) == ["units-overridden"]
    assert codes(read(draw_rectangle, stated=0, units="mm")) == []


def test_far_from_the_origin_nothing_is_lost(read):
    """1e6 mm away a double still has 1e-10 mm: the part must come out as the same part at the origin."""

    def draw(space, x=0.0, y=0.0):
        space.add_lwpolyline([(x, y), (x + 512, y), (x + 512, y + 256), (x, y + 256)], close=True)
        space.add_circle((x + 100, y + 100), 12.5)
        space.add_arc((x + 300, y + 100), 40, 0, 180)
        space.add_line((x + 340, y + 100), (x + 260, y + 100))

    near, far = read(draw), read(lambda space: draw(space, 1e6, -2e6))
    assert far.findings == ()
    for one, other in zip(near.loops, far.loops, strict=True):
        moved = other.contour.vertices - [1e6, -2e6, 0]
        assert np.abs(moved - one.contour.vertices).max() < 1e-9


def test_text_is_handed_on(read):
    def draw(space):
        draw_rectangle(space, width=24, height=12)
        space.add_text("Back panel", dxfattribs={"insert": (3, 4), "height": 0.5, "layer": "NOTES"})
        space.add_mtext("first\\Psecond", dxfattribs={"insert": (5, 6)})

    drawing = read(draw, stated=1, units="in")
    first, second = drawing.texts
    assert (first.x_mm, first.y_mm, first.height_mm) == pytest.approx((76.2, 101.6, 12.7))
    assert (first.text, first.layer) == ("Back panel", "NOTES")
    assert second.text == "first\nsecond"
    assert drawing.passed_over == (("MTEXT", 1), ("TEXT", 1))


def test_what_is_no_contour_is_counted(read, codes):
    def draw(space):
        draw_rectangle(space)
        space.add_point((1, 2))
        space.add_linear_dim(base=(0, -50), p1=(0, 0), p2=(600, 0)).render()
        hatch = space.add_hatch()
        hatch.paths.add_polyline_path(RECTANGLE)
        space.add_solid([(0, 0), (1, 0), (0, 1)])
        space.add_3dface([(0, 0), (1, 0), (0, 1)])
        space.add_ray((0, 0), (1, 1))
        space.add_polymesh((3, 3))

    drawing = read(draw)
    assert dict(drawing.passed_over) == {
        "POINT": 1, "DIMENSION": 1, "HATCH": 1, "SOLID": 1, "3DFACE": 1, "RAY": 1, "POLYLINE mesh": 1,
    }  # fmt: skip
    assert codes(drawing) == ["passed-over"]
    assert "1 HATCH" in drawing.findings[0].message
    assert len(drawing.loops) == 1


def test_hidden_things_are_passed_over_loudly(read, codes):
    def draw(space, document):
        document.layers.add("OFF").off()
        document.layers.add("COLD").freeze()
        document.layers.add("REMARKS").off()
        draw_rectangle(space)
        draw_rectangle(space, x=50, y=50, width=100, height=100, layer="off")
        space.add_line((0, 0), (5, 5), dxfattribs={"layer": "COLD"})
        space.add_text("hello", dxfattribs={"layer": "REMARKS"})
        draw_rectangle(space, x=300, y=50, width=100, height=100, invisible=1)
        document.layout("Layout1").add_line((0, 0), (1, 1))

    drawing = read(draw)
    assert len(drawing.loops) == 1
    hidden = [(f.severity, f.origin.layer, f.message) for f in drawing.findings if f.code == "hidden-layer"]
    assert [(severity, layer) for severity, layer, _ in hidden] == [
        (Severity.WARNING, "COLD"), (Severity.NOTE, "REMARKS"), (Severity.WARNING, "off"),
    ]  # fmt: skip
    assert "1 LWPOLYLINE" in hidden[2][2]
    assert codes(drawing) == ["hidden-layer"] * 3 + ["invisible-entities", "paper-space"]


def test_curves_and_heights_are_noted(read, codes):
    def draw(space):
        draw_rectangle(space)
        space.add_ellipse((300, 200, 5), (50, 0), 0.5)

    drawing = read(draw)
    assert codes(drawing) == ["several-heights", "curves-fitted"]
    assert "z 5 mm" in drawing.findings[0].message


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("binary", [False, True])
def test_every_version(read, version, binary):
    def draw(space):
        points = [
            (0, 0, 0, 0, 0),
            (300, 0, 0, 0, tan(pi / 8)),
            (310, 10, 0, 0, 0),
            (310, 200, 0, 0, 0),
            (0, 200, 0, 0, 0),
        ]
        space.add_polyline2d([(x, y, b) for x, y, _, _, b in points], format="xyb", close=True)
        space.add_circle((100, 100), 20)

    drawing = read(draw, version=version, binary=binary, units="mm")
    assert [len(loop.contour) for loop in drawing.loops] == [5, 2]
    assert measure_area_mm2(drawing.loops[0].contour) == pytest.approx(310 * 200 - (1 - pi / 4) * 100)
    assert [f for f in drawing.findings if f.code != "units-overridden"] == []


def test_faults_are_refused_together(read):
    def draw(space):
        draw_rectangle(space)
        space.add_line((10, 10), (20, 20))
        space.add_circle((0, 0), 30)

    drawing = read(draw)
    assert len(drawing.loops) == 2
    assert len(drawing.open_chains) == 1
    with pytest.raises(DrawingRefused) as refusal:
        refuse_faults(drawing)
    assert [f.code for f in refusal.value.findings] == ["open-chain", "crossing-loops"]
    refuse_faults(read(draw_rectangle))


def test_a_hexagon_of_lines_in_a_fixed_file(tmp_path):
    """The smallest DXF there is: an ENTITIES section alone, written by hand, so that nothing of ezdxf made it."""
    points = [(100 * np.cos(k * pi / 3), 100 * np.sin(k * pi / 3)) for k in range(7)]
    lines = ["0", "SECTION", "2", "ENTITIES"]
    for (x0, y0), (x1, y1) in pairwise(points):
        lines += ["0", "LINE", "8", "0", "10", f"{x0:.6f}", "20", f"{y0:.6f}", "11", f"{x1:.6f}", "21", f"{y1:.6f}"]
    path = tmp_path / "hexagon.dxf"
    path.write_text("\n".join([*lines, "0", "ENDSEC", "0", "EOF"]) + "\n")
    drawing = read_drawing(path, units="mm")
    (loop,) = drawing.loops
    assert measure_length_mm(loop.contour) == pytest.approx(600, abs=1e-5)
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(1.5 * sqrt(3) * 1e4, abs=1e-3)
    with pytest.raises(DrawingRefused) as refusal:
        read_drawing(path)
    assert [f.code for f in refusal.value.findings] == ["no-units"]


def test_the_same_drawing_gives_the_same_answer(read):
    def draw(space):
        for k in range(40):
            draw_rectangle(space, x=k * 20, y=0, width=10, height=10)
            space.add_line((k, 100), (k + 0.5, 101))

    one, other = read(draw), read(draw)
    assert one.findings == other.findings
    assert all((a.contour.vertices == b.contour.vertices).all() for a, b in zip(one.loops, other.loops, strict=True))


def test_ezdxf_is_not_asked_for_a_document_twice(read, monkeypatch):
    """The strict reader's answer is used where it gives one; recovery is for files that it refuses."""
    monkeypatch.setattr(ezdxf.recover, "readfile", lambda *a: pytest.fail("recovery was asked"))
    assert len(read(draw_rectangle).loops) == 1


def test_every_other_kind_of_entity_is_counted_and_none_is_a_crash(tmp_path):
    """Pictures, meshes, solids, leaders: by count; embedded objects and proxies too, written here by their tags."""
    document = ezdxf.new("R2018", units=4)
    space = document.modelspace()
    draw_rectangle(space)
    space.add_image(document.add_image_def("photo.png", (10, 10)), (0, 0), (10, 10))
    space.add_underlay(document.add_underlay_def("plan.pdf", "pdf"), (0, 0))
    with space.add_mesh().edit_data() as mesh:
        mesh.vertices = [(0, 0, 0), (9, 0, 0), (9, 9, 0)]
        mesh.faces = [(0, 1, 2)]
    for corners in range(3):
        space.add_solid([(corners, 0), (1, 0), (0, 1)])
    space.add_trace([(0, 0), (1, 0), (0, 1), (1, 1)])
    space.add_wipeout([(0, 0), (10, 10)])
    space.add_mline([(0, 0), (5, 5)])
    space.add_leader([(0, 0), (5, 5)])
    space.add_helix(5, 2, 3)
    space.add_attdef("TAG", (0, 0), "words")
    space.add_polyface()
    path = tmp_path / "a.dxf"
    document.saveas(path)
    text = path.read_text()
    owner = space.layout_key
    embedded = f"  0\nOLE2FRAME\n  5\nFFF1\n330\n{owner}\n100\nAcDbEntity\n  8\n0\n100\nAcDbOle2Frame\n 70\n2\n"
    embedded += " 10\n0.0\n 20\n0.0\n 30\n0.0\n 11\n1.0\n 21\n1.0\n 31\n0.0\n 90\n4\n310\nDEADBEEF\n  1\nOLE\n"
    proxy = f"  0\nACAD_PROXY_ENTITY\n  5\nFFF2\n330\n{owner}\n100\nAcDbEntity\n  8\n0\n100\nAcDbProxyEntity\n"
    proxy += " 90\n498\n 91\n500\n 92\n4\n310\nDEADBEEF\n"
    unknown = "  0\nSHELF_BRACKET\n  5\nFFF3\n100\nAcDbEntity\n  8\n0\n"
    at = text.index("ENTITIES\n") + len("ENTITIES\n")
    path.write_text(text[:at] + embedded + proxy + unknown + text[at:])
    drawing = read_drawing(path)
    assert len(drawing.loops) == 1
    counted = dict(drawing.passed_over)
    wanted = {
        "IMAGE": 1, "PDFUNDERLAY": 1, "MESH": 1, "SOLID": 3, "TRACE": 1, "WIPEOUT": 1, "MLINE": 1, "LEADER": 1,
        "HELIX": 1, "ATTDEF": 1, "POLYLINE mesh": 1, "OLE2FRAME": 1, "ACAD_PROXY_ENTITY": 1,
    }  # fmt: skip
    assert counted == wanted
    (unknown_note,) = [f for f in drawing.findings if f.code == "unknown-entities"]
    assert "1 SHELF_BRACKET" in unknown_note.message
    assert [f for f in drawing.findings if f.severity is Severity.ERROR] == []


def test_fit_points_by_the_thousand(read):
    """An open spline through 2,000 points of a sine: within the distance that the points' own chords stray."""
    x = np.linspace(0, 400, 2000)
    points = list(zip(x, 50 + 30 * np.sin(x / 40), strict=True))

    def draw(space):
        space.add_spline(points)
        space.add_lwpolyline([points[-1], (400, -50), (0, -50), points[0]])

    (loop,) = read(draw).loops
    area = 400 * 100 + 30 * 40 * (1 - np.cos(10))
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(area, rel=1e-5)
