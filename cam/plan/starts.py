"""Where a contour may begin: places with room for a lead, the order chooses among them."""

from __future__ import annotations

import numpy as np

from cam.geometry.along import Ruler, find_nearest_at, find_point_at, lay_ruler
from cam.geometry.measure import find_bounds_mm
from cam.plan.holding import Stretch, find_reach_mm, find_start, find_stretches
from cam.plan.workingstep import Operation, Workingstep

AT_MIDDLE = {Operation.BORE, Operation.DRILL}
"""What comes down in the middle of its wall."""
ALONG_WALL = {Operation.CLEAR, Operation.INSIDE, Operation.OUTSIDE}
"""What may begin anywhere along its wall; every other operation begins where it was planned to."""
MAX_STARTS = 32
LEAD_ROOM_MM = 2.5
"""What a start keeps from corners, radii and bridges, with a cutter diameter more: arcs in and out, and the overlap."""
LEAST_STEP_MM = 5.0
"""How close to one another two starts may be."""


def find_starts(step: Workingstep) -> tuple[tuple[float, float], ...]:
    """Return where a workingstep's contour may begin, the roomiest place first.

    Notes
    -----
    Of a hole that is its middle, whence helix or drill comes. Of a contour it is the place farthest from
    corners, radii and bridges, and up to `MAX_STARTS` - 1 others along all straights, or along the
    gentlest arcs where no straight is long enough, that keep a cutter diameter and `LEAD_ROOM_MM`
    from each of them.
    """
    if step.operation in AT_MIDDLE:
        min_x, min_y, max_x, max_y = find_bounds_mm(step.wall)
        return (((min_x + max_x) / 2.0, (min_y + max_y) / 2.0),)
    if step.operation not in ALONG_WALL:
        return (step.start_mm,)
    ruler = lay_ruler(step.wall)
    roomiest = find_start(step.wall, bridges=step.bridges, lift=step.lift, floor_mm=step.floor_mm)
    room = step.cutter.diameter_mm + LEAD_ROOM_MM
    for min_radius in sorted({float(radius) for radius in ruler.segments.radius_mm}, reverse=True):
        stretches = find_stretches(ruler, keep_mm=room, min_radius_mm=min_radius)
        free = _clear_of_bridges(stretches, step=step, ruler=ruler, room_mm=room)
        if free:
            points = [find_point_at(ruler, place) for place in _spread(free, count=MAX_STARTS - 1)]
            return tuple(dict.fromkeys((roomiest, *points)))
    return (roomiest,)


def _clear_of_bridges(
    stretches: tuple[Stretch, ...], *, step: Workingstep, ruler: Ruler, room_mm: float
) -> list[Stretch]:
    """Return what is left of stretches without the bridges, their flanks and room beside them."""
    if step.lift is None:
        return list(stretches)
    reach = find_reach_mm(step.lift, floor_mm=step.floor_mm) + room_mm
    free = list(stretches)
    for bridge in step.bridges:
        middle = find_nearest_at(ruler, (bridge.x_mm, bridge.y_mm))
        for lap in (-ruler.length_mm, 0.0, ruler.length_mm):
            low, high = middle + lap - reach, middle + lap + reach
            free = [
                Stretch(from_mm=start, to_mm=end)
                for stretch in free
                for start, end in (
                    (stretch.from_mm, min(stretch.to_mm, low)),
                    (max(stretch.from_mm, high), stretch.to_mm),
                )
                if end >= start and (start < low or end > high)
            ]
    return free


def _spread(free: list[Stretch], *, count: int) -> list[float]:
    """Return up to so many places spread evenly over stretches, the ends of each among them."""
    length = sum(stretch.to_mm - stretch.from_mm for stretch in free)
    step = max(LEAST_STEP_MM, length / max(1, count - 2 * len(free)))
    longest = sorted(free, key=lambda stretch: (stretch.from_mm - stretch.to_mm, stretch.from_mm))
    places: list[float] = []
    for stretch in longest:
        own = stretch.to_mm - stretch.from_mm
        number = 1 if own < LEAST_STEP_MM else 2 + int(own / step - 1e-9)
        if len(places) + number > count:
            break
        at = np.linspace(stretch.from_mm, stretch.to_mm, number).tolist() if number > 1 else [stretch.from_mm + own / 2]
        places += at
    return sorted(places)
