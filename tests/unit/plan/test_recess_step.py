"""Which cutter a recess takes, and how a rebate is opened into the waste."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest
import shapely

from cam.errors import PlanRefused
from cam.findings import Origin
from cam.geometry.contour import Contour, Region, circle, polygon, rectangle
from cam.geometry.measure import measure_region_area_mm2
from cam.plan.recess_open import BEYOND_MM, open_to_waste, refuse_meeting
from cam.plan.recess_room import choose_recess_cutter, find_reaching_mm, lay_polygon
from cam.tables.read import read_tables

TABLES = read_tables()
MACHINE = next(machine for machine in TABLES.machines if machine.name == "workshop-gantry")
PANEL = rectangle((0.0, 0.0), width_mm=200.0, height_mm=100.0)
QUARTER = float(np.tan(pi / 8.0))


def choose(region, *, names=("o1-6-up", "o1-4-up", "o1-3-up"), used=(), width=None, depth=2.0):
    cutters = [_find(name) for name in names]
    return choose_recess_cutter(
        region,
        panel=lay_polygon(Region(outer=PANEL)),
        width_mm=width,
        cutters=cutters,
        first=[_find(name) for name in used],
        allowance_mm=0.3,
        depth_mm=depth,
        thickness_mm=6.0,
        machine=MACHINE,
        origin=Origin(feature="recess 1"),
    )


def _find(name):
    return next(cutter for cutter in TABLES.cutters if cutter.name == name)


def slot(width, *, length=80.0):
    """A slot with round ends: a stadium."""
    r = width / 2.0
    return Region(
        outer=Contour(
            np.array([[50.0, 50 - r, 0], [50 + length, 50 - r, 1.0], [50 + length, 50 + r, 0], [50.0, 50 + r, 1.0]])
        )
    )


@pytest.mark.parametrize(("width", "name"), [(20.0, "o1-6-up"), (6.8, "o1-6-up"), (6.3, "o1-4-up"), (4.0, "o1-3-up")])
def test_the_largest_cutter_that_leaves_the_allowance_is_taken(width, name):
    # roughing needs its diameter and twice the allowance, a little of which corners may lack
    assert choose(slot(width))[0].name == name


def test_a_cutter_that_works_already_goes_first():
    assert choose(slot(20.0), used=("o1-4-up",))[0].name == "o1-4-up"


def test_a_groove_as_wide_as_a_cutter_takes_that_cutter():
    cutter, why = choose(slot(4.0), width=4.0)
    assert cutter.name == "o1-4-up"
    assert "centre line" in why


def test_what_no_cutter_reaches_is_refused_with_the_diameter_that_would_do():
    with pytest.raises(PlanRefused) as refused:
        choose(slot(2.5))
    (finding,) = refused.value.findings
    assert finding.code == "recess-too-narrow"
    # a stadium 2.5 mm wide, 0.3 mm left on either side
    assert finding.size_mm == pytest.approx(1.9, abs=0.06)


def test_flutes_too_short_for_the_depth_are_passed_over():
    with pytest.raises(PlanRefused):
        choose(slot(20.0), depth=60.0)


def test_the_largest_disc_that_reaches_all_of_a_rounded_square_has_its_corners_radius():
    # the closed form: a square of 40 mm with corners of 5 mm is the sum of a square of 30 mm and that disc
    square = lay_polygon(Region(outer=rectangle((10.0, 10.0), width_mm=30.0, height_mm=30.0))).buffer(5.0, quad_segs=64)
    assert find_reaching_mm(square, of=square) == pytest.approx(5.0, abs=0.06)


def rebate(points):
    return Region(outer=Contour(np.array(points, dtype=float)))


def test_a_recess_within_the_panel_stays_as_it_is():
    region = slot(20.0)
    assert open_to_waste(region, outline=PANEL, reach_mm=6.3) is region


@pytest.mark.parametrize("y", [0.0, -1.0, -40.0], ids=["shared", "a little past", "far past"])
def test_an_open_side_goes_out_by_the_reach_and_the_walls_stay(y):
    region = rebate([[40, y, 0], [120, y, 0], [120, 20, QUARTER], [115, 25, 0], [45, 25, QUARTER], [40, 20, 0]])
    opened = lay_polygon(open_to_waste(region, outline=PANEL, reach_mm=6.3))
    panel = lay_polygon(Region(outer=PANEL))
    assert shapely.symmetric_difference(opened & panel, lay_polygon(region) & panel).area < 0.01
    assert opened.bounds == pytest.approx((40.0, -6.3 - BEYOND_MM, 120.0, 25.0), abs=1e-6)


def test_round_a_corner_of_the_outline_it_goes_round_the_corner():
    region = rebate([[-3, -3, 0], [50, -3, 0], [50, 20, QUARTER], [45, 25, 0], [-3, 25, 0]])
    opened = lay_polygon(open_to_waste(region, outline=PANEL, reach_mm=6.3))
    assert opened.bounds == pytest.approx((-6.8, -6.8, 50.0, 25.0), abs=1e-6)
    # about the corner the way out is an arc of the reach: a quarter disc, two strips, and the rebate itself
    assert opened.area == pytest.approx(6.8**2 * pi / 4 + 50 * 6.8 + 25 * 6.8 + 50 * 25 - (1 - pi / 4) * 25.0, abs=0.05)


def test_an_oblique_wall_is_taken_straight_on_where_its_corner_would_stay():
    # the right-hand wall leans out over the waste beside it: square to the outline a corner would stay uncut
    region = rebate([[40, 0, 0], [100, 0, 0], [130, 30, 0], [40, 30, 0]])
    opened = lay_polygon(open_to_waste(region, outline=PANEL, reach_mm=6.3))
    reached = opened.buffer(-3.0, quad_segs=64).buffer(3.0, quad_segs=64)
    at_edge = shapely.LineString([(41.0, 0.001), (99.0, 0.001)])
    assert reached.covers(at_edge)


def test_a_rebate_all_round_is_the_grown_outline_less_its_island():
    island = circle((100.0, 50.0), radius_mm=20.0)
    region = Region(outer=PANEL, holes=(Contour(island.vertices[::-1] * [1, 1, -1]),))
    opened = open_to_waste(region, outline=PANEL, reach_mm=6.3)
    grown = 200 * 100 + 600 * 6.8 + pi * 6.8**2  # Steiner
    assert measure_region_area_mm2(opened) == pytest.approx(grown - pi * 400.0, abs=1e-6)


def test_another_panel_in_the_way_is_refused_with_its_place():
    region = Region(outer=polygon([(40.0, -6.8), (120.0, -6.8), (120.0, 25.0), (40.0, 25.0)]))
    beside = lay_polygon(Region(outer=rectangle((0.0, -60.0), width_mm=200.0, height_mm=55.0)))
    origin = Origin(panel="plate", feature="recess 1")
    with pytest.raises(PlanRefused) as refused:
        refuse_meeting(region, others=beside, origin=origin)
    (finding,) = refused.value.findings
    assert finding.code == "rebate-meets-panel"
    assert replace(finding.origin, x_mm=None, y_mm=None) == origin
    assert -6.8 <= finding.origin.y_mm <= -5.0
