"""Grooves as wide as the cutter: along the centre line, down by a ramp, to and fro."""

from __future__ import annotations

from math import tan

import numpy as np

from cam.geometry.along import Ruler, find_point_at, lay_ruler
from cam.geometry.contour import Contour, FloatArray
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.moves import Move, Purpose
from cam.motion.profile import Profile, ramp_in_passes
from cam.plan.workingstep import Workingstep

CLOSED_MM = 1e-6
"""A centre line whose ends are no farther apart is closed."""
REACHED_MM = 1e-9


def lay_groove(step: Workingstep, *, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves of a groove along its centre line.

    Notes
    -----
    An open line is run to and fro, falling at the ramp angle; at each pass height it is run once level
    from end to end. A closed one is run round and round.
    """
    assert step.recess is not None and step.recess.centre_line is not None
    path = step.recess.centre_line
    if np.hypot(*(path[0, :2] - path[-1, :2])) <= CLOSED_MM:
        return _lay_closed(path, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    ways = (lay_open_ruler(path), lay_open_ruler(reverse_path(path)))
    length = float(ways[0].at_mm[len(path) - 1])
    moves = approach(find_point_at(ways[0], 0.0), air_mm=air_mm, rapid_mm=rapid_mm)
    height, turn = air_mm, 0
    for floor in step.pass_heights_mm:
        while height > floor + REACHED_MM:
            run = (height - floor) / tan(step.ramp_rad)
            after = max(floor, height - length * tan(step.ramp_rad))
            knots = ((0.0, run, length), (height, floor, floor)) if run < length else ((0.0, length), (height, after))
            moves += _follow(ways[turn % 2], profile=Profile(at_mm=knots[0], z_mm=knots[1]), step=step)
            height, turn = after, turn + 1
        level = Profile(at_mm=(0.0, length), z_mm=(floor, floor))
        moves += _follow(ways[turn % 2], profile=level, step=step)
        turn += 1
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _lay_closed(path: FloatArray, *, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    ruler = lay_ruler(Contour(path[:-1]))
    profile = ramp_in_passes(
        air_mm=air_mm, pass_heights_mm=step.pass_heights_mm, lap_mm=ruler.length_mm, ramp_rad=step.ramp_rad
    )
    moves = approach(find_point_at(ruler, 0.0), air_mm=air_mm, rapid_mm=rapid_mm)
    moves += _follow(ruler, profile=profile, step=step)
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def lay_open_ruler(path: FloatArray) -> Ruler:
    """Return a ruler whose first part is an open path; the way back is not to be run."""
    start, end = path[0, :2], path[-1, :2]
    aside = (start + end) / 2.0 + np.array([end[1] - start[1], start[0] - end[0]]) + 1.0
    return lay_ruler(Contour(np.vstack((path[:-1], [*end, 0.0], [*aside, 0.0]))))


def reverse_path(path: FloatArray) -> FloatArray:
    """Return an open path run the other way."""
    return np.column_stack((path[::-1, :2], np.append(-path[-2::-1, 2], 0.0)))


def _follow(ruler: Ruler, *, profile: Profile, step: Workingstep) -> list[Move]:
    return follow(
        ruler,
        profile=profile,
        nominal=profile,
        cut=step.rough,
        reach_mm=step.cutter.radius_mm,
        waste_left=True,
        bite=Bite.SLOT,
        purpose=Purpose.ROUGH,
    )
