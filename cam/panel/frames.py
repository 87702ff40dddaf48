"""Rectangles round everything else: the frame of a drawing sheet and its title block."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.drawing import Drawing
from cam.panel.paper import find_paper
from cam.panel.rectangles import (
    TOUCH_MM,
    Box,
    Nesting,
    Shape,
    is_no_panel,
    look_at,
    measure_box_mm2,
    measure_sides_mm,
)
from cam.panel.title_blocks import find_title_block

MAX_BAND_SHARE = 0.06
"""The band between the two lines of a frame is no wider than this share of the shorter side."""
MIN_FILLED_SHARE = 0.2
"""What a frame holds fills at least this share of it."""
MIN_DRAWN_SHARE = 0.1
"""What a sheet of paper holds fills at least this share of it; less is a panel with an opening."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """A drawing frame: its loops, title block included, the open chains of that, its box, and what gave it away."""

    loops: tuple[int, ...]
    chains: tuple[int, ...]
    panels: int
    reason: str
    block_mm: Box | None


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
    block in a corner; loops that would be panels in cut-outs and are too small for that; or the size of
    a sheet of paper, round loops that may all be panels.

    A title block is three lines or cells, or one with three texts. Where it stands on both edges of the
    corner one text is enough, and none is needed where the frame is drawn twice or is a sheet's size: a
    cut-out does not run along its own outline.
    """
    parents, children = nesting.parents, nesting.children.get(outer, [])
    around = look_at(drawing, outer, nesting)
    if not children or not around.is_rectangle:
        return None
    inner = _find_inner(around, [look_at(drawing, i, nesting) for i in children if i not in nesting.stated])
    frame = around if inner is None else inner
    touching = _find_touching(drawing, frame, nesting, outer=outer)
    standing = {shape.number for shape in touching}
    below = {j for i in (frame.number, *standing) for j in _find_below(i, nesting)} - standing
    inside = [look_at(drawing, i, nesting) for i in sorted(below)]
    if not inside:
        return None
    paper = find_paper(measure_sides_mm(around.box)) or find_paper(measure_sides_mm(frame.box))
    is_likely = inner is not None or bool(paper)
    free = [shape for shape in inside if shape.number not in nesting.stated]
    block = find_title_block(drawing, frame, free, touching, nesting=nesting, is_likely=is_likely)
    cells = block.cells if block else frozenset()
    panels = [shape for shape in inside if shape.number not in cells and parents[shape.number] == frame.number]
    if block is not None:
        reason = "a title block stands in its corner"
    elif inner is not None:
        reason = "it is drawn twice, one line close inside the other"
    else:
        reason = _say_holes(inside, panels, parents, frame) or _say_paper(panels, frame, paper)
    if not panels or not reason:
        return None
    return Frame(
        loops=tuple(sorted({outer, frame.number, *cells})),
        chains=block.chains if block else (),
        panels=len(panels),
        reason=reason,
        block_mm=block.box if block else None,
    )


def _say_holes(inside: list[Shape], panels: list[Shape], parents: tuple[int | None, ...], frame: Shape) -> str:
    """Return that loops in what would be cut-outs are holes rather than panels; nothing where they are not."""
    held = {shape.number for shape in panels}
    small = [shape for shape in inside if parents[shape.number] in held and is_no_panel(shape)]
    with_small = {parents[shape.number] for shape in small}
    filled = sum(measure_box_mm2(shape.box) for shape in panels if shape.number in with_small)
    if small and filled >= MIN_FILLED_SHARE * measure_box_mm2(frame.box):
        return f"within it {len(small)} loops in other loops are holes rather than panels"
    return ""


def _say_paper(panels: list[Shape], frame: Shape, paper: str) -> str:
    """Return that a rectangle has the size of a sheet of paper, where all that it holds may be panels."""
    filled = sum(measure_box_mm2(shape.box) for shape in panels)
    if not paper or any(map(is_no_panel, panels)) or filled < MIN_DRAWN_SHARE * measure_box_mm2(frame.box):
        return ""
    return f"it has the size of {paper}"


def _find_below(number: int, nesting: Nesting) -> list[int]:
    """Return the loops that lie in a loop, at any depth."""
    below: list[int] = []
    waiting = list(nesting.children.get(number, []))
    while waiting:
        at = waiting.pop()
        below.append(at)
        waiting += nesting.children.get(at, [])
    return sorted(below)


def _find_inner(around: Shape, children: list[Shape]) -> Shape | None:
    """Return the second line of a frame: a rectangle close inside the first on all four sides."""
    width, height = measure_sides_mm(around.box)
    for shape in children:
        band = max(abs(a - b) for a, b in zip(shape.box, around.box, strict=True))
        if shape.is_rectangle and band <= MAX_BAND_SHARE * min(width, height):
            return shape
    return None


def _find_touching(drawing: Drawing, frame: Shape, nesting: Nesting, *, outer: int) -> list[Shape]:
    """Return rectangles within a frame that stand on its edge; nesting is not certain of these."""
    places = {None, frame.number, nesting.parents[frame.number]}
    about = np.sort(nesting.tree.query(shapely.box(*frame.box)))
    apart = nesting.boxes_mm[about] - np.array(frame.box)
    near = np.abs(apart).min(axis=1) <= TOUCH_MM
    held = (apart[:, :2] >= -TOUCH_MM).all(axis=1) & (apart[:, 2:] <= TOUCH_MM).all(axis=1)
    shapes = [
        look_at(drawing, i, nesting)
        for i in about[near & held].tolist()
        if i not in (outer, frame.number) and nesting.parents[i] in places and i not in nesting.apart | nesting.stated
    ]
    return [shape for shape in shapes if shape.is_rectangle]
