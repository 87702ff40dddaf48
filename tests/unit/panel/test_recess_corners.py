"""The corner rule in recesses: against an opening by a polygon engine (shapely) and closed forms."""

from math import cos, pi, sin

import numpy as np
import pytest
import shapely

from cam.errors import PanelRefused
from cam.geometry.contour import Contour, circle, polygon, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_min_radius_mm, measure_area_mm2, measure_region_area_mm2

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)
CORNER_MM2 = (1.0 - pi / 4.0) * 25.0
"""What a disc of 5 mm leaves in a square corner."""


def box(x, y, w, h):
    return rectangle((x, y), width_mm=w, height_mm=h)


def build_polygon(region):
    outer, *holes = (flatten(contour, chord_tol_mm=1e-3) for contour in region.contours)
    return shapely.Polygon(outer, holes)


def open_by_polygon(recess, panel, radius_mm):
    """Return the part of a recess that a disc reaches that may leave the panel as it likes."""
    away = shapely.box(-100, -100, 500, 400).difference(build_polygon(panel.region))
    free = recess.union(away)
    reached = free.buffer(-radius_mm + 1e-3, quad_segs=128).buffer(radius_mm - 1e-3, quad_segs=128)
    return reached.intersection(recess)


def test_a_pocket_gets_round_corners(find):
    (panel,) = find(("0", PLATE), ("RECESS-2", box(50, 50, 80, 60)))
    (recess,) = panel.recesses
    assert measure_region_area_mm2(recess.region) == pytest.approx(80 * 60 - 4 * CORNER_MM2)
    assert find_min_radius_mm(recess.region.outer) == pytest.approx(5.0)
    assert {(c.feature, c.x_mm, c.y_mm) for c in panel.rounded} == {
        ("recess 1", x, y) for x in (50, 130) for y in (50, 110)
    }
    assert {c.radius_mm for c in panel.rounded} == {5.0}


def test_an_island_keeps_its_outer_corners_and_its_notches_are_rounded(find):
    ell = polygon([(80, 60), (180, 60), (180, 90), (120, 90), (120, 130), (80, 130)])
    (panel,) = find(("0", PLATE), ("RECESS-2", box(40, 30, 200, 130)), ("RECESS-2", ell))
    (recess,) = panel.recesses
    (island,) = recess.region.holes
    assert -measure_area_mm2(island) == pytest.approx(measure_area_mm2(ell) + CORNER_MM2)
    assert len(island) == 7
    assert measure_area_mm2(recess.region.outer) == pytest.approx(200 * 130 - 4 * CORNER_MM2)
    assert {(c.x_mm, c.y_mm) for c in panel.rounded if c.x_mm == 120} == {(120, 90)}


def test_a_round_recess_below_the_rule_is_no_corner(find):
    (panel,) = find(("0", PLATE), ("RECESS-2", circle((60, 60), radius_mm=4.0)))
    assert measure_region_area_mm2(panel.recesses[0].region) == pytest.approx(16.0 * pi)
    assert panel.rounded == ()


REBATES = {
    "along one edge, sharing it": (box(0, 0, 6, 200), 0),
    "along one edge, past it": (box(-4, -4, 10, 208), 0),
    "in a corner, past it": (box(-10, -10, 40, 30), 1),
    "half along an edge, past it": (box(50, -10, 100, 30), 2),
    "half along an edge, sharing it": (box(50, 0, 100, 20), 2),
    "narrow and long, past it": (polygon([(-5, 50), (6, 50), (6, 150), (-5, 150)]), 2),
    "across the whole panel": (box(-5, 60, 310, 40), 0),
}


@pytest.mark.parametrize(("rebate", "corners"), REBATES.values(), ids=REBATES)
def test_corners_of_a_rebate_count_in_the_material_only(find, rebate, corners):
    (panel,) = find(("0", PLATE), ("RECESS-2", rebate))
    (recess,) = panel.recesses
    assert len(panel.rounded) == corners
    assert measure_area_mm2(rebate) - measure_area_mm2(recess.region.outer) == pytest.approx(corners * CORNER_MM2)
    drawn = shapely.Polygon(rebate.points_mm)
    material = build_polygon(panel.region)
    want = open_by_polygon(drawn, panel, 5.0).intersection(material)
    assert build_polygon(recess.region).intersection(material).symmetric_difference(want).area < 0.15


def test_corners_between_arcs_and_lines_of_a_rebate(find):
    # a round end with a flat, its two corners in the material, its foot past the edge
    bulge = 0.5
    tongue = Contour(np.array([[100, -5, 0], [160, -5, 0], [160, 60, bulge], [130, 80, 0], [100, 60, 0]], dtype=float))
    (panel,) = find(("0", PLATE), ("RECESS-2", tongue))
    (recess,) = panel.recesses
    assert 1 <= len(panel.rounded) <= 3
    drawn = shapely.Polygon(flatten(tongue, chord_tol_mm=1e-3))
    material = build_polygon(panel.region)
    want = open_by_polygon(drawn, panel, 5.0).intersection(material)
    assert build_polygon(recess.region).intersection(material).symmetric_difference(want).area < 0.2


@pytest.mark.parametrize("turn", [0.0, 0.1, 0.7, 2.3, 4.1])
def test_a_narrow_rebate_may_end_on_a_slanted_edge(find, turn):
    # 6 mm wide, its outer side drawn along the outline: the two meet to rounding only
    c, s = cos(turn), sin(turn)

    def place(points):
        return polygon([(c * x - s * y, s * x + c * y) for x, y in points])

    plate = place([(0, 0), (300, 0), (300, 200), (0, 200)])
    (panel,) = find(("0", plate), ("RECESS-2", place([(50, 0), (170, 0), (170, 6), (50, 6)])))
    assert len(panel.rounded) == 2
    assert measure_area_mm2(panel.recesses[0].region.outer) == pytest.approx(120 * 6 - 2 * CORNER_MM2)


def test_a_recess_round_a_cut_out_and_one_into_it(find):
    (panel,) = find(("0", PLATE), ("0", box(100, 60, 60, 60)), ("RECESS-2", box(90, 50, 80, 80)))
    assert measure_region_area_mm2(panel.recesses[0].region) == pytest.approx(6400 - 4 * CORNER_MM2)
    # 6 mm wide, its far end in the cut-out: the disc comes in from there
    (panel,) = find(("0", PLATE), ("0", box(100, 60, 60, 60)), ("RECESS-2", box(94, 70, 30, 40)))
    assert sum(c.feature == "recess 1" for c in panel.rounded) == 2


@pytest.mark.parametrize(
    "drawn",
    [
        [("RECESS-2", box(50, 50, 80, 9.0))],
        [("RECESS-2", box(-5, 50, 80, 9.0))],
        [("RECESS-2", box(50, 50, 80, 60)), ("RECESS-2", box(58, 60, 60, 40))],
        [("RECESS-2", polygon([(-5, 50), (40, 50), (90, 54), (90, 56), (40, 60), (-5, 60)]))],
    ],
    ids=["a slot", "a slot in from the edge", "a narrow way round an island", "a tip"],
)
def test_what_the_disc_cannot_reach_is_refused_with_its_place(find, drawn):
    with pytest.raises(PanelRefused) as caught:
        find(("0", PLATE), *drawn)
    for finding in caught.value.findings:
        assert finding.code == "slot-too-narrow"
        assert (finding.origin.panel, finding.origin.feature, finding.origin.layer) == ("plate", "recess 1", "RECESS-2")
        assert -5 <= finding.origin.x_mm <= 140 and 45 <= finding.origin.y_mm <= 115


def test_grooves_are_as_round_as_they_are_wide(find):
    (panel,) = find(("0", PLATE), ("GROOVE-6X2", box(50, 50, 80, 60)))
    (groove,) = panel.recesses
    assert groove.role == "groove" and panel.rounded == ()
    outside = 80 * 60 + 2 * (80 + 60) * 3 + pi * 9
    assert measure_region_area_mm2(groove.region) == pytest.approx(outside - 74 * 54)
