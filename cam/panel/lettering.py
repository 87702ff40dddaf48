"""Rows of small unlike loops: the outlines of lettering that was exploded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.drawing import Loop
from cam.geometry.contour import BoolArray, Contour, FloatArray, IntArray
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_bounds_mm, measure_area_mm2, measure_length_mm
from cam.panel.grouping import group_pairs
from cam.panel.nesting import find_boxes_mm, find_circle

MAX_GLYPH_MM = 80.0
"""Taller or wider loops are cut-outs or panels in their own right."""
MIN_GLYPHS = 3
MAX_GAP = 0.8
"""Letters of a word stand no farther apart than this share of the taller one's height."""
MIN_OVERLAP = 0.5
MIN_HEIGHT_RATIO = 0.35
"""A small letter or a full stop beside a capital."""
MIN_GLYPH_SHARE = 0.6
"""So many of a row must be bent in or hold loops of their own, as most letters do and few cut-outs."""
HULL_SHARE = 0.93
LINE_PITCH = 1.5
"""Lines of one text stand no farther apart than this times their height."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Glyphs:
    """Loops that look like lettering: their numbers, those within them included, and the box round them."""

    loops: tuple[int, ...]
    count: int
    height_mm: float
    bounds_mm: tuple[float, float, float, float]


def find_lettering(loops: tuple[Loop, ...], *, parents: tuple[int | None, ...]) -> tuple[Glyphs, ...]:
    """Return the groups of loops that look like lettering, left to right or upwards.

    Parameters
    ----------
    loops
        The loops of a drawing.
    parents
        The loop round each; None where there is none.

    Notes
    -----
    Equal shapes in a row are a grille, round ones are holes, and rectangles in a row are openings;
    letters are unlike each other, and most are bent in or hold another loop. Shapes are compared by
    their width, area and length as shares of their height.
    """
    if len(loops) < MIN_GLYPHS:
        return ()
    bounds = find_boxes_mm(tuple(loop.contour for loop in loops))
    size = bounds[:, 2:] - bounds[:, :2]
    small = np.asarray((size.max(axis=1) <= MAX_GLYPH_MM) & (size.min(axis=1) > 0.0))
    inside = np.array([parent is not None and bool(small[parent]) for parent in parents])
    heads = np.flatnonzero(small & ~inside)
    rows = [
        *_find_rows(heads, bounds, loops, parents),
        *_find_rows(heads, bounds[:, [1, 0, 3, 2]], loops, parents),
    ]
    return tuple(_gather(group, bounds, parents) for group in _join_lines(rows, bounds))


def _find_rows(
    heads: IntArray, bounds: FloatArray, loops: tuple[Loop, ...], parents: tuple[int | None, ...]
) -> list[IntArray]:
    """Return the rows of neighbours along x that look like letters; for those along y the axes are exchanged."""
    if len(heads) < MIN_GLYPHS:
        return []
    box = bounds[heads]
    height = box[:, 3] - box[:, 1]
    reach = shapely.box(box[:, 0] - MAX_GAP * height, box[:, 1], box[:, 2] + MAX_GAP * height, box[:, 3])
    one, other = shapely.STRtree(reach).query(shapely.box(*box.T), predicate="intersects")
    overlap = np.minimum(box[one, 3], box[other, 3]) - np.maximum(box[one, 1], box[other, 1])
    low, high = np.minimum(height[one], height[other]), np.maximum(height[one], height[other])
    beside = (one != other) & (overlap >= MIN_OVERLAP * low) & (low >= MIN_HEIGHT_RATIO * high)
    groups = [heads[group] for group in group_pairs(len(heads), one[beside], other[beside]) if len(group) >= MIN_GLYPHS]
    with_loops = {parent for parent in parents if parent is not None}
    return [group for group in groups if _is_lettering(group, bounds, loops, with_loops)]


def _is_lettering(group: IntArray, bounds: FloatArray, loops: tuple[Loop, ...], with_loops: set[int]) -> bool:
    height = float((bounds[group, 3] - bounds[group, 1]).max())
    width = float(bounds[group, 2].max() - bounds[group, 0].min())
    tall = float(bounds[group, 3].max() - bounds[group, 1].min())
    if tall > 2.0 * height or width < 1.5 * height:
        return False
    counts = {(len(loops[i].contour), round(float(bounds[i, 2] - bounds[i, 0]), 1)) for i in group.tolist()}
    if len(counts) < MIN_GLYPHS:
        return False
    shapes = [_describe(loops[i].contour, height) for i in group.tolist()]
    if _count_unlike(shapes) < max(MIN_GLYPHS, 0.4 * min(len(group), 20)):
        return False
    bent = sum(i in with_loops or _is_bent_in(loops[i].contour) for i in group.tolist())
    least = len(group) if len(group) == MIN_GLYPHS else MIN_GLYPH_SHARE * len(group)
    return bent >= least


def _describe(contour: Contour, height_mm: float) -> tuple[float, float, float]:
    """Return width, area and length of a contour by the height of its row."""
    min_x, _, max_x, _ = find_bounds_mm(contour)
    area, length = abs(measure_area_mm2(contour)), measure_length_mm(contour)
    return (max_x - min_x) / height_mm, area / height_mm**2, length / height_mm


def _count_unlike(shapes: list[tuple[float, float, float]]) -> int:
    """Return how many shapes differ from all before them by more than a twentieth in any measure."""
    kept = np.zeros((0, 3))
    for shape in shapes:
        row = np.array(shape)
        if not len(kept) or (np.abs(kept / row - 1.0).max(axis=1) > 0.05).all():
            kept = np.vstack((kept, row))
    return len(kept)


def _is_bent_in(contour: Contour) -> bool:
    if find_circle(contour) is not None:
        return False
    min_x, min_y, max_x, max_y = find_bounds_mm(contour)
    polygon = shapely.Polygon(flatten(contour, chord_tol_mm=0.01 * max(max_x - min_x, max_y - min_y)))
    return bool(polygon.area < HULL_SHARE * polygon.convex_hull.area)


def _join_lines(rows: list[IntArray], bounds: FloatArray) -> list[IntArray]:
    """Return rows joined that stand over one another as the lines of a text do, or that share loops."""
    if len(rows) < 2:
        return rows
    boxes = np.array([(*bounds[row, :2].min(axis=0), *bounds[row, 2:].max(axis=0)) for row in rows])
    pitch = LINE_PITCH * np.array([min(np.median(bounds[row, 3] - bounds[row, 1]), MAX_GLYPH_MM) for row in rows])
    reach = shapely.box(boxes[:, 0] - pitch, boxes[:, 1] - pitch, boxes[:, 2] + pitch, boxes[:, 3] + pitch)
    one, other = shapely.STRtree(reach).query(shapely.box(*boxes.T), predicate="intersects")
    groups = group_pairs(len(rows), one, other)
    return [np.unique(np.concatenate([rows[i] for i in group])) for group in groups]


def _gather(group: IntArray, bounds: FloatArray, parents: tuple[int | None, ...]) -> Glyphs:
    members: BoolArray = np.zeros(len(parents), dtype=np.bool_)
    members[group] = True
    for i, parent in enumerate(parents):
        around = parent
        while around is not None and not members[i]:
            members[i] = members[around]
            around = parents[around]
    box = bounds[group]
    min_x, min_y = box[:, :2].min(axis=0).tolist()
    max_x, max_y = box[:, 2:].max(axis=0).tolist()
    return Glyphs(
        loops=tuple(np.flatnonzero(members).tolist()),
        count=len(group),
        height_mm=float(np.median(box[:, 3] - box[:, 1])),
        bounds_mm=(min_x, min_y, max_x, max_y),
    )
