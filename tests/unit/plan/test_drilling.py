"""When a hole is drilled, with what figures, and what keeps a drill from it."""

from dataclasses import replace
from math import pi, sqrt

import pytest

from cam.errors import PlanRefused, TableRefused
from cam.findings import Origin
from cam.geometry.contour import circle, rectangle
from cam.plan.drill_data import resolve_drilling, slow_exit
from cam.plan.means import resolve
from cam.plan.workingstep import Operation
from cam.tables.check import PlacedRow, find_row_faults
from cam.tables.drill_feed import find_drill_window, find_point_length_mm
from cam.tables.job import Heights
from cam.tables.listing import RowKind, write_listing

PLATE = rectangle((0.0, 0.0), width_mm=120.0, height_mm=80.0)
DEEP = Heights(drill_into_bed_mm=4.0)


def hole(diameter_mm, *, x=40.0):
    return circle((x, 30.0), radius_mm=diameter_mm / 2.0)


def steps_of(made):
    return {step.feature: step for step in made.workingsteps}


def test_a_hole_too_small_to_bore_is_drilled_and_says_so(build_panel, plan):
    steps = steps_of(plan(build_panel(PLATE, hole(3.0)), cutters=("o1-6-up", "drill-3"), heights=DEEP))
    assert steps["hole 1"].operation is Operation.DRILL
    assert steps["hole 1"].cutter.name == "drill-3"
    assert "no flat cutter bores it" in steps["hole 1"].reasons[0]
    # 60 degree point of 1.5 mm radius: 1.5 x sqrt(3), and the 0.3 mm that every cut goes into the bed
    assert steps["hole 1"].floor_mm == pytest.approx(-(1.5 * sqrt(3.0) + 0.3))
    assert steps["outline"].cutter.name == "o1-6-up"


def test_what_can_be_bored_is_bored(build_panel, plan):
    steps = steps_of(plan(build_panel(PLATE, hole(10.0)), cutters=("o1-6-up", "drill-10"), heights=DEEP))
    assert steps["hole 1"].operation is Operation.BORE
    steps = steps_of(plan(build_panel(PLATE, hole(3.0)), cutters=("o1-6-up", "o1-2-up", "drill-3"), heights=DEEP))
    assert steps["hole 1"].cutter.name == "o1-2-up"
    assert "bored rather than drilled with drill-3" in steps["hole 1"].reasons[0]


@pytest.mark.parametrize(
    ("diameter", "cutters", "options", "codes"),
    [
        (3.0, ("o1-6-up",), {}, ["hole-too-small"]),
        (3.0, ("o1-6-up", "drill-3"), {"heights": Heights()}, ["hole-too-small", "drill-into-bed"]),
        (3.06, ("o1-6-up", "drill-3"), {}, ["hole-too-small"]),
        (4.0, ("o1-6-up", "drill-4"), {}, ["hole-too-small", "rpm-out-of-reach"]),
        (3.0, ("o1-6-up", "drill-3"), {"machine": "bench"}, ["hole-too-small", "rpm-out-of-reach"]),
        (3.0, ("o1-6-up", "drill-3"), {"sheet": "cast-10-2440x1220"}, ["hole-too-small", "flutes-too-short"]),
        (8.0, ("o1-8-up", "drill-8"), {"machine": "industrial", "heights": Heights(drill_into_bed_mm=8.0)},
         ["hole-too-small", "no-pilot-drill"]),
    ],
)  # fmt: skip
def test_what_keeps_a_drill_from_a_hole(build_panel, plan, diameter, cutters, options, codes):
    with pytest.raises(PlanRefused) as caught:
        plan(build_panel(PLATE, hole(diameter), name="plate"), cutters=cutters, **{"heights": DEEP, **options})
    assert [finding.code for finding in caught.value.findings] == codes
    assert all(f.origin.feature == "hole 1" and f.origin.panel == "plate" and f.remedy for f in caught.value.findings)


@pytest.mark.parametrize("diameter", [2.96, 3.04])
def test_a_drill_of_nearly_the_hole_s_diameter(build_panel, plan, diameter):
    steps = steps_of(plan(build_panel(PLATE, hole(diameter)), cutters=("o1-6-up", "drill-3"), heights=DEEP))
    assert steps["hole 1"].cutter.name == "drill-3"


def test_a_wide_hole_takes_a_pilot(build_panel, plan):
    made = plan(
        build_panel(PLATE, hole(8.0)),
        cutters=("o1-8-up", "drill-3", "drill-8", "drill-4"),
        machine="industrial",
        heights=Heights(drill_into_bed_mm=8.0),
    )
    order = [(step.operation, step.cutter.name) for step in made.workingsteps]
    # 0.3 to 0.6 of 8 mm: 3 and 4 mm would do, the thicker one leads
    assert order[:2] == [(Operation.PILOT, "drill-4"), (Operation.DRILL, "drill-8")]
    assert made.workingsteps[0].floor_mm == -0.3


def test_figures_of_a_drill(make_means, find_row):
    # n = 1000 v / (pi d) (metric handbook formula): 40 m/min on 2 mm is 6366 rpm
    data = resolve_drilling(find_row("drill-2"), depth_mm=7.0, means=make_means("drill-2"))
    assert data.spindle_rpm == int(1000.0 * 40.0 / (pi * 2.0))
    assert data.feed_mm_per_min == int(data.spindle_rpm * 0.05)
    assert data.passes == 4 and data.pass_depth_mm == pytest.approx(1.75)
    # on this machine 3 mm cannot turn as slow as 40 m/min
    data = resolve_drilling(find_row("drill-3"), depth_mm=3.0, means=make_means("drill-3"))
    assert (data.spindle_rpm, data.feed_mm_per_min, data.passes) == (6000.0, 480.0, 1)
    leaving = slow_exit(data, means=make_means("drill-3"))
    assert leaving.feed_mm_per_min == 240.0
    assert "6000 rpm: machine workshop-gantry turns no slower" in str(data.reasons[0])


def test_the_exit_is_never_below_the_lowest_feed(make_means, find_row):
    means = make_means("drill-2")
    data = resolve_drilling(find_row("drill-2"), depth_mm=7.0, means=means)
    leaving = slow_exit(data, means=means)
    assert leaving.feed_mm_per_min / leaving.spindle_rpm >= 0.03 - 1e-9
    assert leaving.feed_mm_per_min < data.feed_mm_per_min


def test_between_two_drills_of_the_table(find_row):
    window = find_drill_window(cutter=find_row("drill-4"), material=find_row("cast-acrylic"))
    assert (window.low_mm, window.start_mm, window.high_mm) == pytest.approx((0.0475, 0.09, 0.2))
    assert window.peck_mm == 4.0


def test_no_data(find_row, make_cutter):
    acrylic = find_row("cast-acrylic")
    for cutter, material in (
        (find_row("o1-6-up"), acrylic),
        (replace(find_row("drill-10"), diameter_mm=12.0), acrylic),
        (find_row("drill-3"), replace(acrylic, drilling=None)),
    ):
        with pytest.raises(TableRefused) as caught:
            find_drill_window(cutter=cutter, material=material)
        assert caught.value.findings[0].code == "no-drill-data"


def test_point_length(find_row):
    # r / tan 30 degrees
    assert find_point_length_mm(find_row("drill-5")) == pytest.approx(2.5 * sqrt(3.0))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"start_speed_m_per_min": 5.0}, "surface speed"),
        ({"feeds": ()}, "at least one feed"),
    ],
)
def test_broken_rows_are_told(find_row, changes, words):
    row = find_row("cast-acrylic")
    broken = replace(row, drilling=replace(row.drilling, **changes))
    (fault,) = find_row_faults(PlacedRow(row=broken, origin=Origin()))
    assert fault.code == "inconsistent-row" and words in fault.message


def test_the_listing_shows_drilling(shipped):
    text = write_listing(shipped, kind=RowKind.MATERIALS)
    assert "rim at 10 to 60 m/min" in text and "mm/turn" in text


def test_a_drill_cuts_no_slot(find_row, make_means):
    with pytest.raises(PlanRefused) as caught:
        resolve(find_row("drill-3"), depth_mm=2.0, radial_mm=None, means=make_means("drill-3"))
    assert caught.value.findings[0].code == "wrong-cutter-kind"
