"""Rectangles round everything else: the frame of a drawing sheet and its title block."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely

from cam.drawing.drawing import Drawing, OpenChain
from cam.geometry.contour import Contour, FloatArray
from cam.geometry.measure import measure_area_mm2
from cam.panel.grouping import group_pairs
from cam.panel.nesting import find_boxes_mm, find_circle

Box: TypeAlias = tuple[float, float, float, float]

SQUARE_TOL_RAD = 1e-3
TOUCH_MM = 0.1
"""A line of a title block that ends as near as this to the frame ends on it."""
MAX_BAND_SHARE = 0.06
"""The band between the two lines of a frame is no wider than this share of the shorter side."""
MAX_BLOCK_SHARE = 0.65
"""A title block takes up no more than this share of either side of its frame."""
MAX_CORNER_GAP_SHARE = 0.03
"""A title block stands no farther from its corner than this share of the shorter side."""
MIN_PANEL_MM = 40.0
MAX_DISC_MM = 120.0
"""Smaller strips, and discs up to this, are holes in a panel, hardly panels that lie in a cut-out."""
MIN_FILLED_SHARE = 0.2
"""What a frame holds fills at least this share of it."""
MIN_BLOCK_TEXTS = 3
MIN_BLOCK_LINES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A drawing frame: its loops, title block included, the open chains of that, its box, and what gave it away."""

    loops: tuple[int, ...]
    chains: tuple[int, ...]
    panels: int
    reason: str
    block_mm: Box | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Shape:
    """A loop as the search sees it."""

    number: int
    contour: Contour
    box: Box
    is_rectangle: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nesting:
    """The loops of a drawing that may be a frame or what it holds: which lie directly in which, and their boxes.

    ``children`` has the numbers of the loops directly in each loop, None standing for no loop. Those ``apart``
    take no part.
    """

    parents: tuple[int | None, ...]
    children: dict[int | None, list[int]]
    boxes_mm: FloatArray
    tree: shapely.STRtree
    apart: frozenset[int]


def lay_nesting(drawing: Drawing, *, parents: tuple[int | None, ...], apart: frozenset[int]) -> Nesting:
    """Return the nesting of loops without those that take no part: recesses, lettering."""
    children: dict[int | None, list[int]] = {}
    for i, parent in enumerate(parents):
        if i not in apart:
            children.setdefault(parent, []).append(i)
    boxes = find_boxes_mm(tuple(loop.contour for loop in drawing.loops))
    tree = shapely.STRtree(np.asarray(shapely.box(*boxes.T)))
    return Nesting(parents=parents, children=children, boxes_mm=boxes, tree=tree, apart=apart)


def find_frame(drawing: Drawing, *, outer: int, nesting: Nesting) -> Frame | None:
    """Return the frame that an outermost loop is part of, None if it is more likely the outline of a panel.

    Parameters
    ----------
    drawing
        The drawing.
    outer
        The number of a loop with none round it.
    nesting
        Which loop lies in which.

    Notes
    -----
    A frame is a rectangle that other loops lie in. A panel with cut-outs is that too, so one thing
    more must speak for a frame: a second rectangle close inside the first with loops in it; a title
    block, which is three lines or cells that stand on the frame's edge in a corner, or three texts
    and a line there; or panels that would be cut-outs and their holes panels, too small to be any.
    """
    parents, children = nesting.parents, nesting.children.get(outer, [])
    around = _look(drawing, outer, nesting)
    if not children or not around.is_rectangle:
        return None
    inner = _find_inner(around, [_look(drawing, i, nesting) for i in children])
    frame = around if inner is None else inner
    touching = _find_touching(drawing, frame, nesting, outer=outer)
    standing = {shape.number for shape in touching}
    inside = [_look(drawing, i, nesting) for i in _find_below(frame.number, nesting) if i not in standing]
    if not inside:
        return None
    block = _find_title_block(drawing, frame, inside, touching)
    cells = block.cells if block else frozenset()
    panels = [shape for shape in inside if shape.number not in cells and parents[shape.number] == frame.number]
    if block is not None:
        reason = "a title block stands in its corner"
    elif inner is not None:
        reason = "it is drawn twice, one line close inside the other"
    else:
        reason = _say_holes(inside, panels, parents, frame)
    if not panels or not reason:
        return None
    return Frame(
        loops=tuple(sorted({outer, frame.number, *cells})),
        chains=block.chains if block else (),
        panels=len(panels),
        reason=reason,
        block_mm=block.box if block else None,
    )


def _say_holes(inside: list[_Shape], panels: list[_Shape], parents: tuple[int | None, ...], frame: _Shape) -> str:
    """Return that loops in what would be cut-outs are holes rather than panels; nothing where they are not."""
    held = {shape.number for shape in panels}
    small = [shape for shape in inside if parents[shape.number] in held and _is_no_panel(shape)]
    with_small = {parents[shape.number] for shape in small}
    filled = sum(_measure_box_mm2(shape.box) for shape in panels if shape.number in with_small)
    if small and filled >= MIN_FILLED_SHARE * _measure_box_mm2(frame.box):
        return f"within it {len(small)} loops in other loops are holes rather than panels"
    return ""


def _look(drawing: Drawing, number: int, nesting: Nesting) -> _Shape:
    contour = drawing.loops[number].contour
    min_x, min_y, max_x, max_y = nesting.boxes_mm[number].tolist()
    box = min_x, min_y, max_x, max_y
    return _Shape(number=number, contour=contour, box=box, is_rectangle=_is_rectangle(contour, box))


def _is_rectangle(contour: Contour, box: Box) -> bool:
    """Return whether a contour is an upright rectangle, its sides in any number of pieces."""
    if contour.bulges.any():
        return False
    along = np.roll(contour.points_mm, -1, axis=0) - contour.points_mm
    if (np.abs(along).min(axis=1) > SQUARE_TOL_RAD * np.hypot(*along.T)).any():
        return False
    area = _measure_box_mm2(box)
    return area > 0.0 and abs(abs(measure_area_mm2(contour)) - area) < 1e-3 * area


def _find_below(number: int, nesting: Nesting) -> list[int]:
    """Return the loops that lie in a loop, at any depth."""
    below: list[int] = []
    waiting = list(nesting.children.get(number, []))
    while waiting:
        at = waiting.pop()
        below.append(at)
        waiting += nesting.children.get(at, [])
    return sorted(below)


def _find_inner(around: _Shape, children: list[_Shape]) -> _Shape | None:
    """Return the second line of a frame: a rectangle close inside the first on all four sides."""
    width, height = around.box[2] - around.box[0], around.box[3] - around.box[1]
    for shape in children:
        band = max(abs(a - b) for a, b in zip(shape.box, around.box, strict=True))
        if shape.is_rectangle and band <= MAX_BAND_SHARE * min(width, height):
            return shape
    return None


def _find_touching(drawing: Drawing, frame: _Shape, nesting: Nesting, *, outer: int) -> list[_Shape]:
    """Return rectangles within a frame that stand on its edge; nesting is not certain of these."""
    places = {None, frame.number, nesting.parents[frame.number]}
    about = np.sort(nesting.tree.query(shapely.box(*frame.box)))
    apart = nesting.boxes_mm[about] - np.array(frame.box)
    near = np.abs(apart).min(axis=1) <= TOUCH_MM
    held = (apart[:, :2] >= -TOUCH_MM).all(axis=1) & (apart[:, 2:] <= TOUCH_MM).all(axis=1)
    shapes = [
        _look(drawing, i, nesting)
        for i in about[near & held].tolist()
        if i not in (outer, frame.number) and nesting.parents[i] in places and i not in nesting.apart
    ]
    return [shape for shape in shapes if shape.is_rectangle]


def _holds(box: Box, other: Box) -> bool:
    return (
        box[0] - TOUCH_MM <= other[0]
        and box[1] - TOUCH_MM <= other[1]
        and other[2] <= box[2] + TOUCH_MM
        and other[3] <= box[3] + TOUCH_MM
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """A title block: open chains and loops by number, and its box."""

    chains: tuple[int, ...]
    cells: frozenset[int]
    box: Box


def _find_title_block(drawing: Drawing, frame: _Shape, inside: list[_Shape], touching: list[_Shape]) -> _Block | None:
    """Return what stands in a corner of a frame: ruled lines and cells that hang together, enough or with texts."""
    chains = [(~i, _find_box(chain.vertices)) for i, chain in enumerate(drawing.open_chains) if _is_ruled(chain)]
    cells = [(shape.number, shape.box) for shape in inside if shape.is_rectangle]
    cells += [(shape.number, shape.box) for shape in touching]
    ruled = [(i, box) for i, box in (*chains, *cells) if _holds(frame.box, box)]
    for group in _group_touching(ruled):
        boxes = np.array([box for _, box in group])
        (min_x, min_y), (max_x, max_y) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
        block = min_x, min_y, max_x, max_y
        if not _may_be_block(block, frame.box):
            continue
        texts = sum(_holds(block, (text.x_mm, text.y_mm, text.x_mm, text.y_mm)) for text in drawing.texts)
        if len(group) >= MIN_BLOCK_LINES or texts >= MIN_BLOCK_TEXTS:
            return _Block(
                chains=tuple(~i for i, _ in group if i < 0),
                cells=frozenset(i for i, _ in group if i >= 0),
                box=block,
            )
    return None


def _group_touching(ruled: list[tuple[int, Box]]) -> list[list[tuple[int, Box]]]:
    """Return lines and cells in groups whose boxes touch."""
    if not ruled:
        return []
    boxes = shapely.box(*np.array([box for _, box in ruled]).T)
    one, other = shapely.STRtree(boxes).query(boxes, predicate="dwithin", distance=TOUCH_MM)
    return [[ruled[i] for i in group] for group in group_pairs(len(ruled), one, other)]


def _may_be_block(block: Box, frame: Box) -> bool:
    """Return whether a box stands in a corner of a frame and leaves enough of it for what is drawn."""
    width, height = frame[2] - frame[0], frame[3] - frame[1]
    gap = MAX_CORNER_GAP_SHARE * min(width, height)
    sides = [abs(a - b) for a, b in zip(block, frame, strict=True)]
    in_corner = min(sides[0], sides[2]) <= gap and min(sides[1], sides[3]) <= gap
    return (
        in_corner and block[2] - block[0] <= MAX_BLOCK_SHARE * width and block[3] - block[1] <= MAX_BLOCK_SHARE * height
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


def _is_no_panel(shape: _Shape) -> bool:
    """Return whether a loop is too small or round to be a panel of its own."""
    width, height = shape.box[2] - shape.box[0], shape.box[3] - shape.box[1]
    if min(width, height) < MIN_PANEL_MM:
        return True
    return max(width, height) <= MAX_DISC_MM and find_circle(shape.contour) is not None


def _measure_box_mm2(box: Box) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])
