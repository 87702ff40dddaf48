"""Leads: tangent, on the waste side, within the slot, and never into the panel."""

from math import acos, hypot, radians, tan

import numpy as np
import pytest
import shapely

from cam.errors import PlanRefused
from cam.geometry.along import find_point_at, lay_ruler
from cam.geometry.contour import Contour, circle, rectangle
from cam.motion.contour_pass import lay_finishing
from cam.motion.lay_moves import find_centre_path
from cam.motion.lead import find_lead
from cam.motion.moves import MoveKind, Purpose
from cam.plan.workingstep import Bridge, Lift, Obstacle, Operation
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


def crowd(wall, *, apart_mm, reach_mm):
    """Bridges along a wall's whole length, so far apart."""
    ruler = lay_ruler(wall)
    count = int(ruler.length_mm // apart_mm)
    return tuple(
        Bridge(x_mm=x, y_mm=y)
        for x, y in (find_point_at(ruler, (i + 0.5) * ruler.length_mm / count) for i in range(count))
    )


def test_no_lead_cuts_into_a_bridge(make_step):
    # bridges so close that the pass would begin on one: it begins where there is room, or is refused
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)
    lift = Lift(half_top_mm=7.0, top_mm=0.8, flank_rad=radians(10.0))
    reach = 7.0 + 1.1 / tan(lift.flank_rad)
    for distance, moved in ((reach - 1.0, True), (reach + 1.0, True), (reach + 6.0, False)):
        for side in (-1.0, 1.0):
            bridge = Bridge(x_mm=50.0 + side * distance, y_mm=0.0)
            moves = finish(make_step(wall, start_mm=(50.0, 0.0), bridges=(bridge,), lift=lift))
            arrival = next(move for move in moves if move.purpose is Purpose.LEAD and move.kind is MoveKind.ARC)
            assert (abs(arrival.to_mm[0] - 50.0) > 1.0 or arrival.to_mm[1] > 0.0) == moved
    for apart, refused in ((2.0 * reach + 1.0, True), (2.0 * reach + 12.0, False)):
        step = make_step(wall, start_mm=(50.0, 0.0), bridges=crowd(wall, apart_mm=apart, reach_mm=reach), lift=lift)
        if not refused:
            assert finish(step)
            continue
        with pytest.raises(PlanRefused) as refusal:
            finish(step)
        assert refusal.value.findings[0].code == "no-room-for-lead"
        assert "bridge" in refusal.value.findings[0].message


def test_a_lead_shrinks_moves_or_is_refused_beside_what_is_kept(make_step):
    # a straight 12 mm long to begin on, and something kept beside it
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)

    def post(x, y, keep_mm=3.0, name="hole 2 of frame"):
        return Obstacle(name=name, contour=circle((x, y), radius_mm=1.0), keep_mm=keep_mm)

    def arrival(*obstacles):
        moves = finish(make_step(wall, start_mm=(50.0, 0.0), obstacles=obstacles))
        at = next(i for i, move in enumerate(moves) if move.purpose is Purpose.LEAD and move.kind is MoveKind.ARC)
        return moves[at - 1].to_mm, moves[at]

    far, free = arrival()
    start = np.array(free.to_mm[:2])
    # where the flat arc of two radii begins: the tighter one of the same start goes by
    away = np.array(far[:2]) + np.array([-3.9, -0.6])
    _, tighter = arrival(post(*away))
    assert tighter.to_mm[:2] == pytest.approx(start)
    assert abs(tighter.sweep_rad) > abs(free.sweep_rad)
    # over the start itself: another start
    _, moved = arrival(post(float(start[0]), float(start[1]) - 3.0))
    assert hypot(*(np.array(moved.to_mm[:2]) - start)) > 4.0
    # everywhere: refused, and what is in the way is named
    ring = Obstacle(name="clamp A", contour=rectangle((-8.0, -8.0), width_mm=116.0, height_mm=76.0), keep_mm=6.0)
    with pytest.raises(PlanRefused) as refusal:
        arrival(ring)
    (finding,) = refusal.value.findings
    assert finding.code == "no-room-for-lead"
    assert "clamp A" in finding.message
    assert finding.origin.feature == "feature 1"
