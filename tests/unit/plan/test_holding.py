"""Bridges: how many, where, and what they hold on to."""

from dataclasses import replace
from math import ceil, cos, inf, pi, radians, sin, tan

import numpy as np
import pytest

from cam.errors import PlanRefused
from cam.geometry.along import find_nearest_at, lay_ruler
from cam.geometry.contour import circle, find_segments, polygon, rectangle
from cam.panel.panel import Finish
from cam.plan.holding import find_gentle, find_lift, find_reach_mm
from cam.plan.placed import place_features
from cam.plan.starts import find_start, find_starts
from cam.plan.stretches import find_stretches
from cam.plan.workingstep import Bridge, Lift, Operation
from cam.sheet.layout import place_point
from cam.tables.job import Face, Hold, HoldKind

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


def places(step):
    ruler = lay_ruler(step.wall)
    return [find_nearest_at(ruler, (bridge.x_mm, bridge.y_mm)) for bridge in step.bridges]


def outline(plan, panel, **options):
    return next(step for step in plan(panel, **options).workingsteps if step.operation is Operation.OUTSIDE)


def test_lift_and_reach_have_the_closed_form(find_row):
    hold, cutter = Hold(), find_row("o1-6-up")
    lift = find_lift(hold, cutter=cutter)
    assert lift.half_top_mm == 8.0 / 2 + 3.0
    assert lift.flank_rad == pytest.approx(radians(10.0))
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


def test_start_is_as_far_from_corners_and_bridges_as_can_be(make_step):
    # the middle of the longest side; with a bridge in it, midway between the bridge's flank and a corner
    wall = rectangle((0.0, 0.0), width_mm=200.0, height_mm=40.0)
    assert find_start(make_step(wall)) == pytest.approx((100.0, 0.0), abs=0.51)
    lift = Lift(half_top_mm=7.0, top_mm=0.8, flank_rad=radians(10.0))
    step = make_step(wall, bridges=(Bridge(x_mm=150.0, y_mm=0.0), Bridge(x_mm=100.0, y_mm=40.0)), lift=lift)
    reach = 7.0 + 1.1 / tan(radians(10.0))
    assert find_start(step) == pytest.approx(((150.0 - reach) / 2.0, 0.0), abs=0.51)


def test_start_and_bridges_prefer_an_edge_that_will_not_be_seen(make_step, build_panel, plan):
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)
    finishes = (Finish.SHOWN, Finish.HIDDEN, Finish.SHOWN, Finish.SHOWN)
    step = make_step(wall, finishes=finishes)
    assert find_start(step) == pytest.approx((100.0, 30.0), abs=0.51)
    starts = find_starts(step)
    assert starts and all(x == pytest.approx(100.0) for x, _ in starts)
    # an unseen edge too short for a lead is not preferred
    short = make_step(rectangle((0.0, 0.0), width_mm=100.0, height_mm=12.0), finishes=finishes)
    assert find_start(short) == pytest.approx((50.0, 0.0), abs=0.51)


def with_finishes(panel, finishes):
    outline = replace(panel.features[0], finishes=finishes)
    return replace(panel, features=(outline, *panel.features[1:]))


def test_bridges_stand_on_no_shown_edge_where_the_others_take_them(build_panel, plan):
    shown, hidden = Finish.SHOWN, Finish.HIDDEN
    panel = with_finishes(build_panel(PLATE), (shown, hidden, hidden, shown))
    step = outline(plan, panel, hold=Hold(bridge_spacing_mm=400.0))
    # the lower and the left edge are seen
    assert len(step.bridges) == 4
    assert all(b.x_mm > 319.9 or b.y_mm > 219.9 for b in step.bridges)
    assert any("will not be seen" in reason for reason in step.reasons)
    # too far apart for the spacing: then a shown edge takes some, and the plan says so
    step = outline(plan, panel, hold=Hold(bridge_spacing_mm=150.0))
    assert any("shown ones among them" in reason for reason in step.reasons)


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
@pytest.mark.parametrize("face", list(Face))
def test_the_classes_of_edges_keep_to_their_edges(build_panel, lay, turn, face):
    # the class of the right-hand edge must be found on the wall wherever the panel lies and for a cut-out too
    shown, hidden = Finish.SHOWN, Finish.HIDDEN
    panel = with_finishes(
        build_panel(PLATE, rectangle((50.0, 50.0), width_mm=60.0, height_mm=40.0)), (shown, hidden, shown, shown)
    )
    # the cut-out runs clockwise in the region, from its lower left corner: up, right, down, left
    inner = replace(panel.features[1], finishes=(shown, shown, hidden, shown))
    panel = replace(panel, features=(panel.features[0], inner))
    layout = lay(panel)
    placed = replace(layout.placements[0], turn_deg=90.0 * turn, face=face, by_mm=(500.0, 500.0))
    for feature in place_features(replace(layout, placements=(placed,))):
        assert len(feature.finishes) == len(feature.wall) == 4
        segments = find_segments(feature.wall.vertices)
        (at,) = [i for i, finish in enumerate(feature.finishes) if finish is hidden]
        middle = (segments.start_mm[at] + segments.end_mm[at]) / 2.0
        wanted = place_point(placed, (300.0, 100.0) if feature.task.key == 0 else (110.0, 70.0))
        assert middle == pytest.approx(wanted)


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
    assert not [bridge for bridge in step.bridges if 163.9 < bridge.x_mm < 176.1 and bridge.y_mm > 20.1]


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


def test_a_round_cut_out_with_a_panel_in_it_is_held_rather_than_bored(build_panel, plan):
    frame = build_panel(PLATE, circle((150.0, 100.0), radius_mm=90.0), name="frame")
    island = build_panel(rectangle((0.0, 0.0), width_mm=80.0, height_mm=80.0), name="island")
    steps = plan(frame, island, at_mm=[(20.0, 20.0), (130.0, 80.0)]).workingsteps
    assert [step.operation for step in steps] == [Operation.OUTSIDE, Operation.INSIDE, Operation.OUTSIDE]
    assert len(steps[1].bridges) == 4
    assert any("gentle curves" in reason for reason in steps[1].reasons)
    steps = plan(frame, island, at_mm=[(20.0, 20.0), (130.0, 80.0)], hold=Hold(by=HoldKind.SKIN)).workingsteps
    assert [step.operation for step in steps] == [Operation.OUTSIDE, Operation.INSIDE, Operation.OUTSIDE]


@pytest.mark.parametrize("radius", [22.0, 40.0, 100.0, 400.0])
def test_a_round_panel_is_held_by_bridges_on_its_curve(build_panel, plan, radius):
    step = outline(plan, build_panel(circle((0.0, 0.0), radius_mm=radius)))
    count = max(4, ceil(2 * pi * radius / 300.0))
    assert len(step.bridges) == count
    at = sorted(places(step))
    gaps = [b - a for a, b in zip(at, [*at[1:], at[0] + 2 * pi * radius], strict=True)]
    # evenly: the starting place is free, so that all gaps are one
    assert gaps == pytest.approx([2 * pi * radius / count] * count, rel=0.02)


def test_a_round_panel_too_small_for_bridges_is_refused(build_panel, plan):
    with pytest.raises(PlanRefused) as caught:
        plan(build_panel(circle((0.0, 0.0), radius_mm=12.0), name="button"))
    assert caught.value.findings[0].code == "no-place-for-bridges"


def test_gentle_has_the_closed_form(find_row):
    # between discs of radius 3 on an arc of radius p: 2 (p - 0) asin(h / p) less the discs' own share of the arc
    cutter, lift = find_row("o1-6-up"), find_lift(Hold(), cutter=find_row("o1-6-up"))
    radii = np.array([5.0, 14.1, 19.0, 20.5, 100.0, inf])
    neck = radii[:5] * (2 * np.arcsin(np.minimum(1.0, 7.0 / radii[:5])) - 4 * np.arcsin(1.5 / radii[:5]))
    wanted = [*((radii[:5] >= 14.0) & (neck - 8.0 <= 0.3)), True]
    assert find_gentle(radii, lift=lift, cutter=cutter).tolist() == wanted
    assert 0 < sum(wanted) < len(wanted)


def test_a_curve_drawn_as_chords_carries_bridges_and_a_corner_does_not(build_panel, plan):
    def many(sides, radius=150.0):
        return polygon([(radius * cos(2 * pi * i / sides), radius * sin(2 * pi * i / sides)) for i in range(sides)])

    step = outline(plan, build_panel(many(60)))
    assert len(step.bridges) == 4
    assert any("drawn as chords" in reason for reason in step.reasons)
    with pytest.raises(PlanRefused):
        # 20 degrees at each joint, and sides too short for a bridge
        plan(build_panel(many(18, radius=60.0)))


def test_bridges_divide_the_wall_that_has_waste_beside_it(build_panel, plan):
    # a neighbour so near that the long side between the two takes none: the others stand no farther apart
    panels = build_panel(PLATE, name="a"), build_panel(PLATE, name="b")
    hold = Hold(bridge_spacing_mm=60.0, bridge_length_mm=4.0)
    step = plan(*panels, at_mm=[(20.0, 20.0), (20.0, 229.0)], hold=hold).workingsteps[0]
    assert len(step.bridges) == ceil(1000 / 60.0)
    at = sorted(places(step))
    gaps = [b - a for a, b in zip(at, [*at[1:], at[0] + 1000.0], strict=True)]
    assert sorted(gaps)[-1] > 290.0
    assert sorted(gaps)[-2] <= 1.4 * 60.0


def test_each_bridge_reaches_waste_over_its_whole_length(build_panel, plan):
    # beside a re-entrant corner the kerf of the other leg must not eat the bridge
    ell = [(0, 0), (300, 0), (300, 80), (90, 80), (90, 200), (0, 200)]
    step = outline(plan, build_panel(polygon(ell)), hold=Hold(bridge_length_mm=20.0, bridge_spacing_mm=90.0))

    for bridge in step.bridges:
        if abs(bridge.y_mm - 100.0) < 0.01:
            assert bridge.x_mm - 110.0 >= 10.0 + 6.3
        if abs(bridge.x_mm - 110.0) < 0.01:
            assert bridge.y_mm - 100.0 >= 10.0 + 6.3
