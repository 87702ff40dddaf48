"""The judge on bridges, on what vacuum and tape hold, and on clamps: silent on right programs, not on wrong ones."""

import re
from dataclasses import replace
from math import cos, pi, sin

import numpy as np
import pytest

from cam.errors import PlanRefused
from cam.findings import Severity
from cam.geometry.along import find_point_at, lay_ruler
from cam.geometry.contour import Contour, Region, circle, polygon, rectangle
from cam.geometry.offset import offset_region
from cam.geometry.rounding import round_corners
from cam.motion import last_pass, lay_moves
from cam.panel.panel import Finish
from cam.plan import hold_feature, plan_panels
from cam.plan.holding import Footing
from cam.plan.workingstep import Bridge
from cam.tables.job import Grip, Hold, HoldKind, KeepOut
from tests.conftest import rounded_rectangle

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)
WIDE = rectangle((0.0, 0.0), width_mm=600.0, height_mm=300.0)


@pytest.fixture
def bench(build_panel, lay, make_means, make_bench):
    """Return a function that makes the bench of panels laid on a 4 mm sheet, cut by a 6 mm cutter."""

    def make(*panels, at_mm=None, hold=None, keep_outs=(), finishes=None, cutters=("o1-6-up",)):
        built = [build_panel(panel) if isinstance(panel, Contour) else panel for panel in panels]
        if finishes:
            outline = replace(built[0].features[0], finishes=finishes)
            built[0] = replace(built[0], features=(outline, *built[0].features[1:]))
        layout = lay(*built, at_mm=at_mm or [(100.0, 100.0)], measured_mm=(4.0,))
        return make_bench(layout, replace(make_means(*cutters, hold=hold), keep_outs=tuple(keep_outs)))

    return make


def found(verdict):
    return {finding.code: finding for finding in verdict.findings if finding.severity is not Severity.NOTE}


def put_bridges(monkeypatch, *places_mm):
    """Make the plan put the bridges of every wall at distances along it."""

    def lay_bridges(wall, **_):
        ruler = lay_ruler(wall)
        points = [find_point_at(ruler, place) for place in places_mm]
        return Footing(bridges=tuple(Bridge(x_mm=x, y_mm=y) for x, y in points), ground="by hand")

    monkeypatch.setattr(hold_feature, "lay_bridges", lay_bridges)


# --- where bridges stand ---


@pytest.mark.parametrize(
    "panel",
    [
        pytest.param(PLATE, id="plate"),
        pytest.param(WIDE, id="wide"),
        pytest.param(circle((60.0, 60.0), radius_mm=60.0), id="disc"),
        pytest.param(Contour([[0, 0, 0], [500, 0, 0], [500, 200, 0.2], [0, 200, 0]]), id="bow"),
    ],
)
@pytest.mark.parametrize("hold", [Hold(), Hold(bridge_spacing_mm=120.0, bridge_length_mm=5.0)])
def test_planned_bridges_stand_well(bench, panel, hold):
    verdict = bench(panel, hold=hold).judge()
    assert found(verdict) == {}
    assert verdict.proven


def test_a_round_cut_out_is_held_by_bridges_of_the_length_asked(bench, build_panel):
    panel = build_panel(PLATE, circle((150.0, 100.0), radius_mm=80.0))
    made = bench(panel)
    assert found(made.judge()) == {}
    # the necks on the curve are measured by the judge: a job that asks for other lengths is not kept
    longer, shorter = (made.judge(hold=Hold(bridge_length_mm=each)) for each in (8.4, 6.5))
    assert "bridge-short" in found(longer) and "bridge-long" in found(shorter)


def test_bridges_on_one_side_are_too_far_apart(bench, monkeypatch):
    hold = Hold(bridge_spacing_mm=500.0)
    put_bridges(monkeypatch, 60.0, 180.0, 300.0, 420.0)
    finding = found(bench(WIDE, hold=hold).judge())["bridges-far-apart"]
    # all of the wall but what lies between the first and the last: 1800 - 360 mm
    assert finding.size_mm == pytest.approx(1440.0, abs=15.0)
    assert finding.severity is Severity.ERROR
    put_bridges(monkeypatch, 300.0, 750.0, 1200.0, 1650.0)
    assert found(bench(WIDE, hold=hold).judge()) == {}


def test_wall_without_waste_beside_it_is_no_gap(bench, build_panel):
    # the neighbour's kerf takes all waste between the two; the long sides there have no bridge and need none
    panels = build_panel(WIDE, name="a"), build_panel(WIDE, name="b")
    made = bench(*panels, at_mm=[(100.0, 100.0), (100.0, 409.0)], hold=Hold(bridge_spacing_mm=200.0))
    assert found(made.judge()) == {}


@pytest.mark.parametrize("at", [0.0, 296.0, 304.0, 500.0])
def test_a_bridge_on_a_corner(bench, monkeypatch, at):
    put_bridges(monkeypatch, at, at + 250.0, at + 500.0, at + 750.0)
    verdict = bench(PLATE).judge()
    assert found(verdict)["bridge-on-corner"].severity is Severity.ERROR
    assert not verdict.proven


def test_a_bridge_on_a_radius_where_straights_were_free(bench, monkeypatch):
    # a curve of 400 mm radius closes the top: gentle, but the other three sides take all four
    bow = Contour([[0, 0, 0], [300, 0, 0], [300, 200, float(np.tan(np.arcsin(150 / 400) / 2.0))], [0, 200, 0]])
    # right-hand side to 500 mm, curve to 808 mm, then the left-hand side
    put_bridges(monkeypatch, 150.0, 400.0, 600.0, 900.0)
    hold = Hold(bridge_spacing_mm=400.0)
    verdict = bench(bow, hold=hold).judge()
    assert "bridge-on-radius" in found(verdict)
    assert found(verdict)["bridge-on-radius"].severity is Severity.WARNING
    # with bridges at most 300 mm apart the curve must take one
    assert found(bench(bow).judge()) == {}


def test_a_bridge_on_a_shown_edge_where_others_were_free(bench, monkeypatch):
    finishes = (Finish.SHOWN, Finish.HIDDEN, Finish.HIDDEN, Finish.HIDDEN)
    made = bench(PLATE, finishes=finishes, hold=Hold(bridge_spacing_mm=400.0))
    assert found(made.judge()) == {}
    put_bridges(monkeypatch, 150.0, 400.0, 650.0, 900.0)
    made = bench(PLATE, finishes=finishes, hold=Hold(bridge_spacing_mm=400.0))
    assert found(made.judge())["bridge-on-shown"].severity is Severity.WARNING


# --- what the bed holds by itself ---


@pytest.mark.parametrize("grip", [Grip.VACUUM, Grip.TAPE])
def test_a_large_panel_needs_no_bridges_on_vacuum_or_tape(bench, grip):
    made = bench(PLATE, hold=Hold(grip=grip))
    assert found(made.judge()) == {}
    # the same program under clamps lets the panel go; so it does where the area asked for is larger
    assert "part-released" in found(made.judge(hold=Hold(grip=Grip.CLAMPS)))
    assert "bridge-missing" in found(made.judge(hold=Hold(grip=Grip.SCREWS)))
    larger = Hold(grip=grip, vacuum_holds_above_mm2=60001.0, tape_holds_above_mm2=60001.0)
    assert "part-released" in found(made.judge(hold=larger))
    assert found(bench(PLATE, hold=larger).judge()) == {}


def test_a_small_panel_keeps_its_bridges_on_vacuum(bench):
    small = rectangle((0.0, 0.0), width_mm=150.0, height_mm=100.0)
    made = bench(small, hold=Hold(grip=Grip.VACUUM))
    assert found(made.judge()) == {}
    assert found(made.judge(hold=Hold(grip=Grip.CLAMPS))) == {}, "it has its bridges"


def test_a_bay_with_loose_waste_keeps_the_bridges_of_its_panel(bench, build_panel):
    mouth = [(0, 0), (400, 0), (400, 140), (240, 140), (240, 40), (40, 40), (40, 260), (240, 260), (240, 151),
             (400, 151), (400, 300), (0, 300)]  # fmt: skip
    (outer,) = round_corners(Region(outer=polygon(mouth)), radius_mm=5.0).region.contours
    made = bench(outer, hold=Hold(grip=Grip.VACUUM, bridge_spacing_mm=120.0))
    assert found(made.judge()) == {}
    assert found(made.judge(hold=Hold(bridge_spacing_mm=120.0))) == {}


def test_all_inside_a_panel_is_cut_before_it_comes_free(bench, build_panel, monkeypatch):
    panel = build_panel(PLATE, circle((60.0, 60.0), radius_mm=15.0))
    hold = Hold(grip=Grip.VACUUM)
    assert found(bench(panel, hold=hold).judge()) == {}
    order = plan_panels.order_stops
    monkeypatch.setattr(plan_panels, "order_stops", lambda stops, **how: order(stops, **how)[::-1])
    verdict = bench(panel, hold=hold).judge()
    assert set(found(verdict)) == {"cut-after-release"}
    # with bridges the order does not matter
    assert "cut-after-release" not in found(bench(panel).judge())


@pytest.mark.parametrize("grip", [Grip.VACUUM, Grip.TAPE])
def test_a_skin_is_cut_through_by_a_last_pass(bench, build_panel, grip):
    panel = build_panel(
        PLATE, circle((60.0, 60.0), radius_mm=15.0), rounded_rectangle(120.0, 50.0, width=80.0, height=90.0, radius=5.0)
    )
    hold = Hold(by=HoldKind.SKIN, grip=grip, skin_last_pass=True)
    made = bench(panel, hold=hold, cutters=("o1-3-up",))
    verdict = made.judge()
    assert found(verdict) == {}
    # without the last pass asked for, the skin must stay
    assert "skin-missing" in found(made.judge(hold=replace(hold, skin_last_pass=False)))
    # too small for the grip: the skin stays
    small = replace(hold, vacuum_holds_above_mm2=1e6, tape_holds_above_mm2=1e6)
    assert "skin-missing" in found(made.judge(hold=small))
    assert found(bench(panel, hold=small, cutters=("o1-3-up",)).judge()) == {}


def test_a_last_pass_off_the_wall_leaves_skin_on_it(bench, monkeypatch):
    def stray(path, **how):
        (region,) = offset_region(Region(outer=path), distance_mm=0.05)
        return last_pass.lay_last_pass(region.outer, **how)

    hold = Hold(by=HoldKind.SKIN, grip=Grip.VACUUM, skin_last_pass=True)
    assert found(bench(PLATE, hold=hold).judge()) == {}
    monkeypatch.setattr(lay_moves, "lay_last_pass", stray)
    finding = found(bench(PLATE, hold=hold).judge())["material-left"]
    assert finding.size_mm == pytest.approx(0.05, abs=0.002)
    assert finding.origin.feature == "outline"


# --- clamps ---

CLAMP = KeepOut(at_mm=(250.0, 50.0), size_mm=(60.0, 40.0), height_mm=25.0, name="clamp A")


def test_a_clamp_between_two_panels_is_travelled_over(bench, build_panel):
    panels = build_panel(PLATE, name="a"), build_panel(PLATE, name="b")
    rail = replace(CLAMP, at_mm=(450.0, 200.0), size_mm=(20.0, 400.0))
    at_mm = [(100.0, 100.0), (500.0, 100.0)]
    made = bench(*panels, at_mm=at_mm, keep_outs=[rail])
    assert found(made.judge()) == {}
    assert max(float(z) for z in re.findall(r"Z([0-9.]+)", made.text)) == 25.0 + 10.0
    # a program made without the clamp travels at 14 mm: the cutter goes through it
    low = bench(*panels, at_mm=at_mm)
    assert found(low.judge()) == {}
    finding = found(low.judge(keep_outs=(rail,)))["keep-out-touched"]
    assert finding.origin.line is not None and finding.severity is Severity.ERROR
    assert "clamp A" in finding.message
    # straight across: as deep as the tool is wide, and where the rail is as long it is the middle that counts
    assert low.text.splitlines()[finding.origin.line - 1].startswith(("G0", "X", "Y"))


@pytest.mark.parametrize(("gap", "touched"), [(5.9, True), (6.1, False)])
def test_a_clamp_beside_the_kerf_is_touched_by_the_cutter_s_disc(bench, gap, touched):
    # the roughing path lies 3.3 mm from the wall, its far edge 6.3; the finishing path's 6.0 mm; the clamp is lower
    # than the flutes, and stands beside the left edge where neither lead nor bridge is
    low = replace(CLAMP, at_mm=(100.0 - gap - 0.3 - 20.0, 130.0), size_mm=(40.0, 20.0), height_mm=6.0)
    verdict = bench(PLATE).judge(keep_outs=(low,))
    assert ("keep-out-touched" in found(verdict)) == touched
    if touched:
        assert found(verdict)["keep-out-touched"].size_mm == pytest.approx(0.1, abs=0.01)


def test_a_turned_clamp_reaches_as_far_as_its_corner(bench):
    # a square of 40 mm turned by 45 degrees reaches 28.28 mm to the side
    square = replace(CLAMP, size_mm=(40.0, 40.0), height_mm=6.0, turn_deg=45.0)
    reach = 20.0 * 2.0**0.5
    made = bench(PLATE)
    for spare, touched in ((-0.1, True), (0.1, False)):
        clamp = replace(square, at_mm=(100.0 - 6.3 - reach - spare, 150.0))
        assert ("keep-out-touched" in found(made.judge(keep_outs=(clamp,)))) == touched


def test_a_tall_clamp_is_touched_by_the_holder(bench, find_row):
    cutter = find_row("o1-6-up")
    # 15 mm from the path: cutter and shank pass, a holder of 25 mm radius does not
    made = bench(PLATE, keep_outs=[replace(CLAMP, at_mm=(10.0, 10.0), size_mm=(10.0, 10.0), height_mm=100.0)])
    for height, touched in ((cutter.stick_out_mm - 1.0, False), (cutter.stick_out_mm + 1.0, True)):
        clamp = replace(CLAMP, at_mm=(100.0 - 3.3 - 15.0 - 20.0, 150.0), size_mm=(40.0, 20.0), height_mm=height)
        assert ("keep-out-touched" in found(made.judge(keep_outs=(clamp,)))) == touched


@pytest.mark.parametrize("seed", range(6))
def test_no_planned_program_touches_a_clamp(bench, seed):
    rng = np.random.default_rng(seed)
    clamps = [
        KeepOut(
            at_mm=(250.0 + 260.0 * cos(a), 200.0 + 210.0 * sin(a)),
            size_mm=(float(rng.uniform(10, 60)), float(rng.uniform(10, 60))),
            height_mm=float(rng.uniform(5, 60)),
            turn_deg=float(rng.uniform(0, 90)),
            name=f"clamp {i}",
        )
        for i, a in enumerate(rng.uniform(0, 2 * pi, 4))
    ]
    try:
        made = bench(PLATE, keep_outs=clamps)
    except PlanRefused as refusal:
        assert {finding.code for finding in refusal.findings} <= {"clamp-in-path", "clamp-over-panel"}
        return
    assert found(made.judge()) == {}


def test_a_clamp_over_a_part_or_in_the_way_is_refused_by_name(bench, build_panel):
    panel = build_panel(PLATE, rounded_rectangle(60.0, 50.0, width=120.0, height=100.0, radius=5.0), name="shelf")
    over = replace(CLAMP, at_mm=(130.0, 130.0), size_mm=(20.0, 20.0))
    with pytest.raises(PlanRefused) as caught:
        bench(panel, keep_outs=[over], cutters=("o1-3-up",))
    (finding,) = caught.value.findings
    assert finding.code == "clamp-over-panel"
    assert "clamp A" in finding.message and finding.origin.panel == "shelf"
    beside = replace(CLAMP, at_mm=(100.0 - 9.0 - 10.0, 150.0), size_mm=(20.0, 20.0))
    with pytest.raises(PlanRefused) as caught:
        bench(panel, keep_outs=[beside], cutters=("o1-3-up",))
    (finding,) = caught.value.findings
    assert (finding.code, finding.origin.panel, finding.origin.feature) == ("clamp-in-path", "shelf", "outline")
    # 1.5 + 0.3 + 0.5 to the far side of path and lead, 1.5 for the cutter, 5 mm to keep: 9 mm is enough, 8 not
    assert finding.size_mm == pytest.approx(1.5 + 0.3 + 0.5 + find_reach(25.3) + 5.0 - 9.0, abs=0.01)
    # on the slug that stays in the cut-out, clear of its kerf, a clamp may stand
    inside = replace(CLAMP, at_mm=(220.0, 200.0), size_mm=(20.0, 20.0), height_mm=8.0)
    assert found(bench(panel, keep_outs=[inside], cutters=("o1-3-up",)).judge()) == {}


def find_reach(height_above_tip_mm):
    from cam.plan.keep_out import find_reach_mm  # noqa: PLC0415
    from cam.tables.read import find_cutter, read_tables  # noqa: PLC0415

    cutter = find_cutter(read_tables(), name="o1-3-up")
    return find_reach_mm(cutter, height_above_tip_mm=height_above_tip_mm)
