"""Chamfers: the axis of a vee cutter along edges, down by ramps that lie in its own groove."""

from __future__ import annotations

from math import ceil, hypot, radians, tan

import numpy as np

from cam.geometry.along import Ruler, cut_pieces, find_point_at, lay_ruler
from cam.geometry.contour import Contour, FloatArray, find_segments
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.moves import Move, Purpose, arc
from cam.motion.profile import Profile, find_height, ramp_in_passes
from cam.plan.workingstep import ChamferCut, ChamferRun, Workingstep


def lay_chamfer(step: Workingstep, *, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves of a step's chamfers.

    Notes
    -----
    The cone above its final depth lies within the final groove, so that ramps along the path cut no more
    than the chamfer. At the end of a run-out it is lifted straight up, which cuts nothing more either.
    """
    assert step.chamfer is not None
    moves: list[Move] = []
    for run in step.chamfer.runs:
        lay = _lay_round if run.closed else _lay_along
        moves += lay(run, step=step, cut=step.chamfer, air_mm=air_mm, rapid_mm=rapid_mm)
        moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _lay_round(run: ChamferRun, *, step: Workingstep, cut: ChamferCut, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return ramp and lap for each pass, an overlap, and the arc out where there is one."""
    ruler = lay_ruler(Contour(run.vertices))
    laps = ramp_in_passes(
        air_mm=air_mm, pass_heights_mm=step.pass_heights_mm, lap_mm=ruler.length_mm, ramp_rad=step.ramp_rad
    )
    # the lap starts where the last ramp ends, and goes on until it is past the path's own start
    past = (run.overlap_mm - laps.at_mm[-1]) % ruler.length_mm
    profile = Profile(at_mm=(*laps.at_mm[:-1], laps.at_mm[-1] + past), z_mm=laps.z_mm)
    moves = approach(find_point_at(ruler, 0.0), air_mm=air_mm, rapid_mm=rapid_mm)
    moves += _follow(ruler, profile=profile, step=step, cut=cut)
    if run.leave is not None:
        moves.append(
            arc(
                (*run.leave.to_mm, step.floor_mm),
                centre_mm=run.leave.centre_mm,
                sweep_rad=run.leave.sweep_rad,
                feed_mm_per_min=step.rough.feed_mm_per_min
                * _slow_round(run, at_mm=moves[-1].to_mm, reach_mm=cut.reach_mm),
                purpose=Purpose.LEAD,
            )
        )
    return moves


def _slow_round(run: ChamferRun, *, at_mm: tuple[float, float, float], reach_mm: float) -> float:
    """Return the share of the feed at which the cone's outer side goes round the arc out no faster than along it."""
    assert run.leave is not None
    radius = hypot(at_mm[0] - run.leave.centre_mm[0], at_mm[1] - run.leave.centre_mm[1])
    return radius / (radius + reach_mm)


def _lay_along(run: ChamferRun, *, step: Workingstep, cut: ChamferCut, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return for each pass a ramp forth and back from the start, as often as it takes, and the way to the end."""
    forth, back = _lay_open(run.vertices), _lay_open(_turn_round(run.vertices))
    length = forth.length_mm
    moves: list[Move] = []
    height = air_mm
    for floor in step.pass_heights_mm:
        if moves:
            moves.append(retract(moves, rapid_mm=rapid_mm))
        moves += approach(find_point_at(forth, 0.0), air_mm=air_mm, rapid_mm=rapid_mm)
        height, drop = air_mm, air_mm - floor
        trips = max(1, ceil(drop / tan(step.ramp_rad) / (2.0 * length) - 1e-9))
        way = drop / tan(step.ramp_rad) / (2.0 * trips)
        for _ in range(trips):
            middle = height - drop / (2.0 * trips)
            end = middle - drop / (2.0 * trips)
            moves += _follow(forth, profile=Profile(at_mm=(0.0, way), z_mm=(height, middle)), step=step, cut=cut)
            down = Profile(at_mm=(length - way, length), z_mm=(middle, end))
            moves += _follow(back, profile=down, step=step, cut=cut)
            height = end
        level = Profile(at_mm=(0.0, length), z_mm=(floor, floor))
        moves += _follow(forth, profile=level, step=step, cut=cut)
    return moves


def _follow(ruler: Ruler, *, profile: Profile, step: Workingstep, cut: ChamferCut) -> list[Move]:
    """Return the moves along a path; on the way down the cone is only as wide as its height makes it."""
    moves = []
    slope = tan(radians(step.cutter.point_angle_deg) / 2.0)
    for piece in cut_pieces(ruler, from_mm=profile.at_mm[0], to_mm=profile.at_mm[-1], at_mm=profile.at_mm):
        ends = (find_height(profile, piece.from_mm), find_height(profile, piece.to_mm))
        part = Profile(at_mm=(piece.from_mm, piece.to_mm), z_mm=ends)
        moves += follow(
            ruler,
            profile=part,
            nominal=part,
            cut=step.rough,
            reach_mm=max(0.0, cut.reach_mm - (min(ends) - step.floor_mm) * slope),
            waste_left=cut.waste_left,
            bite=Bite.SLOT,
            purpose=Purpose.CHAMFER,
        )
    return moves


def _lay_open(vertices: FloatArray) -> Ruler:
    """Return the ruler of an open path; only places between its ends may be asked for."""
    if len(vertices) == 2 and not vertices[0, 2]:
        # two ends of a straight are no contour
        middle = [*vertices[:, :2].mean(axis=0), 0.0]
        vertices = np.array([vertices[0], middle, vertices[1]])
    segments = find_segments(vertices, closed=False)
    return Ruler(
        contour=Contour(vertices),
        segments=segments,
        at_mm=np.concatenate(([0.0], np.cumsum(segments.length_mm))),
    )


def _turn_round(path: FloatArray) -> FloatArray:
    return np.column_stack((path[::-1, :2], np.append(-path[-2::-1, 2], 0.0)))
