"""What roughing leaves on each wall: by class, by job, by material; the largest holds for the whole wall."""

from dataclasses import replace

import pytest

from cam.errors import PlanRefused
from cam.geometry.contour import circle, rectangle
from cam.motion.lay_moves import lay_moves
from cam.motion.moves import Purpose
from cam.panel.panel import Finish
from cam.plan.allowance import find_allowance
from cam.plan.plan_panels import plan_panels
from cam.tables.job import Allowances

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)
HOLE = circle((100.0, 100.0), radius_mm=20.0)
SHOWN, HIDDEN, BUTTED = Finish.SHOWN, Finish.HIDDEN, Finish.BUTTED


@pytest.mark.parametrize(
    ("finishes", "allowances", "mm", "words"),
    [
        ((SHOWN,) * 4, Allowances(), 0.3, "cast-acrylic's"),
        ((SHOWN,) * 4, Allowances(shown_mm=0.45), 0.45, "the job's for shown edges"),
        ((HIDDEN,) * 4, Allowances(shown_mm=0.45), 0.3, "cast-acrylic's"),
        ((HIDDEN, SHOWN), Allowances(shown_mm=0.45), 0.45, "the largest of its classes"),
        ((HIDDEN, SHOWN), Allowances(shown_mm=0.2), 0.3, "the largest of its classes"),
        ((HIDDEN, BUTTED), Allowances(hidden_mm=0.2, butted_mm=0.2), 0.2, "the job's for butted edges"),
    ],
)
def test_the_largest_of_a_walls_classes(find_row, finishes, allowances, mm, words):
    found = find_allowance(finishes, allowances=allowances, material=find_row("cast-acrylic"))
    assert found.mm == mm
    assert words in found.reason


def test_each_wall_has_its_own_and_the_path_keeps_it(build_panel, lay, make_means):
    # outlines are shown, cut-outs hidden
    means = replace(make_means("o1-6-up"), allowances=Allowances(shown_mm=0.5, hidden_mm=0.2))
    plan = plan_panels(lay(build_panel(PLATE, HOLE)), means=means)
    by_feature = {step.feature: step for step in plan.workingsteps}
    assert by_feature["outline"].allowance_mm == 0.5
    assert by_feature["hole 1"].allowance_mm == 0.2
    assert by_feature["outline"].finish.radial_mm == 0.5
    moves = next(s.moves for s in lay_moves(plan) if s.step.feature == "outline")
    lowest = min(move.to_mm[1] for move in moves if move.purpose is Purpose.ROUGH)
    # the panel's lower edge lies at 20 mm: cutter radius and allowance below it
    assert lowest == pytest.approx(20.0 - 3.0 - 0.5)


@pytest.mark.parametrize(("mm", "refused"), [(1.5, False), (1.51, True)])
def test_more_than_a_quarter_of_the_cutter_is_no_finishing_cut(build_panel, lay, make_means, mm, refused):
    means = replace(make_means("o1-6-up"), allowances=Allowances(shown_mm=mm))
    layout = lay(build_panel(PLATE, name="shelf"))
    if not refused:
        assert plan_panels(layout, means=means).workingsteps[0].allowance_mm == mm
        return
    with pytest.raises(PlanRefused) as caught:
        plan_panels(layout, means=means)
    (finding,) = caught.value.findings
    assert finding.code == "allowance-too-large"
    assert (finding.origin.panel, finding.origin.feature) == ("shelf", "outline")
