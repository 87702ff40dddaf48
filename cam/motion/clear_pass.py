"""Waste too small to be held is cleared wholly, ring by ring from the wall inwards."""

from __future__ import annotations

from dataclasses import replace

from cam.geometry.along import find_nearest_at, find_point_at, lay_ruler, start_at
from cam.geometry.contour import Contour, Region
from cam.geometry.offset import offset_region
from cam.geometry.transform import reverse
from cam.motion.contour_pass import turns_counter_clockwise
from cam.motion.follow import approach, follow, retract
from cam.motion.moves import Move, Purpose, line
from cam.motion.profile import Profile, ramp_in_passes
from cam.plan.workingstep import Workingstep
from cam.tables.rows import Direction


def lay_clearing(region: Region, *, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves that clear a region of tool centres, at each pass height.

    Parameters
    ----------
    region
        Where the cutter's centre may go while roughing; its outer contour is the first ring.

    Notes
    -----
    Rings follow one another at the stepover, which is less than the cutter's radius: each point
    between two rings is nearer than that to the outer one, so nothing is left between them, nor in
    the middle where the last ring ends.
    """
    moves: list[Move] = []
    height = air_mm
    for floor in step.pass_heights_mm:
        level = replace(step, pass_heights_mm=(floor,))
        moves += _clear_level(region, step=level, from_mm=height, air_mm=air_mm, rapid_mm=rapid_mm)
        height = floor
    return moves


def _clear_level(region: Region, *, step: Workingstep, from_mm: float, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the rings at one height, each branch of a splitting region entered by its own ramp."""
    moves: list[Move] = []
    branches: list[tuple[Region, bool]] = [(region, True)]
    while branches:
        current, enter = branches.pop()
        if enter and moves:
            moves.append(retract(moves, rapid_mm=rapid_mm))
        moves += _ring(
            current.outer, step=step, from_mm=from_mm, enter=enter, moves=moves, air_mm=air_mm, rapid_mm=rapid_mm
        )
        inner = offset_region(current, distance_mm=-step.stepover_mm)
        # the last of the list is taken next, straight from this ring; the others wait for a ramp
        branches += [(part, i > 0) for i, part in reversed(list(enumerate(inner)))]
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _ring(
    contour: Contour,
    *,
    step: Workingstep,
    from_mm: float,
    enter: bool,
    moves: list[Move],
    air_mm: float,
    rapid_mm: float,
) -> list[Move]:
    """Return one lap round a ring, reached by a ramp or by a straight link from the ring outside it."""
    counter_clockwise = turns_counter_clockwise(step.operation, direction=step.rough_direction)
    directed = contour if counter_clockwise else reverse(contour)
    near = moves[-1].to_mm[:2] if moves and not enter else step.start_mm
    ruler = lay_ruler(start_at(directed, at_mm=find_nearest_at(lay_ruler(directed), near)))
    start = find_point_at(ruler, 0.0)
    if enter:
        way = approach(start, air_mm=air_mm, rapid_mm=rapid_mm)
        profile = ramp_in_passes(
            air_mm=air_mm, pass_heights_mm=step.pass_heights_mm, lap_mm=ruler.length_mm, ramp_rad=step.ramp_rad
        )
    else:
        way = [line((*start, step.floor_mm), feed_mm_per_min=step.rough.feed_mm_per_min, purpose=Purpose.LINK)]
        profile = Profile(at_mm=(0.0, ruler.length_mm), z_mm=(step.floor_mm, step.floor_mm))
    return way + follow(
        ruler,
        profile=profile,
        nominal=profile,
        cut=step.rough,
        reach_mm=step.cutter.radius_mm + step.allowance_mm,
        waste_left=step.rough_direction is Direction.CLIMB,
        purpose=Purpose.ROUGH,
    )
