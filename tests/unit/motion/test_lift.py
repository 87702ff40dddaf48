"""Lifts over bridges on curves, and the last pass through a skin."""

from dataclasses import replace
from itertools import pairwise
from math import asin, hypot, pi, radians, tan

import numpy as np
import pytest
import shapely

from cam.geometry.along import lay_ruler
from cam.geometry.contour import circle, polygon, rectangle
from cam.motion.contour_pass import find_half_top_mm
from cam.motion.lay_moves import lay_moves
from cam.motion.moves import MoveKind, Purpose
from cam.plan.workingstep import Operation
from cam.tables.job import Grip, Hold, HoldKind


@pytest.mark.parametrize("radius", [15.0, 30.0, 200.0])
def test_half_a_top_on_an_arc_has_the_closed_form(radius):
    # a chord of 2 h spans the arc 2 p asin(h / p)
    ruler = lay_ruler(circle((0.0, 0.0), radius_mm=radius))
    for at in (0.0, 0.3 * radius, pi * radius - 1.0):
        assert find_half_top_mm(ruler, at_mm=at, half_chord_mm=7.0) == pytest.approx(
            radius * asin(7.0 / radius), abs=1e-8
        )


def test_half_a_top_on_a_straight_is_half_the_chord():
    ruler = lay_ruler(rectangle((0.0, 0.0), width_mm=100.0, height_mm=50.0))
    assert find_half_top_mm(ruler, at_mm=40.0, half_chord_mm=7.0) == 7.0


def test_half_a_top_over_a_kink_is_longer():
    # two legs at an angle of 2 a: the chord between points s away from the kink is 2 s sin(a)
    ruler = lay_ruler(polygon([(0.0, 0.0), (100.0, 10.0), (200.0, 0.0), (200.0, 100.0), (0.0, 100.0)]))
    half_angle = pi / 2.0 - np.arctan2(10.0, 100.0)
    wanted = 7.0 / np.sin(half_angle)
    assert find_half_top_mm(ruler, at_mm=hypot(100, 10), half_chord_mm=7.0) == pytest.approx(wanted, abs=1e-8)


@pytest.mark.parametrize("radius", [22.0, 60.0])
@pytest.mark.parametrize("inside", [False, True])
def test_a_bridge_on_a_curve_is_as_long_straight_across_as_asked(build_panel, plan, walk, radius, inside):
    radius = radius + 20.0 if inside else radius
    round_ = circle((100.0, 100.0), radius_mm=radius)
    panel = (
        build_panel(rectangle((0.0, 0.0), width_mm=200.0, height_mm=200.0), round_) if inside else build_panel(round_)
    )
    hold = Hold(bridge_height_mm=0.8, bridge_length_mm=8.0)
    steps = lay_moves(plan(panel, hold=hold))
    step, moves = next((s.step, s.moves) for s in steps if (s.step.operation is Operation.INSIDE) == inside)
    assert len(step.bridges) >= 4
    lines = [
        shapely.LineString(points[:, :2])
        for move, points in walk(list(moves))
        if move.kind is not MoveKind.RAPID
        and points[:, 2].max() <= hold.bridge_height_mm + 1e-9
        and points[:, 2].min() < hold.bridge_height_mm - 1e-6
    ]
    low = shapely.unary_union([shapely.buffer(line, 3.0, quad_segs=64) for line in lines])
    feet = [(bridge.x_mm, bridge.y_mm) for bridge in step.bridges]
    for x, y in feet:
        # what no pass below the bridges' height took, round the foot: its narrowest width is the length asked
        around = shapely.Point(x, y).buffer(9.0)
        removed = [p for p in shapely.get_parts(around.intersection(low)) if p.area > 1.0]
        assert len(removed) == 2
        assert shapely.distance(*removed) == pytest.approx(8.0, abs=0.02)


def skin_steps(build_panel, plan, **changes):
    hold = Hold(by=HoldKind.SKIN, grip=Grip.VACUUM, skin_last_pass=True, **changes)
    panel = build_panel(rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0))
    return lay_moves(plan(panel, hold=hold))


def test_the_last_pass_goes_round_where_the_finishing_pass_went(build_panel, plan):
    (made,) = skin_steps(build_panel, plan)
    step, moves = made.step, made.moves
    assert step.last is not None and step.floor_mm == 0.4
    low = [move for move in moves if move.to_mm[2] < 0.4 - 1e-9]
    assert {round(move.to_mm[2], 6) for move in low if move.purpose is Purpose.FINISH} == {-0.3}
    assert min(move.to_mm[2] for move in moves) == pytest.approx(-0.3)
    deep = [move.to_mm[:2] for move in low if move.purpose is Purpose.FINISH and move.kind is MoveKind.ARC]
    finishing = [
        m.to_mm[:2] for m in moves if m.purpose is Purpose.FINISH and m.to_mm[2] == 0.4 and m.kind is MoveKind.ARC
    ]
    assert len(deep) == len(finishing) == 4
    assert {tuple(np.round(p, 6)) for p in deep} == {tuple(np.round(p, 6)) for p in finishing}
    # it enters by a ramp, never straight down
    for before, move in pairwise(moves):
        drop = before.to_mm[2] - move.to_mm[2]
        if move.kind is MoveKind.LINE and drop > 0.0:
            run = hypot(move.to_mm[0] - before.to_mm[0], move.to_mm[1] - before.to_mm[1])
            assert drop <= run * tan(radians(10.0)) + 1e-9


def test_a_small_panel_keeps_its_skin(build_panel, plan):
    (made,) = skin_steps(build_panel, plan, vacuum_holds_above_mm2=60001.0)
    assert made.step.last is None
    assert min(move.to_mm[2] for move in made.moves) == 0.4


def test_the_last_pass_is_resolved_for_its_own_depth(build_panel, plan):
    (made,) = skin_steps(build_panel, plan)
    assert made.step.last.cut.depth_mm == pytest.approx(0.7)
    assert made.step.last.cut.spindle_rpm == made.step.rough.spindle_rpm
    assert replace(made.step, last=None) != made.step
