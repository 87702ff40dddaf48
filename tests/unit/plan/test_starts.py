"""Where a contour may begin: on its wall, away from corners, radii and bridges."""

from itertools import pairwise
from math import hypot

import pytest

from cam.geometry.along import find_nearest_at, find_segment_at, lay_ruler
from cam.geometry.contour import Contour, circle, rectangle
from cam.plan.starts import LEAD_ROOM_MM, LEAST_STEP_MM, MAX_STARTS, find_start, find_starts
from cam.plan.workingstep import Bridge, Lift, Operation

BOX = rectangle((50.0, 40.0), width_mm=300.0, height_mm=200.0)
CORNERS = [(50.0, 40.0), (350.0, 40.0), (350.0, 240.0), (50.0, 240.0)]
ROOM_MM = 6.0 + LEAD_ROOM_MM


def distance_to(points, place):
    return min(hypot(place[0] - x, place[1] - y) for x, y in points)


@pytest.mark.parametrize("operation", [Operation.OUTSIDE, Operation.INSIDE, Operation.CLEAR])
def test_starts_lie_on_the_wall_away_from_corners(make_step, operation):
    starts = find_starts(make_step(BOX, operation))
    assert 2 < len(starts) <= MAX_STARTS
    for x, y in starts:
        assert min(abs(x - 50.0), abs(x - 350.0), abs(y - 40.0), abs(y - 240.0)) < 1e-9
        assert distance_to(CORNERS, (x, y)) >= ROOM_MM - 1e-9


def test_the_first_start_is_the_middle_of_the_longest_side(make_step):
    x, y = find_starts(make_step(BOX))[0]
    assert (x, y in (40.0, 240.0)) == (pytest.approx(200.0, abs=1.0), True)


def test_starts_reach_all_sides_and_the_ends_of_each(make_step):
    """The order may come to the side that it passes: each has a start as near to its corners as leads allow."""
    starts = find_starts(make_step(BOX))
    for corner in CORNERS:
        near = sorted(distance_to([corner], start) for start in starts)
        assert near[:2] == [pytest.approx(ROOM_MM), pytest.approx(ROOM_MM)]


def test_starts_keep_from_bridges_and_their_flanks(make_step):
    bridges = tuple(Bridge(x_mm=x, y_mm=y) for x, y in ((200.0, 40.0), (350.0, 140.0), (200.0, 240.0), (50.0, 140.0)))
    step = make_step(BOX, bridges=bridges, lift=Lift(half_top_mm=7.0, top_mm=0.8, flank_rad=0.0524))
    starts = find_starts(step)
    assert len(starts) > 2
    # half the top, and the flank down to the floor 1.1 mm below it at 3 degrees
    reach = 7.0 + 1.1 / 0.0524
    assert min(distance_to([(b.x_mm, b.y_mm) for b in bridges], start) for start in starts) >= reach


@pytest.mark.parametrize("operation", [Operation.BORE, Operation.DRILL])
def test_a_hole_begins_at_its_middle(make_step, operation):
    assert find_starts(make_step(circle((30.0, 20.0), radius_mm=10.0), operation)) == (pytest.approx((30.0, 20.0)),)


def test_what_is_planned_to_begin_somewhere_begins_there(make_step):
    assert find_starts(make_step(BOX, Operation.CHAMFER, start_mm=(123.0, 40.0))) == ((123.0, 40.0),)


def test_a_disc_has_starts_all_round(make_step):
    """Where no straight is, the gentlest arc serves, evenly."""
    starts = find_starts(make_step(circle((500.0, 300.0), radius_mm=150.0)))
    assert all(hypot(x - 500.0, y - 300.0) == pytest.approx(150.0) for x, y in starts)
    assert {(x > 500.0, y > 300.0) for x, y in starts} == {(a, b) for a in (True, False) for b in (True, False)}


@pytest.mark.parametrize("side_mm", [24.0, 40.0, 90.0])
def test_starts_are_few_where_there_is_little_room(make_step, side_mm):
    """Beside each other by half of `LEAST_STEP_MM` or more; a side without room has none but the roomiest."""
    starts = find_starts(make_step(rectangle((50.0, 40.0), width_mm=side_mm, height_mm=12.0)))
    bottom = sorted(x for x, y in starts[1:] if y == 40.0)
    assert all(b - a >= LEAST_STEP_MM / 2.0 for a, b in pairwise(bottom))
    assert all(50.0 <= x <= 50.0 + side_mm and y in (40.0, 52.0) for x, y in starts)


def test_a_contour_without_straights_begins_on_its_gentlest_curve(make_step):
    # an arc of 100 mm radius and 3 mm length, roomier ones of 30 mm radius, and tight ones of 6 and 7 mm
    pod = Contour(
        [[5, 0, 0.2], [60, 0, 0.414], [66, 6, 0.0075], [66, 9, 0.414], [60, 15, 0.2], [5, 15, 0.9]],
    )
    ruler = lay_ruler(pod)
    radii = ruler.segments.radius_mm
    assert radii[2] == radii.max() > 90.0 and ruler.segments.length_mm[2] / 2.0 >= 1.0
    step = make_step(pod, Operation.CLEAR)
    for start in (find_start(step), *find_starts(step)):
        assert find_segment_at(ruler, find_nearest_at(ruler, start)) == 2


def test_a_short_straight_goes_before_a_long_curve(make_step):
    # two straights of 10 mm between half circles of 20 mm radius: little room on them, but no radius either
    slot = Contour([[0, 0, 0], [10, 0, 1], [10, 40, 0], [0, 40, 1]])
    assert find_starts(make_step(slot, Operation.CLEAR))[0] == pytest.approx((5.0, 0.0), abs=0.51)
    # of 4 mm they would put the lead on the joint: then the curve's middle is better
    short = Contour([[0, 0, 0], [4, 0, 1], [4, 40, 0], [0, 40, 1]])
    assert find_starts(make_step(short, Operation.CLEAR))[0][0] > 20.0
