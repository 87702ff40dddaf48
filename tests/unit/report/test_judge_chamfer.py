"""Chamfers through both legs: the right program is proven, each fault is found by its code."""

import re
from dataclasses import replace

import pytest

from cam.geometry.contour import Contour, circle
from cam.panel.panel import Finish
from cam.tables.job import Chamfer, Face, Heights
from tests.conftest import rounded_rectangle

SHOWN, HIDDEN = Finish.SHOWN, Finish.HIDDEN
QUARTER = 2.0**0.5 - 1.0
# an L with a rounded inside corner and one rounded outside corner, 160 x 100 mm
ELL = Contour(
    [
        [0.0, 0.0, 0.0],
        [140.0, 0.0, QUARTER],
        [160.0, 20.0, 0.0],
        [160.0, 60.0, 0.0],
        [105.0, 60.0, -QUARTER],
        [100.0, 65.0, 0.0],
        [100.0, 100.0, 0.0],
        [0.0, 100.0, 0.0],
    ]
)
INSIDE = (rounded_rectangle(20.0, 20.0, width=40.0, height=30.0, radius=5.0), circle((80.0, 30.0), radius_mm=8.0))


def codes(verdict):
    return {finding.code for finding in verdict.findings}


@pytest.fixture(scope="module")
def make_chamfered(build_panel, lay, make_means, make_bench, find_row):
    def make(outer=ELL, *inside, finishes=(), width_mm=1.0, on=(SHOWN,), vee="vee-90-12", measured=(4.0,), **heights):
        panel = build_panel(outer, *inside)
        outline = replace(panel.features[0], finishes=tuple(finishes))
        panel = replace(panel, features=(outline, *panel.features[1:]), chamfer_mm=width_mm, chamfer_on=tuple(on))
        means = make_means("o1-6-up", heights=Heights(measured_thickness_mm=measured, **heights))
        chamfer = Chamfer(width_mm=width_mm, on=tuple(str(each) for each in on))
        return make_bench(lay(panel, measured_mm=measured), replace(means, vees=(find_row(vee),)), chamfer=chamfer)

    return make


@pytest.fixture(scope="module")
def chamfered(make_chamfered):
    return make_chamfered(ELL, *INSIDE, on=(SHOWN, HIDDEN))


@pytest.fixture(scope="module")
def partly(make_chamfered):
    """The right edge, the rounded corner below it and half of the lower edge are shown."""
    split = Contour([*ELL.vertices[:1].tolist(), [70.0, 0.0, 0.0], *ELL.vertices[1:].tolist()])
    classes = (HIDDEN, SHOWN, SHOWN, SHOWN, HIDDEN, HIDDEN, HIDDEN, HIDDEN, HIDDEN)
    return make_chamfered(split, finishes=classes)


@pytest.mark.parametrize(
    "options",
    [
        {"on": (SHOWN, HIDDEN)},
        {"width_mm": 0.3},
        {"width_mm": 2.0},
        {"vee": "vee-60-6"},
        {"measured": (3.95, 4.05)},
    ],
)
def test_chamfers_are_proven(make_chamfered, options):
    verdict = make_chamfered(ELL, *INSIDE, **options).judge()
    assert [str(f) for f in verdict.findings] == []
    assert verdict.proven


def test_part_of_a_contour_is_proven(partly):
    verdict = partly.judge()
    assert [str(f) for f in verdict.findings] == []


def vee_part(text):
    start = text.index("T49 M6")
    return start, text.index("M6", start + 6)


def edit_vee(bench, old, new, *, count=0):
    start, end = vee_part(bench.text)
    inside, times = re.subn(old, new, bench.text[start:end], count=count)
    assert times
    return bench.text[:start] + inside + bench.text[end:]


@pytest.mark.parametrize(
    ("tip", "code"),
    [("2.35", "chamfer-too-wide"), ("2.45", None), ("2.55", None), ("2.65", "chamfer-too-narrow"),
     ("3.6", "chamfer-missing")],
)  # fmt: skip
def test_depth(chamfered, tip, code):
    # of 45 degrees the width differs by as much as the depth: 0.05 mm is let pass, 0.15 mm is not
    found = codes(chamfered.judge(edit_vee(chamfered, r"Z2\.5\b", f"Z{tip}")))
    assert (found == set()) if code is None else code in found


def test_a_contour_left_out(chamfered):
    start, end = vee_part(chamfered.text)
    parts = re.split(r"(?=\(step \d+: chamfer)", chamfered.text[start:end])
    assert len(parts) == 4
    # the head, and the steps but the second
    body = parts[0] + parts[1] + parts[3]
    verdict = chamfered.judge(chamfered.text[:start] + body + chamfered.text[end:])
    assert [f.code for f in verdict.findings] == ["chamfer-missing"]


def test_no_vee_at_all(chamfered, make_chamfered):
    plain = make_chamfered(ELL, *INSIDE, width_mm=0.0)
    verdict = chamfered.judge(plain.text)
    assert [f.code for f in verdict.findings] == ["chamfer-missing"] * 3


def test_a_chamfer_where_none_is_asked_for(chamfered, partly, make_chamfered):
    outline = make_chamfered(ELL, *INSIDE)
    # the program with chamfers inside as well, judged by a job that wants them on the outline alone
    verdict = outline.judge(chamfered.text)
    assert codes(verdict) == {"chamfer-off-edge"}


def test_a_chamfer_past_its_end(partly):
    whole = partly.text
    # the lower edge is shown from x 90 on: the axis stops sqrt(2) mm inside of it, at 91.4; 3 mm farther is too far
    found = re.findall(r"X91\.\d+", whole)
    assert found
    verdict = partly.judge(re.sub(r"X91\.\d+", "X88.4", whole))
    assert "chamfer-too-wide" in codes(verdict) or "chamfer-off-edge" in codes(verdict)
    verdict = partly.judge(re.sub(r"X91\.\d+", "X100", whole))
    assert "chamfer-too-narrow" in codes(verdict)


def test_a_path_too_near_to_the_wall(chamfered):
    # the whole of the vee's moves 0.3 mm to the right
    moved = re.sub(
        r"X([-\d.]+)", lambda m: f"X{float(m.group(1)) + 0.3:.4f}", chamfered.text[slice(*vee_part(chamfered.text))]
    )
    start, end = vee_part(chamfered.text)
    found = codes(chamfered.judge(chamfered.text[:start] + moved + chamfered.text[end:]))
    assert {"chamfer-too-wide", "chamfer-too-narrow"} <= found


def test_another_vee_than_the_jobs(chamfered, find_row):
    job = replace(chamfered.job, chamfer=replace(chamfered.job.chamfer, cutter="vee-60-6"))
    assert codes(replace(chamfered, job=job).judge()) & {"chamfer-too-wide", "chamfer-too-narrow"}


def test_face_down(chamfered):
    layout = chamfered.layout
    down = replace(layout, placements=tuple(replace(p, face=Face.DOWN) for p in layout.placements))
    assert "chamfer-face-down" in codes(chamfered.judge(layout=down))


def test_a_thicker_sheet_widens_the_chamfer(chamfered):
    layout = replace(chamfered.layout, min_top_mm=3.8, max_top_mm=4.2)
    found = codes(chamfered.judge(layout=layout))
    assert {"chamfer-too-wide", "chamfer-too-narrow"} <= found


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (r"F1800", "F3600", "chip-too-thick"),
        (r"F1800", "F500", "chip-too-thin-as-cut"),
        (r"M7\n|M8\n", "", "air-off"),
    ],
)
def test_chips(chamfered, old, new, code):
    assert code in codes(chamfered.judge(edit_vee(chamfered, old, new)))


def test_a_pass_too_deep_for_the_material(chamfered):
    # 1.5 mm deep and 3 mm wide, and so 0.75 mm deep on average: a quarter of the width
    def judge(limit):
        tables = chamfered.tables
        rows = tuple(replace(row, max_pass_depth_diameters=limit) for row in tables.materials)
        start, end = vee_part(chamfered.text)
        lines = range(chamfered.text.count("\n", 0, start), chamfered.text.count("\n", 0, end))
        found = replace(chamfered, tables=replace(tables, materials=rows)).judge().findings
        return {f.code for f in found if f.origin.line in lines}

    assert judge(0.2) == {"pass-too-deep"}
    assert judge(0.3) == set()


def test_without_a_chamfer_a_vee_gouges(chamfered):
    layout = chamfered.layout
    plain = tuple(replace(p, panel=replace(p.panel, chamfer_mm=0.0)) for p in layout.placements)
    verdict = chamfered.judge(layout=replace(layout, placements=plain))
    assert "panel-gouged" in codes(verdict)
    assert verdict.deviation.gouge_max_mm == pytest.approx(1.0, abs=0.002)
