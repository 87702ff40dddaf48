"""Circles and fillets exported as chords: offered as arcs, and fitted where that is asked for."""

from __future__ import annotations

import random
from math import cos, pi, sin

import numpy as np
import pytest

from cam.findings import Severity
from cam.geometry.contour import find_segments
from cam.geometry.measure import find_distance_mm, measure_area_mm2


def lay_circle(x, y, radius, count, *, turn=0.0):
    step = 2 * pi / count
    return [(x + radius * cos(turn + k * step), y + radius * sin(turn + k * step)) for k in range(count)]


def lay_plate(width=300.0, height=200.0, radius=20.0, count=12):
    """A rounded rectangle whose corners are chords, and its exact area."""
    points = []
    for cx, cy, start in (
        (width - radius, radius, -pi / 2), (width - radius, height - radius, 0), (radius, height - radius, pi / 2),
        (radius, radius, pi),
    ):  # fmt: skip
        points += [
            (cx + radius * cos(start + k * pi / 2 / count), cy + radius * sin(start + k * pi / 2 / count))
            for k in range(count + 1)
        ]
    return points


def draw_loose(*rings, seed=1):
    """Draw rings as loose lines, shuffled, in either direction, with six decimals as exports write them."""

    def draw(space):
        rng = random.Random(seed)
        lines = []
        for ring in rings:
            rounded = [(round(x, 6), round(y, 6)) for x, y in ring]
            lines += [rng.sample(pair, 2) for pair in zip(rounded, rounded[1:] + rounded[:1], strict=True)]
        rng.shuffle(lines)
        for start, end in lines:
            space.add_line(start, end)

    return draw


def sagitta_mm(radius, count):
    return radius * (1 - cos(pi / count))


def test_circles_of_64_loose_chords_are_offered(read, codes):
    drawing = read(draw_loose(lay_plate(), lay_circle(80, 80, 17.5, 64), lay_circle(200, 80, 30, 64, turn=0.1)))
    assert codes(drawing) == ["chords-like-arcs"]
    (offer,) = drawing.findings
    assert offer.severity is Severity.NOTE
    assert "176 straight pieces in 3 contours" in offer.message  # 4 x 12 and 2 x 64
    assert "8 arcs" in offer.message  # 4 fillets, 2 circles of two halves
    assert f"--fit-arcs-mm {offer.size_mm:g}" in offer.remedy
    # the offer is enough for the widest chord: its sagitta in closed form
    assert max(sagitta_mm(30, 64), sagitta_mm(20, 48)) <= offer.size_mm <= 0.2
    assert sorted(len(loop.contour) for loop in drawing.loops) == [52, 64, 64]


def test_what_was_offered_is_what_is_fitted(read, codes):
    draw = draw_loose(lay_plate(), lay_circle(80, 80, 17.5, 64), lay_circle(200, 80, 30, 64, turn=0.1))
    drawing = read(draw, fit_arcs_mm=0.1)
    assert codes(drawing) == ["chords-fitted"] * 3
    areas = sorted(abs(measure_area_mm2(loop.contour)) for loop in drawing.loops)
    wanted = sorted((pi * 17.5**2, pi * 900, 300 * 200 - (4 - pi) * 400))
    assert areas == pytest.approx(wanted, rel=1e-6)
    assert sorted(len(loop.contour) for loop in drawing.loops) == [2, 2, 8]
    for loop in drawing.loops:
        arcs = find_segments(loop.contour.vertices)
        assert set(arcs.radius_mm[arcs.is_arc].round(4)) in ({17.5}, {30.0}, {20.0})
    away = sorted(finding.size_mm for finding in drawing.findings)
    assert away == pytest.approx(sorted((sagitta_mm(17.5, 64), sagitta_mm(30, 64), sagitta_mm(20, 48))), abs=1e-5)
    handles = [loop.handles for loop in drawing.loops]
    assert sorted(len(each) for each in handles) == [52, 64, 64]  # every piece drawn is still named


def test_too_small_a_distance_leaves_the_chords(read, codes):
    draw = draw_loose(lay_circle(80, 80, 30, 64))
    drawing = read(draw, fit_arcs_mm=0.5 * sagitta_mm(30, 64))
    assert codes(drawing) == []
    assert len(drawing.loops[0].contour) == 64


@pytest.mark.parametrize("sides", [4, 6, 8])
def test_polygons_are_not_taken_for_circles(read, codes, sides):
    draw = draw_loose(lay_circle(0, 0, 100, sides))
    assert codes(read(draw)) == []
    assert len(read(draw, fit_arcs_mm=1.0).loops[0].contour) == sides


def test_no_arc_runs_across_a_change_of_layer(read):
    """20 of the 64 chords on another layer: arcs meet where the layer changes."""
    points = lay_circle(0, 0, 25, 64)

    def draw(space):
        for k, (start, end) in enumerate(zip(points, points[1:] + points[:1], strict=True)):
            space.add_line(start, end, dxfattribs={"layer": "SHOWN" if k < 20 else "HIDDEN"})

    (loop,) = read(draw, fit_arcs_mm=0.05).loops
    sweeps = find_segments(loop.contour.vertices).sweep_rad
    shown = [abs(sweep) for sweep, layer in zip(sweeps, loop.layers, strict=True) if layer == "SHOWN"]
    assert shown == pytest.approx([20 / 64 * 2 * pi])
    assert sum(abs(sweeps)) == pytest.approx(2 * pi)
    starts = loop.contour.points_mm
    assert min(np.hypot(*(starts - points[0]).T)) < 1e-9
    assert min(np.hypot(*(starts - points[20]).T)) < 1e-9


def test_a_change_of_layer_in_the_middle_of_a_straight_run_is_kept(read):
    points = lay_plate()

    def draw(space):
        for k, (start, end) in enumerate(zip(points, points[1:] + points[:1], strict=True)):
            space.add_line(start, end, dxfattribs={"layer": "A" if 5 <= k < 20 else "B"})

    (loop,) = read(draw, fit_arcs_mm=0.05).loops
    assert abs(measure_area_mm2(loop.contour)) == pytest.approx(300 * 200 - (4 - pi) * 400, rel=1e-6)
    changes = sum(a != b for a, b in zip(loop.layers, loop.layers[1:] + loop.layers[:1], strict=True))
    assert changes == 2


def test_fitted_contours_that_come_too_near_are_seen(read):
    """Chords that pass each other at 0.02 mm; the arcs would cross."""
    outer = [(30 * cos(pi / 24) + 0.02, -40), (90, -40), (90, 40), (30 * cos(pi / 24) + 0.02, 40)]
    ring = lay_circle(0, 0, 30, 24, turn=pi / 24)
    assert [f.code for f in read(draw_loose(ring, outer)).findings if f.severity is Severity.ERROR] == []
    found = [f.code for f in read(draw_loose(ring, outer), fit_arcs_mm=0.3).findings if f.severity is Severity.ERROR]
    assert found == ["crossing-loops"]


@pytest.mark.parametrize("seed", range(3))
def test_fitting_stays_within_its_distance(read, seed):
    """Random smooth outlines of chords: every vertex of the drawing within the distance of what came out."""
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * pi, 300))
    r = 150 + 30 * np.sin(3 * turn + rng.uniform(0, 6)) + 5 * np.sin(9 * turn)
    points = list(zip(r * np.cos(turn), r * np.sin(turn), strict=True))
    drawing = read(draw_loose(points, seed=seed), fit_arcs_mm=0.2)
    (loop,) = drawing.loops
    assert len(loop.contour) < len(points)
    fitted = [f for f in drawing.findings if f.code == "chords-fitted"]
    assert 0 < fitted[0].size_mm <= 0.2

    assert max(find_distance_mm(loop.contour, point) for point in points) <= 0.2 + 1e-6
