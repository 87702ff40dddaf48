"""The last pass round a finished wall, which cuts a skin through."""

from __future__ import annotations

from math import tan

from cam.geometry.along import find_point_at
from cam.geometry.contour import Contour
from cam.motion.contour_pass import OVERLAPS_MM, lay_directed
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.lead import find_lead, lead_out
from cam.motion.moves import Move, Purpose
from cam.motion.profile import Profile
from cam.plan.workingstep import LastPass, Workingstep
from cam.tables.rows import Direction


def lay_last_pass(path: Contour, *, last: LastPass, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves that cut a skin through: a ramp down along the finished wall, one lap, an arc out.

    Parameters
    ----------
    path
        Tool-centre path (counter-clockwise) of the finishing pass.

    Notes
    -----
    The cutter goes where the finishing pass went, so that the wall has no step above the skin.
    """
    waste_left = step.finish_direction is Direction.CLIMB
    ruler = lay_directed(path, step=step, direction=step.finish_direction, near_mm=step.start_mm)
    end = find_lead(ruler, places_mm=OVERLAPS_MM, step=step, waste_left=waste_left, arriving=False)
    run = (air_mm - last.floor_mm) / tan(step.ramp_rad)
    way = Profile(at_mm=(-run, 0.0, ruler.length_mm + end.at_mm), z_mm=(air_mm, last.floor_mm, last.floor_mm))
    moves = approach(find_point_at(ruler, -run), air_mm=air_mm, rapid_mm=rapid_mm)
    moves += follow(
        ruler,
        profile=way,
        nominal=way,
        cut=last.cut,
        reach_mm=step.cutter.radius_mm,
        waste_left=waste_left,
        bite=Bite.SLOT,
        purpose=Purpose.FINISH,
    )
    feed = last.cut.feed_mm_per_min
    # only the side away from the wall bites: the arc needs no slowing
    moves.append(lead_out(end, z_mm=last.floor_mm, feed_mm_per_min=feed, reach_mm=0.0))
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves
