"""Grooves along their centre line: down by ramps, to and fro, once level from end to end at each height."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import hypot, tan

import numpy as np
import pytest
import shapely

from cam.geometry.contour import Region, rectangle
from cam.motion.groove_pass import lay_groove, lay_open_ruler, reverse_path
from cam.motion.moves import MoveKind
from cam.plan.workingstep import Operation, RecessCut

LINE = np.array([[10.0, 10.0, 0.3], [60.0, 10.0, 0.0], [80.0, 40.0, 0.0]])
AIR_MM, RAPID_MM = 5.3, 14.8


def lay(make_step, path, **changes):
    wall = rectangle((0.0, 0.0), width_mm=100.0, height_mm=60.0)
    step = make_step(wall, Operation.CLEAR, start_mm=(10.0, 10.0))
    step = replace(
        step,
        operation=Operation.GROOVE,
        pass_heights_mm=(3.4, 2.0),
        recess=RecessCut(region=Region(outer=wall), centre_line=path),
        **changes,
    )
    return step, lay_groove(step, air_mm=AIR_MM, rapid_mm=RAPID_MM)


def test_the_whole_line_is_cut_at_every_height(make_step, walk):
    step, moves = lay(make_step, LINE)
    for height in step.pass_heights_mm:
        level = [points[:, :2] for move, points in walk(moves) if np.ptp(points[:, 2]) == 0 and points[0, 2] == height]
        cut = shapely.union_all([shapely.LineString(points) for points in level]).buffer(1e-3)
        ruler = lay_open_ruler(LINE)
        # the arc's length by its closed form: chord 50, bulge 0.3
        radius = 50.0 / 2.0 * (1 + 0.3**2) / (2 * 0.3)
        length = radius * 4.0 * np.arctan(0.3) + hypot(20.0, 30.0)
        assert float(ruler.at_mm[2]) == pytest.approx(length)
        lined = shapely.LineString(np.vstack(level))
        assert cut.covers(shapely.Point(10.0, 10.0))
        assert cut.covers(shapely.Point(80.0, 40.0))
        assert lined.length >= length - 0.01


def test_it_goes_down_no_steeper_than_the_ramp_and_never_lifts_between(make_step):
    step, moves = lay(make_step, LINE)
    assert sum(move.kind is MoveKind.RAPID for move in moves) == 3
    for before, move in pairwise(moves):
        if move.kind is MoveKind.RAPID:
            continue
        along = hypot(move.to_mm[0] - before.to_mm[0], move.to_mm[1] - before.to_mm[1])
        if move.centre_mm is not None:
            along = abs(move.sweep_rad) * hypot(move.to_mm[0] - move.centre_mm[0], move.to_mm[1] - move.centre_mm[1])
        assert before.to_mm[2] - move.to_mm[2] <= along * tan(step.ramp_rad) + 1e-9


def test_a_short_line_takes_many_turns(make_step):
    step, moves = lay(make_step, np.array([[10.0, 10.0, 0.0], [16.0, 10.0, 0.0]]))
    assert min(move.to_mm[2] for move in moves) == step.floor_mm
    assert all(10.0 - 1e-9 <= move.to_mm[0] <= 16.0 + 1e-9 for move in moves)
    assert all(move.to_mm[1] == pytest.approx(10.0) for move in moves)


def test_a_closed_line_is_run_round(make_step, walk):
    ring = np.array([[20.0, 20, 0], [70, 20, 0], [70, 45, 0], [20, 45, 0], [20, 20, 0]])
    step, moves = lay(make_step, ring)
    level = [points for move, points in walk(moves) if points[:, 2].max() == step.floor_mm]
    assert sum(np.hypot(*np.diff(points[:, :2], axis=0).T).sum() for points in level) == pytest.approx(150.0)


def test_a_path_reversed_twice_is_itself():
    assert np.array_equal(reverse_path(reverse_path(LINE)), LINE)
