"""Drilled holes through both legs: the right program is proven, each fault is found by its code."""

import re
from dataclasses import replace

import pytest

from cam.geometry.contour import circle, rectangle
from cam.tables.job import Heights

PLATE = rectangle((0.0, 0.0), width_mm=120.0, height_mm=80.0)
HOLE = circle((40.0, 30.0), radius_mm=1.5)
DEEP = Heights(drill_into_bed_mm=4.0, measured_thickness_mm=(4.0,))


def codes(verdict):
    return {finding.code for finding in verdict.findings}


@pytest.fixture(scope="module")
def drilled(build_panel, lay, make_means, make_bench):
    layout = lay(build_panel(PLATE, HOLE), measured_mm=(4.0,))
    return make_bench(layout, make_means("o1-6-up", "drill-3", heights=DEEP))


def drill_part(text):
    """Return where the drill's own blocks stand in the text, at its tool change and the next."""
    start = text.index("T52 M6")
    return start, text.index("M6", start + 6)


def edit_drill(bench, old, new, *, count=0):
    start, end = drill_part(bench.text)
    inside, times = re.subn(old, new, bench.text[start:end], count=count)
    assert times
    return bench.text[:start] + inside + bench.text[end:]


def test_the_drilled_plate_is_proven(drilled):
    verdict = drilled.judge()
    assert [str(f) for f in verdict.findings] == []
    assert verdict.proven


def test_the_drill_pecks_and_slows_at_the_exit(drilled):
    start, end = drill_part(drilled.text)
    body = drilled.text[start:end]
    # point of 1.5 / tan 30 deg = 2.598 mm and 0.3 mm below the bed, from 4 mm: 6.898 mm in 3 pecks of at most 3 mm
    third = (4.0 + 1.5 * 3.0**0.5 + 0.3) / 3.0
    feeds = [float(z) for z in re.findall(r"(?:G1 )Z([-\d.]+)", body)]
    assert feeds == pytest.approx([4.0 - third, 0.5, 4.0 - 3.0 * third], abs=1e-4)
    # out above the sheet after each, back to 0.5 mm above the last depth
    back = [float(z) for z in re.findall(r"G0 Z4\.5\nZ([-\d.]+)", body)]
    assert back == pytest.approx([4.5 - third, 4.5 - 2.0 * third], abs=1e-4)
    # 6000 rpm x 0.08 mm in a turn; half of it from half a millimetre above the bed
    assert re.findall(r"F(\d+)", body) == ["480", "240"]


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (r"X60 Y50", "X60.05 Y50", "hole-off-place"),
        (r"X60 Y50", "X75 Y50", "panel-gouged"),
        (r"F480", "F2000", "drill-feed-wrong"),
        (r"F240", "F100", "drill-feed-wrong"),
        (r"S6000", "S9000", "speed-outside-window"),
        (r"Z-2.898\d*", "Z-2.4", "drilled-too-shallow"),
        (r"Z-2.898\d*", "Z-4.2", "bed-gouged"),
        (r"M7\n|M8\n", "", "air-off"),
    ],
)
def test_each_fault_has_its_code(drilled, old, new, code):
    assert code in codes(drilled.judge(edit_drill(drilled, old, new)))


def test_pecks_that_stay_in_the_hole_are_one(drilled):
    start, end = drill_part(drilled.text)
    body = drilled.text[start:end]
    pecks = re.sub(r"G0 Z4\.5\nZ[-\d.]+\n", "", body)
    assert pecks != body
    assert "peck-too-deep" in codes(drilled.judge(drilled.text[:start] + pecks + drilled.text[end:]))


def test_a_drill_that_moves_sideways(drilled):
    text = edit_drill(drilled, r"(Z-2\.898\d*\n)", r"\1G1 X60.3\nX60\n")
    assert "drill-moved-sideways" in codes(drilled.judge(text))


def test_a_flat_cutter_that_plunges_is_still_found(drilled):
    text = drilled.text.replace("T52 M6", "T22 M6")
    assert "plunge-in-material" in codes(drilled.judge(text))


def test_a_rapid_into_the_bottom_of_the_hole(drilled):
    # back down to half a millimetre above the last depth is allowed; to it and beyond is not
    start, end = drill_part(drilled.text)
    body = drilled.text[start:end]
    back = re.search(r"G0 Z4\.5\nZ([-\d.]+)\n", body)
    deeper = body.replace(back.group(0), f"G0 Z4.5\nZ{float(back.group(1)) - 1.5:.4f}\n", 1)
    assert "rapid-in-material" in codes(drilled.judge(drilled.text[:start] + deeper + drilled.text[end:]))


@pytest.mark.parametrize(("diameter", "wrong"), [(3.04, False), (2.96, False), (3.06, True), (2.94, True)])
def test_a_drill_of_nearly_the_diameter(drilled, diameter, wrong):
    tables = drilled.tables
    cutters = tuple(replace(c, diameter_mm=diameter) if c.name == "drill-3" else c for c in tables.cutters)
    bench = replace(drilled, tables=replace(tables, cutters=cutters))
    # the thicker drill's point is longer by 0.05 mm, well within the cut into the bed
    found = codes(bench.judge())
    assert ("hole-wrong-size" in found) == wrong
    assert found <= {"hole-wrong-size"}


def test_a_wide_hole_gets_a_pilot_first(build_panel, lay, make_means, make_bench, find_row):
    layout = lay(build_panel(PLATE, circle((40.0, 30.0), radius_mm=4.0)), measured_mm=(4.0,))
    heights = Heights(drill_into_bed_mm=9.0, measured_thickness_mm=(4.0,))
    means = make_means("o1-8-up", "drill-8", "drill-4", machine="industrial", heights=heights)
    bench = make_bench(layout, means)
    verdict = bench.judge()
    assert [str(f) for f in verdict.findings] == []
    assert bench.text.index("(step 1: pilot drill hole 1 of test)") < bench.text.index("(step 2: drill hole 1 of test)")
    # the pilot's own moves left out, from its first approach to its retract
    start = bench.text.index("(drill)") + len("(drill)\n")
    end = bench.text.index("M5", start)
    kept = re.search(r"(?:G0 Z14\nX[-\d.]+ Y[-\d.]+|G0 Z14)\n", bench.text[start:end])
    assert "pilot-missing" in codes(
        bench.judge(bench.text[:start] + (kept.group(0) if kept else "") + bench.text[end:])
    )


def test_a_fast_exit(drilled):
    # 480 mm/min at 6000 rpm is 0.08 mm in a turn, right in the sheet, and more than half of 0.15 mm at its far face
    assert "drill-feed-wrong" in codes(drilled.judge(edit_drill(drilled, r" F240", "")))
