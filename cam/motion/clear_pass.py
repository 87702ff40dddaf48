"""Waste too small to be held is cleared wholly, ring by ring from the wall inwards."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, tan

import shapely

from cam.geometry.along import Ruler, find_nearest_at, find_point_at, lay_ruler, start_at
from cam.geometry.contour import Contour, Region
from cam.geometry.flatten import flatten
from cam.geometry.offset import offset_region
from cam.geometry.transform import reverse
from cam.motion.contour_pass import turns_counter_clockwise
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.moves import Move, Purpose, line
from cam.motion.profile import Profile, ramp_in_passes
from cam.plan.workingstep import Workingstep
from cam.tables.rows import Direction

LINK_TOL_MM = 0.001
"""How far a link may pass outside a ring, which stands off the wall by the finishing allowance as well."""
MAX_LINK_STEPOVERS = 2.0
"""A straight link is a slot as wide as the cutter: it is kept short. From corner to corner it is 1.4 stepovers."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inner:
    """A region left inside a ring that has been cut."""

    region: Region
    around: Ruler


def lay_clearing(region: Region, *, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves that clear a region of tool centres, at each pass height.

    Parameters
    ----------
    region
        Where the cutter's centre may go while roughing; its outer contour is the first ring.

    Notes
    -----
    Rings follow one another at the stepover, which is at most the cutter's radius: each point
    between two rings is nearer than that to the outer one, so nothing is left between them, nor in
    the middle where the last ring ends.
    """
    moves: list[Move] = []
    for floor in step.pass_heights_mm:
        level = replace(step, pass_heights_mm=(floor,))
        moves += _clear_level(region, step=level, air_mm=air_mm, rapid_mm=rapid_mm)
    return moves


def _clear_level(region: Region, *, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the rings at one height: the first entered by a ramp, each other from the ring round it."""
    ring = _lay_ring(region.outer, step=step, near_mm=step.start_mm)
    ramp = ramp_in_passes(
        air_mm=air_mm, pass_heights_mm=step.pass_heights_mm, lap_mm=ring.length_mm, ramp_rad=step.ramp_rad
    )
    moves = approach(find_point_at(ring, 0.0), air_mm=air_mm, rapid_mm=rapid_mm)
    moves += _follow(ring, profile=ramp, step=step, bite=Bite.SLOT)
    lap = (step.floor_mm, step.floor_mm)
    waiting = _find_inner(region, ring=ring, step=step, here=moves[-1].to_mm)
    while waiting:
        inner = waiting.pop()
        ring, way = _reach(inner, moves=moves, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
        moves += way
        moves += _follow(ring, profile=Profile(at_mm=(0.0, ring.length_mm), z_mm=lap), step=step, bite=Bite.WASTE)
        waiting += _find_inner(inner.region, ring=ring, step=step, here=moves[-1].to_mm)
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _lay_ring(contour: Contour, *, step: Workingstep, near_mm: tuple[float, float]) -> Ruler:
    """Return a ring in the direction of roughing, started at its point nearest to another."""
    counter_clockwise = turns_counter_clockwise(step.operation, direction=step.rough_direction)
    directed = contour if counter_clockwise else reverse(contour)
    return lay_ruler(start_at(directed, at_mm=find_nearest_at(lay_ruler(directed), near_mm)))


def _find_inner(region: Region, *, ring: Ruler, step: Workingstep, here: tuple[float, float, float]) -> list[Inner]:
    """Return what is left inside a ring, the part nearest to where the cutter stands last."""
    parts = [Inner(region=part, around=ring) for part in offset_region(region, distance_mm=-step.stepover_mm)]

    def find_way_mm(inner: Inner) -> float:
        x, y = _find_nearest_point(lay_ruler(inner.region.outer), here[:2])
        return hypot(x - here[0], y - here[1])

    return sorted(parts, key=find_way_mm, reverse=True)


def _reach(
    inner: Inner, *, moves: list[Move], step: Workingstep, air_mm: float, rapid_mm: float
) -> tuple[Ruler, list[Move]]:
    """Return an inner ring and the way to its start: straight where that is short and clear, else by the ring round it.

    Notes
    -----
    Every point of an inner ring lies one stepover from the ring around it, and the disc of that
    radius about it within: so the shortest way between the two cuts no wall, wherever they are.
    """
    here, feed, floor = moves[-1].to_mm, step.rough.feed_mm_per_min, step.floor_mm
    ring = _lay_ring(inner.region.outer, step=step, near_mm=here[:2])
    start = find_point_at(ring, 0.0)
    short = hypot(start[0] - here[0], start[1] - here[1]) <= MAX_LINK_STEPOVERS * step.stepover_mm
    if short and _stays_inside(inner.around.contour, from_mm=here[:2], to_mm=start):
        return ring, [line((*start, floor), feed_mm_per_min=feed, purpose=Purpose.LINK)]
    at = find_nearest_at(inner.around, start)
    run = (air_mm - floor) / tan(step.ramp_rad)
    way = [retract(moves, rapid_mm=rapid_mm)]
    way += approach(find_point_at(inner.around, at - run), air_mm=air_mm, rapid_mm=rapid_mm)
    way += _follow(inner.around, profile=Profile(at_mm=(at - run, at), z_mm=(air_mm, floor)), step=step, bite=Bite.SLOT)
    way.append(line((*start, floor), feed_mm_per_min=feed, purpose=Purpose.LINK))
    return ring, way


def _find_nearest_point(ruler: Ruler, point_mm: tuple[float, float]) -> tuple[float, float]:
    return find_point_at(ruler, find_nearest_at(ruler, point_mm))


def _stays_inside(contour: Contour, *, from_mm: tuple[float, float], to_mm: tuple[float, float]) -> bool:
    """Return whether a straight way lies within a contour; near arcs the answer may be no where it is yes."""
    room = shapely.buffer(shapely.Polygon(flatten(contour, chord_tol_mm=LINK_TOL_MM)), LINK_TOL_MM)
    return bool(room.covers(shapely.LineString([from_mm, to_mm])))


def _follow(ruler: Ruler, *, profile: Profile, step: Workingstep, bite: Bite) -> list[Move]:
    return follow(
        ruler,
        profile=profile,
        nominal=profile,
        cut=step.rough,
        reach_mm=step.cutter.radius_mm + step.allowance_mm,
        waste_left=step.rough_direction is Direction.CLIMB,
        bite=bite,
        purpose=Purpose.ROUGH,
    )
