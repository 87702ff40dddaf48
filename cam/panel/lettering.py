"""Rows of small unlike loops: the outlines of lettering that was exploded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.drawing import Loop
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.panel.grouping import group_pairs
from cam.panel.nesting import find_boxes_mm, lay_rings

MAX_GLYPH_MM = 80.0
"""Taller or wider loops are cut-outs or panels in their own right."""
MIN_GLYPHS = 3
PAIR = 2
"""Two are a word where they lie in a panel and one of them holds a loop, as o, e, a and 8 do."""
MAX_GAP = 0.8
"""Small loops in a row stand no farther apart than this share of the taller one's height."""
MAX_WORD_GAP = 1.6
"""Those that look like letters may: a blank between words."""
MARK_SHARE = 0.5
"""Dots, dashes and accents are no larger than this share of the row's height ..."""
MARK_GAP = 0.3
"""... and stand no farther outside the row's box than this share of it."""
MIN_OVERLAP = 0.5
MIN_HEIGHT_RATIO = 0.35
"""A small letter or a full stop beside a capital."""
MIN_GLYPH_SHARE = 0.5
"""So many of a row, and three at least, must be bent in or hold loops, as most letters do and few cut-outs."""
HULL_SHARE = 0.93
UNLIKE_SHARE = 0.05
MIN_KINDS = 2
"""So many numbers of segments must be among them: one shape in several sizes is no lettering."""
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
    letters are unlike each other, and most are bent in or hold another loop. Two are a word where both
    do, one of them holds a loop, and they are openings in a material, which seldom have any. Shapes are compared by
    their width, area and length as shares of their height.
    """
    if len(loops) <= PAIR:
        return ()
    bounds = find_boxes_mm(tuple(loop.contour for loop in loops))
    size = bounds[:, 2:] - bounds[:, :2]
    small = np.asarray((size.max(axis=1) <= MAX_GLYPH_MM) & (size.min(axis=1) > 0.0))
    inside = np.array([parent is not None and bool(small[parent]) for parent in parents])
    heads = np.flatnonzero(small & ~inside)
    if len(heads) < PAIR:
        return ()
    shapes = _measure(loops, heads, parents)
    rows = [*_find_rows(heads, bounds, shapes), *_find_rows(heads, bounds[:, [1, 0, 3, 2]], shapes)]
    return tuple(_gather(group, bounds, parents) for group in _join_lines(rows, bounds))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shapes:
    """Measures of small loops by their number: area, length, segments, and which are glyph-like.

    Glyph-like is what is bent in, or holds a loop of its own. Openings have an odd number of loops round them.
    """

    area_mm2: FloatArray
    length_mm: FloatArray
    segments: IntArray
    is_glyph: BoolArray
    is_opening: BoolArray
    is_holding: BoolArray


def _measure(loops: tuple[Loop, ...], heads: IntArray, parents: tuple[int | None, ...]) -> _Shapes:
    contours = tuple(loops[i].contour for i in heads.tolist())
    rings = lay_rings(contours)
    count = np.diff(rings.first)
    owner = np.repeat(np.arange(len(contours)), count)
    points = np.empty((2 * len(owner), 2))
    start, end = rings.segments.start_mm, rings.segments.end_mm
    chord, bulge = end - start, np.tan(rings.segments.sweep_rad / 4.0)
    # the middle of an arc lies half its bulge of the chord to the right of travel
    points[0::2] = start
    points[1::2] = (start + end + bulge[:, None] * np.column_stack((chord[:, 1], -chord[:, 0]))) / 2.0
    polygons = np.asarray(shapely.polygons(shapely.linearrings(points, indices=np.repeat(owner, 2))))
    area, hull = shapely.area(polygons), shapely.area(shapely.convex_hull(polygons))
    length = np.add.reduceat(rings.segments.length_mm, rings.first[:-1])
    holding = np.isin(heads, [parent for parent in parents if parent is not None])
    shapes = _Shapes(
        area_mm2=np.zeros(len(loops)),
        length_mm=np.zeros(len(loops)),
        segments=np.zeros(len(loops), dtype=np.int64),
        is_glyph=np.zeros(len(loops), dtype=np.bool_),
        is_opening=np.zeros(len(loops), dtype=np.bool_),
        is_holding=np.zeros(len(loops), dtype=np.bool_),
    )
    shapes.is_holding[heads] = holding
    shapes.is_opening[heads] = [_count_around(i, parents) % 2 == 1 for i in heads.tolist()]
    shapes.area_mm2[heads], shapes.length_mm[heads], shapes.segments[heads] = area, length, count
    shapes.is_glyph[heads] = holding | (area < HULL_SHARE * hull)
    return shapes


def _count_around(number: int, parents: tuple[int | None, ...]) -> int:
    count, around = 0, parents[number]
    while around is not None:
        count, around = count + 1, parents[around]
    return count


def _find_rows(heads: IntArray, bounds: FloatArray, shapes: _Shapes) -> list[IntArray]:
    """Return the rows of neighbours along x that look like letters; for those along y the axes are exchanged."""
    box = bounds[heads]
    height = box[:, 3] - box[:, 1]
    gap = MAX_WORD_GAP * height
    reach = shapely.box(box[:, 0] - gap, box[:, 1], box[:, 2] + gap, box[:, 3])
    one, other = shapely.STRtree(reach).query(shapely.box(*box.T), predicate="intersects")
    overlap = np.minimum(box[one, 3], box[other, 3]) - np.maximum(box[one, 1], box[other, 1])
    low, high = np.minimum(height[one], height[other]), np.maximum(height[one], height[other])
    apart = np.maximum(box[one, 0], box[other, 0]) - np.minimum(box[one, 2], box[other, 2])
    are_letters = shapes.is_glyph[heads[one]] & shapes.is_glyph[heads[other]]
    beside = (one != other) & (overlap >= MIN_OVERLAP * low) & (low >= MIN_HEIGHT_RATIO * high)
    close = beside & (apart <= MAX_GAP * high)
    groups = group_pairs(len(heads), one[close], other[close])
    # a blank is jumped from a word only: what stands farther apart is no word by itself
    while True:
        in_word = np.zeros(len(heads), dtype=np.bool_)
        for word in groups:
            in_word[word] = len(word) >= MIN_GLYPHS
        linked = close | (beside & are_letters & (in_word[one] | in_word[other]))
        if (linked == close).all():
            break
        close = linked
        groups = group_pairs(len(heads), one[close], other[close])
    rows = [heads[group] for group in groups if len(group) >= PAIR]
    return [_add_marks(row, heads, bounds) for row in rows if _is_lettering(row, bounds, shapes)]


def _add_marks(group: IntArray, heads: IntArray, bounds: FloatArray) -> IntArray:
    """Return a row with the dots, dashes and accents that belong to its letters."""
    low, high = bounds[group, :2].min(axis=0), bounds[group, 2:].max(axis=0)
    height = float((bounds[group, 3] - bounds[group, 1]).max())
    size = bounds[heads, 2:] - bounds[heads, :2]
    near = (bounds[heads, :2] >= low - MARK_GAP * height) & (bounds[heads, 2:] <= high + MARK_GAP * height)
    marks = heads[near.all(axis=1) & (size.max(axis=1) <= MARK_SHARE * height)]
    return np.union1d(group, marks)


def _is_lettering(group: IntArray, bounds: FloatArray, shapes: _Shapes) -> bool:
    height = float((bounds[group, 3] - bounds[group, 1]).max())
    width = float(bounds[group, 2].max() - bounds[group, 0].min())
    tall = float(bounds[group, 3].max() - bounds[group, 1].min())
    fewest = min(MIN_GLYPHS, len(group))
    if tall > 2.0 * height or width < 0.5 * fewest * height:
        return False
    if len(group) == PAIR and not (shapes.is_opening[group].all() and shapes.is_holding[group].any()):
        return False
    least = max(fewest, MIN_GLYPH_SHARE * len(group))
    kinds = len(np.unique(shapes.segments[group]))
    if shapes.is_glyph[group].sum() < least or kinds < MIN_KINDS:
        return False
    described = np.column_stack(
        (
            (bounds[group, 2] - bounds[group, 0]) / height,
            shapes.area_mm2[group] / height**2,
            shapes.length_mm[group] / height,
        )
    )
    return _count_unlike(described) >= max(fewest, 0.4 * min(len(group), 20))


def _count_unlike(shapes: FloatArray) -> int:
    """Return how many shapes differ from all before them by more than a twentieth in any measure, up to 20."""
    kept = shapes[:1]
    for shape in shapes[1:]:
        if len(kept) >= 20:
            break
        if (np.abs(kept - shape) > UNLIKE_SHARE * shape).any(axis=1).all():
            kept = np.vstack((kept, shape))
    return len(kept)


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
