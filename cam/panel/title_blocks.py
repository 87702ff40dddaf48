"""Title blocks of drawing sheets: ruled lines and cells in a corner of a frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.drawing import Drawing
from cam.panel.grouping import group_pairs
from cam.panel.rectangles import TOUCH_MM, Box, Nesting, Shape, holds, is_no_panel, measure_sides_mm

MAX_BLOCK_SHARE = 0.65
"""A title block takes up no more than this share of either side of its frame."""
MAX_CORNER_GAP_SHARE = 0.03
"""A title block stands no farther from its corner than this share of the shorter side."""
MIN_BLOCK_TEXTS = 3
MIN_BLOCK_LINES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleBlock:
    """A title block: open chains and loops by number, and its box."""

    chains: tuple[int, ...]
    cells: frozenset[int]
    box: Box


def find_title_block(
    drawing: Drawing, frame: Shape, inside: list[Shape], touching: list[Shape], *, nesting: Nesting, is_likely: bool
) -> TitleBlock | None:
    """Return what stands in a corner of a frame: ruled lines and cells that hang together, enough or with texts.

    Small loops within it are part of it. A frame that ``is_likely`` one needs less.
    """
    near = np.sort(nesting.ruled_tree.query(shapely.box(*frame.box), predicate="dwithin", distance=TOUCH_MM))
    chains = [nesting.ruled[i] for i in near.tolist()]
    cells = [(shape.number, shape.box) for shape in inside if shape.is_rectangle]
    cells += [(shape.number, shape.box) for shape in touching]
    ruled = [(i, box) for i, box in (*chains, *cells) if holds(frame.box, box)]
    for group in _group_touching(drawing, ruled):
        boxes = np.array([box for _, box in group])
        (min_x, min_y), (max_x, max_y) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
        block = min_x, min_y, max_x, max_y
        if not _may_be_block(block, frame.box):
            continue
        texts = sum(holds(block, (text.x_mm, text.y_mm, text.x_mm, text.y_mm)) for text in drawing.texts)
        on_edges = (is_likely or texts > 0) and _may_be_block(block, frame.box, gap_mm=TOUCH_MM)
        if len(group) >= MIN_BLOCK_LINES or texts >= MIN_BLOCK_TEXTS or on_edges:
            small = [shape.number for shape in inside if is_no_panel(shape) and holds(block, shape.box)]
            return TitleBlock(
                chains=tuple(~i for i, _ in group if i < 0),
                cells=frozenset([i for i, _ in group if i >= 0] + small),
                box=block,
            )
    return None


def _group_touching(drawing: Drawing, ruled: list[tuple[int, Box]]) -> list[list[tuple[int, Box]]]:
    """Return lines and cells in groups that touch; a cell that reaches over part of another is a panel."""
    if not ruled:
        return []
    edges = np.array([box for _, box in ruled])
    lines = (None if number >= 0 else drawing.open_chains[~number].vertices[:, :2] for number, _ in ruled)
    shapes: list[shapely.Geometry] = [
        shapely.box(*box) if line is None else shapely.LineString(line)
        for line, (_, box) in zip(lines, ruled, strict=True)
    ]
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=TOUCH_MM)
    low, high = np.maximum(edges[one, :2], edges[other, :2]), np.minimum(edges[one, 2:], edges[other, 2:])
    # one holds the other where they share all of the smaller
    size = edges[:, 2:] - edges[:, :2]
    held = (high - low >= np.minimum(size[one], size[other]) - TOUCH_MM).all(axis=1)
    beside = (high - low).min(axis=1) <= TOUCH_MM
    is_cell = np.array([number >= 0 for number, _ in ruled])
    together = held | beside | ~(is_cell[one] & is_cell[other])
    one, other = one[together], other[together]
    return [[ruled[i] for i in group] for group in group_pairs(len(ruled), one, other)]


def _may_be_block(block: Box, frame: Box, *, gap_mm: float | None = None) -> bool:
    """Return whether a box stands in a corner of a frame and leaves enough of it for what is drawn."""
    width, height = measure_sides_mm(frame)
    gap = MAX_CORNER_GAP_SHARE * min(width, height) if gap_mm is None else gap_mm
    sides = [abs(a - b) for a, b in zip(block, frame, strict=True)]
    in_corner = min(sides[0], sides[2]) <= gap and min(sides[1], sides[3]) <= gap
    return (
        in_corner and block[2] - block[0] <= MAX_BLOCK_SHARE * width and block[3] - block[1] <= MAX_BLOCK_SHARE * height
    )
