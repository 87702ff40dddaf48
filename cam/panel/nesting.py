"""Which loop lies inside which, and what each is for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.geometry.contour import Contour, FloatArray, find_segments
from cam.geometry.measure import contains_point, find_bounds_mm, measure_area_mm2
from cam.panel.panel import Role

ROUND_TOL_MM = 1e-6
"""How far the arcs of a loop may stand off one circle for the loop to be a hole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nest:
    """One loop's place: how many loops are round it, the nearest of them, and its role."""

    depth: int
    parent: int | None
    role: Role
    diameter_mm: float | None


def find_nesting(contours: tuple[Contour, ...]) -> tuple[Nest, ...]:
    """Return the nesting of loops that neither cross nor touch.

    Notes
    -----
    Even depth is material: 0 an outline, 2 an island within a cut-out and so a panel of its own.
    Odd depth is a hole where the loop is one full circle, otherwise a cut-out. Boxes are paired by
    a tree, so that the time grows as n log n where few loops lie round one another.
    """
    if not contours:
        return ()
    bounds = np.array([find_bounds_mm(contour) for contour in contours])
    boxes = shapely.box(*bounds.T)
    tree = shapely.STRtree(boxes)
    inner, outer = tree.query(boxes, predicate="covered_by")
    areas = np.abs([measure_area_mm2(contour) for contour in contours])
    around: list[list[int]] = [[] for _ in contours]
    for i, j in zip(inner.tolist(), outer.tolist(), strict=True):
        if i != j and areas[i] < areas[j]:
            x, y, _ = contours[i].vertices[0]
            if contains_point(contours[j], (float(x), float(y))):
                around[i].append(j)
    return tuple(_find_nest(contour, around[i], areas) for i, contour in enumerate(contours))


def _find_nest(contour: Contour, around: list[int], areas: FloatArray) -> Nest:
    depth = len(around)
    parent = min(around, key=lambda j: float(areas[j])) if around else None
    if depth % 2 == 0:
        return Nest(depth=depth, parent=parent, role=Role.OUTLINE, diameter_mm=None)
    diameter = find_diameter_mm(contour)
    role = Role.CUTOUT if diameter is None else Role.HOLE
    return Nest(depth=depth, parent=parent, role=role, diameter_mm=diameter)


def find_diameter_mm(contour: Contour) -> float | None:
    """Return the diameter of a contour that is one full circle, else None."""
    segments = find_segments(contour.vertices)
    if not segments.is_arc.all():
        return None
    spread = np.hypot(*(segments.centre_mm - segments.centre_mm[0]).T)
    if spread.max() > ROUND_TOL_MM or np.ptp(segments.radius_mm) > ROUND_TOL_MM:
        return None
    return 2.0 * float(segments.radius_mm.mean())
