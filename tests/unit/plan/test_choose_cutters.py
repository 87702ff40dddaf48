"""Which cutter takes what: the fewest that fit, the reason, and why none does."""

from dataclasses import replace
from math import inf

import pytest

from cam.errors import PlanRefused, Refusal
from cam.geometry.contour import Contour, circle, rectangle
from cam.panel.panel import Feature, Finish, Role
from cam.plan.choose_cutters import Task, choose_cutters, find_min_corner_mm, find_obstacle
from cam.tables.job import Heights, Hold, HoldKind
from cam.tables.rows import CutterKind

QUARTER = 2.0**0.5 - 1.0
THIN = ("o1-2-up",)
SQUARE = rectangle((50.0, 40.0), width_mm=40.0, height_mm=40.0)


def task(key=0, *, diameter_mm=None, corner_mm=inf, role=Role.CUTOUT):
    role = Role.HOLE if diameter_mm else role
    feature = Feature(index=1, role=role, label=f"{role} {key}", finish=Finish.HIDDEN, diameter_mm=diameter_mm)
    return Task(key=key, panel="plate", feature=feature, min_corner_mm=corner_mm)


@pytest.fixture
def choose(find_row):
    def do(*tasks, cutters, named=True, depth_mm=5.0, thickness_mm=4.0):
        rows = tuple(find_row(c) if isinstance(c, str) else c for c in cutters)
        return choose_cutters(
            tasks,
            cutters=rows,
            named=named,
            depth_mm=depth_mm,
            thickness_mm=thickness_mm,
            machine=find_row("workshop-gantry"),
        )

    return do


@pytest.mark.parametrize(
    ("changes", "of", "code"),
    [
        ({"kind": CutterKind.BALL}, task(), "wrong-cutter-kind"),
        ({"edge_length_mm": 4.9}, task(), "flutes-too-short"),
        ({"shank_mm": 20.0}, task(), "shank-too-large"),
        ({}, task(diameter_mm=6.89), "hole-too-small"),
        ({}, task(diameter_mm=6.9), None),
        ({}, task(corner_mm=2.99), "cutter-too-large"),
        ({}, task(corner_mm=3.0), None),
        ({"max_ramp_deg": 0.0}, task(), "no-ramp"),
    ],
)
def test_obstacles(make_cutter, find_row, changes, of, code):
    found = find_obstacle(make_cutter(**changes), task=of, depth_mm=5.0, machine=find_row("workshop-gantry"))
    assert (found.code if found else None) == code
    if found:
        assert found.origin.panel == "plate" and found.origin.feature == of.feature.label
        assert found.remedy


def test_least_re_entrant_radius_is_on_the_material_s_left():
    # a counter-clockwise outline: its own rounded corners bulge outwards, a notch's turn inwards
    notch = Contour(
        [
            [0, 0, 0],
            [50, 0, 0],
            [50, 30, 0],
            [30, 30, 0],
            [30, 18, -QUARTER],
            [27, 15, 0],
            [20, 15, 0],
            [20, 30, QUARTER],
            [10, 40, 0],
            [0, 40, 0],
        ]
    )
    assert find_min_corner_mm(notch) == pytest.approx(3.0)
    assert find_min_corner_mm(rectangle((0, 0), width_mm=5, height_mm=5)) == inf


def test_the_first_named_cutter_that_takes_all(choose):
    chosen = choose(task(0), task(1, corner_mm=5.0), cutters=["o1-6-up", "o1-4-up"])
    assert {cutter.name for cutter in chosen.cutter.values()} == {"o1-6-up"}


def test_one_cutter_is_fewer_than_two(choose):
    # the smaller one does both, so the larger one stays in its drawer
    chosen = choose(task(0), task(1, diameter_mm=5.0), cutters=["o1-6-up", "o1-4-up"])
    assert [chosen.cutter[key].name for key in (0, 1)] == ["o1-4-up", "o1-4-up"]


def test_the_outline_keeps_its_cutter_where_a_hole_needs_a_smaller_one(choose):
    outline, box = task(0, role=Role.OUTLINE), task(1)
    small = task(2, diameter_mm=5.0)
    chosen = choose(outline, box, small, cutters=["o1-6-up", "o1-4-up"])
    assert [chosen.cutter[key].name for key in (0, 1, 2)] == ["o1-6-up", "o1-6-up", "o1-4-up"]
    assert chosen.reason[0] == "cutter o1-6-up: the job's first cutter that fits"
    assert chosen.reason[2] == "cutter o1-4-up: o1-6-up does not fit hole 2"


def test_one_small_cutter_serves_all_that_need_one(choose):
    holes = [task(key, diameter_mm=d) for key, d in ((1, 5.0), (2, 4.0), (3, 3.5))]
    chosen = choose(task(0, role=Role.OUTLINE), *holes, cutters=["o1-6-up", "o1-4-up", "o1-3-up"])
    assert [chosen.cutter[key].name for key in range(4)] == ["o1-6-up", "o1-3-up", "o1-3-up", "o1-3-up"]


def test_outlines_share_the_fewest_cutters(choose):
    chosen = choose(
        task(0, role=Role.OUTLINE), task(1, role=Role.OUTLINE, corner_mm=2.0), cutters=["o1-6-up", "o1-4-up"]
    )
    assert {chosen.cutter[key].name for key in range(2)} == {"o1-4-up"}


def test_unnamed_cutters_keep_a_share_of_the_corner(choose, tables):
    # 0.9 x 3.2 = 2.88: not the 6 mm cutter, which would stop in the corner
    flat = [cutter for cutter in tables.cutters if cutter.kind is CutterKind.FLAT and cutter.flutes == 1]
    assert choose(task(corner_mm=3.2), cutters=flat, named=False).cutter[0].diameter_mm == 5.0
    assert choose(task(corner_mm=3.34), cutters=flat, named=False).cutter[0].diameter_mm == 6.0


def test_too_many_cutters(choose, make_cutter):
    holes = [task(key, diameter_mm=d) for key, d in enumerate([4.0, 8.0, 16.0, 32.0])]
    picky = [
        replace(make_cutter(name=f"c{i}", tool=i + 1, diameter_mm=d), max_ramp_deg=10.0)
        for i, d in enumerate([3.4, 3.3])
    ]
    assert choose(*holes, cutters=picky).cutter[0].name == "c0"
    corners = [task(0, diameter_mm=3.9), task(1, corner_mm=1.0)]
    with pytest.raises(PlanRefused):
        choose(*corners, cutters=picky)


@pytest.mark.parametrize(
    ("inside", "options", "code", "feature"),
    [
        (circle((100.0, 60.0), radius_mm=1.0), {"cutters": ()}, "hole-too-small", "hole 1"),
        (circle((100.0, 60.0), radius_mm=3.0), {}, "hole-too-small", "hole 1"),
        (SQUARE, {"sheet": "cast-12-3050x2030", "cutters": THIN}, "flutes-too-short", None),
        (circle((100.0, 60.0), radius_mm=20.0), {"cutters": ("no-such",)}, None, None),
    ],
)  # fmt: skip
def test_a_plan_without_a_cutter_names_the_feature(build_panel, plan, tables, inside, options, code, feature):
    if code is None:
        with pytest.raises(KeyError):
            plan(build_panel(rectangle((0, 0), width_mm=200, height_mm=120), inside, name="plate"), **options)
        return
    with pytest.raises(Refusal) as caught:
        plan(build_panel(rectangle((0, 0), width_mm=200, height_mm=120), inside, name="plate"), **options)
    first = caught.value.findings[0]
    assert first.code == code
    if feature:
        assert (first.origin.panel, first.origin.feature) == ("plate", feature)


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ({"heights": Heights(clearance_mm=0.4)}, "clearance-too-low"),
        ({"hold": Hold(bridge_height_mm=3.5)}, "hold-too-high"),
        ({"hold": Hold(by=HoldKind.SKIN, skin_mm=3.3)}, "hold-too-high"),
    ],
)
def test_heights_that_make_no_sense_are_refused(build_panel, plan, options, code):
    # a 4 mm sheet may be as thin as 3.2 mm (ISO 7823-1): what holds must stay below that
    with pytest.raises(PlanRefused) as caught:
        plan(build_panel(rectangle((0, 0), width_mm=200, height_mm=120)), **options)
    assert [finding.code for finding in caught.value.findings] == [code]


def test_a_cutter_that_may_plunge_still_slopes_its_bridges(build_panel, plan, find_row):
    steep = replace(find_row("o1-6-up"), max_ramp_deg=90.0)
    (step,) = plan(build_panel(rectangle((0, 0), width_mm=200, height_mm=120)), cutters=(steep,)).workingsteps
    assert 0.0 < step.lift.flank_rad <= 0.7854
