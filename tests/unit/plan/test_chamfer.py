"""The chamfer's plan: form, runs, ends, and what it refuses."""

from dataclasses import replace
from math import hypot, radians, sqrt, tan

import numpy as np
import pytest
import shapely
import shapely.affinity

from cam.errors import PlanRefused
from cam.findings import Origin
from cam.geometry.contour import Contour, Region, circle, rectangle
from cam.geometry.transform import move
from cam.motion.lay_moves import lay_moves
from cam.panel.panel import Finish, Recess, Role
from cam.plan.chamfer_edges import EdgeRun, lay_ground
from cam.plan.chamfer_form import find_chamfer_form
from cam.plan.chamfer_paths import lay_chamfer_run
from cam.plan.plan_panels import plan_panels
from cam.plan.workingstep import Operation
from cam.tables.job import Face, Heights, ZeroFace
from tests.conftest import rounded_rectangle

PLATE = rectangle((0.0, 0.0), width_mm=120.0, height_mm=80.0)
MEASURED = Heights(measured_thickness_mm=(4.0,))
SHOWN, HIDDEN = Finish.SHOWN, Finish.HIDDEN


@pytest.fixture
def chamfered(build_panel):
    """Return a function that builds a panel with a chamfer of 1 mm, its outline's classes as told."""

    def build(outer=PLATE, *inside, finishes=(), width_mm=1.0, on=(SHOWN,), **options):
        panel = build_panel(outer, *inside, **options)
        outline = replace(panel.features[0], finishes=tuple(finishes))
        return replace(panel, features=(outline, *panel.features[1:]), chamfer_mm=width_mm, chamfer_on=tuple(on))

    return build


@pytest.fixture
def plan_chamfer(plan, find_row, lay, make_means):
    def do(*panels, vees=("vee-60-6", "vee-90-12"), measured=(4.0,), heights=None, at_mm=None, **options):
        layout = lay(*panels, measured_mm=measured, at_mm=at_mm)
        if options.pop("down", False):
            layout = replace(
                layout, placements=tuple(replace(p, face=Face.DOWN, by_mm=(400.0, 20.0)) for p in layout.placements)
            )
        means = make_means("o1-6-up", heights=heights or Heights(measured_thickness_mm=measured), **options)
        return plan_panels(layout, means=replace(means, vees=tuple(find_row(name) for name in vees)))

    return do


def chamfers(made):
    return [step for step in made.workingsteps if step.operation is Operation.CHAMFER]


def code_of(caught):
    return caught.value.findings[0].code


def test_form_of_a_45_degree_chamfer(chamfered, plan_chamfer):
    made = plan_chamfer(chamfered())
    (step,) = chamfers(made)
    # of the two vees the one that leans 45 degrees; the tip 0.5 mm outside the wall and as much below the edge
    assert step.cutter.name == "vee-90-12"
    assert step.floor_mm == pytest.approx(4.0 - 1.0 - 0.5)
    assert step.chamfer.reach_mm == pytest.approx(1.5)
    assert made.workingsteps[0] is step
    # the bite at the top is 3 mm wide: two flutes take 0.05 mm a tooth there
    assert step.rough.chip_load_mm == pytest.approx(0.05, rel=0.01)
    assert "forced by the chamfer" in step.reasons[0]


def test_form_of_a_steep_chamfer(chamfered, plan_chamfer):
    (step,) = chamfers(plan_chamfer(chamfered(), vees=("vee-60-6",)))
    assert step.floor_mm == pytest.approx(4.0 - 1.5 / tan(radians(30.0)))
    assert step.rough.passes == 1


def test_a_cone_too_sharp_for_one_pass(chamfered, plan_chamfer, find_row, lay, make_means):
    sharp = replace(find_row("vee-60-6"), point_angle_deg=50.0)
    layout = lay(chamfered(width_mm=0.5), measured_mm=(4.0,))
    means = replace(make_means("o1-6-up", heights=MEASURED), vees=(sharp,))
    with pytest.raises(PlanRefused) as caught:
        plan_panels(layout, means=means)
    # on average it is 1 / tan 25 / 4 = 0.536 of its width deep, and half its width is allowed
    assert [f.code for f in caught.value.findings] == ["no-vee-fits", "chamfer-too-deep"]


def test_narrow_chamfers_keep_a_cutter_that_has_a_chip_load(chamfered, plan_chamfer):
    (step,) = chamfers(plan_chamfer(chamfered(width_mm=0.3)))
    assert step.chamfer.reach_mm == pytest.approx(1.0)


def test_all_round_it_runs_beside_the_whole_wall(chamfered, plan_chamfer):
    (step,) = chamfers(plan_chamfer(chamfered()))
    (run,) = step.chamfer.runs
    assert run.closed and run.leave is not None
    # four straights, one of them begun in its middle, and four arcs of the tip's distance about the corners
    assert len(run.vertices) == 9
    assert np.count_nonzero(run.vertices[:, 2]) == 4


def test_part_of_a_contour_goes_on_past_square_corners(chamfered, plan_chamfer):
    made = plan_chamfer(chamfered(finishes=(HIDDEN, SHOWN, HIDDEN, HIDDEN)))
    ((run,),) = [step.chamfer.runs for step in chamfers(made)]
    assert not run.closed
    # the right edge at x 140, its ends at y 20 and 100 on the sheet: 1.5 mm of cone and 1 mm more past each
    xs, ys = run.vertices[:, 0], run.vertices[:, 1]
    assert xs == pytest.approx([140.5] * len(xs))
    assert (ys.min(), ys.max()) == pytest.approx((20.0 - 2.5, 100.0 + 2.5))


def test_where_the_wall_runs_on_the_chamfer_stops_inside_the_edge(chamfered, plan_chamfer):
    # the lower edge in two halves: only the left one is shown; its end must not be passed
    halves = np.insert(PLATE.vertices, 1, [60.0, 0.0, 0.0], axis=0)
    outer = Contour(halves)
    made = plan_chamfer(chamfered(outer, finishes=(SHOWN, HIDDEN, HIDDEN, HIDDEN, HIDDEN)))
    ((run,),) = [step.chamfer.runs for step in chamfers(made)]
    xs = run.vertices[:, 0]
    # a disc of 1.5 mm whose middle is 0.5 mm from the wall reaches sqrt(1.5^2 - 0.5^2) along it
    stop = 20.0 + 60.0 - sqrt(1.5**2 - 0.5**2)
    assert xs.max() <= stop + 0.01
    assert xs.max() >= stop - 0.12


def test_a_straight_that_runs_out_at_both_ends(chamfered, plan_chamfer):
    thirds = np.insert(np.insert(PLATE.vertices, 1, [40.0, 0.0, 0.0], axis=0), 2, [80.0, 0.0, 0.0], axis=0)
    made = plan_chamfer(chamfered(Contour(thirds), finishes=(HIDDEN, SHOWN, HIDDEN, HIDDEN, HIDDEN, HIDDEN)))
    ((run,),) = [step.chamfer.runs for step in chamfers(made)]
    assert len(run.vertices) == 2
    moves = next(laid for laid in lay_moves(made) if laid.step.operation is Operation.CHAMFER).moves
    assert {round(each.to_mm[1], 6) for each in moves} == {19.5}


def test_a_hole_and_a_cutout_of_the_class(chamfered, plan_chamfer):
    inside = (rounded_rectangle(60.0, 20.0, width=40.0, height=40.0, radius=5.0), circle((30.0, 40.0), radius_mm=8.0))
    made = plan_chamfer(chamfered(PLATE, *inside, on=(SHOWN, HIDDEN)))
    reach = {step.feature: step.chamfer.runs[0].vertices for step in chamfers(made)}
    assert set(reach) == {"outline", "cut-out 1", "hole 1"}
    around = np.hypot(*(reach["hole 1"][:, :2] - [50.0, 60.0]).T)
    assert around == pytest.approx([7.5] * len(around))


@pytest.mark.parametrize(
    ("panel", "options", "code"),
    [
        ({}, {"measured": ()}, "thickness-not-measured"),
        ({}, {"down": True}, "chamfer-face-down"),
        ({}, {"measured": (3.8, 4.2)}, "no-vee-fits"),
        ({"width_mm": 2.0}, {"vees": ("vee-60-6",)}, "no-vee-fits"),
        ({"width_mm": 6.0}, {"vees": ("vee-90-12",)}, "no-vee-fits"),
        ({}, {"vees": ()}, "no-vee-fits"),
    ],
)
def test_refusals(chamfered, plan_chamfer, panel, options, code):
    with pytest.raises(PlanRefused) as caught:
        plan_chamfer(chamfered(**panel), **options)
    assert code_of(caught) == code


def test_an_uneven_sheet_is_taken_from_its_top(chamfered, plan_chamfer):
    heights = Heights(measured_thickness_mm=(3.8, 4.2), zero=ZeroFace.TOP)
    (step,) = chamfers(plan_chamfer(chamfered(), measured=(3.8, 4.2), heights=heights))
    assert step.floor_mm == pytest.approx(4.2 - 1.5)


@pytest.mark.parametrize(("gap", "clear"), [(2.1, True), (1.9, False)])
def test_a_neighbour_too_near(chamfered, plan_chamfer, find_row, make_means, lay, gap, clear):
    # the axis runs 0.5 mm outside the wall and the cone reaches 1.5 mm at the top
    layout = lay(chamfered(), measured_mm=(4.0,))
    means = replace(make_means("o1-6-up", heights=MEASURED), vees=(find_row("vee-90-12"),))
    form = find_chamfer_form(layout, width_mm=1.0, means=means, origin=Origin())
    run = EdgeRun(wall=PLATE, first=0, last=3, whole=True)
    panels = [shapely.box(0.0, 0.0, 120.0, 80.0), shapely.box(120.0 + gap, 0.0, 200.0, 80.0)]
    ground = lay_ground(
        [shapely.affinity.translate(p, 50, 50) for p in panels],
        runs=[replace(run, wall=move(PLATE, by_mm=(50.0, 50.0)))],
        form=form,
        sheet_mm=(400.0, 300.0),
    )
    run = replace(run, wall=move(PLATE, by_mm=(50.0, 50.0)))
    if clear:
        assert lay_chamfer_run(run, outside=True, clockwise=True, form=form, ground=ground, origin=Origin()).closed
        return
    with pytest.raises(PlanRefused) as caught:
        lay_chamfer_run(run, outside=True, clockwise=True, form=form, ground=ground, origin=Origin())
    assert code_of(caught) == "chamfer-no-room"


def test_a_path_past_the_sheet(chamfered, find_row, make_means, lay):
    layout = lay(chamfered(), measured_mm=(4.0,))
    means = replace(make_means("o1-6-up", heights=MEASURED), vees=(find_row("vee-90-12"),))
    form = find_chamfer_form(layout, width_mm=1.0, means=means, origin=Origin())
    run = EdgeRun(wall=move(PLATE, by_mm=(1.0, 50.0)), first=0, last=3, whole=True)
    ground = lay_ground([shapely.box(1.0, 50.0, 121.0, 130.0)], runs=[run], form=form, sheet_mm=(400.0, 300.0))
    with pytest.raises(PlanRefused) as caught:
        lay_chamfer_run(run, outside=True, clockwise=True, form=form, ground=ground, origin=Origin())
    assert code_of(caught) == "chamfer-no-room"


def test_an_edge_too_short(chamfered, plan_chamfer):
    short = np.insert(np.insert(PLATE.vertices, 1, [60.0, 0.0, 0.0], axis=0), 2, [62.0, 0.0, 0.0], axis=0)
    with pytest.raises(PlanRefused) as caught:
        plan_chamfer(chamfered(Contour(short), finishes=(HIDDEN, SHOWN, HIDDEN, HIDDEN, HIDDEN, HIDDEN)))
    assert code_of(caught) == "chamfer-edge-short"


def test_a_recess_at_the_edge(chamfered, plan_chamfer):
    rebate = Recess(
        label="rebate 1",
        role=Role.RECESS,
        region=Region(outer=rectangle((0.0, 0.0), width_mm=20.0, height_mm=80.0)),
        depth_mm=1.0,
    )
    with pytest.raises(PlanRefused) as caught:
        plan_chamfer(replace(chamfered(), recesses=(rebate,)))
    assert code_of(caught) == "chamfer-meets-recess"


def test_the_tip_keeps_above_the_bridges(chamfered, plan_chamfer):
    with pytest.raises(PlanRefused) as caught:
        plan_chamfer(chamfered(width_mm=2.6))
    assert [f.code for f in caught.value.findings] == [
        "no-vee-fits",
        "chamfer-too-deep",
        "chamfer-too-deep",
        "edge-too-short",
    ]


def test_the_way_down_lies_in_the_groove(chamfered, plan_chamfer):
    for finishes in ((), (HIDDEN, SHOWN, HIDDEN, HIDDEN)):
        made = plan_chamfer(chamfered(finishes=finishes))
        steep = tan(radians(3.0)) * 1.0001
        moves = next(laid for laid in lay_moves(made) if laid.step.operation is Operation.CHAMFER).moves
        before = moves[0]
        lowest = min(each.to_mm[2] for each in moves)
        assert lowest == pytest.approx(2.5)
        for each in moves[1:]:
            drop = before.to_mm[2] - each.to_mm[2]
            run = hypot(each.to_mm[0] - before.to_mm[0], each.to_mm[1] - before.to_mm[1])
            if each.feed_mm_per_min and drop > 1e-9:
                assert drop <= steep * (abs(each.sweep_rad) * 0.5 if each.sweep_rad else run) + 1e-9
            before = each
