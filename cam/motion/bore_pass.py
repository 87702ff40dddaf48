"""Holes bored by a helix, cleared to the middle, and finished by one full-depth circle."""

from __future__ import annotations

from math import ceil, cos, pi, sin, tan

from cam.geometry.measure import find_bounds_mm
from cam.motion.contour_pass import turns_counter_clockwise
from cam.motion.follow import approach, retract
from cam.motion.moves import Move, Purpose, arc, line
from cam.plan.workingstep import Workingstep

FINISH_OVERLAP_RAD = 0.2
"""How far the finishing circle goes on past its start before it leaves."""
CORE_SHARE = 0.9
"""The helix's radius is at most this share of the cutter's, so that no core stays in the middle."""
MIN_HELIX_SHARE = 0.15
"""The helix's radius is at least this share of the cutter's: what the least bored hole, 1.15 diameters, gives it."""
MIN_ROUGH_SHARE = 0.2
"""A helix narrower than this share of the cutter's radius leaves no allowance: its turns would be hundreds."""
MAX_FINISH_WIDTH = 0.35
"""The finishing circle bites at this share of the cutter's diameter at most: less than half goes the full depth."""


def lay_bore(step: Workingstep, *, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves of a bored hole: helix and widening turns for each pass, then the finishing circle.

    Notes
    -----
    Widening turns are half circles about two centres half a turn's growth apart, so that the path
    has one tangent everywhere and grows by no more than the stepover in a turn.
    """
    centre, hole_radius = _find_circle(step)
    finish_radius = hole_radius - step.cutter.radius_mm
    rough_radius = finish_radius - step.allowance_mm
    if not _leaves_room(rough_radius, finish_mm=finish_radius, cutter_mm=step.cutter.radius_mm):
        # no room for an allowance: the helix itself cuts the wall, the circle after it smooths it
        rough_radius = finish_radius
    core_radius = min(rough_radius, CORE_SHARE * step.cutter.radius_mm)
    turn = 1.0 if turns_counter_clockwise(step.operation, direction=step.rough_direction) else -1.0
    moves = approach((centre[0] + core_radius, centre[1]), air_mm=air_mm, rapid_mm=rapid_mm)
    height = air_mm
    for floor in step.pass_heights_mm:
        moves += _helix(step, centre=centre, radius_mm=core_radius, from_mm=height, to_mm=floor, turn=turn)
        moves += _widen(step, centre=centre, from_mm=core_radius, to_mm=rough_radius, z_mm=floor, turn=turn)
        height = floor
        if floor != step.floor_mm and rough_radius > core_radius:
            start = (centre[0] + core_radius, centre[1], floor)
            moves.append(line(start, feed_mm_per_min=step.rough.feed_mm_per_min, purpose=Purpose.LINK))
    moves += _finish_circle(step, centre=centre, from_mm=rough_radius, radius_mm=finish_radius)
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _leaves_room(rough_mm: float, *, finish_mm: float, cutter_mm: float) -> bool:
    """Return whether a ring of allowance can be left for the finishing circle.

    Notes
    -----
    The cutter's edge at an angle t from the outward direction stands outside the roughed hole where
    ``cos t > ((rough + r)^2 - finish^2 - r^2) / (2 finish r)`` (law of cosines), and the bite is
    ``r (1 - cos t)`` wide: on a tight circle even a thin ring is met by much of the edge.
    """
    if rough_mm < MIN_ROUGH_SHARE * cutter_mm:
        return False
    edge_cos = ((rough_mm + cutter_mm) ** 2 - finish_mm**2 - cutter_mm**2) / (2.0 * finish_mm * cutter_mm)
    return (1.0 - edge_cos) / 2.0 <= MAX_FINISH_WIDTH


def _find_circle(step: Workingstep) -> tuple[tuple[float, float], float]:
    min_x, min_y, max_x, max_y = find_bounds_mm(step.wall)
    return ((min_x + max_x) / 2.0, (min_y + max_y) / 2.0), (max_x - min_x) / 2.0


def _half_circle(
    step: Workingstep,
    *,
    centre: tuple[float, float],
    from_rad: float,
    radius_mm: float,
    z_mm: float,
    turn: float,
    feed_mm_per_min: float,
    purpose: Purpose,
) -> Move:
    """Return a half circle that starts in a direction seen from its centre; the wall's side holds the feed."""
    end = from_rad + turn * pi
    factor = radius_mm / (radius_mm + step.cutter.radius_mm)
    return arc(
        (centre[0] + radius_mm * cos(end), centre[1] + radius_mm * sin(end), z_mm),
        centre_mm=centre,
        sweep_rad=turn * pi,
        feed_mm_per_min=feed_mm_per_min * factor,
        purpose=purpose,
    )


def _whole_circle(
    step: Workingstep,
    *,
    centre: tuple[float, float],
    radius_mm: float,
    z_mm: float,
    turn: float,
    feed_mm_per_min: float,
    purpose: Purpose,
) -> list[Move]:
    """Return a level circle, from its right-hand side and back to it, in two halves."""
    return [
        _half_circle(
            step,
            centre=centre,
            from_rad=pi * half,
            radius_mm=radius_mm,
            z_mm=z_mm,
            turn=turn,
            feed_mm_per_min=feed_mm_per_min,
            purpose=purpose,
        )
        for half in range(2)
    ]


def _helix(
    step: Workingstep, *, centre: tuple[float, float], radius_mm: float, from_mm: float, to_mm: float, turn: float
) -> list[Move]:
    """Return whole turns down at no more than the ramp angle, and one level turn at the bottom."""
    turns = max(1, ceil((from_mm - to_mm) / (2.0 * pi * radius_mm * tan(step.ramp_rad)) - 1e-9))
    drop = (from_mm - to_mm) / (2 * turns)
    moves = []
    for half in range(2 * turns + 2):
        falling = half < 2 * turns
        moves.append(
            _half_circle(
                step,
                centre=centre,
                from_rad=pi * (half % 2),
                radius_mm=radius_mm,
                z_mm=from_mm - drop * (half + 1) if half + 1 < 2 * turns else to_mm,
                turn=turn,
                feed_mm_per_min=step.rough.ramp_feed_mm_per_min if falling else step.rough.feed_mm_per_min,
                purpose=Purpose.ENTRY if falling else Purpose.ROUGH,
            )
        )
    return moves


def _widen(
    step: Workingstep, *, centre: tuple[float, float], from_mm: float, to_mm: float, z_mm: float, turn: float
) -> list[Move]:
    """Return half circles that grow from one radius to another, and a whole turn at the larger."""
    if to_mm - from_mm < 1e-9:
        return []
    halves = 2 * ceil((to_mm - from_mm) / step.stepover_mm - 1e-9)
    growth = (to_mm - from_mm) / halves
    moves = []
    for half in range(halves):
        # the centres alternate so that each half circle starts where the last one ended: its far
        # end lies one growth farther from the hole's centre than its near end
        radius = from_mm + growth * (half + 0.5)
        side = 1.0 if half % 2 == 0 else -1.0
        moves.append(
            _half_circle(
                step,
                centre=(centre[0] - side * growth / 2.0, centre[1]),
                from_rad=pi * (half % 2),
                radius_mm=radius,
                z_mm=z_mm,
                turn=turn,
                feed_mm_per_min=step.rough.feed_mm_per_min,
                purpose=Purpose.ROUGH,
            )
        )
    return moves + _whole_circle(
        step,
        centre=centre,
        radius_mm=to_mm,
        z_mm=z_mm,
        turn=turn,
        feed_mm_per_min=step.rough.feed_mm_per_min,
        purpose=Purpose.ROUGH,
    )


def _finish_circle(step: Workingstep, *, centre: tuple[float, float], from_mm: float, radius_mm: float) -> list[Move]:
    """Return the way across the roughed hole, a half circle onto the wall, a full circle and overlap, and back.

    Notes
    -----
    The half circle touches the roughed circle and the wall's, and grows by the allowance: nowhere
    does the cutter bite wider than on the wall itself. From the middle it would meet the ring head-on.
    """
    turn = 1.0 if turns_counter_clockwise(step.operation, direction=step.finish_direction) else -1.0
    feed, z = step.finish.feed_mm_per_min, step.floor_mm
    lead_centre = (centre[0] + (radius_mm - from_mm) / 2.0, centre[1])
    moves = [
        line((centre[0] - from_mm, centre[1], z), feed_mm_per_min=feed, purpose=Purpose.LEAD),
        _half_circle(
            step,
            centre=lead_centre,
            from_rad=pi,
            radius_mm=(from_mm + radius_mm) / 2.0,
            z_mm=z,
            turn=turn,
            feed_mm_per_min=feed,
            purpose=Purpose.LEAD,
        ),
    ]
    moves += _whole_circle(
        step, centre=centre, radius_mm=radius_mm, z_mm=z, turn=turn, feed_mm_per_min=feed, purpose=Purpose.FINISH
    )
    past = turn * FINISH_OVERLAP_RAD
    wall_feed = moves[-1].feed_mm_per_min
    end = (centre[0] + radius_mm * cos(past), centre[1] + radius_mm * sin(past))
    out_centre = ((centre[0] + end[0]) / 2.0, (centre[1] + end[1]) / 2.0)
    moves.append(arc((*end, z), centre_mm=centre, sweep_rad=past, feed_mm_per_min=wall_feed, purpose=Purpose.FINISH))
    moves.append(
        _half_circle(
            step,
            centre=out_centre,
            from_rad=past,
            radius_mm=radius_mm / 2.0,
            z_mm=z,
            turn=turn,
            feed_mm_per_min=feed,
            purpose=Purpose.LEAD,
        )
    )
    return moves
