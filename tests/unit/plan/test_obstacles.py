"""What a lead must keep away from: near walls and clamps, each with the distance to keep; and heights of travel."""

from dataclasses import replace

import pytest

from cam.errors import PlanRefused
from cam.geometry.contour import circle, rectangle
from cam.plan.keep_out import find_reach_mm, lay_keep_out
from cam.plan.obstacles import find_obstacles
from cam.plan.placed import place_features
from cam.plan.plan_panels import plan_panels
from cam.tables.job import KeepOut

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


def test_near_walls_and_clamps_are_obstacles(build_panel, lay, find_row):
    # the hole's edge lies 10 mm from the outline, the second one 150 mm; 4 diameters and a radius are 27 mm
    panel = build_panel(
        PLATE, circle((30.0, 100.0), radius_mm=20.0), circle((220.0, 100.0), radius_mm=20.0), name="back"
    )
    features = place_features(lay(panel))
    cutter = find_row("o1-6-up")
    clamps = (
        KeepOut(at_mm=(170.0, 0.0), size_mm=(10.0, 20.0), height_mm=12.0, name="near"),
        KeepOut(at_mm=(800.0, 120.0), size_mm=(10.0, 20.0), height_mm=12.0, name="far"),
    )
    found = find_obstacles(features, cutters={f.task.key: cutter for f in features}, floor_mm=-0.3, keep_outs=clamps)
    outline, first, second = (found[f.task.key] for f in features)
    assert [(each.name, each.keep_mm) for each in outline] == [("hole 1 of back", 3.0), ("near", 3.0 + 5.0)]
    assert [each.name for each in first] == ["outline of back"]
    assert second == ()


def test_the_tool_is_as_wide_as_its_widest_part(find_row):
    cutter = find_row("o1-3-up")
    flutes, shank = cutter.edge_length_mm, max(cutter.radius_mm, cutter.shank_mm / 2.0)
    reach = {
        h: find_reach_mm(cutter, height_above_tip_mm=h) for h in (-1.0, flutes, flutes + 0.1, cutter.stick_out_mm + 0.1)
    }
    assert list(reach.values()) == [0.0, cutter.radius_mm, shank, 25.0]


def test_a_turned_clamp_lies_where_it_should():
    box = lay_keep_out(KeepOut(at_mm=(100.0, 50.0), size_mm=(40.0, 20.0), height_mm=10.0, turn_deg=90.0))
    assert box.points_mm.min(axis=0).tolist() == pytest.approx([90.0, 30.0])
    assert box.points_mm.max(axis=0).tolist() == pytest.approx([110.0, 70.0])


def test_travel_is_clear_of_the_highest_clamp(build_panel, lay, make_means, make_machine):
    layout = lay(build_panel(PLATE))
    clamp = KeepOut(at_mm=(800.0, 120.0), size_mm=(10.0, 20.0), height_mm=60.0)
    means = replace(make_means("o1-6-up"), keep_outs=(clamp,))
    assert plan_panels(layout, means=means).rapid_mm == 70.0
    assert plan_panels(layout, means=make_means("o1-6-up")).rapid_mm == pytest.approx(layout.max_top_mm + 10.0)
    low = replace(means, machine=make_machine(travel_mm=(2500.0, 1300.0, 70.0)))
    with pytest.raises(PlanRefused) as caught:
        plan_panels(layout, means=low)
    assert [finding.code for finding in caught.value.findings] == ["beyond-travel"]
    assert "clamps" in caught.value.findings[0].remedy
