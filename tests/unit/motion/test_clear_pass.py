"""Clearing: nothing is left inside, nothing outside is touched, and the way between rings is safe."""

from itertools import pairwise
from math import cos, hypot, pi, sin, tan

import numpy as np
import pytest
import shapely

from cam.geometry.contour import Contour, Region, circle, polygon, rectangle
from cam.motion.clear_pass import lay_clearing
from cam.motion.lay_moves import find_centre_path
from cam.motion.moves import MoveKind, Purpose
from cam.plan.workingstep import Operation

QUARTER = 2.0**0.5 - 1.0


def rounded(points, radius=5.0):
    """A polygon, counter-clockwise, its corners rounded."""
    vertices = []
    points = np.asarray(points, dtype=float)
    for before, corner, after in zip(np.roll(points, 1, axis=0), points, np.roll(points, -1, axis=0), strict=True):
        a, b = (before - corner) / np.hypot(*(before - corner)), (after - corner) / np.hypot(*(after - corner))
        half = np.arccos(np.clip(a @ b, -1, 1)) / 2
        cut = radius / np.tan(half)
        turn = np.sign(a[1] * b[0] - a[0] * b[1])
        vertices += [[*(corner + a * cut), turn * np.tan((pi / 2 - half) / 2)], [*(corner + b * cut), 0.0]]
    return Contour(np.array(vertices))


def ellipse(a, b, *, arcs=32):
    at = [(a * cos(2 * pi * i / arcs), b * sin(2 * pi * i / arcs)) for i in range(arcs)]
    return Contour(np.array([[x, y, tan(pi / (2 * arcs))] for x, y in at]))


COMB = [
    (0, 0),
    (100, 0),
    (100, 50),
    (80, 50),
    (80, 20),
    (60, 20),
    (60, 50),
    (40, 50),
    (40, 20),
    (20, 20),
    (20, 50),
    (0, 50),
]
BELL = [
    (0, 0),
    (30, 0),
    (30, 10),
    (60, 10),
    (60, 0),
    (90, 0),
    (90, 30),
    (60, 30),
    (60, 20),
    (30, 20),
    (30, 30),
    (0, 30),
]
WALLS = {
    "rectangle": rounded([(0, 0), (60, 0), (60, 40), (0, 40)]),
    "square": rounded([(0, 0), (40, 0), (40, 40), (0, 40)]),
    "ell": rounded([(0, 0), (70, 0), (70, 20), (25, 20), (25, 60), (0, 60)]),
    "tee": rounded([(25, 0), (45, 0), (45, 40), (70, 40), (70, 60), (0, 60), (0, 40), (25, 40)]),
    "comb": rounded(COMB),
    "ellipse": ellipse(30.0, 18.0),
    "triangle": rounded([(0, 0), (60, 0), (20, 50)]),
    "sharp triangle": rounded([(0, 0), (90, 0), (10, 25)], radius=4.0),
    "barely wider than the cutter": rounded([(0, 0), (50, 0), (50, 10), (0, 10)], radius=4.9),
    "dumb-bell": rounded(BELL, radius=4.5),
    "disc": circle((20.0, 20.0), radius_mm=14.0),
}


def clear(make_step, wall, **changes):
    start = changes.pop("start_mm", tuple((wall.points_mm[1] + wall.points_mm[2 % len(wall)]) / 2))
    step = make_step(wall, Operation.CLEAR, start_mm=tuple(map(float, start)), **changes)
    slot = find_centre_path(step, reach_mm=step.cutter.radius_mm + step.allowance_mm)
    return step, lay_clearing(Region(outer=slot), step=step, air_mm=5.3, rapid_mm=14.8)


@pytest.mark.parametrize("name", WALLS)
def test_nothing_is_left_at_any_level(make_step, sweep, as_polygon, name):
    step, moves = clear(make_step, WALLS[name])
    within = shapely.buffer(as_polygon(WALLS[name]), -(step.cutter.radius_mm + step.allowance_mm), quad_segs=64)
    reachable = shapely.buffer(within, step.cutter.radius_mm, quad_segs=64)
    for height in step.pass_heights_mm:
        left = shapely.difference(reachable, sweep(moves, radius_mm=step.cutter.radius_mm, z_mm=height))
        # the polygons are within 0.004 mm of the discs and of the wall
        assert shapely.buffer(left, -0.004).is_empty, left.area


@pytest.mark.parametrize("name", WALLS)
def test_the_cutter_keeps_the_allowance_from_the_wall(make_step, walk, as_polygon, name):
    step, moves = clear(make_step, WALLS[name])
    edge = as_polygon(WALLS[name]).exterior
    for move, points in walk(moves):
        if points[:, 2].min() < 4.8:
            gap = shapely.distance(shapely.LineString(points[:, :2]), edge)
            assert gap >= step.cutter.radius_mm + step.allowance_mm - 0.002, (move.purpose, move.to_mm)


@pytest.mark.parametrize("name", WALLS)
def test_it_goes_down_by_ramps_and_never_rapidly_across(make_step, sweep, name):
    step, moves = clear(make_step, WALLS[name])
    for number, (before, move) in enumerate(pairwise(moves), start=1):
        flat = hypot(move.to_mm[0] - before.to_mm[0], move.to_mm[1] - before.to_mm[1])
        if move.kind is MoveKind.RAPID:
            assert flat == 0.0 or before.to_mm[2] == move.to_mm[2] == 14.8
            assert move.to_mm[2] in (5.3, 14.8)
            continue
        drop = before.to_mm[2] - move.to_mm[2]
        if flat == 0.0 and move.kind is MoveKind.LINE:
            # straight down only where an earlier move has been as deep
            cut = sweep(moves[:number], radius_mm=step.cutter.radius_mm, z_mm=move.to_mm[2])
            assert shapely.Point(before.to_mm[:2]).buffer(step.cutter.radius_mm - 0.01).difference(cut).area < 0.01
            continue
        along = (
            flat
            if move.centre_mm is None
            else abs(move.sweep_rad) * hypot(move.to_mm[0] - move.centre_mm[0], move.to_mm[1] - move.centre_mm[1])
        )
        assert drop <= along * tan(step.ramp_rad) + 1e-9
        if move.purpose is Purpose.LINK:
            assert drop == 0.0
    assert moves[-1].purpose is Purpose.RETRACT


def test_two_lobes_are_opened_each_by_a_helix(make_step):
    _, moves = clear(make_step, WALLS["dumb-bell"])
    helices = [move for move in moves if move.purpose is Purpose.ENTRY and move.centre_mm is not None]
    middles = {round(move.centre_mm[0] / 45.0) for move in helices}
    assert {0, 2} <= middles, "the lobes lie at x = 0 to 30 and 60 to 90"


def test_the_way_is_bounded_by_the_area(make_step, walk):
    # rings a stepover apart cover the area once: links, first slots and the last ring at the wall add a quarter at most
    step, moves = clear(make_step, rectangle((0.0, 0.0), width_mm=80.0, height_mm=80.0))
    level = step.pass_heights_mm[-1]
    length = sum(
        np.hypot(*np.diff(points[:, :2], axis=0).T).sum()
        for move, points in walk(moves)
        if move.kind is not MoveKind.RAPID and points[:, 2].max() <= level + 1e-9
    )
    assert 73.4**2 / step.stepover_mm <= length <= 1.25 * 80.0**2 / step.stepover_mm


def test_clearing_is_the_same_each_time(make_step):
    assert clear(make_step, WALLS["tee"])[1] == clear(make_step, WALLS["tee"])[1]


def test_a_pointed_region_of_straight_lines(make_step, sweep):
    # a wedge as sharp as no panel has it: rings whose corners lie four stepovers apart still leave nothing
    region = Region(outer=polygon([(0.0, 0.0), (80.0, 0.0), (80.0, 20.0)]))
    step = make_step(region.outer, Operation.CLEAR, start_mm=(40.0, 0.0))
    moves = lay_clearing(region, step=step, air_mm=5.3, rapid_mm=14.8)
    left = shapely.Polygon(region.outer.points_mm) - sweep(moves, radius_mm=3.0, z_mm=step.floor_mm)
    assert shapely.buffer(left, -0.003).is_empty
