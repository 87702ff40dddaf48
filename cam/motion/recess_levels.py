"""Nested regions of the cutter's centre, from the deepest place out to the walls, each within a bite of the last."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import acos, cos, hypot, sqrt

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.geometry.contour import FloatArray, Region, find_segments
from cam.geometry.flatten import flatten
from cam.geometry.offset import offset_region

Point = tuple[float, float]

CHORD_TOL_MM = 0.001
SLIT_SHARE = 0.0015
"""Half the width of the slit left of a region where it begins, as a share of the cutter's radius."""
STEP_SHARE = 0.99
"""Rings stand so much of the stepover apart: the bite is never quite the limit."""
DEEP_STEPS = 3.0
"""What lies farther from a grown region than so many of its steps is no corner (of 30 degrees or more) but an arm."""
LEAST_ROOM_SHARE = 0.3
"""A part narrower than twice this share of the cutter's radius is run round once, its one side the other's stepover."""
COMPACT_SHARE = 1.6
"""The first ring may stand off the helix's middle by so much of its distance; on a square it is 1.41."""
SLOT_SHARE = 0.2
"""A corner that a ring leaves by more than this share of the cutter's radius beyond a step is slotted before."""
SAME_MM = 0.02
"""A slot goes on where the last one ended."""
ROUND_SHARES = (0.5, 2.0)
"""Convex arcs of a radius between these shares of the way from the deepest place are rings round it."""
FIRST_SHARE = 0.6
MIN_ROUND_SHARE = 0.35
"""The least step of a round ring, as a share of the cutter's radius; its bite would else stay nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """Where the cutter's centre has been once this level is cut.

    ``opens`` tells that something new is cut into the solid here; then ``room_mm`` is the room all
    round for a helix. ``helix_mm`` is the radius of the helix that alone cuts the level, or None.
    ``slots`` are ways into corners that are cut first, from the last level outwards.
    """

    regions: tuple[Region, ...]
    opens: bool = False
    room_mm: float = 0.0
    helix_mm: float | None = None
    slots: tuple[tuple[Point, ...], ...] = ()


def grow_levels(region: Region, *, radius_mm: float, stepover_mm: float, helix_mm: float) -> tuple[Level, ...]:
    """Return the levels in which a region of tool centres is cleared; the last is the region itself.

    Parameters
    ----------
    radius_mm, stepover_mm
        The cutter's radius, and the widest bite beside a straight wall; at most the radius.
    helix_mm
        The largest radius of the helix that opens a place.

    Notes
    -----
    The first pass opens the region along its middle lines: what is left of it shrunk to a slit, or a
    helix where that is no wider, and from there straight slots into the corners, so that no ring meets
    a corner full of material. The rings are the region shrunk by less and less. Where a shrunk region
    has an arm or a new part, a ring is put in half a step before, so that neither side of the arm is
    wider than a step. Each point of a level is nearer than a radius to the last level or to its line,
    so nothing is left between.
    """
    room = as_polygon((region,))
    slit, found = SLIT_SHARE * radius_mm, find_depth_mm(room)
    depth = max(0.0, found - slit)
    base = shrink(region, by_mm=depth)
    while not base:
        # so thin a slit is none to the offset: a wider one
        slit *= 2.0
        depth = max(0.0, found - slit)
        base = shrink(region, by_mm=depth)
    deepest = depth
    grown = find_helix_growth(base, helix_mm=min(helix_mm, depth))
    if grown > 0.0 and not _is_compact(region, base=base, depth_mm=depth, by_mm=grown + STEP_SHARE * stepover_mm):
        grown = 0.0
    if depth < LEAST_ROOM_SHARE * radius_mm:
        return (Level(regions=(region,), opens=True),)
    levels = [Level(regions=base, opens=True, room_mm=depth, helix_mm=min(helix_mm, depth) if grown > 0.0 else None)]
    bite = acos(max(-1.0, 1.0 - STEP_SHARE * stepover_mm / radius_mm))
    while depth > 0.0:
        step = _find_step(
            levels[-1].regions,
            from_centre_mm=deepest - depth,
            grown_mm=grown if len(levels) == 1 else 0.0,
            radius_mm=radius_mm,
            bite_rad=bite,
        )
        target = max(0.0, depth - min(step, grown + STEP_SHARE * stepover_mm if len(levels) == 1 else step))
        opens = _opens_anew(room, from_mm=depth, to_mm=target)
        if opens:
            target = max(0.0, depth - STEP_SHARE * stepover_mm / 2.0)
            # with less room than a helix takes the cutter goes down along the part's own edge, the longer the better
            target = target if target > LEAST_ROOM_SHARE * radius_mm else 0.0
            opens = _opens_anew(room, from_mm=depth, to_mm=target)
        levels.append(Level(regions=shrink(region, by_mm=target), opens=opens, room_mm=target))
        depth = target
    return _even_out(tuple(levels), radius_mm=radius_mm)


def _even_out(levels: tuple[Level, ...], *, radius_mm: float) -> tuple[Level, ...]:
    """Return the levels with their slots into corners, each from the level on which it starts."""
    slots: list[list[list[Point]]] = [[] for _ in levels]
    growing: list[list[Point]] = []
    for number in range(1, len(levels)):
        inner, outer = as_polygon(levels[number - 1].regions), as_polygon(levels[number].regions)
        still: list[list[Point]] = []
        for start, end in _find_corner_ways(outer, inner=inner, radius_mm=radius_mm):
            way = next(
                (each for each in growing if hypot(each[-1][0] - start[0], each[-1][1] - start[1]) < SAME_MM), None
            )
            if way is None:
                way = [start]
                slots[number].append(way)
            way.append(end)
            still.append(way)
        growing = still
    return tuple(
        replace(level, slots=tuple(_straighten(way) for way in ways)) for level, ways in zip(levels, slots, strict=True)
    )


def _straighten(way: list[Point]) -> tuple[Point, ...]:
    line = shapely.simplify(shapely.LineString(way), 2.0 * CHORD_TOL_MM)
    return tuple((float(x), float(y)) for x, y in line.coords)


def _find_corner_ways(outer: BaseGeometry, *, inner: BaseGeometry, radius_mm: float) -> list[tuple[Point, Point]]:
    """Return the ways from a level into the corners that the next one has beyond an even step."""
    step = find_step_mm(outer, inner=inner)
    left = outer.difference(inner.buffer(step + 2.0 * CHORD_TOL_MM, quad_segs=32))
    ways = []
    for part in shapely.get_parts(left):
        points = shapely.get_coordinates(part)
        apart = find_places(points, region=inner)
        if not len(apart) or not step + SLOT_SHARE * radius_mm < apart.max() < (1.0 + DEEP_STEPS) * step:
            continue
        way = shapely.shortest_line(inner, shapely.Point(points[int(np.argmax(apart))]))
        if outer.buffer(CHORD_TOL_MM).covers(way):
            (x0, y0), (x1, y1) = way.coords
            ways.append(((x0, y0), (x1, y1)))
    return ways


def find_step_mm(outer: BaseGeometry, *, inner: BaseGeometry) -> float:
    """Return how far one region, the other shrunk, lies within it at least."""
    return float(shapely.distance(inner.boundary, outer.boundary))


def as_polygon(regions: tuple[Region, ...]) -> BaseGeometry:
    """Return regions as polygons of chords."""
    return shapely.union_all(
        [
            shapely.Polygon(
                flatten(region.outer, chord_tol_mm=CHORD_TOL_MM),
                [flatten(hole, chord_tol_mm=CHORD_TOL_MM) for hole in region.holes],
            ).buffer(0.0)
            for region in regions
        ]
    )


def find_depth_mm(room: BaseGeometry) -> float:
    """Return the radius of the largest disc in a polygon, by bisection and a little too small."""
    min_x, min_y, max_x, max_y = room.bounds
    low, high = 0.0, min(max_x - min_x, max_y - min_y) / 2.0 + CHORD_TOL_MM
    while high - low > CHORD_TOL_MM:
        middle = (low + high) / 2.0
        low, high = (low, middle) if room.buffer(-middle).is_empty else (middle, high)
    return low


def shrink(region: Region, *, by_mm: float) -> tuple[Region, ...]:
    """Return a region shrunk by a distance; none left is no region."""
    return offset_region(region, distance_mm=-by_mm) if by_mm > 0.0 else (region,)


def find_helix_growth(base: tuple[Region, ...], *, helix_mm: float) -> float:
    """Return by how much a start may be taken as grown because a helix clears it; 0 if it does not."""
    reach = max(float(shapely.minimum_bounding_radius(as_polygon((region,)))) for region in base)
    return helix_mm - reach if reach < 0.35 * helix_mm else 0.0


def _is_compact(region: Region, *, base: tuple[Region, ...], depth_mm: float, by_mm: float) -> bool:
    """Return whether the first ring round a helix keeps close about it, as in a circle or a square."""
    middle = as_polygon(base).centroid
    ring = as_polygon(shrink(region, by_mm=max(0.0, depth_mm - by_mm)))
    return len(base) == 1 and float(shapely.hausdorff_distance(ring.boundary, middle)) <= COMPACT_SHARE * by_mm


def _find_step(
    regions: tuple[Region, ...], *, from_centre_mm: float, grown_mm: float, radius_mm: float, bite_rad: float
) -> float:
    """Return how far the next ring may stand from the last, which is round where it runs close about the middle.

    Notes
    -----
    Round a middle, on a circle of radius p, the edge point at an angle t from the outward direction lies
    ``sqrt(p^2 + r^2 + 2 p r cos t)`` from it; it meets what a circle of radius g has cleared where that
    is ``g + r`` (law of cosines).
    """
    straight = radius_mm * (1.0 - cos(bite_rad))
    inner = max(from_centre_mm, grown_mm)
    if inner > 12.0 * radius_mm or not (grown_mm > 0.0 or _is_round(regions, from_centre_mm=from_centre_mm)):
        return straight
    part = radius_mm * cos(bite_rad)
    ring = sqrt(max(0.0, part**2 + (inner + radius_mm) ** 2 - radius_mm**2)) - part
    # round a helix a ring may have corners, which lie farther out
    wide = (ring - inner) * (FIRST_SHARE if grown_mm > 0.0 else 1.0)
    return max(min(straight, wide), MIN_ROUND_SHARE * radius_mm) + max(0.0, inner - from_centre_mm)


def _is_round(regions: tuple[Region, ...], *, from_centre_mm: float) -> bool:
    """Return whether much of a ring runs on arcs about the place where it began."""
    low, high = (share * from_centre_mm for share in ROUND_SHARES)
    length = 0.0
    for region in regions:
        segments = find_segments(region.outer.vertices)
        arcs = (segments.sweep_rad > 0.0) & (segments.radius_mm >= low) & (segments.radius_mm <= high)
        length += float(segments.length_mm[arcs].sum())
    return length > from_centre_mm > 0.0


def _opens_anew(room: BaseGeometry, *, from_mm: float, to_mm: float) -> bool:
    """Return whether a region shrunk by less has a part that a step from the one shrunk by more leaves out.

    Notes
    -----
    What a step leaves out is a corner, unless it lies farther than `DEEP_STEPS` of the step or touches
    what the step reaches at two places.
    """
    step_mm = from_mm - to_mm
    inner = room.buffer(-from_mm)
    left = room.buffer(-to_mm).difference(inner.buffer((1.0 + 1e-3) * step_mm, quad_segs=32))
    far = inner.buffer((1.0 + DEEP_STEPS) * step_mm)
    reached = inner.buffer((1.0 + 2e-2) * step_mm, quad_segs=32)
    for part in shapely.get_parts(left):
        if part.buffer(-2.0 * CHORD_TOL_MM).is_empty:
            continue
        if not part.difference(far).is_empty:
            return True
        touching = shapely.get_parts(part.intersection(reached))
        if len([touch for touch in touching if touch.area > 0.0]) > 1:
            return True
    return False


def find_places(points_mm: FloatArray, *, region: BaseGeometry) -> FloatArray:
    """Return the distances of points from a region, 0 within."""
    return np.asarray(shapely.distance(shapely.points(points_mm), region))
