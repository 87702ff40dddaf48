"""Bores: one tangent everywhere, all of the disc cleared, nothing outside it, no steep way down."""

from itertools import pairwise
from math import hypot, pi, tan

import numpy as np
import pytest
import shapely

from cam.geometry.contour import circle
from cam.motion.bore_pass import CORE_SHARE, lay_bore
from cam.motion.moves import MoveKind, Purpose
from cam.plan.workingstep import Operation

CENTRE = (120.0, 80.0)
# from the least that may be bored, 1.15 x 6 mm, by way of one and two stepovers to just under 2,000 mm2 of slug
DIAMETERS = [6.9, 7.0, 7.6, 7.61, 8.0, 9.0, 10.0, 12.0, 14.5, 20.0, 21.3, 35.0, 42.0, 60.0]


@pytest.fixture(params=DIAMETERS)
def bored(request, make_step):
    step = make_step(circle(CENTRE, radius_mm=request.param / 2.0), Operation.BORE, start_mm=CENTRE)
    return request.param, step, lay_bore(step, air_mm=5.3, rapid_mm=14.8)


def feeds(moves):
    return [(before, move) for before, move in pairwise(moves) if move.kind is not MoveKind.RAPID]


def test_whole_disc_is_cleared(bored, sweep):
    diameter, step, moves = bored
    disc = shapely.buffer(shapely.Point(CENTRE), diameter / 2.0, quad_segs=256)
    left = shapely.difference(disc, sweep(moves, radius_mm=3.0, z_mm=step.floor_mm))
    assert shapely.buffer(left, -0.003).is_empty


def test_nothing_reaches_beyond_the_hole(bored, walk):
    diameter, step, moves = bored
    for move, points in walk(moves):
        reach = np.hypot(*(points[:, :2] - CENTRE).T).max()
        limit = diameter / 2.0 - 3.0
        if move.purpose in (Purpose.ENTRY, Purpose.ROUGH):
            limit -= step.allowance_mm if limit - step.allowance_mm >= 0.2 * 3.0 else 0.0
        assert reach <= limit + 1e-9, move


def test_path_has_one_tangent_while_it_cuts(bored, find_headings):
    _, _, moves = bored
    for (a, b), (_, c) in pairwise(feeds(moves)):
        if MoveKind.LINE not in (b.kind, c.kind):
            out, in_ = find_headings(a.to_mm, b)[1], find_headings(b.to_mm, c)[0]
            assert out == pytest.approx(in_, abs=1e-9), (b, c)


def test_it_goes_down_no_steeper_than_the_ramp_and_ends_each_pass_on_a_level_turn(bored):
    _, step, moves = bored
    for before, move in feeds(moves):
        drop = before.to_mm[2] - move.to_mm[2]
        if drop > 0.0:
            assert move.kind is MoveKind.ARC
            radius = hypot(move.to_mm[0] - move.centre_mm[0], move.to_mm[1] - move.centre_mm[1])
            assert drop <= abs(move.sweep_rad) * radius * tan(step.ramp_rad) * (1 + 1e-9)
    for height in step.pass_heights_mm:
        level = [m for b, m in feeds(moves) if b.to_mm[2] == m.to_mm[2] == height and m.purpose is Purpose.ROUGH]
        assert sum(abs(move.sweep_rad) for move in level) >= 2 * pi - 1e-9


def test_turns_grow_by_at_most_the_stepover_and_leave_no_core(bored):
    _, step, moves = bored
    helix = [m for _, m in feeds(moves) if m.purpose is Purpose.ENTRY]
    assert hypot(helix[0].to_mm[0] - CENTRE[0], helix[0].to_mm[1] - CENTRE[1]) <= CORE_SHARE * 3.0 + 1e-9
    rough = [m for b, m in feeds(moves) if m.purpose is Purpose.ROUGH and m.to_mm[2] == step.floor_mm]
    reach = [hypot(m.to_mm[0] - CENTRE[0], m.to_mm[1] - CENTRE[1]) for m in rough]
    for inner, outer in zip(reach, reach[2:], strict=False):
        assert -1e-9 <= outer - inner <= step.stepover_mm + 1e-9


def test_blocks_are_few(bored):
    # a helix of a hair's radius would take thousands of turns
    diameter, _, moves = bored
    assert len(moves) < 350, diameter


def test_finishing_goes_round_once_and_a_little_over_at_full_depth(bored):
    diameter, step, moves = bored
    circle_ = [m for _, m in feeds(moves) if m.purpose is Purpose.FINISH]
    assert sum(abs(m.sweep_rad) for m in circle_) == pytest.approx(2 * pi + 0.2)
    assert {m.to_mm[2] for m in circle_} == {step.floor_mm}
    for move in circle_:
        assert hypot(move.to_mm[0] - CENTRE[0], move.to_mm[1] - CENTRE[1]) == pytest.approx(diameter / 2.0 - 3.0)


def test_rapids_stay_above_the_sheet(bored):
    _, _, moves = bored
    for before, move in pairwise(moves):
        if move.kind is MoveKind.RAPID:
            assert move.to_mm[2] in (5.3, 14.8)
            assert move.to_mm[:2] == before.to_mm[:2]


@pytest.mark.parametrize("cutter", ["o1-2-up", "o1-4-up", "o1-8-up"])
def test_just_over_the_least_hole(make_step, find_row, cutter):
    diameter = find_row(cutter).diameter_mm
    for share in (1.15, 1.152, 1.2):
        wall = circle(CENTRE, radius_mm=share * diameter / 2.0)
        step = make_step(wall, Operation.BORE, cutter=cutter, top_mm=3.7, start_mm=CENTRE)
        assert len(lay_bore(step, air_mm=4.2, rapid_mm=14.8)) < 400


@pytest.mark.parametrize("cutter", ["o1-2-up", "o1-3-up", "o1-4-up", "o1-6-up"])
def test_the_finishing_bite_is_narrower_than_half_the_cutter(make_step, find_row, walk, cutter):
    # measured by points on the cutter's edge: those outside all that roughing swept
    radius = find_row(cutter).radius_mm
    around = np.linspace(-pi / 2, pi / 2, 181)
    for share in np.arange(1.16, 2.4, 0.04).tolist():
        wall = circle(CENTRE, radius_mm=share * radius)
        step = make_step(wall, Operation.BORE, cutter=cutter, top_mm=3.7, start_mm=CENTRE)
        moves = lay_bore(step, air_mm=4.2, rapid_mm=14.8)
        rough = max(hypot(m.to_mm[0] - CENTRE[0], m.to_mm[1] - CENTRE[1]) for m in moves if m.purpose is Purpose.ROUGH)
        cutting = [(m, p) for m, p in walk(moves) if m.purpose in (Purpose.FINISH, Purpose.LEAD)]
        first = next(i for i, (m, _) in enumerate(cutting) if m.purpose is Purpose.FINISH)
        for _, points in cutting[: first + 1]:
            along = np.diff(points[:, :2], axis=0)
            heading = np.arctan2(along[:, 1], along[:, 0])
            edge = heading[:, None] + around[None, :]
            x = points[:-1, None, 0] + radius * np.cos(edge) - CENTRE[0]
            y = points[:-1, None, 1] + radius * np.sin(edge) - CENTRE[1]
            outside = np.hypot(x, y) > rough + radius + 1e-6
            sideways = np.where(outside, radius * np.sin(around), np.nan)
            bitten = outside.any(axis=1)
            if bitten.any():
                width = np.nanmax(sideways[bitten], axis=1) - np.nanmin(sideways[bitten], axis=1)
                assert width.max() < radius, (cutter, share, width.max())
