"""Roughing and finishing round a wall: what is kept, what is cut, how deep, how it enters, what stays as bridges."""

from itertools import pairwise
from math import hypot, pi, radians, tan

import numpy as np
import pytest
import shapely

from cam.errors import PlanRefused
from cam.geometry.along import Piece
from cam.geometry.contour import Contour, circle, polygon, rectangle
from cam.motion.contour_pass import turns_counter_clockwise
from cam.motion.follow import Bite, find_centre_feed
from cam.motion.lay_moves import find_centre_path, lay_moves
from cam.motion.moves import MoveKind, Purpose
from cam.plan.workingstep import Operation
from cam.tables.job import Hold, HoldKind
from cam.tables.rows import Direction

QUARTER = 2.0**0.5 - 1.0
TOP = 4.8
NOTCH = Contour(
    [
        [0, 0, 0],
        [200, 0, 0],
        [200, 120, 0],
        [120, 120, 0],
        [120, 65, -QUARTER],
        [115, 60, 0],
        [85, 60, -QUARTER],
        [80, 65, 0],
        [80, 120, QUARTER],
        [60, 140, 0],
        [0, 140, 0],
    ]
)
OUTLINES = {
    "rectangle": rectangle((0, 0), width_mm=200, height_mm=120),
    "notch": NOTCH,
    "bow": Contour([[0, 0, 0], [220, 0, 0], [220, 110, 0.15], [0, 110, 0]]),
    "hollow": Contour([[0, 0, 0], [220, 0, 0], [220, 110, -0.15], [0, 110, 0]]),
    "slant": polygon([(0, 0), (220, 0), (150, 120), (0, 120)]),
}  # fmt: skip
SIDES = [(45, 40), (135, 40), (140, 45), (140, 95), (135, 100), (45, 100), (40, 95), (40, 45)]
BOX = Contour(np.array([[x, y, QUARTER * (i % 2)] for i, (x, y) in enumerate(SIDES)]))


def cut(plan, build_panel, outer, *inside, operation, **options):
    options = {"cutters": ("o1-6-up",), **options}
    plan_ = plan(build_panel(outer, *inside), **options)
    step_moves = next(s for s in lay_moves(plan_) if s.step.operation is operation)
    return step_moves.step, list(step_moves.moves)


def cases():
    for name, outer in OUTLINES.items():
        yield pytest.param((outer, (), Operation.OUTSIDE), id=name)
    yield pytest.param((OUTLINES["rectangle"], (BOX,), Operation.INSIDE), id="box cut-out")


@pytest.fixture(params=list(cases()))
def case(request):
    return request.param


@pytest.fixture(params=[HoldKind.BRIDGES, HoldKind.SKIN], ids=str)
def made(request, case, plan, build_panel):
    outer, inside, operation = case
    return cut(plan, build_panel, outer, *inside, operation=operation, hold=Hold(by=request.param))


def kept_polygon(step, as_polygon):
    wall = as_polygon(step.wall)
    return wall if step.operation is Operation.OUTSIDE else shapely.box(-500, -500, 3000, 2000) - wall


def test_the_centre_keeps_its_distance_from_the_wall(made, walk, as_polygon):
    step, moves = made
    kept = kept_polygon(step, as_polygon)
    for move, points in walk(moves):
        if points[:, 2].min() >= TOP:
            continue
        gap = shapely.distance(shapely.LineString(points[:, :2]), kept)
        rough = move.purpose in (Purpose.ROUGH, Purpose.ENTRY)
        assert gap >= 3.0 + (0.3 if rough else 0.0) - 0.0005, (move.purpose, move.to_mm)


def test_the_floor_is_reached_all_round_but_at_bridges(made, sweep, as_polygon):
    step, moves = made
    wall = as_polygon(step.wall)
    if step.operation is Operation.OUTSIDE:
        kerf = shapely.buffer(wall, 6.3, quad_segs=64) - wall
    else:
        kerf = wall - shapely.buffer(wall, -6.3, quad_segs=64)
    left = shapely.buffer(kerf - sweep(moves, radius_mm=3.0, z_mm=step.floor_mm), -0.005)
    pieces = [piece for piece in shapely.get_parts(left) if not piece.is_empty]
    # sharp corners of the waste between two turned kerfs may keep a tip that the disc does not reach
    pieces = [piece for piece in pieces if shapely.distance(piece, wall) < 1.0]
    assert len(pieces) == len(step.bridges)
    for bridge in step.bridges:
        assert any(shapely.distance(piece, shapely.Point(bridge.x_mm, bridge.y_mm)) < 0.1 for piece in pieces)


def test_bridges_are_as_long_and_as_high_as_asked(made, walk, as_polygon):
    step, moves = made
    hold = Hold()
    lines = [
        shapely.LineString(points[:, :2])
        for move, points in walk(moves)
        if move.kind is not MoveKind.RAPID and points[:, 2].max() < hold.bridge_height_mm - 1e-6
    ]
    wall = as_polygon(step.wall)
    if not step.bridges:
        assert step.floor_mm == Hold().skin_mm
        return
    discs = shapely.unary_union([shapely.buffer(line, 3.0, quad_segs=64) for line in lines])
    side = 1.0 if step.operation is Operation.OUTSIDE else -1.0
    middle = shapely.buffer(wall, side * 3.0, quad_segs=64).boundary
    necks = [part for part in shapely.get_parts(shapely.line_merge(middle - discs)) if part.length > 0.1]
    # full height over the length, and on down the flanks to where the cutter is off the floor
    foot = hold.bridge_length_mm + 2 * 1.1 / tan(step.lift.flank_rad)
    assert len(necks) == len(step.bridges)
    for neck in necks:
        assert hold.bridge_length_mm - 0.01 <= neck.length <= foot + 0.3


def test_entries_are_ramps_and_nothing_feeds_straight_down(made):
    step, moves = made
    for before, move in pairwise(moves):
        drop = before.to_mm[2] - move.to_mm[2]
        if move.kind is MoveKind.RAPID:
            assert drop <= 0.0 or move.to_mm[2] >= TOP
            continue
        flat = hypot(move.to_mm[0] - before.to_mm[0], move.to_mm[1] - before.to_mm[1])
        if move.kind is MoveKind.ARC:
            flat = abs(move.sweep_rad) * hypot(move.to_mm[0] - move.centre_mm[0], move.to_mm[1] - move.centre_mm[1])
        slope = step.ramp_rad if move.purpose is Purpose.ENTRY and not step.lift else radians(10.0)
        assert drop <= flat * tan(slope) * (1 + 1e-9) + 1e-12, move
    solid = [
        (before, move)
        for before, move in pairwise(moves[: next(i for i, m in enumerate(moves) if m.purpose is Purpose.RETRACT)])
        if move.purpose is Purpose.ENTRY
    ]
    for before, move in solid:
        assert (
            before.to_mm[2] - move.to_mm[2]
            <= hypot(*(np.subtract(move.to_mm[:2], before.to_mm[:2]))) * pi / 2 * tan(step.ramp_rad) + 1e-9
        )


def test_path_is_continuous_and_rapids_stay_above(made):
    _, moves = made
    for before, move in pairwise(moves):
        if move.kind is MoveKind.RAPID and move.to_mm[:2] != before.to_mm[:2]:
            assert before.to_mm[2] == move.to_mm[2] > TOP + 5.0
    assert moves[0].to_mm[2] == moves[-1].to_mm[2] > TOP + 5.0


def test_finishing_is_one_lap_and_an_overlap_in_few_blocks(made):
    step, moves = made
    path = find_centre_path(step, reach_mm=3.0)
    finishing = [move for move in moves if move.purpose is Purpose.FINISH]
    assert len(finishing) <= 1.5 * len(path) + len(step.bridges)
    assert {move.to_mm[2] for move in finishing} <= {step.floor_mm}


@pytest.mark.parametrize("direction", list(Direction))
@pytest.mark.parametrize("operation", [Operation.OUTSIDE, Operation.INSIDE])
def test_direction_of_a_right_hand_cutter(plan, build_panel, find_row, operation, direction):
    # climb: the part to the right of the travel (common practice); clockwise round an outline
    material = find_row("cast-acrylic")
    material = type(material)(
        **{name: getattr(material, name) for name in material.__slots__} | {"finish_direction": direction}
    )
    step, moves = cut(plan, build_panel, OUTLINES["rectangle"], BOX, operation=operation, material=material)
    assert turns_counter_clockwise(operation, direction=direction) == (
        (direction is Direction.CLIMB) == (operation is Operation.INSIDE)
    )
    finishing = [move.to_mm[:2] for move in moves if move.purpose in (Purpose.FINISH, Purpose.BRIDGE)]
    lap = finishing[-len(find_centre_path(step, reach_mm=3.0)) * 4 :]
    area = sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(lap, lap[1:] + lap[:1], strict=True)) / 2.0
    assert (area > 0.0) == turns_counter_clockwise(operation, direction=direction)


def test_a_cutter_that_just_fits_its_corner(plan, build_panel, walk, as_polygon):
    # radius 4 in corners of radius 4: the path's corner arcs vanish, the roughing's corners are square
    sides = [(44, 40), (136, 40), (140, 44), (140, 96), (136, 100), (44, 100), (40, 96), (40, 44)]
    wall = Contour(np.array([[x, y, QUARTER * (i % 2)] for i, (x, y) in enumerate(sides)]))
    step, moves = cut(plan, build_panel, OUTLINES["rectangle"], wall, operation=Operation.INSIDE, cutters=("o1-8-up",))
    edge = as_polygon(step.wall).exterior
    for move, points in walk(moves):
        if points[:, 2].min() < TOP:
            assert shapely.distance(shapely.LineString(points[:, :2]), edge) >= 4.0 - 0.0005, move


def test_a_contour_shorter_than_its_own_ramp_is_cut_or_refused(make_step):
    from cam.motion.lay_moves import StepMoves  # noqa: F401, PLC0415 - the module under test
    from cam.plan.workingstep import Plan  # noqa: PLC0415

    for side, fits in ((6.62, False), (6.7, False), (8.0, True), (10.0, True)):
        wall = rectangle((0.0, 0.0), width_mm=side, height_mm=side)
        step = make_step(wall, Operation.CLEAR, start_mm=(side / 2, 0.0))
        plan_ = Plan(workingsteps=(step,), rapid_mm=14.8, air_mm=5.3, top_mm=TOP)
        if fits:
            assert len(lay_moves(plan_)[0].moves) < 600
            continue
        with pytest.raises(PlanRefused) as caught:
            lay_moves(plan_)
        assert caught.value.findings[0].code == "cutout-too-small"
        assert caught.value.findings[0].origin.feature == "feature 1"


def test_a_neck_that_the_cutter_does_not_pass(make_step):
    bell = polygon(
        [
            (0, 0),
            (30, 0),
            (30, 12),
            (60, 12),
            (60, 0),
            (90, 0),
            (90, 30),
            (60, 30),
            (60, 18),
            (30, 18),
            (30, 30),
            (0, 30),
        ]
    )
    with pytest.raises(PlanRefused) as caught:
        find_centre_path(make_step(bell, Operation.INSIDE), reach_mm=3.3)
    assert caught.value.findings[0].code == "neck-too-narrow"
    assert "2 parts" in caught.value.findings[0].message


def test_a_circle_as_an_outline_under_a_skin(plan, build_panel):
    step, moves = cut(
        plan, build_panel, circle((60, 60), radius_mm=60), operation=Operation.OUTSIDE, hold=Hold(by=HoldKind.SKIN)
    )
    assert step.floor_mm == 0.4
    assert min(move.to_mm[2] for move in moves) == 0.4


def test_beside_a_groove_the_next_edge_holds_the_feed(make_step):
    # an inside corner of radius p: the wall's side is gone up to 2 mm, and the next edge, 1 mm from the path, cuts
    corner = Piece(
        start_mm=(2.0, 0.0), end_mm=(0.0, 2.0), centre_mm=(0.0, 0.0), sweep_rad=pi / 2, from_mm=0.0, to_mm=pi, segment=0
    )
    options = {"feed_mm_per_min": 1000.0, "reach_mm": 3.0, "waste_left": True, "bite": Bite.SLOT}
    assert find_centre_feed(corner, max_feed_mm_per_min=9000.0, **options) == pytest.approx(1000.0 * 2.0 / 5.0)
    grooved = find_centre_feed(corner, max_feed_mm_per_min=9000.0, groove_mm=2.0, **options)
    assert grooved == pytest.approx(1000.0 * 2.0 / 3.0)
    # below the groove the wall's own edge bites again: never above the table's highest there
    capped = find_centre_feed(corner, max_feed_mm_per_min=1200.0, groove_mm=2.0, **options)
    assert capped == pytest.approx(1200.0 * 2.0 / 5.0)
