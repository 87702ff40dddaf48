"""Faults of closed contours, each found at its place, and nothing found where nothing is wrong."""

from __future__ import annotations

import random
from itertools import pairwise
from math import pi

import numpy as np
import pytest

from cam.findings import Severity


def errors(drawing):
    return [f for f in drawing.findings if f.severity is Severity.ERROR]


def rectangle(space, x, y, width, height, **attributes):
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    return space.add_lwpolyline(corners, close=True, dxfattribs=attributes)


def test_an_open_contour_says_both_ends_and_the_gap(read):
    def draw(space):
        space.add_lwpolyline([(0, 0), (300, 0), (300, 200), (0, 200), (0, 0.04)], dxfattribs={"layer": "CUT"})

    drawing = read(draw)
    (open_chain,) = drawing.open_chains
    assert open_chain.gap_mm == pytest.approx(0.04)
    assert open_chain.length_mm == pytest.approx(999.96)
    first, second = errors(drawing)
    assert (first.code, second.code) == ("open-chain", "no-closed-loop")
    assert first.size_mm == pytest.approx(0.04)
    assert (first.origin.layer, first.origin.handle) == ("CUT", open_chain.handle)
    assert "(0.000, 0.000)" in first.message
    assert "(0.000, 0.040)" in first.message
    assert "0.04 mm" in first.message
    assert "--join-tol-mm 0.04" in first.remedy
    assert drawing.loops == ()
    assert read(draw, join_tol_mm=0.05).open_chains == ()


def test_the_nearest_open_end_may_be_another_piece(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_line((10, 10), (30, 10))
        space.add_line((30.5, 10), (50, 10), dxfattribs={"layer": "OTHER"})

    first, second = errors(read(draw))
    assert first.size_mm == second.size_mm == pytest.approx(0.5)
    assert "of layer OTHER" in first.message
    assert (first.origin.x_mm, first.origin.y_mm) == (30, 10)


def test_a_line_that_ends_on_another(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_line((40, 100), (40, 60))

    opened, junction = errors(read(draw))
    assert (opened.code, junction.code) == ("open-chain", "t-junction")
    assert (junction.origin.x_mm, junction.origin.y_mm) == (40, 100)
    assert "LWPOLYLINE" in junction.message


def test_a_tail_that_ends_on_its_own_contour(read):
    def draw(space):
        points = [(0, 0), (100, 0), (100, 100), (0, 100), (0, 50), (60, 50), (60, 0)]
        for start, end in pairwise(points):
            space.add_line(start, end)

    found = errors(read(draw))
    assert [f.code for f in found] == ["open-chain", "t-junction", "no-closed-loop"]
    assert (found[1].origin.x_mm, found[1].origin.y_mm) == (60, 0)


def test_crossing_contours_say_where_and_how_often(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_circle((100, 50), 30, dxfattribs={"layer": "HOLES"})

    (finding,) = errors(read(draw))
    assert finding.code == "crossing-loops"
    assert finding.origin.x_mm == pytest.approx(100)
    assert finding.origin.y_mm in (pytest.approx(20), pytest.approx(80))
    assert "here and at 1 other place" in finding.message
    assert "CIRCLE" in finding.message


@pytest.mark.parametrize(
    "centre_radius", [((70, 50), 30), ((130, 50), 30), ((100 + 30 / 2**0.5, 100 + 30 / 2**0.5), 30), ((50, 50), 50)]
)
def test_contours_that_touch(read, centre_radius):
    """Tangent from inside, from outside, in a corner, and on all four sides."""

    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_circle(*centre_radius)

    (finding,) = errors(read(draw))
    assert finding.code == "crossing-loops"


@pytest.mark.parametrize("gap", [0.001, 0.01])
def test_contours_that_nearly_touch_do_not(read, gap):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_circle((70 - gap, 50), 30)
        space.add_circle((130 + gap, 50), 30)

    assert errors(read(draw)) == []


def test_circles_that_touch_and_do_not(read):
    def draw(space, gap=0.0):
        space.add_circle((0, 0), 50)
        space.add_circle((0, 20 - gap), 30)
        space.add_circle((80 + gap, 0), 30)

    assert [f.code for f in errors(read(draw))] == ["crossing-loops"] * 2
    assert errors(read(lambda space: draw(space, 0.002))) == []


def test_two_panels_with_a_common_edge(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        rectangle(space, 100, 20, 100, 50)

    assert "overlapping-pieces" in [f.code for f in errors(read(draw))]


def test_a_bow_tie(read):
    (finding,) = [
        f for f in errors(read(lambda space: space.add_lwpolyline([(0, 0), (90, 60), (90, 0), (0, 60)], close=True)))
        if f.code == "self-crossing"
    ]  # fmt: skip
    assert (finding.origin.x_mm, finding.origin.y_mm) == pytest.approx((45, 30))


@pytest.mark.parametrize(
    "rows",
    [
        [(0, 0, 0), (100, 0, 0), (100, 100, 0), (50, 0, 0), (0, 100, 0)],  # a vertex on an edge
        [(0, 0, 0), (100, 0, 0), (50, 50, 0), (100, 100, 0), (0, 100, 0), (50, 50, 0)],  # a vertex met twice
        [(0, 0, 0), (100, 0, 1), (50, 0, 0), (0, 80, 0)],  # an arc back onto its own line
        [(0, 0, 0), (100, 0, 1), (100, 40, 0), (100, 30, 0), (40, 30, -2), (40, 10, 0)],  # an arc over a line
    ],
)
def test_contours_that_meet_themselves(read, rows):
    codes = [f.code for f in errors(read(lambda space: space.add_lwpolyline(rows, format="xyb", close=True)))]
    assert set(codes) <= {"self-crossing", "overlapping-pieces"}
    assert codes


def test_a_spike_runs_along_itself(read):
    rows = [(0, 0), (100, 0), (100, 50), (160, 50), (100, 50.0), (100, 100), (0, 100)]
    found = errors(read(lambda space: space.add_lwpolyline(rows, close=True)))
    assert {f.code for f in found} == {"overlapping-pieces", "self-crossing"}  # it passes its foot twice


def test_an_arc_there_and_back(read):
    found = errors(read(lambda space: space.add_lwpolyline([(0, 0, 0.5), (100, 0, -0.5)], format="xyb", close=True)))
    assert found[0].code == "overlapping-pieces"


def test_exact_copies_of_loose_pieces_are_dropped_and_said(read, codes):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_line((200, 0), (300, 0))
        space.add_line((300, 0), (300, 50))
        space.add_line((300, 50), (200, 0))
        space.add_line((300, 0), (200, 0))  # backwards
        space.add_line((300, 50), (200, 0))

    drawing = read(draw)
    assert len(drawing.loops) == 2
    assert codes(drawing) == ["duplicate-dropped"]
    assert drawing.findings[0].message.startswith("2 pieces")


def test_exact_copies_of_whole_loops_are_dropped_and_counted(read, codes):
    """From whatever start, in either direction; a circle turned over is the same circle."""
    corners = [(0, 0, 0), (100, 0, 0.3), (100, 80, 0), (0, 60, -0.2)]
    back = [(0, 0, 0.2), (0, 60, 0), (100, 80, -0.3), (100, 0, 0)]

    def draw(space):
        for rows in (corners, corners[2:] + corners[:2], back, back[1:] + back[:1]):
            space.add_lwpolyline(rows, format="xyb", close=True)
        space.add_circle((50, 30), 10)
        space.add_circle((-50, 30), 10, dxfattribs={"extrusion": (0, 0, -1)})

    drawing = read(draw)
    assert len(drawing.loops) == 2
    assert codes(drawing) == ["duplicate-dropped"]
    (finding,) = drawing.findings
    assert finding.severity is Severity.WARNING
    assert finding.message.startswith("4 pieces")
    assert "4 of them closed loops" in finding.message
    assert finding.origin.handle and finding.origin.x_mm is not None


@pytest.mark.parametrize("change", [(1, 2, 0.301), (0, 1, 1e-4), (1, 2, -0.3)])
def test_nearly_the_same_loop_is_no_copy(read, change):
    rows = np.array([(0, 0, 0), (100, 0, 0.3), (100, 80, 0), (0, 60, -0.2)], dtype=float)
    other = rows.copy()
    other[change[0], change[1]] = change[2]

    def draw(space):
        space.add_lwpolyline(rows, format="xyb", close=True)
        space.add_lwpolyline(other, format="xyb", close=True)

    drawing = read(draw)
    assert len(drawing.loops) == 2
    assert errors(drawing)


@pytest.mark.parametrize("shift", [0.0, 0.0005, 0.04])
def test_a_loop_drawn_twice_in_two_ways(read, shift):
    def draw(space):
        rectangle(space, 0, 0, 100, 60)
        corners = [(0, shift), (100, shift), (100 + shift, 60), (0, 60 - shift)]
        for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
            space.add_line(start, end)

    (finding,) = errors(read(draw))
    assert finding.code == "doubled-loop"
    assert "LWPOLYLINE" in finding.message


def test_a_loop_on_two_layers_is_doubled(read):
    def draw(space):
        space.add_circle((0, 0), 30, dxfattribs={"layer": "A"})
        space.add_circle((0, 0), 30, dxfattribs={"layer": "B"})

    (finding,) = errors(read(draw))
    assert finding.code == "doubled-loop"
    assert finding.origin.layer == "B"


def test_a_narrow_ring_is_not_doubled(read):
    def draw(space):
        space.add_circle((0, 0), 30)
        space.add_circle((0, 0), 30.2)

    assert errors(read(draw)) == []


def test_overlapping_pieces_of_one_line(read):
    def draw(space):
        for start, end in (
            ((0, 0), (100, 0)),
            ((100, 0), (100, 80)),
            ((100, 80), (0, 80)),
            ((0, 80), (0, 0)),
            ((20, 0), (60, 0)),
        ):
            space.add_line(start, end)

    found = errors(read(draw))
    assert "overlapping-pieces" in [f.code for f in found]
    assert {"open-chain", "t-junction", "overlapping-pieces"} == {f.code for f in found}


def test_a_sliver(read):
    found = errors(read(lambda space: space.add_lwpolyline([(0, 0), (200, 0), (200, 0.03), (0, 0.03)], close=True)))
    assert [f.code for f in found] == ["sliver-loop"]


def test_pieces_that_are_not_level(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_line((0, 0, 0), (10, 0, 4))
        space.add_circle((50, 50), 10, dxfattribs={"extrusion": (1, 0, 1)})
        space.add_ellipse((50, 50), (0, 10, 3), 0.5)
        space.add_polyline3d([(0, 0, 0), (10, 0, 0), (10, 0, 9)], close=True)
        space.add_spline([(0, 0, 0), (10, 0, 5), (10, 10, 0)])

    found = errors(read(draw))
    assert [f.code for f in found] == ["not-flat"] * 5
    assert all(f.origin.handle for f in found)


def test_many_faults_are_counted_not_listed(read):
    def draw(space):
        for k in range(300):
            space.add_line((k * 10, 0), (k * 10 + 3, 5))

    found = errors(read(draw))
    assert len(found) == 52
    assert "and 250 more" in found[50].message


def test_a_drawing_full_of_tangent_and_rounded_parts_has_no_fault(read, codes):
    """Fillets, slots, key slots, S-curves and concentric arcs, in four turns and far from the origin."""
    rng = random.Random(7)

    def draw(space):
        for k in range(40):
            x, y = 1000.0 * (k % 8) + rng.random(), 1000.0 * (k // 8) - 1e6
            turn = rng.choice([0.0, 30.0, 90.0, 137.0])
            c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
            r, w, h = rng.uniform(2, 20), rng.uniform(100, 400), rng.uniform(60, 300)
            b = np.tan(pi / 8)
            rows = [
                (r, 0, 0),
                (w - r, 0, b),
                (w, r, 0),
                (w, h - r, b),
                (w - r, h, 0),
                (r, h, b),
                (0, h - r, 0),
                (0, r, b),
            ]
            slot = [
                (w / 3, h / 2 - r / 3, 0),
                (w / 2, h / 2 - r / 3, 1),
                (w / 2, h / 2 + r / 3, 0),
                (w / 3, h / 2 + r / 3, 1),
            ]
            for shape in (rows, slot):
                space.add_lwpolyline(
                    [(x + c * p - s * q, y + s * p + c * q, v) for p, q, v in shape], format="xyb", close=True
                )

    drawing = read(draw)
    assert len(drawing.loops) == 80
    assert codes(drawing) == []


def find(drawing, code):
    (finding,) = [f for f in errors(drawing) if f.code == code]
    assert finding.remedy
    assert finding.origin.handle
    return finding


def lines(*points):
    def draw(space):
        for start, end in pairwise(points):
            space.add_line(start, end)

    return draw


def test_how_far_loops_reach_over_each_other(read):
    """Two rectangles that share 20 x 60 mm; a circle that shows a cap of 5 mm; loops that only touch."""

    def overlapping(space):
        rectangle(space, 0, 0, 100, 100)
        rectangle(space, 80, 20, 90, 60)

    assert find(read(overlapping), "crossing-loops").size_mm == pytest.approx(20, abs=0.02)

    def peeping(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_circle((75, 50), 30)

    assert find(read(peeping), "crossing-loops").size_mm == pytest.approx(5, abs=0.02)

    def touching(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_circle((70, 50), 30)

    finding = find(read(touching), "crossing-loops")
    assert finding.size_mm == pytest.approx(0, abs=1e-9)
    assert "they only touch" in finding.message


def test_how_far_an_open_line_reaches_into_a_loop(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_line((50, 50), (50, 107))
        space.add_line((20, 20), (40, 40))
        space.add_line((24, 40), (30, 20))

    sizes = [f.size_mm for f in errors(read(draw)) if f.code == "crossing-loops"]
    # 7 mm stick out of the loop; of the two lines, x = y where 24 + 6 s = 40 - 20 s
    assert sizes[0] == pytest.approx(7)
    at = np.array([24 + 6 * (16 / 26), 40 - 20 * (16 / 26)])
    assert sizes[1] == pytest.approx(min(np.hypot(*(at - end)) for end in ((20, 20), (40, 40), (24, 40), (30, 20))))


def test_how_long_pieces_run_along_each_other(read):
    def draw(space):
        lines((0, 0), (100, 0), (100, 80), (0, 80), (0, 0))(space)
        space.add_line((20, 0), (63, 0))

    assert find(read(draw), "overlapping-pieces").size_mm == pytest.approx(43)


def test_how_long_a_piece_is_that_ends_on_another(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        lines((40, 100), (40, 60), (70, 60))(space)

    finding = find(read(draw), "t-junction")
    assert finding.size_mm == pytest.approx(70)
    assert "70 mm long" in finding.message


def test_how_much_a_crossing_cuts_off(read):
    """A small loop of 10 x 10 at the end of a plate's side: between the passes lie the two sides apart from them."""
    rows = [(0, 0), (100, 0), (100, 60), (50, 60), (50, 75), (40, 75), (40, 65), (60, 65), (60, 90), (0, 90)]
    finding = find(read(lambda space: space.add_lwpolyline(rows, close=True)), "self-crossing")
    assert (finding.origin.x_mm, finding.origin.y_mm) == pytest.approx((50, 65))
    assert finding.size_mm == pytest.approx(10 + 10)


def test_how_far_apart_doubled_loops_are(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 60)
        rectangle(space, 0.03, 0.04, 100, 60)

    assert find(read(draw), "doubled-loop").size_mm == pytest.approx(0.05)


def test_how_wide_a_sliver_is(read):
    drawing = read(lambda space: space.add_lwpolyline([(0, 0), (200, 0), (200, 0.03), (0, 0.03)], close=True))
    assert find(drawing, "sliver-loop").size_mm == pytest.approx(0.03, rel=1e-3)


def test_wider_gaps_are_offered_up_to_a_millimetre(read):
    gap = lines((0, 0), (100, 0), (100, 80), (0, 80), (0, 0.6))
    opened = find(read(gap, join_tol_mm=0.2), "open-chain")
    assert "--join-tol-mm 0.6" in opened.remedy
    gap = lines((0, 0), (100, 0), (100, 80), (0, 80), (0, 1.4))
    assert "--join-tol-mm" not in find(read(gap, join_tol_mm=0.2), "open-chain").remedy


def test_gaps_closed_by_request_are_listed_each(read, codes):
    def draw(space):
        lines((0, 0.3), (100, 0), (100, 80))(space)
        lines((100.2, 80), (0, 80), (0, 0))(space)

    drawing = read(draw, join_tol_mm=0.5)
    assert codes(drawing) == ["gap-closed", "gap-closed"]
    assert [f.size_mm for f in drawing.findings] == pytest.approx([0.3, 0.2])
    (wider,) = [f for f in read(draw, join_tol_mm=0.03).findings if f.code == "wider-gaps"]
    assert "2 more gaps would close, the widest of 0.3 mm" in wider.message


def test_a_contour_that_goes_on_hidden_is_said_with_its_layer(read):
    def draw(space, document):
        document.layers.add("OLD").off()
        rectangle(space, 300, 0, 50, 50)
        lines((0, 0), (100, 0), (100, 80))(space)
        for start, end in (((100, 80), (0, 80)), ((0, 80), (0, 0))):
            space.add_line(start, end, dxfattribs={"layer": "OLD"})

    drawing = read(draw)
    opened = find(drawing, "open-chain")
    assert "it goes on where the layer OLD is hidden" in opened.message
    assert opened.remedy == "switch the layer OLD on, or thaw it"
    (hidden,) = [f for f in drawing.findings if f.code == "hidden-layer"]
    assert hidden.severity is Severity.WARNING
    assert "part of a contour is hidden: 2 open ends" in hidden.message


def test_what_is_hidden_elsewhere_is_no_part_of_an_open_contour(read):
    def draw(space, document):
        document.layers.add("OLD").off()
        lines((0, 0), (100, 0), (100, 80))(space)
        space.add_line((10, 10), (20, 20), dxfattribs={"layer": "OLD"})
        space.add_lwpolyline([(1, 1)], dxfattribs={"layer": "OLD"})  # broken, and nobody's business while hidden

    drawing = read(draw)
    assert "hidden" not in find(drawing, "open-chain").message
    assert [f.code for f in errors(drawing)] == ["open-chain", "no-closed-loop"]


@pytest.mark.parametrize(("short", "said"), [(0.06, True), (0.3, False)])
def test_an_end_that_stops_a_little_short_of_a_line_says_of_which(read, short, said):
    """Ten times the join distance, 0.1 mm, is as far as it looks."""

    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        space.add_line((40, 100 - short), (40, 60))

    message = find(read(draw), "open-chain").message
    assert (f"at (40.000, {100 - short:.3f}) it stops {short:g} mm short of LWPOLYLINE" in message) == said
    assert ("short of" in message) == said


def test_two_ends_that_nearly_meet_are_no_end_short_of_a_line(read):
    def draw(space):
        rectangle(space, 0, 0, 100, 100)
        lines((20, 20), (50, 20))(space)
        lines((50.05, 20), (80, 20))(space)

    assert all("short of" not in f.message for f in errors(read(draw)))


def test_flat_loops_drawn_twice_are_measured_too(read):
    """A chord of 40 mm and an arc that rises 0.008 mm: less than the flattening's own distance."""

    def draw(space):
        rectangle(space, 0, 0, 100, 60)
        for shift in (0.0, 0.05):
            space.add_lwpolyline([(20, 20 + shift, 4e-4), (60, 20 + shift, 0)], format="xyb", close=True)

    found = {f.code: f.size_mm for f in errors(read(draw))}
    assert found["doubled-loop"] == pytest.approx(0.05)


def test_a_contour_tangled_beyond_measure_is_said_without_a_size(read):
    """A zigzag over itself of thousands of points crosses a circle: crossing, but how far is nobody's question."""
    rows = [(300 * (k % 2) + 0.01 * k, 97 * k % 200) for k in range(2500)]

    def draw(space):
        space.add_lwpolyline(rows[:60], close=True)
        space.add_lwpolyline(
            [(x + 1000, y) for x, y in rows[:60]] + [(1500 + 0.001 * k, 0.3 * k) for k in range(2200)], close=True
        )
        space.add_circle((150, 100), 20)
        space.add_circle((1150, 100), 20)

    sizes = [f.size_mm for f in errors(read(draw)) if f.code == "crossing-loops"]
    assert len(sizes) == 2
    assert sizes[0] is not None
    assert sizes[1] is None
