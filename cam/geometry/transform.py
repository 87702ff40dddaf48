"""Moving, turning, scaling and mirroring contours; arcs stay arcs."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, sin

import numpy as np

from cam.geometry.contour import Contour, Region


def move(contour: Contour, *, by_mm: tuple[float, float]) -> Contour:
    """Return the contour moved by a vector."""
    return Contour(contour.vertices + np.array([by_mm[0], by_mm[1], 0.0]))


def turn(contour: Contour, *, angle_rad: float, about_mm: tuple[float, float] = (0.0, 0.0)) -> Contour:
    """Return the contour turned counter-clockwise about a point; quarter turns are exact."""
    c, s = cos(angle_rad), sin(angle_rad)
    quarter = angle_rad / (np.pi / 2.0)
    if abs(quarter - round(quarter)) < 1e-15 * max(1.0, abs(quarter)) * 4:
        c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    offset = contour.points_mm - np.asarray(about_mm)
    turned = offset @ np.array([[c, s], [-s, c]]) + np.asarray(about_mm)
    return Contour(np.column_stack((turned, contour.bulges)))


def scale(contour: Contour, *, factor: float) -> Contour:
    """Return the contour scaled about the origin by a positive factor."""
    if not factor > 0.0:
        raise ValueError("a scale factor is positive; use mirror to turn a contour over")
    return Contour(contour.vertices * np.array([factor, factor, 1.0]))


def mirror(contour: Contour, *, x_mm: float = 0.0) -> Contour:
    """Return the contour mirrored about the vertical line at x, its direction of travel kept.

    A counter-clockwise contour stays counter-clockwise: the vertices are taken in reverse order.
    """
    return reverse(Contour(contour.vertices * np.array([-1.0, 1.0, -1.0]) + np.array([2.0 * x_mm, 0.0, 0.0])))


def reverse(contour: Contour) -> Contour:
    """Return the contour run the other way round, from the same start vertex."""
    points = np.roll(contour.points_mm[::-1], 1, axis=0)
    return Contour(np.column_stack((points, -contour.bulges[::-1])))


def map_region(region: Region, change: Callable[[Contour], Contour]) -> Region:
    """Return the region with a change applied to each of its contours."""
    return Region(outer=change(region.outer), holes=tuple(change(hole) for hole in region.holes))
