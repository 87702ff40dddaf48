"""Where a contour may begin: places with room for a lead, the order chooses among them."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

import numpy as np

from cam.geometry.along import Ruler, find_nearest_at, find_point_at, find_segment_at, lay_ruler
from cam.geometry.measure import find_bounds_mm
from cam.panel.panel import Finish
from cam.plan.holding import find_reach_mm
from cam.plan.stretches import Stretch, find_path_radii_mm, find_stretches
from cam.plan.workingstep import Operation, Workingstep

AT_MIDDLE = {Operation.BORE, Operation.DRILL, Operation.PILOT}
"""What comes down in the middle of its wall."""
ALONG_WALL = {Operation.CLEAR, Operation.INSIDE, Operation.OUTSIDE}
"""What may begin anywhere along its wall; every other operation begins where it was planned to."""
MAX_STARTS = 32
LEAD_ROOM_MM = 2.5
"""What a start keeps from corners, radii and bridges, with a cutter diameter more: arcs in and out, and the overlap."""
STRAIGHT_ROOM_MM = 4.5
"""What a start on a straight keeps at least before it is no better than one on a curve: a lead and the overlap."""
LEAST_CLEAR_MM = 1.0
"""What a start on a curve keeps at least from the curve's ends and from bridges."""
LEAST_STEP_MM = 5.0
"""How far apart two starts of a stretch should be; half of it at least."""


def find_starts(step: Workingstep) -> tuple[tuple[float, float], ...]:
    """Return where a workingstep's contour may begin, the roomiest place first.

    Notes
    -----
    Of a hole that is its middle, whence helix or drill comes. Of a contour it is the place farthest from
    corners, radii and bridges, and up to `MAX_STARTS` - 1 others that keep a cutter diameter and
    `LEAD_ROOM_MM` from each of them: on straights that will not be seen where any is long enough, else on
    all straights, else on the gentlest arcs.
    """
    if step.operation in AT_MIDDLE:
        min_x, min_y, max_x, max_y = find_bounds_mm(step.wall)
        return (((min_x + max_x) / 2.0, (min_y + max_y) / 2.0),)
    if step.operation not in ALONG_WALL:
        return (step.start_mm,)
    ruler = lay_ruler(step.wall)
    taken = _find_taken(step, ruler=ruler)
    room = step.cutter.diameter_mm + LEAD_ROOM_MM
    for stretches, least_mm in _find_grounds(ruler, finishes=step.finishes, room_mm=room):
        best, clear = _find_roomiest(stretches, ruler=ruler, taken=taken)
        if clear < least_mm:
            continue
        inner = [
            Stretch(from_mm=each.from_mm + room, to_mm=each.to_mm - room)
            for each in stretches
            if each.to_mm - each.from_mm >= 2.0 * room
        ]
        free = _clear_of_bridges(inner, taken=taken, ruler=ruler, room_mm=room)
        points = [find_point_at(ruler, place) for place in _spread(free, count=MAX_STARTS - 1)] if free else []
        return tuple(dict.fromkeys((find_point_at(ruler, best), *points)))
    return (find_start(step),)


def find_start(step: Workingstep) -> tuple[float, float]:
    """Return where the finishing pass begins: as far from corners, radii and bridges as it can be.

    Notes
    -----
    Straights that will not be seen are searched first, then all straights, then arcs, the gentlest
    radius first, until one has room enough; places are tried every millimetre or 1/200 of the stretch,
    whichever is longer. Where none has, the roomiest place of all is taken.
    """
    ruler = lay_ruler(step.wall)
    taken = _find_taken(step, ruler=ruler)
    best, clear = 0.0, -inf
    room = step.cutter.diameter_mm + LEAD_ROOM_MM
    for stretches, least_mm in _find_grounds(ruler, finishes=step.finishes, room_mm=room):
        place, found = _find_roomiest(stretches, ruler=ruler, taken=taken)
        if found >= least_mm:
            return find_point_at(ruler, place)
        if found > clear + 1e-9:
            best, clear = place, found
    return find_point_at(ruler, best)


def find_further_starts(step: Workingstep) -> tuple[tuple[float, float], ...]:
    """Return the roomiest place of each kind of ground, for a contour that cannot begin where it should."""
    if step.operation not in ALONG_WALL:
        return ()
    ruler = lay_ruler(step.wall)
    taken = _find_taken(step, ruler=ruler)
    room = step.cutter.diameter_mm + LEAD_ROOM_MM
    places = [
        _find_roomiest(stretches, ruler=ruler, taken=taken)
        for stretches, _ in _find_grounds(ruler, finishes=step.finishes, room_mm=room)
    ]
    best_first = sorted(places, key=lambda place: -place[1])
    return tuple(find_point_at(ruler, at) for at, clear in best_first if clear > -inf)


def _find_grounds(
    ruler: Ruler, *, finishes: tuple[Finish, ...], room_mm: float
) -> Iterator[tuple[tuple[Stretch, ...], float]]:
    """Yield where a contour may begin, and how much room it must have there, the best ground first.

    An unseen straight is preferred only if it has all the room that a start wants; any straight before a
    radius, and a gentle radius before a tight one.
    """
    unseen = np.array([finish is not Finish.SHOWN for finish in finishes], dtype=np.bool_)
    if unseen.any() and not unseen.all():
        yield find_stretches(ruler, keep_mm=0.0, chosen=unseen), room_mm
    for min_radius in sorted({float(radius) for radius in ruler.segments.radius_mm}, reverse=True):
        least = STRAIGHT_ROOM_MM if min_radius == inf else LEAST_CLEAR_MM
        yield find_stretches(ruler, keep_mm=0.0, min_radius_mm=min_radius), least


def _find_taken(step: Workingstep, *, ruler: Ruler) -> list[tuple[float, float]]:
    """Return the middle of each bridge along the wall, and how far along the wall its flanks reach."""
    if step.lift is None:
        return []
    reach = step.cutter.radius_mm + step.allowance_mm
    paths = find_path_radii_mm(ruler.segments, reach_mm=reach, outside=step.operation is Operation.OUTSIDE)
    taken = []
    for bridge in step.bridges:
        middle = find_nearest_at(ruler, (bridge.x_mm, bridge.y_mm))
        segment = find_segment_at(ruler, middle)
        path, wall = float(paths[segment]), float(ruler.segments.radius_mm[segment])
        along = find_reach_mm(step.lift, floor_mm=step.floor_mm, path_radius_mm=path)
        taken.append((middle, along if wall == inf else along * max(1.0, wall / path)))
    return taken


def _find_roomiest(
    stretches: tuple[Stretch, ...], *, ruler: Ruler, taken: list[tuple[float, float]]
) -> tuple[float, float]:
    """Return the place on stretches farthest from their ends and from bridges, and how far that is."""
    best, clear = 0.0, -inf
    for stretch in stretches:
        length = stretch.to_mm - stretch.from_mm
        places = np.linspace(stretch.from_mm, stretch.to_mm, max(3, min(201, int(length) + 1)))
        rooms = np.minimum(places - stretch.from_mm, stretch.to_mm - places)
        for other, reach in taken:
            apart = np.abs(places - other) % ruler.length_mm
            rooms = np.minimum(rooms, np.minimum(apart, ruler.length_mm - apart) - reach)
        for place, room in zip(places.tolist(), rooms.tolist(), strict=True):
            if room > clear + 1e-9:
                best, clear = place, room
    return best, clear


def _clear_of_bridges(
    stretches: list[Stretch], *, taken: list[tuple[float, float]], ruler: Ruler, room_mm: float
) -> list[Stretch]:
    """Return what is left of stretches without the bridges, their flanks and room beside them."""
    free = list(stretches)
    for middle, flank in taken:
        for lap in (-ruler.length_mm, 0.0, ruler.length_mm):
            low, high = middle + lap - flank - room_mm, middle + lap + flank + room_mm
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
