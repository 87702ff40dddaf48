"""Joining loose ends: nearest mutual neighbours, tightest first, gaps closed where they do no harm, all of it said."""

from __future__ import annotations

import random

import numpy as np
import pytest

from cam.drawing.chain import TooManyEnds, find_close_pairs
from cam.findings import Severity
from cam.geometry.contour import find_segments
from cam.geometry.measure import measure_area_mm2, measure_length_mm


def errors(drawing):
    return [f for f in drawing.findings if f.severity is Severity.ERROR]


def draw_lines(points):
    def draw(space):
        for start, end in points:
            space.add_line(start, end)

    return draw


def test_a_gap_between_lines_is_closed_in_its_middle_and_said(read, codes):
    drawing = read(draw_lines([((0, 0), (100, 0)), ((100.008, 0), (100, 80)), ((100, 80), (0, 0))]))
    (loop,) = drawing.loops
    assert (100.004, 0) in {tuple(point) for point in loop.contour.points_mm.round(9)}
    (gap,) = drawing.findings
    assert (gap.code, gap.severity) == ("gap-closed", Severity.NOTE)
    assert gap.size_mm == pytest.approx(0.008)
    assert "(100.000, 0.000) to (100.008, 0.000)" in gap.message


@pytest.mark.parametrize("shift", [0.0, 0.006, -0.009])
def test_a_gap_between_a_line_and_an_arc_leaves_the_arc_alone(read, shift):
    def draw(space):
        space.add_line((0, 0), (90, 0))
        space.add_arc((90 + shift, 10), 10, 270, 0)
        space.add_line((100, 10), (100, 80))
        space.add_line((100, 80), (0, 0))

    (loop,) = read(draw).loops
    segments = find_segments(loop.contour.vertices)
    assert segments.radius_mm[segments.is_arc] == pytest.approx([10.0], abs=1e-12)
    assert segments.centre_mm[segments.is_arc] == pytest.approx(np.array([[90 + shift, 10]]), abs=1e-12)


def test_ends_that_meet_but_for_rounding_are_not_listed(read, codes):
    """An arc's computed end is off the line's written one in the last digit; the line's number stays."""

    def draw(space):
        for k in range(12):
            space.add_arc((0, 0), 50, 30 * k, 30 * k + 30)

    drawing = read(draw)
    assert codes(drawing) == []
    assert len(drawing.loops[0].contour) == 12


def test_real_segments_shorter_than_real_gaps(read):
    """A gap of 0.05 mm beside a drawn segment of 0.013 mm: the segment stays, the gap closes, each end once."""
    x = 100.0
    points = [
        ((0, 0), (x, 0)),
        ((x + 0.05, 0), (x + 0.05, 0.013)),
        ((x + 0.05, 0.013), (x + 0.05, 80)),
        ((x + 0.05, 80), (0, 0)),
    ]
    (loop,) = read(draw_lines(points), join_tol_mm=0.06).loops
    assert len(loop.contour) == 4
    assert find_segments(loop.contour.vertices).length_mm.min() < 0.03
    assert read(draw_lines(points)).loops == ()


def test_the_tightest_gap_is_closed_first(read):
    """Three ends within the join distance of each other: the two nearest meet, the third stays free."""
    points = [((0, 0), (100, 0)), ((100.002, 0), (100, 80)), ((100, 80), (0, 0)), ((100.009, 0), (150, -40))]
    drawing = read(draw_lines(points))
    assert len(drawing.loops) == 1
    assert len(drawing.open_chains) == 1
    assert [f.size_mm for f in drawing.findings if f.code == "gap-closed"] == [pytest.approx(0.002)]


def test_of_coincident_ends_those_of_one_layer_meet(read):
    def draw(space):
        for layer, far in (("A", (100, 50)), ("B", (-100, 50)), ("C", (0, -90))):
            near = (far[0] * 0.9 - 5, far[1] * 0.8)
            for start, end in (((0, 0), far), (far, near), (near, (0, 0))):
                space.add_line(start, end, dxfattribs={"layer": layer})

    drawing = read(draw)
    assert sorted(loop.layer for loop in drawing.loops) == ["A", "B", "C"]
    assert "mixed-layers" not in [f.code for f in drawing.findings]


def test_of_coincident_ends_the_smoother_path_is_taken(read):
    """Four lines through one point join straight on, not round the corner."""
    drawing = read(draw_lines([((-50, 0), (0, 0)), ((0, 0), (0, 50)), ((0, -50), (0, 0)), ((0, 0), (50, 0))]))
    ends = {frozenset((chain.start_mm, chain.end_mm)) for chain in drawing.open_chains}
    assert ends == {frozenset(((-50, 0), (50, 0))), frozenset(((0, -50), (0, 50)))}


def test_what_would_close_at_the_next_size_is_said(read, codes):
    drawing = read(draw_lines([((0, 0), (100, 0)), ((100.03, 0), (100, 80)), ((100, 80.07), (0, 0))]))
    (wider,) = [f for f in drawing.findings if f.code == "wider-gaps"]
    assert "2 more gaps" in wider.message
    assert wider.size_mm == pytest.approx(0.07)
    assert "--join-tol-mm 0.1" in wider.remedy


def test_a_contour_that_would_close_on_itself_is_said_too(read):
    drawing = read(lambda space: space.add_lwpolyline([(0, 0), (300, 0), (300, 200), (0, 200), (0, 0.05)]))
    (wider,) = [f for f in drawing.findings if f.code == "wider-gaps"]
    assert "1 more gaps would close" in wider.message
    assert wider.size_mm == pytest.approx(0.05)

    def draw_short(space):
        space.add_circle((50, 50), 20)
        space.add_lwpolyline([(0, 0), (0.05, 0), (0.05, 0.05)])

    short = read(draw_short)
    assert "wider-gaps" not in [f.code for f in short.findings]


def test_layers_mixed_in_one_contour_are_said(read, codes):
    def draw(space):
        space.add_line((0, 0), (90, 0), dxfattribs={"layer": "A"})
        space.add_line((90, 0), (0, 60), dxfattribs={"layer": "B"})
        space.add_line((0, 60), (0, 0), dxfattribs={"layer": "A"})

    drawing = read(draw)
    assert codes(drawing) == ["mixed-layers"]
    assert drawing.loops[0].layer == "A"


def test_a_short_piece_does_not_close_on_itself(read):
    drawing = read(lambda space: space.add_lwpolyline([(0, 0), (0.004, 0.003), (0.004, 0)]))
    assert drawing.loops == ()


def make_random_parts(rng, count):
    """Rounded rectangles, slots and polygons as loose entities, and the area that each encloses."""
    entities, areas = [], []
    for k in range(count):
        x, y = 700.0 * (k % 10) + rng.random(), 700.0 * (k // 10) + rng.random()
        if rng.random() < 0.5:
            w, h, r = rng.uniform(100, 600), rng.uniform(100, 600), rng.uniform(3, 45)
            for a, b in (((r, 0), (w - r, 0)), ((w, r), (w, h - r)), ((w - r, h), (r, h)), ((0, h - r), (0, r))):
                entities.append(("line", (x + a[0], y + a[1]), (x + b[0], y + b[1])))
            for cx, cy, turn in ((w - r, r, 270), (w - r, h - r, 0), (r, h - r, 90), (r, r, 180)):
                entities.append(("arc", (x + cx, y + cy), r, turn))
            areas.append(w * h - (4 - np.pi) * r * r)
        else:
            turn = np.sort([rng.uniform(0, 2 * np.pi) for _ in range(rng.randint(3, 40))])
            radius = np.array([rng.uniform(100, 300) for _ in turn])
            points = np.column_stack((x + 300 + radius * np.cos(turn), y + 300 + radius * np.sin(turn)))
            entities += [("line", tuple(a), tuple(b)) for a, b in zip(points, np.roll(points, -1, axis=0), strict=True)]
            (px, py), (qx, qy) = points.T, np.roll(points, -1, axis=0).T
            areas.append(abs((px * qy - qx * py).sum()) / 2)
    return entities, areas


@pytest.mark.parametrize("seed", range(4))
def test_shuffled_pieces_come_out_as_the_parts_they_were(read, seed):
    rng = random.Random(seed)
    entities, areas = make_random_parts(rng, 40)
    rng.shuffle(entities)

    def draw(space):
        for kind, a, b, *turn in entities:
            if kind == "arc":
                space.add_arc(a, b, turn[0], turn[0] + 90)
            elif rng.random() < 0.5:
                space.add_line(a, b)
            else:
                space.add_line(b, a)

    drawing = read(draw)
    found = sorted(abs(measure_area_mm2(loop.contour)) for loop in drawing.loops)
    assert found == pytest.approx(sorted(areas), rel=1e-9)
    assert drawing.open_chains == ()
    assert {f.code for f in errors(drawing)} <= {"self-crossing"}  # a star with a gap over half a turn may fold
    total = sum(measure_length_mm(loop.contour) for loop in drawing.loops)
    drawn = sum(np.hypot(*np.subtract(a, b)) if kind == "line" else b * np.pi / 2 for kind, a, b, *_ in entities)
    assert total == pytest.approx(drawn, rel=1e-9)


@pytest.mark.parametrize("within_mm", [0.01, 1.0, 30.0])
def test_close_pairs_are_all_pairs(within_mm):
    rng = np.random.default_rng(5)
    points = np.concatenate((rng.uniform(-50, 50, (150, 2)), rng.uniform(0, 0.02, (10, 2)), [[0, 0], [within_mm, 0]]))
    free = np.arange(len(points))[::2]
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    wanted = {(i, j) for i in free for j in free if i < j and apart[i, j] <= within_mm}
    one, other, distance = find_close_pairs(points, free, within_mm=within_mm)
    assert {(min(i, j), max(i, j)) for i, j in zip(one, other, strict=True)} == wanted
    assert len(one) == len(wanted)
    assert distance == pytest.approx(apart[one, other])


def test_crowds_are_refused():
    with pytest.raises(TooManyEnds):
        find_close_pairs(np.zeros((5000, 2)), np.arange(5000), within_mm=0.01)


def test_pieces_as_units_of_a_join_distance_of_nought(read):
    assert len(read(draw_lines([((0, 0), (9, 0)), ((9, 0), (9, 9)), ((9, 9), (0, 0))]), join_tol_mm=0.0).loops) == 1
