"""The judge on the plate: measures against closed forms, holding, order, and set-up."""

import re
from dataclasses import replace
from math import hypot, sqrt
from pathlib import Path

import numpy as np
import pytest

from cam.backplot.clock import time_trace
from cam.findings import Severity, error
from cam.geometry.contour import circle, rectangle
from cam.report.judge_bites import find_bites
from cam.report.judge_case import BOUND_MM, build_case
from cam.report.judge_gouges import find_clearances
from cam.report.judge_paths import find_floors_mm
from cam.sheet.layout import Placement
from cam.tables.job import CornerRule, Heights, Hold, HoldKind, ZeroFace
from cam.tables.read import find_controller, find_machine, find_material
from tests.conftest import make_panel, rounded_rectangle


def codes(verdict):
    return {finding.code for finding in verdict.findings}


def find(verdict, code):
    return next(finding for finding in verdict.findings if finding.code == code)


def with_cutter(bench, **changes):
    cutters = tuple(replace(c, **changes) if c.tool == 26 else c for c in bench.tables.cutters)
    return replace(bench, tables=replace(bench.tables, cutters=cutters))


def with_panels(bench, *panels):
    placements = tuple(Placement(panel=panel, by_mm=(0.0, 0.0)) for panel in panels)
    return replace(bench, layout=replace(bench.layout, placements=placements))


def case_of(bench, trace):
    machine = find_machine(bench.tables, name=bench.job.machine)
    return build_case(
        trace,
        timing=time_trace(trace, machine=machine),
        layout=bench.layout,
        job=bench.job,
        tables=bench.tables,
        machine=machine,
        material=find_material(bench.tables, name=bench.layout.material),
        controller=find_controller(bench.tables, name=bench.job.controller),
        program="by hand",
    )


def test_the_plate_is_proven(plate):
    verdict = plate.judge()
    assert [str(f) for f in verdict.findings] == []
    assert verdict.proven
    assert verdict.deviation.gouge_max_mm <= verdict.deviation.bound_mm <= 0.003
    assert verdict.deviation.uncut_max_mm == 0.0
    assert (verdict.corners.count, verdict.corners.rounded) == (4, 0)
    assert verdict.corners.min_radius_mm == pytest.approx(5.0, abs=1e-3)


@pytest.mark.parametrize("excess", [0.004, 0.05, 0.3])
def test_a_gouge_is_measured(plate, excess):
    verdict = with_cutter(plate, diameter_mm=6.0 + 2 * excess).judge()
    assert verdict.deviation.gouge_max_mm == pytest.approx(excess, abs=BOUND_MM)
    assert {"panel-gouged"} <= codes(verdict) and not verdict.proven
    assert find(verdict, "panel-gouged").origin.line is not None


@pytest.mark.parametrize("lack", [0.012, 0.05, 0.3])
def test_material_left_is_measured(plate, lack):
    verdict = with_cutter(plate, diameter_mm=6.0 - 2 * lack).judge()
    # at a convex corner the film is as thick as along the walls: the cutter goes round on an arc
    assert verdict.deviation.uncut_max_mm == pytest.approx(lack, abs=2 * BOUND_MM)
    assert "material-left" in codes(verdict) and not verdict.proven


def test_material_within_the_tolerance_is_let_pass(plate):
    verdict = with_cutter(plate, diameter_mm=6.0 - 2 * 0.004).judge()
    assert verdict.deviation.uncut_max_mm == pytest.approx(0.004, abs=2 * BOUND_MM)
    assert verdict.proven


def test_a_deep_gouge_is_as_deep_as_the_path_goes_in(plate):
    # a slot across the panel's lower left: its centre line 10 mm inside the left wall
    text = plate.text.replace("M9\n", "G0 X40 Y15\nZ4.5\nG1 X60 Z3 F1500\nG1 X40 F3000\nG1 Y40\nG0 Z14\nM9\n")
    verdict = plate.judge(text)
    assert verdict.deviation.gouge_max_mm == pytest.approx(13.0, abs=BOUND_MM)


def test_a_sharp_turn_leaves_the_cutters_own_radius(plate):
    panel = make_panel(
        rectangle((30.0, 30.0), width_mm=200.0, height_mm=120.0),
        cutouts=[rounded_rectangle(120.0, 60.0, width=80.0, height=60.0, radius=3.0)],
        holes=[circle((70.0, 90.0), radius_mm=5.5)],
    )
    text = re.sub(r"X195\nG3 X197 Y65 I0 J2 F1500\nG1 Y", "X197 Y63\nG1 Y", plate.text)
    assert text != plate.text
    verdict = with_panels(plate, panel).judge(text)
    assert verdict.corners.min_radius_mm == 3.0
    assert {"corner-too-tight", "corner-rule-broken"} <= codes(verdict)
    tight = find(verdict, "corner-too-tight")
    # the radius's middle: 3 mm from the path's corner (197, 63) towards the wall's
    assert (tight.origin.x_mm, tight.origin.y_mm) == pytest.approx((197 + 3 * sqrt(0.5), 63 - 3 * sqrt(0.5)), abs=1e-3)


def test_a_sharp_corner_in_the_panel_breaks_the_rule(plate):
    panel = make_panel(
        rectangle((30.0, 30.0), width_mm=200.0, height_mm=120.0),
        cutouts=[rectangle((120.0, 60.0), width_mm=80.0, height_mm=60.0)],
        holes=[circle((70.0, 90.0), radius_mm=5.5)],
    )
    verdict = with_panels(plate, panel).judge()
    broken = [f for f in verdict.findings if f.code == "corner-rule-broken"]
    assert len(broken) == 4
    assert verdict.corners.count == 4
    # the middle of an arc of 5 mm in a square corner lies 5 (1 - sqrt 1/2) mm from either wall
    assert verdict.deviation.uncut_max_mm == pytest.approx(5 * (1 - sqrt(0.5)), abs=2 * BOUND_MM)


def test_a_smaller_rule_allows_the_same_corner(plate):
    assert plate.judge(corners=CornerRule(radius_mm=4.0)).proven


def skin_text(plate):
    """Take the bridges away and stop at 0.4 mm, the hole apart."""
    head, rest = plate.text.split("(cut-out", 1)
    return head + "(cut-out" + re.sub(r"Z(0\.8|-0\.3)", "Z0.4", rest)


def test_a_skin_holds(plate):
    verdict = plate.judge(skin_text(plate), hold=Hold(by=HoldKind.SKIN, skin_mm=0.4))
    assert [str(f) for f in verdict.findings] == []
    assert verdict.proven


@pytest.mark.parametrize(
    ("height", "code"), [("0.3", "skin-missing"), ("-0.3", "part-released"), ("0.5", "skin-thick")]
)
def test_a_skin_of_another_height_does_not(plate, height, code):
    text = skin_text(plate).replace("Z0.4", f"Z{height}")
    verdict = plate.judge(text, hold=Hold(by=HoldKind.SKIN, skin_mm=0.4))
    assert code in codes(verdict) and not verdict.proven


def test_a_thin_skin_is_measured(plate):
    text = skin_text(plate).replace("Z0.4", "Z0.25")
    verdict = plate.judge(text, hold=Hold(by=HoldKind.SKIN, skin_mm=0.4))
    assert find(verdict, "skin-missing").size_mm == pytest.approx(0.25)


def test_not_through(plate):
    verdict = plate.judge(plate.text.replace("Z-0.3", "Z0.1"))
    finding = find(verdict, "not-through")
    assert finding.size_mm == pytest.approx(0.1)
    assert verdict.deviation.gouge_max_mm < BOUND_MM


def test_zero_on_the_top(plate):
    text = re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) - 4.0:.4f}", plate.text)
    top = Heights(zero=ZeroFace.TOP, measured_thickness_mm=(4.0,))
    assert plate.judge(text, heights=top).proven
    assert not plate.judge(text).proven
    assert not plate.judge(heights=top).proven


def test_zero_on_the_top_of_an_uneven_sheet_counts_both_ways(plate):
    # 3.7 to 4.0 mm: the program for 4.0 mm cuts 0.6 mm into the bed where the sheet is thin
    text = re.sub(r"Z(-?[\d.]+)", lambda m: f"Z{float(m[1]) - 4.0:.4f}", plate.text)
    layout = replace(plate.layout, min_top_mm=3.7)
    verdict = plate.judge(text, heights=Heights(zero=ZeroFace.TOP, measured_thickness_mm=(3.7, 4.0)), layout=layout)
    assert codes(verdict) == {"bed-gouged"}
    assert find(verdict, "bed-gouged").size_mm == pytest.approx(0.6)


def test_a_bridge_at_half_height(plate):
    text = plate.text.replace("X153 Z0.8\n", "X153 Z0.5\n")
    verdict = plate.judge(text)
    assert find(verdict, "bridge-thin").size_mm == pytest.approx(0.5, abs=0.02)


def test_bridges_are_counted(plate):
    verdict = plate.judge(hold=Hold(min_bridges=5))
    missing = [f for f in verdict.findings if f.code == "bridge-missing"]
    assert {(f.origin.panel, f.origin.feature) for f in missing} == {("plate", "outline"), ("plate", "cut-out 1")}
    assert "4 bridges" in missing[0].message and "asks for 5" in missing[0].message


def test_neck_of_a_bridge(plate):
    # the centre stays up for 14 mm: 8 mm and the cutter's diameter
    assert plate.judge(hold=Hold(bridge_length_mm=8.04)).proven
    verdict = plate.judge(hold=Hold(bridge_length_mm=8.5))
    assert find(verdict, "bridge-short").size_mm == pytest.approx(8.0, abs=0.3)
    verdict = plate.judge(hold=Hold(bridge_length_mm=6.8))
    assert "bridge-long" in codes(verdict)


def test_a_round_cut_leaves_a_loose_slug(plate):
    text = plate.text.replace(
        "M9\n",
        "G0 X252.5 Y100\nZ4.5\nG3 X252.5 Y100 Z1.8 I15 J0 F2500\nG3 X252.5 Y100 Z-0.3 I15 J0\n"
        "G3 X252.5 Y100 I15 J0\nG0 Z14\nM9\n",
    )
    verdict = plate.judge(text)
    loose = find(verdict, "slug-loose")
    assert loose.severity is Severity.ERROR
    # what a circle of 15 mm leaves inside a 6 mm cutter: 12 mm of radius
    assert f"{np.pi * 144:.0f}" in loose.message or "452" in loose.message
    assert hypot(loose.origin.x_mm - 267.5, loose.origin.y_mm - 100.0) < 12.0


def test_a_thin_sliver_is_a_crumb(plate):
    # two rings 0.1 mm farther apart than the cutter is wide leave a ring of 0.1 mm
    turn = "G3 X{x} Y170 I{r} J0"
    ring = f"G0 X{{x}} Y170\nZ4.5\n{turn} Z1.8 F2500\n{turn} Z-0.3\n{turn}\nG0 Z14\n"
    inner = [ring.format(x=265 - r, r=r) for r in (2.9, 8.9)]
    outer = ring.format(x=265 - 15.0, r=15.0)
    verdict = plate.judge(plate.text.replace("M9\n", "".join(inner) + outer + "M9\n"))
    crumb = find(verdict, "crumb-left")
    assert crumb.severity is Severity.WARNING
    assert "slug-loose" not in codes(verdict)


def test_a_neighbour_is_named(plate):
    panel = plate.layout.placements[0].panel
    other = make_panel(rectangle((30.0, 155.0), width_mm=200.0, height_mm=30.0), name="strip")
    verdict = with_panels(plate, panel, other).judge()
    touched = find(verdict, "neighbour-touched")
    # 5 mm apart: the cutter of 6 mm goes 1 mm into the strip
    assert touched.size_mm == pytest.approx(1.0, abs=BOUND_MM)
    assert (touched.origin.panel, "plate" in touched.message) == ("strip", True)


def test_a_panel_that_nothing_cuts_is_told(plate):
    panel = plate.layout.placements[0].panel
    other = make_panel(rectangle((240.0, 30.0), width_mm=40.0, height_mm=100.0), name="strip")
    verdict = with_panels(plate, panel, other).judge()
    told = [f for f in verdict.findings if f.origin.panel == "strip"]
    assert {"not-through", "material-left"} <= {f.code for f in told}
    assert all(f.origin.panel == "strip" for f in verdict.findings)


def test_findings_of_the_text_are_passed_on(plate):
    trace = plate.read(plate.text)
    fault = error("made-up", "a fault in the text", remedy="none")
    verdict = plate.judge(trace=replace(trace, findings=(fault,)))
    assert fault in verdict.findings and not verdict.proven


def test_an_empty_program_is_not_proven(plate):
    verdict = plate.judge("G21\nM2\n")
    assert {"nothing-cut", "not-through"} <= codes(verdict)


def test_order_matters_for_a_rapid(plate):
    """The same rapid through the kerf is right after the cut and wrong before it."""
    move = "G0 X60 Y27\nZ0.5\nX70\nZ14\n"
    before = plate.text.replace("(outline", move + "(outline")
    after = plate.text.replace("M9\n", move + "M9\n")
    assert "rapid-in-material" in codes(plate.judge(before))
    assert plate.judge(after).proven


def test_order_matters_for_a_plunge(plate):
    move = "G0 X60 Y27\nZ4.5\nG1 Z-0.3 F1000\nG0 Z14\n"
    assert "plunge-in-material" in codes(plate.judge(plate.text.replace("(outline", move + "(outline")))
    assert plate.judge(plate.text.replace("M9\n", move + "M9\n")).proven


def test_bites_of_a_slot_and_of_a_film(plate, write_trace):
    """A slot bites its whole width and depth; a second pass 0.3 mm beside it bites 0.3 mm."""
    writer = write_trace(at=(20.0, 20.0, 2.0), tool=26).line(x=100.0).line(y=20.3).line(x=20.0)
    case = case_of(plate, writer.trace())
    bites = find_bites(case)
    slot, film = bites.move == 0, bites.move == 2
    assert bites.depth_mm[slot] == pytest.approx(2.0)
    assert bites.width_mm[slot] == pytest.approx(6.0)
    assert bites.area_mm2[slot] == pytest.approx(12.0)
    assert bites.middle_mm[slot] == pytest.approx(0.0, abs=1e-9)
    assert bites.depth_mm[film] == pytest.approx(2.0)
    assert bites.width_mm[film] == pytest.approx(0.3, abs=0.05)
    # going back, the film lies to the right
    assert (bites.middle_mm[film] < -2.7).all()
    assert bites.way_mm.sum() == pytest.approx(160.3)


def test_bites_of_a_repeated_pass_are_none(plate, write_trace):
    writer = write_trace(at=(20.0, 20.0, 2.0), tool=26).line(x=100.0).line(x=20.0).line(z=1.0).line(x=100.0)
    bites = find_bites(case_of(plate, writer.trace()))
    assert bites.depth_mm[bites.move == 1] == pytest.approx(0.0)
    assert bites.depth_mm[bites.move == 3] == pytest.approx(1.0)


def test_floors_by_line_ramp_and_arc(plate, write_trace):
    writer = write_trace(at=(20.0, 20.0, 4.0), tool=26).line(x=60.0, z=0.0).line(y=60.0)
    writer.arc(60.0, 100.0, centre=(60.0, 80.0)).line(z=1.0)
    case = case_of(plate, writer.trace())
    points = np.array(
        [(40.0, 20.0), (40.0, 22.9), (40.0, 23.1), (60.0, 40.0), (80.0, 80.0), (76.0, 80.0), (82.9, 80.0)]
    )
    end = np.full(len(points), 99)
    floors = find_floors_mm(case.paths, points, before_move=end, margin_mm=0.0)
    assert floors == pytest.approx([2.0, 2.0, 4.0, 0.0, 0.0, 4.0, 0.0])
    start = find_floors_mm(case.paths, points, before_move=np.full(len(points), 1), margin_mm=0.0)
    assert start == pytest.approx([2.0, 2.0, 4.0, 4.0, 4.0, 4.0, 4.0])


def test_clearance_is_the_distance_less_the_radius(plate, write_trace):
    # beside the left wall at x = 30, 3.015 mm away and then through it
    writer = write_trace(at=(26.985, 60.0, 0.0), tool=26).line(y=80.0).line(x=50.0)
    clearances = find_clearances(case_of(plate, writer.trace()))
    assert clearances.clearance_mm.max() == pytest.approx(0.015, abs=1e-6)
    assert clearances.clearance_mm.min() < -3.0


PAGES = Path(__file__).parents[3] / "cam" / "explanations"


def test_every_code_of_the_judge_has_its_page():
    sources = sorted((Path(__file__).parents[3] / "cam" / "report").glob("judge*.py"))
    assert len(sources) > 5
    found = set()
    for source in sources:
        text = source.read_text(encoding="utf-8")
        found |= set(re.findall(r'(?:error|warning|note)\(\s*"([a-z]+(?:-[a-z]+)+)"', text))
        found |= set(re.findall(r'code="([a-z]+(?:-[a-z]+)+)"', text))
    assert len(found) > 20
    for code in sorted(found):
        page = PAGES / f"{code}.md"
        assert page.is_file(), code
        assert page.read_text(encoding="utf-8").startswith(f"# {code}\n")
