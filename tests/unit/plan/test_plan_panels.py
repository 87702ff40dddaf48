"""The plan: every number of a workingstep, from features, tables and the job."""

from dataclasses import replace
from itertools import pairwise

import pytest

from cam.errors import PlanRefused, Refusal
from cam.geometry.contour import circle, rectangle
from cam.plan.workingstep import Operation
from cam.tables.chip_load import find_chip_load
from cam.tables.job import Heights, Hold, HoldKind

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)
BOX = rectangle((60.0, 60.0), width_mm=90.0, height_mm=70.0)


@pytest.mark.parametrize("machine", ["bench", "light-gantry", "workshop-gantry", "industrial"])
@pytest.mark.parametrize("sheet", ["cast-3-600x400", "cast-4-600x400", "cast-6-600x400", "cast-10-2440x1220"])
@pytest.mark.parametrize("cutter", ["o1-4-up", "o1-6-up", "o2-6.35-up"])
def test_both_passes_of_a_step_turn_at_one_speed(build_panel, plan, find_row, machine, sheet, cutter):
    # nothing changes the speed between them, so each feed must be meant for the one that is in force
    try:
        (step,) = plan(build_panel(PLATE), cutters=(cutter,), machine=machine, sheet=sheet).workingsteps
    except Refusal:
        pytest.skip("this cutter does not cut this sheet")
    assert step.finish.spindle_rpm == step.rough.spindle_rpm
    flutes = find_row(cutter).flutes
    for cut in (step.rough, step.finish):
        chip = find_chip_load(feed_mm_per_min=cut.feed_mm_per_min, rpm=step.rough.spindle_rpm, flutes=flutes)
        assert cut.chip_low_mm <= chip <= cut.chip_high_mm


def test_rings_of_clearing_lie_no_farther_apart_than_the_cutter_s_radius(build_panel, plan, find_row):
    # farther apart, points of sharp inner corners would be reached by neither of two rings
    wide = replace(find_row("cast-acrylic"), max_stepover_diameters=0.8)
    for step in plan(build_panel(PLATE, BOX), material=wide).workingsteps:
        assert step.stepover_mm == pytest.approx(3.0)
    narrow = replace(find_row("cast-acrylic"), max_stepover_diameters=0.3)
    for step in plan(build_panel(PLATE, BOX), material=narrow).workingsteps:
        assert step.stepover_mm == pytest.approx(1.8)


def test_a_material_without_an_allowance_is_refused(build_panel, plan, find_row):
    bare = replace(find_row("cast-acrylic"), finish_allowance_mm=0.0)
    with pytest.raises(PlanRefused) as caught:
        plan(build_panel(PLATE), material=bare)
    assert caught.value.findings[0].code == "no-finish-allowance"


def test_passes_go_down_evenly_and_no_deeper_than_the_table(build_panel, plan):
    for sheet, cutter in (
        ("cast-4-2440x1220", "o1-6-up"),
        ("cast-8-2440x1220", "o1-6-up"),
        ("cast-3-1830x1220", "o1-3-up"),
    ):
        for step in plan(build_panel(PLATE), sheet=sheet, cutters=(cutter,)).workingsteps:
            heights = (step.rough.depth_mm + step.floor_mm, *step.pass_heights_mm)
            steps = [a - b for a, b in pairwise(heights)]
            assert max(steps) - min(steps) < 1e-9
            assert max(steps) <= 0.5 * step.cutter.diameter_mm + 1e-9
            assert step.finish.passes == 1


def test_heights_come_from_the_sheet_and_the_job(build_panel, plan):
    # 4 mm cast: 4 +- (0.4 + 0.1 x 4) mm (ISO 7823-1); measured figures are taken as they are
    made = plan(build_panel(PLATE), heights=Heights(clearance_mm=7.0, into_bed_mm=0.2))
    assert (made.top_mm, made.rapid_mm) == (pytest.approx(4.8), pytest.approx(11.8))
    assert made.workingsteps[0].floor_mm == -0.2
    made = plan(build_panel(PLATE), measured_mm=(3.9, 4.1))
    assert made.top_mm == 4.1
    made = plan(build_panel(PLATE, BOX), hold=Hold(by=HoldKind.SKIN, skin_mm=0.5, clear_slug_below_mm2=1e6))
    assert {step.feature: step.floor_mm for step in made.workingsteps} == {"cut-out 1": -0.3, "outline": 0.5}


def test_inside_comes_before_outside_and_the_same_each_time(build_panel, plan):
    panels = [
        build_panel(PLATE, BOX, circle((250.0, 150.0), radius_mm=10.0), name="a"),
        build_panel(
            rectangle((0.0, 0.0), width_mm=150.0, height_mm=150.0), circle((70.0, 70.0), radius_mm=9.0), name="b"
        ),
    ]
    first = plan(*panels)
    order = [(step.panel, step.operation is Operation.OUTSIDE) for step in first.workingsteps]
    for name in "ab":
        mine = [outside for panel, outside in order if panel == name]
        assert mine == [False] * (len(mine) - 1) + [True]
    assert [step.number for step in first.workingsteps] == [1, 2, 3, 4, 5]
    again = plan(*panels)
    assert [(s.panel, s.feature, s.start_mm, s.bridges) for s in again.workingsteps] == [
        (s.panel, s.feature, s.start_mm, s.bridges) for s in first.workingsteps
    ]


def test_small_slugs_are_cleared_and_large_ones_held(build_panel, plan):
    panel = build_panel(PLATE, BOX, circle((250.0, 150.0), radius_mm=10.0))
    made = {step.feature: step.operation for step in plan(panel).workingsteps}
    assert made == {"cut-out 1": Operation.INSIDE, "hole 1": Operation.BORE, "outline": Operation.OUTSIDE}
    # the box leaves a slug of (90 - 12.6) x (70 - 12.6) mm
    area = (90 - 12.6) * (70 - 12.6)
    for limit, operation in ((area - 5, Operation.INSIDE), (area + 5, Operation.CLEAR)):
        steps = plan(panel, hold=Hold(clear_slug_below_mm2=limit)).workingsteps
        assert next(step for step in steps if step.feature == "cut-out 1").operation is operation


def test_every_step_says_why(build_panel, plan):
    for step in plan(build_panel(PLATE, BOX)).workingsteps:
        text = " | ".join(step.reasons)
        for words in ("cutter o1-6-up", "passes of", "rpm", "mm/min", "chip load", "finishing", "holding"):
            assert words in text
