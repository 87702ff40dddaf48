"""Recesses and finish classes of a panel where it lies on the sheet, mirrored and turned."""

from dataclasses import replace
from math import cos, radians, sin

import numpy as np
import pytest

from cam.geometry.contour import Region, polygon
from cam.geometry.flatten import flatten_vertices
from cam.geometry.measure import is_counter_clockwise, measure_area_mm2
from cam.geometry.offset.widen import widen_path
from cam.geometry.transform import reverse
from cam.panel.panel import Feature, Finish, Panel, Recess, Role
from cam.sheet.layout import Placement, place_contour, place_finishes, place_point, place_recess
from cam.tables.job import Face

FOUR = (Finish.SHOWN, Finish.HIDDEN, Finish.TRIMMED, Finish.BUTTED)
PLATE = polygon([(0, 0), (300, 0), (310, 200), (5, 190)])
OPENING = reverse(polygon([(50, 50), (90, 55), (95, 100), (40, 90)]))


def build():
    features = tuple(
        Feature(index=i, role=role, label=str(role), finish=Finish.SHOWN, finishes=FOUR)
        for i, role in enumerate((Role.OUTLINE, Role.CUTOUT))
    )
    return Panel(name="p", thickness_mm=4.0, region=Region(outer=PLATE, holes=(OPENING,)), features=features)


def find_map(placement):
    """Return the placement as a plain function of points, written out again: mirror, turn, move."""
    t = radians(placement.turn_deg)
    sign = -1.0 if placement.face is Face.DOWN else 1.0

    def go(points):
        x, y = sign * points[:, 0], points[:, 1]
        moved = np.column_stack((cos(t) * x - sin(t) * y, sin(t) * x + cos(t) * y))
        return moved + placement.by_mm

    return go


CASES = pytest.mark.parametrize(
    ("face", "turned"), [(face, turned) for face in Face for turned in (0.0, 90.0, -37.5, 180.0)]
)


@CASES
def test_each_placed_segment_keeps_its_finish(face, turned):
    panel = build()
    placement = Placement(panel=panel, by_mm=(11.0, -7.0), turn_deg=turned, face=face)
    go = find_map(placement)
    for feature, contour in zip(panel.features, panel.region.contours, strict=True):
        placed = place_contour(placement, contour)
        middles = (placed.points_mm + np.roll(placed.points_mm, -1, axis=0)) / 2.0
        drawn = go((contour.points_mm + np.roll(contour.points_mm, -1, axis=0)) / 2.0)
        for middle, finish in zip(middles, place_finishes(placement, feature), strict=True):
            away = np.hypot(*(drawn - middle).T)
            assert away.min() < 1e-9
            assert FOUR[int(away.argmin())] is finish


def test_without_classes_the_one_finish_holds_all_round():
    panel = build()
    plain = replace(panel.features[1], finishes=(), finish=Finish.HIDDEN)
    assert place_finishes(Placement(panel=panel, by_mm=(0.0, 0.0), face=Face.DOWN), plain) == (Finish.HIDDEN,) * 4


@CASES
def test_a_recess_moves_with_its_panel(face, turned):
    line = np.array([[20.0, 20.0, 0.4], [80.0, 30.0, 0.0], [90.0, 70.0, -0.3], [60.0, 120.0, 0.0]])
    groove = Recess(
        label="groove 1",
        role=Role.GROOVE,
        region=widen_path(line, width_mm=6.0),
        depth_mm=2.0,
        centre_line=line,
        width_mm=6.0,
    )
    placement = Placement(panel=build(), by_mm=(11.0, -7.0), turn_deg=turned, face=face)
    placed = place_recess(placement, groove)
    assert is_counter_clockwise(placed.region.outer)
    assert measure_area_mm2(placed.region.outer) == pytest.approx(measure_area_mm2(groove.region.outer))
    go = find_map(placement)
    want = go(flatten_vertices(line, chord_tol_mm=0.01, closed=False)[0])
    assert flatten_vertices(placed.centre_line, chord_tol_mm=0.01, closed=False)[0] == pytest.approx(want, abs=1e-9)
    assert place_point(placement, (20.0, 20.0)) == pytest.approx(tuple(placed.centre_line[0, :2]), abs=1e-12)
    assert (placed.depth_mm, placed.width_mm, placed.label) == (2.0, 6.0, "groove 1")
