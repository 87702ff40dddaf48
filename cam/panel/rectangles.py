"""Loops as the search for drawing frames sees them: their boxes, and which of them are upright rectangles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely

from cam.drawing.drawing import Drawing, OpenChain
from cam.geometry.contour import Contour, FloatArray
from cam.geometry.measure import measure_area_mm2
from cam.panel.nesting import find_boxes_mm, find_circle

Box: TypeAlias = tuple[float, float, float, float]

SQUARE_TOL_RAD = 1e-3
TOUCH_MM = 0.1
"""A line of a title block that ends as near as this to the frame ends on it."""
MIN_PANEL_MM = 40.0
MAX_DISC_MM = 120.0
"""Smaller strips, and discs up to this, are holes in a panel, hardly panels that lie in a cut-out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """A loop as the search sees it."""

    number: int
    contour: Contour
    box: Box
    is_rectangle: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nesting:
    """The loops of a drawing that may be a frame or what it holds: which lie directly in which, and their boxes.

    ``children`` has the numbers of the loops directly in each loop, None standing for no loop. Those ``apart``
    take no part; those ``stated`` are no part of a frame, as their layer says. ``ruled`` has the open chains
    that run along the axes: the complement of their number, and their box.
    """

    parents: tuple[int | None, ...]
    children: dict[int | None, list[int]]
    boxes_mm: FloatArray
    tree: shapely.STRtree
    apart: frozenset[int]
    stated: frozenset[int]
    ruled: tuple[tuple[int, Box], ...]
    ruled_tree: shapely.STRtree


def lay_nesting(
    drawing: Drawing, *, parents: tuple[int | None, ...], apart: frozenset[int], stated: frozenset[int]
) -> Nesting:
    """Return the nesting of loops without those that take no part: recesses, lettering."""
    children: dict[int | None, list[int]] = {}
    for i, parent in enumerate(parents):
        if i not in apart:
            children.setdefault(parent, []).append(i)
    boxes = find_boxes_mm(tuple(loop.contour for loop in drawing.loops))
    tree = shapely.STRtree(np.asarray(shapely.box(*boxes.T)))
    ruled = tuple((~i, _find_box(chain.vertices)) for i, chain in enumerate(drawing.open_chains) if _is_ruled(chain))
    return Nesting(
        parents=parents,
        children=children,
        boxes_mm=boxes,
        tree=tree,
        apart=apart,
        stated=stated,
        ruled=ruled,
        ruled_tree=shapely.STRtree([shapely.box(*box) for _, box in ruled]),
    )


def _is_ruled(chain: OpenChain) -> bool:
    """Return whether an open chain runs along the axes only."""
    if chain.vertices[:-1, 2].any():
        return False
    along = np.diff(chain.vertices[:, :2], axis=0)
    return bool((np.abs(along).min(axis=1) <= SQUARE_TOL_RAD * np.hypot(*along.T)).all())


def _find_box(vertices: FloatArray) -> Box:
    (min_x, min_y), (max_x, max_y) = vertices[:, :2].min(axis=0).tolist(), vertices[:, :2].max(axis=0).tolist()
    return min_x, min_y, max_x, max_y


def look_at(drawing: Drawing, number: int, nesting: Nesting) -> Shape:
    """Return a loop of a drawing as the search sees it."""
    contour = drawing.loops[number].contour
    min_x, min_y, max_x, max_y = nesting.boxes_mm[number].tolist()
    box = min_x, min_y, max_x, max_y
    return Shape(number=number, contour=contour, box=box, is_rectangle=_is_rectangle(contour, box))


def _is_rectangle(contour: Contour, box: Box) -> bool:
    """Return whether a contour is an upright rectangle, its sides in any number of pieces."""
    if contour.bulges.any():
        return False
    along = np.roll(contour.points_mm, -1, axis=0) - contour.points_mm
    if (np.abs(along).min(axis=1) > SQUARE_TOL_RAD * np.hypot(*along.T)).any():
        return False
    area = measure_box_mm2(box)
    return area > 0.0 and abs(abs(measure_area_mm2(contour)) - area) < 1e-3 * area


def holds(box: Box, other: Box) -> bool:
    """Return whether one box lies in another or stands on its edge."""
    return (
        box[0] - TOUCH_MM <= other[0]
        and box[1] - TOUCH_MM <= other[1]
        and other[2] <= box[2] + TOUCH_MM
        and other[3] <= box[3] + TOUCH_MM
    )


def is_no_panel(shape: Shape) -> bool:
    """Return whether a loop is too small or round to be a panel of its own."""
    width, height = measure_sides_mm(shape.box)
    if min(width, height) < MIN_PANEL_MM:
        return True
    return max(width, height) <= MAX_DISC_MM and find_circle(shape.contour) is not None


def measure_sides_mm(box: Box) -> tuple[float, float]:
    """Return the width and height of a box."""
    return box[2] - box[0], box[3] - box[1]


def measure_box_mm2(box: Box) -> float:
    """Return the area of a box."""
    return (box[2] - box[0]) * (box[3] - box[1])
