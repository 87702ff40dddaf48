"""Which loop lies inside which, and what each is for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.contact import take_segments
from cam.geometry.contour import Contour, FloatArray, IntArray, Segments, circle, find_segments
from cam.geometry.flatten import flatten_vertices
from cam.geometry.measure import contains_point, find_segment_boxes_mm, measure_area_mm2
from cam.geometry.transform import reverse
from cam.panel.panel import Role

ROUND_TOL_MM = 0.005
"""How far a loop may stand off one circle and still be a hole.

The distance within which arcs may follow any curve. Coordinates and bulges are written with as few as
four decimals, which moves the middle of a half circle of 20 mm radius by 0.001 mm.
"""
SAME_MM = 1e-6
"""What is as near as this to a circle is left as it was drawn."""


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
    bounds = find_boxes_mm(contours)
    boxes = np.asarray(shapely.box(*bounds.T))
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """The segments of many contours, one contour after another: contour i owns ``first[i]`` to ``first[i + 1]``."""

    segments: Segments
    first: IntArray


def lay_rings(contours: tuple[Contour, ...]) -> Rings:
    """Return the segments of one or more contours, all at one time."""
    # one open path through all of them, each led back to its start; the steps between two are taken out again
    path = np.concatenate([np.concatenate((contour.vertices, contour.vertices[:1])) for contour in contours])
    counts = np.array([len(contour) for contour in contours])
    ends = np.cumsum(counts + 1) - 1
    path[ends, 2] = 0.0
    keep = np.ones(len(path) - 1, dtype=np.bool_)
    keep[ends[:-1]] = False
    segments = take_segments(find_segments(path, closed=False), keep)
    return Rings(segments=segments, first=np.concatenate(([0], np.cumsum(counts))).astype(np.int64))


def find_boxes_mm(contours: tuple[Contour, ...]) -> FloatArray:
    """Return the exact bounding box of each contour, (n, 4) ``min_x, min_y, max_x, max_y``, all at one time."""
    if not contours:
        return np.zeros((0, 4))
    rings = lay_rings(contours)
    boxes = find_segment_boxes_mm(rings.segments)
    low = np.minimum.reduceat(boxes[:, :2], rings.first[:-1], axis=0)
    high = np.maximum.reduceat(boxes[:, 2:], rings.first[:-1], axis=0)
    return np.column_stack((low, high))


def _find_nest(contour: Contour, around: list[int], areas: FloatArray) -> Nest:
    depth = len(around)
    parent = min(around, key=lambda j: float(areas[j])) if around else None
    if depth % 2 == 0:
        return Nest(depth=depth, parent=parent, role=Role.OUTLINE, diameter_mm=None)
    diameter = find_diameter_mm(contour)
    role = Role.CUTOUT if diameter is None else Role.HOLE
    return Nest(depth=depth, parent=parent, role=role, diameter_mm=diameter)


@dataclass(frozen=True, slots=True, kw_only=True)
class Circle:
    """A full circle; ``off_mm`` is how far the contour that it was found in stands off it."""

    centre_mm: tuple[float, float]
    radius_mm: float
    off_mm: float


def find_diameter_mm(contour: Contour) -> float | None:
    """Return the diameter of a contour that is one full circle to within ``ROUND_TOL_MM``, else None."""
    found = find_circle(contour)
    return None if found is None else 2.0 * found.radius_mm


def find_circle(contour: Contour) -> Circle | None:
    """Return the circle that a contour of arcs follows to within ``ROUND_TOL_MM``, None if there is none.

    Notes
    -----
    The centre and radius are those of the arcs where they agree; otherwise those of the circle of
    least squares through the arcs' ends and middles (Kasa's fit). The centre of a short arc hangs on
    the last decimal of its bulge; what counts is how far the line itself stands off.
    """
    segments = find_segments(contour.vertices)
    if not segments.is_arc.all():
        return None
    spread = np.hypot(*(segments.centre_mm - segments.centre_mm[0]).T)
    x, y = segments.centre_mm.mean(axis=0).tolist()
    if spread.max() <= SAME_MM and np.ptp(segments.radius_mm) <= SAME_MM:
        return Circle(centre_mm=(x, y), radius_mm=float(segments.radius_mm.mean()), off_mm=0.0)
    points, _ = flatten_vertices(contour.vertices, chord_tol_mm=ROUND_TOL_MM)
    middle = points.mean(axis=0)
    near = points - middle
    (a, b, c), *_ = np.linalg.lstsq(np.column_stack((2.0 * near, np.ones(len(near)))), (near**2).sum(axis=1))
    radius = float(np.sqrt(max(c + a * a + b * b, 0.0)))
    off = float(np.abs(np.hypot(*(near - (a, b)).T) - radius).max())
    winds_once = abs(abs(float(segments.sweep_rad.sum())) - 2.0 * np.pi) < 0.1
    if not winds_once or off > ROUND_TOL_MM:
        return None
    return Circle(centre_mm=(float(a + middle[0]), float(b + middle[1])), radius_mm=radius, off_mm=off)


def make_round(contour: Contour) -> Contour:
    """Return the exact circle that a hole's contour follows; one that is exact already stays bit for bit."""
    found = find_circle(contour)
    if found is None or found.off_mm == 0.0:
        return contour
    exact = circle(found.centre_mm, radius_mm=found.radius_mm)
    return exact if measure_area_mm2(contour) > 0.0 else reverse(exact)
