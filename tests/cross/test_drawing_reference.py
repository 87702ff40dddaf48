"""Arithmetic of the DXF reference, worked by hand: bulges, object coordinate systems, block references.

Every file is written here group code by group code; what must come out is computed by the rules as the
reference states them, in numbers that a reader can follow with a pencil.
"""

from __future__ import annotations

from math import atan, cos, pi, radians, sin, sqrt, tan

import numpy as np
import pytest

from cam.drawing.read import read_drawing
from cam.geometry.contour import find_segments
from cam.geometry.measure import find_bounds_mm, measure_area_mm2


@pytest.fixture
def read(tmp_path):
    """Return a function that reads group codes and values, a line a pair, as a file's sections."""

    def do(entities, blocks=""):
        words = "0 SECTION 2 HEADER 9 $ACADVER 1 AC1009 9 $INSUNITS 70 4 0 ENDSEC"
        if blocks:
            words += f" 0 SECTION 2 BLOCKS {blocks} 0 ENDSEC"
        words += f" 0 SECTION 2 ENTITIES {entities} 0 ENDSEC 0 EOF"
        path = tmp_path / "a.dxf"
        path.write_text("\n".join(words.split()) + "\n")
        drawing = read_drawing(path)
        assert "broken-entity" not in [f.code for f in drawing.findings]
        return drawing

    return do


def polyline(rows, normal=""):
    vertices = " ".join(f"0 VERTEX 8 0 10 {x} 20 {y} 42 {bulge}" for x, y, bulge in rows)
    return f"0 POLYLINE 8 0 66 1 70 1 {normal} {vertices} 0 SEQEND"


def place(point, *, base=(0, 0), scale=(1, 1), turn_deg=0.0, at=(0, 0)):
    x, y = (point[0] - base[0]) * scale[0], (point[1] - base[1]) * scale[1]
    c, s = cos(radians(turn_deg)), sin(radians(turn_deg))
    return at[0] + c * x - s * y, at[1] + s * x + c * y


class TestBulge:
    """Reference: the bulge is the tangent of a quarter of the arc's angle, negative if clockwise; 1 is half a turn."""

    def test_a_half_turn_has_half_the_chord_for_its_radius(self, read):
        (loop,) = read(polyline([(0, 0, 1), (30, 0, 0), (30, 40, 0), (0, 40, 0)])).loops
        arc = find_segments(loop.contour.vertices)
        assert arc.radius_mm[0] == pytest.approx(15)
        assert find_bounds_mm(loop.contour) == pytest.approx((0, -15, 30, 40))  # to the right of its direction

    def test_a_bulge_of_one_half_rises_a_quarter_of_its_chord(self, read):
        """Rise = bulge x chord / 2 = 2.5; radius = (5^2 + 2.5^2) / (2 x 2.5) = 6.25; angle = 4 atan 0.5."""
        (loop,) = read(polyline([(0, 0, 0), (10, 0, 0), (10, 20, 0.5), (0, 20, 0)])).loops
        arc = find_segments(loop.contour.vertices)
        assert arc.radius_mm[2] == pytest.approx(6.25)
        assert arc.sweep_rad[2] == pytest.approx(4 * atan(0.5))
        assert find_bounds_mm(loop.contour) == pytest.approx((0, 0, 10, 22.5))

    def test_a_negative_bulge_runs_clockwise(self, read):
        b = -tan(radians(90) / 4)
        (loop,) = read(polyline([(0, 0, 0), (50, 0, 0), (50, 40, b), (40, 50, 0), (0, 50, 0)])).loops
        arc = find_segments(loop.contour.vertices)
        assert arc.radius_mm[2] == pytest.approx(10)
        assert arc.centre_mm[2] == pytest.approx((50, 50))
        assert abs(measure_area_mm2(loop.contour)) == pytest.approx(2500 - pi * 100 / 4)


class TestObjectCoordinates:
    """Reference, arbitrary axis: X = (0, 1, 0) x N if |x|, |y| of N are below 1/64, else (0, 0, 1) x N; Y = N x X."""

    def test_straight_down_turns_x_over(self, read):
        """N = (0, 0, -1): X = (0, 1, 0) x N = (-1, 0, 0), Y = N x X = (0, 1, 0); (40, 30) lies at (-40, 30)."""
        (loop,) = read("0 CIRCLE 8 0 10 40 20 30 40 5 210 0 220 0 230 -1").loops
        assert find_segments(loop.contour.vertices).centre_mm[0] == pytest.approx((-40, 30))

    def test_a_bulge_turns_over_with_it(self, read):
        """Counter-clockwise about N is clockwise seen from above: the arc stays on the mirrored side."""
        (loop,) = read(polyline([(0, 0, 1), (30, 0, 0), (30, 40, 0), (0, 40, 0)], "210 0 220 0 230 -1")).loops
        assert find_bounds_mm(loop.contour) == pytest.approx((-30, -15, 0, 40))

    @pytest.mark.parametrize("normal", ["1e-17 0 -1", "-3e-9 2e-9 -1", "0 1e-7 -0.99999999999999", "0 0 -12"])
    def test_nearly_straight_down_is_straight_down(self, read, normal):
        x, y, z = normal.split()
        (loop,) = read(f"0 CIRCLE 8 0 10 40000 20 30000 40 500 210 {x} 220 {y} 230 {z}").loops
        assert len(loop.contour) == 2
        assert find_segments(loop.contour.vertices).centre_mm[0] == pytest.approx((-40000, 30000), abs=1e-9)

    @pytest.mark.parametrize("normal", ["0 0 1", "1e-12 0 1", "0 0 5"])
    def test_nearly_straight_up_changes_nothing(self, read, normal):
        x, y, z = normal.split()
        (loop,) = read(f"0 CIRCLE 8 0 10 40 20 30 40 5 210 {x} 220 {y} 230 {z}").loops
        assert (loop.contour.vertices == [[45, 30, 1], [35, 30, 1]]).all()

    @pytest.mark.parametrize(
        "normal",
        [
            (1 / 60, 0),  # above 1/64: X = (0, 0, 1) x N, along y
            (1 / 70, 0),  # below: X = (0, 1, 0) x N, along x
            (0, 1),
        ],
    )
    def test_a_tilted_plane_is_refused(self, read, normal):
        x, y = normal
        drawing = read(
            f"{polyline([(0, 0, 0), (90, 0, 0), (90, 90, 0)])}"
            f" 0 CIRCLE 8 0 10 40 20 30 40 5 210 {x} 220 {y} 230 {sqrt(max(1 - x * x - y * y, 0))}"
        )
        assert [f.code for f in drawing.findings if f.severity == "error"] == ["not-flat"]

    def test_an_arc_counts_its_angles_in_its_own_plane(self, read):
        """From 0 to 90 degrees about N = (0, 0, -1): from (-50, 0) to (0, 50), closed by two lines of the world."""
        drawing = read(
            "0 ARC 8 0 10 0 20 0 40 50 50 0 51 90 210 0 220 0 230 -1"
            " 0 LINE 8 0 10 0 20 50 11 0 21 0 0 LINE 8 0 10 0 20 0 11 -50 21 0"
        )
        (loop,) = drawing.loops
        assert abs(measure_area_mm2(loop.contour)) == pytest.approx(pi * 2500 / 4)
        assert find_bounds_mm(loop.contour) == pytest.approx((-50, 0, 0, 50))


class TestBlockReferences:
    """Reference: a point goes to insertion + turn x scale x (point - base); arrays step along the axes as turned."""

    BLOCK = "0 BLOCK 8 0 2 B 70 0 10 1 20 2 3 B {content} 0 ENDBLK 8 0"
    CORNERS = ((4, 6), (16, 6), (16, 12))

    def insert(self, more):
        return f"0 INSERT 8 0 2 B {more}"

    def test_base_scale_turn_insertion(self, read):
        """(4, 6) - (1, 2) = (3, 4); by (2, 3) = (6, 12); turned by 90 = (-12, 6); from (100, 50) = (88, 56)."""
        block = self.BLOCK.format(content=polyline([(x, y, 0) for x, y in self.CORNERS]))
        (loop,) = read(self.insert("10 100 20 50 41 2 42 3 43 1 50 90"), block).loops
        assert loop.contour.points_mm[0] == pytest.approx((88, 56))
        wanted = [place(p, base=(1, 2), scale=(2, 3), turn_deg=90, at=(100, 50)) for p in self.CORNERS]
        assert loop.contour.points_mm == pytest.approx(np.array(wanted))

    def test_an_array_steps_along_the_turned_axes(self, read):
        """Columns 10 apart along (0, 1) and rows 20 apart along (-1, 0) once turned by 90, whatever the scale."""
        block = self.BLOCK.format(content="0 CIRCLE 8 0 10 1 20 2 40 8")
        loops = read(self.insert("10 100 20 50 41 0.25 42 0.25 43 0.25 50 90 70 3 71 2 44 10 45 20"), block).loops
        centres = {tuple(find_segments(loop.contour.vertices).centre_mm[0].round(9)) for loop in loops}
        assert centres == {(100 - 20 * row, 50 + 10 * column) for row in range(2) for column in range(3)}
        assert {find_segments(loop.contour.vertices).radius_mm[0].round(12) for loop in loops} == {2.0}

    def test_uneven_scales_make_an_ellipse(self, read):
        block = self.BLOCK.format(content="0 CIRCLE 8 0 10 11 20 2 40 8")
        (loop,) = read(self.insert("10 0 20 0 41 3 42 -0.5 43 0"), block).loops
        assert find_bounds_mm(loop.contour) == pytest.approx((6, -4, 54, 4), abs=0.005)
        assert abs(measure_area_mm2(loop.contour)) == pytest.approx(
            pi * 24 * 4, abs=0.005 * 100
        )  # perimeter x distance

    def test_a_reference_turned_over_is_mirrored_as_a_whole(self, read):
        """N = (0, 0, -1): the place computed as above, then x turned over."""
        block = self.BLOCK.format(content=polyline([(x, y, 0) for x, y in self.CORNERS]))
        (loop,) = read(self.insert("10 100 20 50 41 2 42 3 43 1 50 30 210 0 220 0 230 -1"), block).loops
        wanted = [place(p, base=(1, 2), scale=(2, 3), turn_deg=30, at=(100, 50)) for p in self.CORNERS]
        assert loop.contour.points_mm == pytest.approx(np.array([(-x, y) for x, y in wanted]))

    def test_a_reference_within_a_reference(self, read):
        inner = self.BLOCK.format(content=polyline([(x, y, 0) for x, y in self.CORNERS]))
        outer = "0 BLOCK 8 0 2 O 70 0 10 5 20 0 3 O 0 INSERT 8 0 2 B 10 7 20 9 41 -1 42 1 43 1 50 45 0 ENDBLK 8 0"
        (loop,) = read("0 INSERT 8 0 2 O 10 300 20 0 41 2 42 2 43 2 50 -30", f"{inner} {outer}").loops
        wanted = [
            place(inside, base=(5, 0), scale=(2, 2), turn_deg=-30, at=(300, 0))
            for inside in (place(p, base=(1, 2), scale=(-1, 1), turn_deg=45, at=(7, 9)) for p in self.CORNERS)
        ]
        assert loop.contour.points_mm == pytest.approx(np.array(wanted))
