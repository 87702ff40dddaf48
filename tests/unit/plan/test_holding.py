"""Bridges: how many, where, and what they hold on to."""

from math import ceil, inf, radians, tan

import pytest

from cam.errors import PlanRefused
from cam.geometry.along import find_nearest_at, lay_ruler
from cam.geometry.contour import circle, polygon, rectangle
from cam.plan.holding import find_foot_mm, find_lift, find_reach_mm, find_start, find_stretches
from cam.plan.workingstep import Operation
from cam.tables.job import Hold, HoldKind

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


def places(step):
    ruler = lay_ruler(step.wall)
    return [find_nearest_at(ruler, (bridge.x_mm, bridge.y_mm)) for bridge in step.bridges]


def outline(plan, panel, **options):
    return next(step for step in plan(panel, **options).workingsteps if step.operation is Operation.OUTSIDE)


def test_lift_foot_and_reach_have_the_closed_form(find_row):
    hold, cutter = Hold(), find_row("o1-6-up")
    lift = find_lift(hold, cutter=cutter)
    assert lift.half_top_mm == 8.0 / 2 + 3.0
    assert lift.flank_rad == pytest.approx(radians(10.0))
    assert find_foot_mm(hold, lift=lift) == pytest.approx(8.0 + 2 * 0.8 / tan(radians(10.0)))
    assert find_reach_mm(lift, floor_mm=-0.3) == pytest.approx(7.0 + 1.1 / tan(radians(10.0)))


def test_stretches_are_straights_and_gentle_arcs():
    ruler = lay_ruler(rectangle((0.0, 0.0), width_mm=30.0, height_mm=20.0))
    assert [(s.from_mm, s.to_mm) for s in find_stretches(ruler, keep_mm=10.0)] == [
        (10, 20),
        (40, 40),
        (60, 70),
        (90, 90),
    ]
    assert find_stretches(lay_ruler(circle((0, 0), radius_mm=9.0)), keep_mm=0.0, min_radius_mm=inf) == ()
    assert len(find_stretches(lay_ruler(circle((0, 0), radius_mm=9.0)), keep_mm=0.0, min_radius_mm=9.0)) == 2


@pytest.mark.parametrize(("width", "height"), [(100.0, 60.0), (300.0, 200.0), (900.0, 400.0), (1860.0, 760.0)])
@pytest.mark.parametrize("hold", [Hold(), Hold(min_bridges=2, bridge_spacing_mm=150.0), Hold(bridge_length_mm=5.0)])
def test_number_and_places(build_panel, plan, width, height, hold):
    step = outline(plan, build_panel(rectangle((0.0, 0.0), width_mm=width, height_mm=height)), hold=hold)
    at = places(step)
    length = 2 * (width + height)
    assert len(at) == max(hold.min_bridges, ceil(length / hold.bridge_spacing_mm))
    reach = find_reach_mm(step.lift, floor_mm=step.floor_mm)
    corners = [0.0, width, width + height, 2 * width + height, length]
    assert all(abs(place - corner) >= reach for place in at for corner in corners)
    gaps = [(b - a) % length for a, b in zip(sorted(at), sorted(at)[1:] + sorted(at)[:1], strict=True)]
    assert min(gaps) >= 2 * reach
    assert max(gaps) <= 2.2 * length / len(at)


def test_a_contour_without_room_is_refused_by_name(build_panel, plan):
    with pytest.raises(PlanRefused) as caught:
        plan(build_panel(rectangle((0.0, 0.0), width_mm=40.0, height_mm=20.0), name="tag"))
    (finding,) = caught.value.findings
    assert finding.code == "no-place-for-bridges"
    assert (finding.origin.panel, finding.origin.feature) == ("tag", "outline")


def test_start_is_as_far_from_corners_and_bridges_as_can_be():
    # the middle of the longest side; with a bridge in it, midway between the bridge and a corner
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=40.0)
    assert find_start(wall, bridges=(), lift=None, floor_mm=-0.3) == pytest.approx((50.0, 0.0), abs=0.51)


def test_bridges_stand_beside_waste_and_not_beside_a_neighbour(build_panel, plan):
    # 9 mm between them: one kerf fits, two do not, and a bridge there would hang in the air
    panels = build_panel(PLATE, name="a"), build_panel(PLATE, name="b")
    steps = plan(*panels, at_mm=[(20.0, 20.0), (329.0, 20.0)]).workingsteps
    for step in steps:
        assert len(step.bridges) == 4
        assert not [bridge for bridge in step.bridges if 319.0 < bridge.x_mm < 330.0]


def test_bridges_keep_out_of_a_bay_that_is_all_kerf(build_panel, plan):
    bay = [(0, 0), (300, 0), (300, 200), (156, 200), (156, 40), (144, 40), (144, 200), (0, 200)]
    step = outline(plan, build_panel(polygon(bay)), hold=Hold(bridge_spacing_mm=90.0))
    assert len(step.bridges) == ceil((2 * 500 + 2 * 160) / 90.0)
    assert not [bridge for bridge in step.bridges if 163.9 < bridge.x_mm < 176.1]


def test_a_bay_behind_a_narrow_mouth_is_held_or_refused(build_panel, plan):
    mouth = [
        (0, 0),
        (200, 0),
        (200, 95),
        (100, 95),
        (100, 40),
        (20, 40),
        (20, 160),
        (100, 160),
        (100, 106),
        (200, 106),
        (200, 200),
        (0, 200),
    ]
    panel = build_panel(polygon(mouth), name="clamp")
    with pytest.raises(PlanRefused) as caught:
        plan(panel, hold=Hold(min_bridges=2, bridge_spacing_mm=900.0))
    (finding,) = caught.value.findings
    assert (finding.code, finding.origin.panel) == ("waste-not-held", "clamp")
    step = outline(plan, panel, hold=Hold(bridge_spacing_mm=80.0))
    inside = [b for b in step.bridges if 39.0 < b.x_mm < 121.0 and 59.0 < b.y_mm < 181.0]
    assert len(inside) >= 2
    assert outline(plan, panel, hold=Hold(by=HoldKind.SKIN)).bridges == ()


def test_no_slug_of_several_is_left_small(build_panel, plan):
    # a large lobe and a small one, joined by a neck that the cutter passes but two kerfs fill
    bell = [
        (50, 50),
        (200, 50),
        (200, 95),
        (230, 95),
        (230, 80),
        (255, 80),
        (255, 120),
        (230, 120),
        (230, 105),
        (200, 105),
        (200, 150),
        (50, 150),
    ]
    panel = build_panel(rectangle((0.0, 0.0), width_mm=320.0, height_mm=200.0), polygon(bell))
    steps = plan(panel, hold=Hold(), cutters=("o1-5-up",)).workingsteps
    # corners are square here: the 5 mm cutter is named and takes them
    assert {step.feature: step.operation for step in steps}["cut-out 1"] is Operation.CLEAR


@pytest.mark.parametrize("by", list(HoldKind))
def test_a_cut_out_with_a_panel_in_it_is_never_cleared(build_panel, plan, by):
    frame = build_panel(PLATE, rectangle((100.0, 60.0), width_mm=80.0, height_mm=70.0), name="frame")
    island = build_panel(rectangle((0.0, 0.0), width_mm=50.0, height_mm=40.0), name="island")
    hold = Hold(by=by, clear_slug_below_mm2=1e6, min_bridges=2)
    steps = plan(frame, island, at_mm=[(20.0, 20.0), (135.0, 95.0)], hold=hold, cutters=("o1-3-up",)).workingsteps
    assert [(step.panel, step.operation) for step in steps] == [
        ("island", Operation.OUTSIDE),
        ("frame", Operation.INSIDE),
        ("frame", Operation.OUTSIDE),
    ]


def test_a_round_cut_out_with_a_panel_in_it_is_refused_rather_than_bored(build_panel, plan):
    frame = build_panel(PLATE, circle((150.0, 100.0), radius_mm=90.0), name="frame")
    island = build_panel(rectangle((0.0, 0.0), width_mm=80.0, height_mm=80.0), name="island")
    with pytest.raises(PlanRefused) as caught:
        plan(frame, island, at_mm=[(20.0, 20.0), (130.0, 80.0)])
    assert caught.value.findings[0].code == "no-place-for-bridges"
    assert caught.value.findings[0].origin.feature == "hole 1"
    steps = plan(frame, island, at_mm=[(20.0, 20.0), (130.0, 80.0)], hold=Hold(by=HoldKind.SKIN)).workingsteps
    assert [step.operation for step in steps] == [Operation.OUTSIDE, Operation.INSIDE, Operation.OUTSIDE]


def test_each_bridge_reaches_waste_over_its_whole_length(build_panel, plan):
    # beside a re-entrant corner the kerf of the other leg must not eat the bridge
    ell = [(0, 0), (300, 0), (300, 80), (90, 80), (90, 200), (0, 200)]
    step = outline(plan, build_panel(polygon(ell)), hold=Hold(bridge_length_mm=20.0, bridge_spacing_mm=90.0))

    for bridge in step.bridges:
        if abs(bridge.y_mm - 100.0) < 0.01:
            assert bridge.x_mm - 110.0 >= 10.0 + 6.3
        if abs(bridge.x_mm - 110.0) < 0.01:
            assert bridge.y_mm - 100.0 >= 10.0 + 6.3
