"""Room for the cutter: each way of having too little is refused, with the panel named."""

from dataclasses import replace

import pytest

from cam.errors import PlanRefused
from cam.geometry.contour import circle, rectangle
from cam.tables.job import Heights, Hold, HoldKind

SKIN = Hold(by=HoldKind.SKIN)


def box(width=200.0, height=100.0, at=(0.0, 0.0)):
    return rectangle(at, width_mm=width, height_mm=height)


def refusal(plan, *panels, **options):
    with pytest.raises(PlanRefused) as caught:
        plan(*panels, **options)
    return caught.value.findings


@pytest.mark.parametrize(("gap", "refused"), [(6.0, True), (6.79, True), (6.81, False)])
def test_a_kerf_and_half_a_millimetre_must_fit_between_two_panels(build_panel, plan, gap, refused):
    # kerf: a 6 mm cutter and the allowance of 0.3 mm
    panels = build_panel(box(), name="left"), build_panel(box(), name="right")
    at = [(20.0, 20.0), (220.0 + gap, 20.0)]
    if not refused:
        assert len(plan(*panels, at_mm=at).workingsteps) == 2
        return
    (finding,) = refusal(plan, *panels, at_mm=at)
    assert finding.code == "panels-too-close"
    assert "left" in finding.message and "right" in finding.message
    assert (finding.origin.x_mm, finding.size_mm) == (pytest.approx(220.0), pytest.approx(6.8 - gap))


@pytest.mark.parametrize(("gap", "refused"), [(4.0, True), (6.7, True), (7.0, False)])
def test_an_island_keeps_the_same_from_the_cut_out_round_it(build_panel, plan, gap, refused):
    frame = build_panel(box(300.0, 200.0), circle((150.0, 100.0), radius_mm=60.0), name="frame")
    island = build_panel(circle((150.0, 100.0), radius_mm=60.0 - gap), name="island")
    # a skin holds both: bridges need a strip of waste as well
    options = {"at_mm": [(20.0, 20.0), (170.0 - 60.0 + gap, 120.0 - 60.0 + gap)], "hold": SKIN}
    if not refused:
        assert [step.panel for step in plan(frame, island, **options).workingsteps] == ["island", "frame", "frame"]
        return
    (finding,) = refusal(plan, frame, island, **options)
    assert finding.code == "panels-too-close"
    assert "hole 1 of frame" in finding.message and "outline of island" in finding.message


def test_a_kerf_stays_on_the_sheet(build_panel, plan):
    (finding,) = refusal(plan, build_panel(box(), name="edge"), margin_mm=0.0, at_mm=[(6.0, 20.0)])
    assert (finding.code, finding.origin.panel) == ("too-near-sheet-edge", "edge")
    assert finding.size_mm == pytest.approx(0.3)


def test_the_machine_reaches_the_kerf(build_panel, plan, make_machine):
    # the centre goes half the cutter and the allowance beyond the panel: 220 + 3.3 mm
    for travel, refused in ((223.0, True), (223.5, False)):
        machine = make_machine(travel_mm=(travel, 500.0, 100.0))
        if refused:
            (finding,) = refusal(plan, build_panel(box(), name="wide"), machine=machine)
            assert finding.code == "beyond-travel" and "223.3" in finding.message and "wide" in finding.message
        else:
            plan(build_panel(box()), machine=machine)


def test_the_machine_has_the_height(build_panel, plan, make_machine):
    (finding,) = refusal(plan, build_panel(box()), machine=make_machine(travel_mm=(2500.0, 1300.0, 15.0)))
    assert finding.code == "beyond-travel" and "Z" in finding.message
    plan(build_panel(box()), machine=make_machine(travel_mm=(2500.0, 1300.0, 15.0)), heights=Heights(clearance_mm=5.0))


def test_all_faults_are_told_at_once(build_panel, plan):
    panels = [build_panel(box(), name=name) for name in "ab"]
    findings = refusal(plan, *panels, margin_mm=0.0, at_mm=[(2.0, 20.0), (204.0, 20.0)])
    assert {finding.code for finding in findings} == {"panels-too-close", "too-near-sheet-edge"}
    assert replace(findings[0], message="") != findings[1]
