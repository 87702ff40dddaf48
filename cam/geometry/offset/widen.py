"""A path widened to a groove: all that a disc sweeps whose centre runs along it."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np

from cam.geometry.contour import Contour, FloatArray, Region
from cam.geometry.measure import is_counter_clockwise, measure_area_mm2
from cam.geometry.offset.region import find_offset_loops, offset_region
from cam.geometry.offset.source import find_source
from cam.geometry.transform import reverse


def widen_path(vertices: FloatArray, *, width_mm: float) -> Region:
    """Return the region within half a width of an open path; its ends are round, its arcs exact.

    Parameters
    ----------
    vertices
        (n, 3) ``x_mm, y_mm, bulge``, the last bulge unused; two or more, no two in a row the same.
    width_mm
        The positive width.

    Raises
    ------
    PanelRefused
        ``offset-not-certain``, if the result does not pass its own check.

    Notes
    -----
    The path there and back is a contour of no area whose offset is the groove. It turns by half a
    circle at both ends, on the outside.

    Examples
    --------
    >>> groove = widen_path(np.array([[0.0, 0.0, 0.0], [50.0, 0.0, 0.0]]), width_mm=6.0)
    >>> round(measure_area_mm2(groove.outer) - (50.0 * 6.0 + pi * 3.0**2), 9)
    0.0
    """
    path = np.asarray(vertices, dtype=np.float64)
    if len(path) == 2 and path[0, 2] == 0.0:
        return Region(outer=_lay_stadium(path[0, :2], path[1, :2], radius_mm=width_mm / 2.0))
    back = path[::-1].copy()
    back[:-1, 2] = -path[::-1][1:, 2]
    source = find_source((Contour(np.concatenate((path[:-1], back[:-1]))),))
    turn = source.turn_rad.copy()
    turn[[0, len(path) - 1]] = pi
    loops = find_offset_loops(replace(source, turn_rad=turn), distance_mm=width_mm / 2.0)
    contours = [Contour(loop.vertices + np.array([*source.origin_mm, 0.0])) for loop in loops]
    contours.sort(key=measure_area_mm2, reverse=True)
    return Region(outer=contours[0], holes=tuple(contours[1:]))


def widen_loop(contour: Contour, *, width_mm: float) -> Region:
    """Return the region within half a width of a closed line: a ring, or a disc where nothing is left inside."""
    path = contour if is_counter_clockwise(contour) else reverse(contour)
    area = Region(outer=path)
    (grown,) = offset_region(area, distance_mm=width_mm / 2.0)
    shrunk = offset_region(area, distance_mm=-width_mm / 2.0)
    return Region(outer=grown.outer, holes=(*grown.holes, *(reverse(inner.outer) for inner in shrunk)))


def _lay_stadium(start: FloatArray, end: FloatArray, *, radius_mm: float) -> Contour:
    along = (end - start) / np.hypot(*(end - start))
    left = np.array([-along[1], along[0]]) * radius_mm
    corners = np.array([start - left, end - left, end + left, start + left])
    return Contour(np.column_stack((corners, [0.0, 1.0, 0.0, 1.0])))
