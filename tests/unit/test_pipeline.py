"""The whole V from Python: what a job gives, and what it is refused for, each with one clear message."""

from __future__ import annotations

import ezdxf
import pytest

from cam import pipeline
from cam.errors import LayoutRefused, PanelRefused, PlanRefused, Refusal
from cam.tables.job import CornerRule, Face, Grip, Heights, Hold, KeepOut, PanelEntry, ZeroFace
from cam.tables.read_job import default_job


def box(x, y, w, h):
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


@pytest.fixture
def draw(tmp_path):
    def do(*loops, circles=(), name="plate"):
        document = ezdxf.new("R2010")
        document.units = 4
        for loop in loops:
            document.modelspace().add_lwpolyline(loop, close=True)
        for x, y, r in circles:
            document.modelspace().add_circle((x, y), r)
        path = tmp_path / f"{name}.dxf"
        document.saveas(path)
        return path

    return do


@pytest.fixture
def make(draw, tables):
    def do(*loops, circles=(), **options):
        return pipeline.make_job(default_job(draw(*loops, circles=circles), **options), tables=tables)

    return do


PLATE = box(0, 0, 300, 200)
NESTED = box(60, 40, 150, 120), box(64, 60, 100, 80)
HALF = {"sheet": "cast-4-1220x850", "machine": "bench"}
THICK = {"sheet": "cast-12-3050x2030", "cutters": ("o1-3-up",)}
SHANK = {"cutters": ("o1-8-up",), "machine": "bench", "sheet": "cast-4-600x400"}


def test_a_job_gives_a_proven_program_and_every_stage_its_time(make):
    made = make(PLATE, box(60, 60, 90, 70), circles=[(250, 150, 4)])
    (program,) = made.programs
    assert program.verdict.proven and program.name == "plate.ngc"
    assert [row.number for row in made.plan_rows] == [1, 2, 3]
    assert made.plan_rows[-1].feature == "plate: outline"
    assert [name for name, _ in made.stages] == [
        "reading the drawings", "finding and laying the panels", "planning the workingsteps", "laying the moves",
        "writing the program", "reading the program back", "timing it", "judging it",
    ]  # fmt: skip


def test_the_plan_is_explained_with_the_time_of_each_step(make):
    made = make(PLATE, box(60, 60, 90, 70), circles=[(250, 150, 4)])
    (program,) = made.programs
    rows = {row.operation: row for row in made.plan_rows}
    bore, inside, outline = (rows[name] for name in ("bore", "inside contour", "outside contour"))
    assert "helix" in bore.entry and "ramp of 3 degrees" in inside.entry and "tangent" in outline.entry
    for row in made.plan_rows:
        assert row.allowance_mm == 0.3
        assert row.finish_feed_mm_per_min > 0.0
        assert row.reasons
    # every move belongs to a step, but the way up before the first and what comes after the last
    whole = program.timing.cycle_s
    assert whole - 15.0 < sum(row.time_s for row in made.plan_rows) <= whole + 1e-6
    # the outline is longest; the cutter is changed in the first step
    changing = program.timing.tool_change_s + program.timing.spindle_s
    assert outline.time_s > inside.time_s - changing > 0.0
    assert made.plan_rows[0].time_s > changing


def test_clamps_and_grip_stand_in_the_program(make):
    clamps = (
        KeepOut(at_mm=(400.0, 60.0), size_mm=(60.0, 40.0), height_mm=30.0, name="clamp A", turn_deg=45.0),
        KeepOut(at_mm=(10.0, 500.0), size_mm=(60.0, 40.0), height_mm=12.0, name="clamp B"),
    )
    made = make(PLATE, keep_outs=clamps, hold=Hold(grip=Grip.VACUUM))
    (program,) = made.programs
    assert program.verdict.proven
    lines = program.text.splitlines()
    assert "(held by vacuum on a scrap board: through-cuts go 0.3 mm into it, and leak)" in lines
    assert "(keep out of clamp A: 60 x 40 mm, 30 mm high, about X400 Y60, turned 45 degrees)" in lines
    assert any("clamp B" in line for line in lines)
    assert "vacuum alone" in made.plan_rows[-1].holding


def test_a_thin_web_is_refused_and_allowed_by_the_job(make):
    loops = PLATE, box(3, 50, 90, 70)
    with pytest.raises(PanelRefused) as caught:
        make(*loops)
    assert caught.value.findings[0].code == "web-too-thin"
    made = make(*loops, corners=CornerRule(min_web_mm=2.5))
    assert made.programs[0].verdict.proven


def test_progress_is_told_as_it_begins(draw, tables):
    told = []
    pipeline.make_job(default_job(draw(PLATE)), tables=tables, progress=told.append)
    assert told[0] == "reading the drawings" and told[-1] == "judging it"


def test_same_job_same_bytes(make):
    loops = PLATE, box(60, 60, 90, 70), box(180, 40, 40, 30)
    assert make(*loops).programs[0].text == make(*loops).programs[0].text


def test_a_proof_of_the_same_text_agrees(make, draw, tables, tmp_path):
    made = make(PLATE, box(60, 60, 90, 70))
    path = tmp_path / "again.ngc"
    path.write_text(made.programs[0].text)
    proof = pipeline.prove_program(path, job=made.job, tables=tables)
    assert proof.verdict.proven
    assert proof.verdict.deviation == made.programs[0].verdict.deviation


@pytest.mark.parametrize("face", list(Face))
@pytest.mark.parametrize("turned", [0.0, 90.0, 37.0])
def test_turned_and_mirrored_panels_are_proven_and_said(draw, tables, face, turned):
    ell = [(0, 0), (300, 0), (300, 90), (120, 90), (120, 200), (0, 200)]
    path = draw(ell, circles=[(60, 150, 8)])
    entry = PanelEntry(drawing=path, turn_deg=turned, face=face)
    made = pipeline.make_job(default_job(path, panels=(entry,)), tables=tables)
    (program,) = made.programs
    assert program.verdict.proven
    assert ("face down: cut mirrored" in program.text) == (face is Face.DOWN)
    assert ("cut-face-down" in {finding.code for finding in made.findings}) == (face is Face.DOWN)


def test_zero_on_the_top_needs_a_measured_sheet(make):
    with pytest.raises(PlanRefused) as caught:
        make(PLATE, heights=Heights(zero=ZeroFace.TOP))
    (finding,) = caught.value.findings
    assert finding.code == "thickness-not-measured" and finding.origin.key == "heights.zero"
    made = make(PLATE, heights=Heights(zero=ZeroFace.TOP, measured_thickness_mm=(4.1,)))
    assert made.bed_z_mm == -4.1 and made.programs[0].verdict.proven
    assert "Z0 on the top of the sheet, 4.10 mm above the bed" in made.programs[0].text


def test_a_panel_in_the_cut_out_of_another_is_cut_first(make):
    made = make(PLATE, box(60, 40, 150, 120), box(90, 70, 80, 60))
    assert [row.feature for row in made.plan_rows] == ["plate-2: outline", "plate-1: cut-out 1", "plate-1: outline"]
    assert made.programs[0].verdict.proven


@pytest.mark.parametrize(
    ("loops", "circles", "options", "kind", "code", "panel", "feature"),
    [
        ([box(0, 0, 2600, 300)], [], {}, LayoutRefused, "panel-off-sheet", "plate", None),
        ([box(0, 0, 700, 300)], [], HALF, PlanRefused, "beyond-travel", "plate", "outline"),
        ([PLATE], [(50, 50, 1.0)], {}, PlanRefused, "hole-too-small", "plate", "hole 1"),
        ([PLATE], [(50, 50, 3.0)], {"cutters": ("o1-6-up",)}, PlanRefused, "hole-too-small", "plate", "hole 1"),
        ([PLATE], [], THICK, Refusal, "flutes-too-short", None, None),
        ([PLATE, box(60, 60, 90, 7)], [], {}, PanelRefused, "slot-too-narrow", "plate", None),
        ([PLATE, box(60, 60, 90, 70)], [], {"corners": CornerRule(radius_mm=40.0)}, PanelRefused, None, "plate", None),
        ([box(0, 0, 45, 25)], [], {}, PlanRefused, "no-place-for-bridges", "plate", "outline"),
        ([PLATE, *NESTED], [], {}, PlanRefused, "panels-too-close", "plate-1", None),
        ([PLATE], [], {"margin_mm": 3.0}, PlanRefused, "too-near-sheet-edge", "plate", "outline"),
        ([PLATE], [], SHANK, PlanRefused, "shank-too-large", None, None),
        ([PLATE], [], {"hold": Hold(bridge_height_mm=3.9)}, PlanRefused, "hold-too-high", None, None),
    ],
)  # fmt: skip
def test_bad_input_is_refused_with_its_panel_and_feature(make, loops, circles, options, kind, code, panel, feature):
    with pytest.raises(kind) as caught:
        make(*loops, circles=circles, **options)
    first = caught.value.findings[0]
    assert caught.value.exit_code == 2
    assert first.message and first.remedy
    if code:
        assert first.code == code
    if panel:
        assert first.origin.panel == panel
    if feature:
        assert first.origin.feature == feature
