"""Recesses: cleared to the allowance, then finished along every wall at the floor's height."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, lay_ruler, start_at
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import measure_area_mm2
from cam.geometry.offset import offset_region
from cam.geometry.transform import reverse
from cam.motion.clear_pass import lay_clearing
from cam.motion.contour_pass import OVERLAPS_MM
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.lead import Lead, find_lead, lead_in, lead_out
from cam.motion.moves import Move, Purpose, line
from cam.motion.profile import Profile
from cam.motion.recess_levels import as_polygon
from cam.plan.workingstep import Obstacle, Operation, Workingstep
from cam.tables.rows import Direction

INWARD_MM = 0.4
"""Before a lead the cutter goes down so far off the roughed wall: no sliver of the allowance is met from above."""
MAX_STARTS = 16


def lay_recess(step: Workingstep, *, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves of a recess: roughing of every part, then the finishing pass of every wall.

    Raises
    ------
    PlanRefused
        ``recess-too-small`` or ``no-room-for-lead``.
    """
    assert step.recess is not None
    region, radius = step.recess.region, step.cutter.radius_mm
    rough = offset_region(region, distance_mm=-(radius + step.allowance_mm))
    if not rough:
        raise PlanRefused(
            error(
                "recess-too-small",
                f"cutter {step.cutter.name} and the finishing allowance find no room in it",
                remedy="choose a smaller cutter, or widen the recess in the drawing",
                origin=Origin(panel=step.panel, feature=step.feature),
            )
        )
    moves: list[Move] = []
    for part in rough:
        moves += lay_clearing(part, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    for part in offset_region(region, distance_mm=-radius):
        for contour in part.contours:
            moves += _lay_wall(contour, rough=rough, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    return moves


def _lay_wall(
    contour: Contour, *, rough: tuple[Region, ...], step: Workingstep, air_mm: float, rapid_mm: float
) -> list[Move]:
    """Return the finishing pass along one wall: down in what is cleared, a tangent arc in, a lap, an arc out."""
    ruler, begin, end = _find_leads(contour, step=step)
    feed, floor, reach = step.finish.feed_mm_per_min, step.floor_mm, step.cutter.radius_mm
    cleared = as_polygon(rough)
    inner = cleared.buffer(-INWARD_MM)
    down = shapely.shortest_line(cleared if inner.is_empty else inner, shapely.Point(begin.far_mm))
    place = (float(down.coords[0][0]), float(down.coords[0][1]))
    moves = approach(place, air_mm=air_mm, rapid_mm=rapid_mm)
    moves.append(line((*place, floor), feed_mm_per_min=step.rough.plunge_mm_per_min, purpose=Purpose.ENTRY))
    moves.append(line((*begin.far_mm, floor), feed_mm_per_min=feed, purpose=Purpose.LEAD))
    moves.append(lead_in(begin, z_mm=floor, feed_mm_per_min=feed, reach_mm=reach))
    lap = Profile(at_mm=(0.0, ruler.length_mm + end.at_mm), z_mm=(floor, floor))
    moves += follow(
        ruler,
        profile=lap,
        nominal=lap,
        cut=step.finish,
        reach_mm=reach,
        waste_left=step.finish_direction is Direction.CLIMB,
        bite=Bite.WALL,
        purpose=Purpose.FINISH,
    )
    moves.append(lead_out(end, z_mm=floor, feed_mm_per_min=feed, reach_mm=reach))
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _find_leads(contour: Contour, *, step: Workingstep) -> tuple[Ruler, Lead, Lead]:
    """Return a wall's finishing path from the first start with room, and the leads in and out."""
    assert step.recess is not None
    climbs = step.finish_direction is Direction.CLIMB
    directed = contour if climbs else reverse(contour)
    walls = tuple(wall if measure_area_mm2(wall) > 0.0 else reverse(wall) for wall in step.recess.region.contours)
    beside = replace(
        step,
        operation=Operation.INSIDE,
        wall=walls[0],
        obstacles=tuple(
            Obstacle(name="another wall", contour=wall, keep_mm=step.cutter.radius_mm) for wall in walls[1:]
        ),
    )
    refused: PlanRefused | None = None
    for at in _find_starts(lay_ruler(directed)):
        ruler = lay_ruler(start_at(directed, at_mm=at))
        try:
            begin = find_lead(ruler, places_mm=(0.0,), step=beside, waste_left=climbs, arriving=True)
            end = find_lead(ruler, places_mm=OVERLAPS_MM, step=beside, waste_left=climbs, arriving=False)
        except PlanRefused as refusal:
            refused = refused or refusal
            continue
        return ruler, begin, end
    raise refused or AssertionError("a contour has a start")


def _find_starts(ruler: Ruler) -> list[float]:
    """Return the middles of a contour's segments, the longest first."""
    middles = (ruler.at_mm[:-1] + ruler.at_mm[1:]) / 2.0
    order = np.argsort(-np.diff(ruler.at_mm), kind="stable")[:MAX_STARTS]
    return [float(middles[i]) for i in order]
