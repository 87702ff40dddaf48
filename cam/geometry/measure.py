"""Measures of contours: exact length, area, bounds, containment, distance."""

from __future__ import annotations

from math import hypot

import numpy as np

from cam.geometry.contour import BoolArray, Contour, FloatArray, Region, Segments, find_segments


def measure_length_mm(contour: Contour) -> float:
    """Return the length of a contour."""
    return float(find_segments(contour.vertices).length_mm.sum())


def measure_area_mm2(contour: Contour) -> float:
    """Return the enclosed area, positive for a counter-clockwise contour.

    Notes
    -----
    Shoelace formula on the chords, plus the circular segment ``r^2 (t - sin t) / 2`` of each arc
    of sweep t; for small t the difference is taken from its series, so that flat arcs keep their
    digits. Coordinates are taken from the first vertex, so that a distant origin costs none.
    """
    segments = find_segments(contour.vertices - np.array([*contour.vertices[0, :2], 0.0]))
    x0, y0 = segments.start_mm.T
    x1, y1 = segments.end_mm.T
    return float(((x0 * y1 - x1 * y0).sum() + _twice_circular_segment(segments).sum()) / 2.0)


def _twice_circular_segment(segments: Segments) -> FloatArray:
    t = segments.sweep_rad
    if not t.any():
        return np.zeros(len(t))
    small = np.abs(t) < 0.02
    series = t**3 / 6.0 * (1.0 - t**2 / 20.0 * (1.0 - t**2 / 42.0))
    radius = np.where(segments.is_arc, segments.radius_mm, 0.0)
    return np.asarray(radius**2 * np.where(small, series, t - np.sin(t)))


def is_counter_clockwise(contour: Contour) -> bool:
    """Return whether the contour runs counter-clockwise."""
    return measure_area_mm2(contour) > 0.0


def find_bounds_mm(contour: Contour) -> tuple[float, float, float, float]:
    """Return the exact bounding box ``min_x, min_y, max_x, max_y``."""
    return find_segment_bounds_mm(find_segments(contour.vertices))


def find_segment_bounds_mm(segments: Segments) -> tuple[float, float, float, float]:
    """Return the exact bounding box of segments, arcs' extremes included."""
    points = [segments.start_mm, segments.end_mm]
    for direction in (0.0, np.pi / 2, np.pi, -np.pi / 2):
        crossing = _sweeps_over(segments, direction)
        unit = np.array([round(np.cos(direction)), round(np.sin(direction))])
        points.append(segments.centre_mm[crossing] + segments.radius_mm[crossing, None] * unit)
    every = np.concatenate(points)
    (min_x, min_y), (max_x, max_y) = every.min(axis=0), every.max(axis=0)
    return float(min_x), float(min_y), float(max_x), float(max_y)


def find_segment_boxes_mm(segments: Segments) -> FloatArray:
    """Return the exact bounding box of each segment, (n, 4) ``min_x, min_y, max_x, max_y``."""
    low = np.minimum(segments.start_mm, segments.end_mm)
    high = np.maximum(segments.start_mm, segments.end_mm)
    for direction, side, axis in ((0.0, high, 0), (np.pi / 2, high, 1), (np.pi, low, 0), (-np.pi / 2, low, 1)):
        crossing = _sweeps_over(segments, direction)
        reach = segments.radius_mm[crossing] if side is high else -segments.radius_mm[crossing]
        side[crossing, axis] = segments.centre_mm[crossing, axis] + reach
    return np.column_stack((low, high))


def _sweeps_over(segments: Segments, direction_rad: float | FloatArray) -> BoolArray:
    """Return which arcs pass through a direction seen from their centres."""
    offset = segments.start_mm - segments.centre_mm
    start = np.arctan2(offset[:, 1], offset[:, 0])
    turn = np.sign(segments.sweep_rad)
    along = np.mod((direction_rad - start) * turn, 2.0 * np.pi)
    return np.asarray(segments.is_arc & (along <= np.abs(segments.sweep_rad)))


def find_size_mm(contour: Contour) -> tuple[float, float]:
    """Return width and height of the bounding box."""
    min_x, min_y, max_x, max_y = find_bounds_mm(contour)
    return max_x - min_x, max_y - min_y


def find_min_radius_mm(contour: Contour) -> float:
    """Return the smallest arc radius of a contour, inf if it has no arc."""
    return float(find_segments(contour.vertices).radius_mm.min())


def find_distance_mm(contour: Contour, point_mm: tuple[float, float]) -> float:
    """Return the distance from a point to the contour's line, zero or more."""
    return float(find_distances_mm(find_segments(contour.vertices), point_mm).min())


def find_distances_mm(segments: Segments, point_mm: tuple[float, float] | FloatArray) -> FloatArray:
    """Return the distance from a point to each segment, or from n points (n, 2) each to its own, shape (n,)."""
    p = np.asarray(point_mm, dtype=np.float64)
    chord = segments.end_mm - segments.start_mm
    square = np.maximum((chord**2).sum(axis=1), np.finfo(np.float64).tiny)
    along = np.clip(((p - segments.start_mm) * chord).sum(axis=1) / square, 0.0, 1.0)
    straight = np.hypot(*(p - segments.start_mm - along[:, None] * chord).T)
    to_ends = np.minimum(np.hypot(*(p - segments.start_mm).T), np.hypot(*(p - segments.end_mm).T))
    if not segments.is_arc.any():
        return np.asarray(straight)
    from_centre = p - segments.centre_mm
    direction = np.arctan2(from_centre[:, 1], from_centre[:, 0])
    radius = np.where(segments.is_arc, segments.radius_mm, 0.0)
    radial = np.abs(np.hypot(*from_centre.T) - radius)
    round_ = np.where(_sweeps_over(segments, direction), radial, to_ends)
    return np.asarray(np.where(segments.is_arc, round_, straight))


def contains_point(contour: Contour, point_mm: tuple[float, float]) -> bool:
    """Return whether a point lies inside a contour of either direction.

    Notes
    -----
    Winding number of the chords, corrected by each arc whose circular segment (between chord and
    arc) holds the point. On the line itself the answer is either; ask for the distance first.
    """
    segments = find_segments(contour.vertices)
    x, y = point_mm
    x0, y0 = segments.start_mm[:, 0] - x, segments.start_mm[:, 1] - y
    x1, y1 = segments.end_mm[:, 0] - x, segments.end_mm[:, 1] - y
    side = x0 * y1 - x1 * y0
    winding = int(((y0 <= 0) & (y1 > 0) & (side > 0)).sum()) - int(((y0 > 0) & (y1 <= 0) & (side < 0)).sum())
    arc = segments.is_arc
    if arc.any():
        inside_circle = np.hypot(*(segments.centre_mm[arc] - (x, y)).T) < segments.radius_mm[arc]
        turn = np.sign(segments.sweep_rad[arc])
        # the point is on the arc's side of the chord where it lies to the right of a
        # counter-clockwise arc's chord, so that the chord's winding misses it
        beyond_chord = side[arc] * turn < 0
        winding += int((turn * (inside_circle & beyond_chord)).sum())
        # a point exactly on the chord of an arc counts for the chord by the half-open rule above:
        # decide it again from the arc alone
        on_chord = (side[arc] == 0) & inside_circle
        if on_chord.any():
            return contains_point(contour, (x + 1e-9 * max(1.0, hypot(x, y)), y + 1.7e-9 * max(1.0, hypot(x, y))))
    return winding != 0


def measure_region_area_mm2(region: Region) -> float:
    """Return the area of a region, holes taken off."""
    return sum(measure_area_mm2(contour) for contour in region.contours)
