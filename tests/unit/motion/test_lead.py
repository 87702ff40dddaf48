"""Leads: tangent, on the waste side, within the slot, and never into the panel."""

from math import acos, hypot, radians, tan

import numpy as np
import pytest
import shapely

from cam.errors import PlanRefused
from cam.geometry.along import lay_ruler
from cam.geometry.contour import Contour, circle, rectangle
from cam.motion.contour_pass import lay_finishing
from cam.motion.lay_moves import find_centre_path
from cam.motion.lead import find_lead
from cam.motion.moves import Purpose
from cam.plan.workingstep import Bridge, Lift, Operation
from cam.tables.rows import Direction

QUARTER = 2.0**0.5 - 1.0


def key_slot(*, neck_mm, head_mm, length_mm):
    """A round head with a narrow neck whose end is hardly longer than its corners are round."""
    half, r, q = neck_mm / 2.0, head_mm / 2.0, 5.0
    rise = (r * r - half * half) ** 0.5
    top = rise + length_mm
    return Contour(
        np.array(
            [
                [-half, rise, (r + rise) / half],
                [half, rise, 0.0],
                [half, top - q, QUARTER],
                [half - q, top, 0.0],
                [q - half, top, QUARTER],
                [-half, top - q, 0.0],
            ]
        )
    )


def finish(step):
    path = find_centre_path(step, reach_mm=step.cutter.radius_mm)
    slot = find_centre_path(step, reach_mm=step.cutter.radius_mm + step.allowance_mm)
    return lay_finishing(path, slot=slot, step=step, air_mm=5.3, rapid_mm=14.8)


def test_lead_has_the_closed_form(make_step):
    # on a straight an arc of radius R rises by the allowance a within acos(1 - a / R)
    step = make_step(rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0))
    path = rectangle((-3.0, -3.0), width_mm=106.0, height_mm=66.0)
    lead = find_lead(lay_ruler(path), places_mm=(50.0,), step=step, waste_left=False, arriving=True)
    assert lead.sweep_rad == pytest.approx(-acos(1.0 - 0.3 / 6.0))
    assert lead.near_mm == pytest.approx((47.0, -3.0))
    assert lead.far_mm == pytest.approx((47.0 - (6.0**2 - 5.7**2) ** 0.5, -3.3))


@pytest.mark.parametrize("direction", list(Direction))
@pytest.mark.parametrize("operation", [Operation.INSIDE, Operation.OUTSIDE])
def test_leads_are_tangent_and_on_the_waste_side(make_step, find_headings, operation, direction):
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)
    step = make_step(wall, operation, start_mm=(50.0, 0.0), finish_direction=direction)
    moves = finish(step)
    at = next(i for i, move in enumerate(moves) if move.purpose is Purpose.FINISH)
    last = max(i for i, move in enumerate(moves) if move.purpose is Purpose.FINISH)
    lead_in, lead_out = moves[at - 1], moves[last + 1]
    assert lead_in.purpose is lead_out.purpose is Purpose.LEAD
    arriving = find_headings(moves[at - 2].to_mm, lead_in)[1]
    assert arriving == pytest.approx(find_headings(lead_in.to_mm, moves[at])[0], abs=1e-9)
    leaving = find_headings(moves[last - 1].to_mm, moves[last])[1]
    assert leaving == pytest.approx(find_headings(moves[last].to_mm, lead_out)[0], abs=1e-9)
    waste_up = operation is Operation.INSIDE
    for _, y, _ in (moves[at - 2].to_mm, lead_out.to_mm):
        assert y == pytest.approx(3.3 if waste_up else -3.3, abs=1e-9)
    assert hypot(lead_out.to_mm[0] - lead_in.to_mm[0], 0.3) > 2.0, "the pass overlaps its start"


@pytest.mark.parametrize(
    "wall",
    [
        pytest.param(key_slot(neck_mm=13.9, head_mm=40.0, length_mm=30.0), id="short end of a key slot"),
        pytest.param(key_slot(neck_mm=10.4, head_mm=40.0, length_mm=30.0), id="end of 0.4 mm"),
        pytest.param(circle((0.0, 0.0), radius_mm=8.0), id="circle less than two leads wide"),
    ],
)
@pytest.mark.parametrize("direction", list(Direction))
def test_no_lead_reaches_the_panel(make_step, walk, as_polygon, wall, direction):
    top = float(wall.points_mm[:, 1].max())
    step = make_step(wall, Operation.CLEAR, start_mm=(0.0, top), finish_direction=direction)
    edge = as_polygon(wall).exterior
    for move, points in walk(finish(step)):
        if points[:, 2].min() < 4.8:
            gap = shapely.distance(shapely.LineString(points[:, :2]), edge)
            assert gap >= 3.0 - 0.0005, (move.purpose, move.to_mm)


def test_an_arc_without_room_is_refused(make_step):
    # a hole 0.02 mm wider than the cutter holds no lead
    step = make_step(circle((0.0, 0.0), radius_mm=3.01), Operation.INSIDE, allowance_mm=0.005)
    path = circle((0.0, 0.0), radius_mm=0.01)
    with pytest.raises(PlanRefused) as refusal:
        lay_finishing(path, slot=circle((0.0, 0.0), radius_mm=0.005), step=step, air_mm=5.3, rapid_mm=14.8)
    (finding,) = refusal.value.findings
    assert finding.code == "no-room-for-lead"
    assert finding.origin.feature == "feature 1"


def test_no_lead_cuts_into_a_bridge(make_step):
    # bridges so close that the pass would begin on one: its flank would be cut away
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)
    lift = Lift(half_top_mm=7.0, top_mm=0.8, flank_rad=radians(10.0))
    reach = 7.0 + 1.1 / tan(lift.flank_rad)
    for distance, refused in ((reach - 1.0, True), (reach + 1.0, True), (reach + 6.0, False)):
        for side in (-1.0, 1.0):
            bridge = Bridge(x_mm=50.0 + side * distance, y_mm=0.0)
            step = make_step(wall, start_mm=(50.0, 0.0), bridges=(bridge,), lift=lift)
            if not refused:
                assert finish(step)
                continue
            with pytest.raises(PlanRefused) as refusal:
                finish(step)
            assert refusal.value.findings[0].code == "no-room-for-lead"
            assert "bridge" in refusal.value.findings[0].message
