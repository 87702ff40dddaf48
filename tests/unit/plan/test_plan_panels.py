"""The plan: every number of a workingstep, from features, tables and the job."""

import pytest

from cam.errors import Refusal
from cam.geometry.contour import rectangle
from cam.tables.chip_load import find_chip_load

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


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
