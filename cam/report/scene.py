"""The sheet from above as SVG: panels, kerf, tool-centre paths, bridges, changed corners.

Everything is drawn in the program's own coordinates, y upwards, and turned over once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from math import hypot

import numpy as np

from cam.backplot.sweep import find_radius_mm
from cam.backplot.trace import Trace
from cam.geometry.contour import BoolArray, FloatArray, Region
from cam.geometry.transform import map_region
from cam.panel.panel import RoundedCorner
from cam.report.clamps import draw_keep_outs, lay_rectangle
from cam.report.markup import Markup, element, format_number
from cam.report.strokes import (
    Bridge,
    Kerf,
    Motion,
    Stroke,
    find_boxes_mm,
    find_bridges,
    find_kerfs,
    find_strokes,
    trace_moves,
)
from cam.report.svg import trace_contour, trace_region
from cam.sheet.layout import Layout, Placement, place_contour, place_point, place_region
from cam.tables.job import Face, KeepOut
from cam.tables.rows import Cutter

_OUTSIDE_SHARE = 0.25
_MARGIN_SHARE = 0.06


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The part of the sheet's frame that a picture shows, y upwards.

    ``unit_mm`` is a hundredth of the longer side: marks and letters are measured in it.
    """

    min_x_mm: float
    min_y_mm: float
    max_x_mm: float
    max_y_mm: float

    @property
    def unit_mm(self) -> float:
        """A hundredth of the longer side."""
        return max(self.max_x_mm - self.min_x_mm, self.max_y_mm - self.min_y_mm) / 100.0

    @property
    def box(self) -> str:
        """The ``viewBox``; SVG counts y downwards."""
        sides = (self.min_x_mm, -self.max_y_mm, self.max_x_mm - self.min_x_mm, self.max_y_mm - self.min_y_mm)
        return " ".join(format_number(side) for side in sides)

    def contains(self, x_mm: float, y_mm: float) -> bool:
        """Return whether a point lies in the view."""
        return self.min_x_mm <= x_mm <= self.max_x_mm and self.min_y_mm <= y_mm <= self.max_y_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedCorner:
    """A corner that the corner rule changed, where it lies on the sheet, with its number from 1."""

    number: int
    panel: str
    corner: RoundedCorner
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """What there is to draw, found once from trace and layout; ``boxes_mm`` are those of the moves."""

    trace: Trace
    boxes_mm: FloatArray
    layout: Layout
    regions: tuple[Region, ...]
    strokes: tuple[Stroke, ...]
    kerfs: tuple[Kerf, ...]
    bridges: tuple[Bridge, ...]
    corners: tuple[PlacedCorner, ...]
    cutters: tuple[Cutter, ...]
    keep_outs: tuple[KeepOut, ...] = ()


def find_scene(
    trace: Trace,
    *,
    layout: Layout,
    cutters: tuple[Cutter, ...],
    bed_z_mm: float,
    keep_outs: tuple[KeepOut, ...] = (),
) -> Scene:
    """Return what the picture shows."""
    heights = {"bed_z_mm": bed_z_mm, "top_z_mm": bed_z_mm + layout.max_top_mm}
    return Scene(
        trace=trace,
        boxes_mm=find_boxes_mm(trace),
        layout=layout,
        regions=tuple(place_region(placement) for placement in layout.placements),
        strokes=find_strokes(trace, **heights),
        kerfs=find_kerfs(trace, **heights),
        bridges=find_bridges(trace, **heights),
        corners=_place_corners(layout),
        cutters=cutters,
        keep_outs=keep_outs,
    )


def name_panel(placement: Placement) -> str:
    """Return a panel's name, and that it lies face down where it does."""
    return placement.panel.name + (", face down: cut mirrored" if placement.face is Face.DOWN else "")


def find_view(layout: Layout, *, trace: Trace, keep_outs: tuple[KeepOut, ...] = ()) -> View:
    """Return a view of the whole sheet, moves and clamps, up to a quarter of the sheet beyond its edges."""
    reach = _OUTSIDE_SHARE * max(layout.width_mm, layout.height_mm)
    low, high = np.array([-reach, -reach]), np.array([layout.width_mm + reach, layout.height_mm + reach])
    points = np.concatenate(
        (
            [[0.0, 0.0], [layout.width_mm, layout.height_mm]],
            trace.start_mm[:, :2],
            trace.end_mm[:, :2],
            *(lay_rectangle(each).points_mm for each in keep_outs),
        )
    )
    points = np.clip(points[np.isfinite(points).all(axis=1)], low, high)
    margin = _MARGIN_SHARE * max(layout.width_mm, layout.height_mm)
    (min_x, min_y), (max_x, max_y) = points.min(axis=0) - margin, points.max(axis=0) + margin
    return View(min_x_mm=float(min_x), min_y_mm=float(min_y), max_x_mm=float(max_x), max_y_mm=float(max_y))


def _place_corners(layout: Layout) -> tuple[PlacedCorner, ...]:
    placed: list[PlacedCorner] = []
    for placement in layout.placements:
        for corner in placement.panel.rounded:
            x_mm, y_mm = place_point(placement, (corner.x_mm, corner.y_mm))
            name = placement.panel.name
            placed.append(PlacedCorner(number=len(placed) + 1, panel=name, corner=corner, x_mm=x_mm, y_mm=y_mm))
    return tuple(placed)


def draw_scene(scene: Scene) -> Markup:
    """Return the group of everything that lies flat, without marks and letters."""
    layout = scene.layout
    sheet = f"M0 0H{format_number(layout.width_mm)}V{format_number(layout.height_mm)}H0Z"
    panels = [element("path", d=trace_region(region), class_="panel") for region in scene.regions]
    contours = [contour for region in scene.regions for contour in region.contours]
    edges = [element("path", d=trace_contour(contour), class_="edge") for contour in contours]
    edges += [element("path", d=trace_region(region), class_="recess") for region in place_sunk_regions(layout)]
    every = np.ones(len(scene.trace), dtype=bool)
    return _turn_over(
        element("g", element("path", d=sheet, class_="sheet"), *panels, id="land"),
        _draw_kerfs(scene, shown=every, name="kerf"),
        element("g", *edges, id="edges"),
        *([draw_keep_outs(scene.keep_outs)] if scene.keep_outs else []),
        _draw_ways(scene, shown=every),
    )


def place_sunk_regions(layout: Layout) -> list[Region]:
    """Return the recesses and grooves of all panels where they lie on the sheet."""
    return [
        map_region(recess.region, partial(place_contour, placement))
        for placement in layout.placements
        for recess in placement.panel.recesses
    ]


def draw_window(scene: Scene, *, view: View, name: str) -> Markup:
    """Return what lies flat in a part of the sheet; only the moves that reach into it are drawn again.

    ``name`` begins the ids of its elements.
    """
    reach = max((cutter.radius_mm for cutter in scene.cutters), default=0.0)
    low_x, low_y, high_x, high_y = scene.boxes_mm.T
    shown = (low_x <= view.max_x_mm + reach) & (high_x >= view.min_x_mm - reach)
    shown &= (low_y <= view.max_y_mm + reach) & (high_y >= view.min_y_mm - reach)
    return _turn_over(
        element("use", href="#land"),
        _draw_kerfs(scene, shown=shown, name=name),
        element("use", href="#edges"),
        *([element("use", href="#keep-outs")] if scene.keep_outs else []),
        _draw_ways(scene, shown=shown),
    )


def _turn_over(*content: Markup) -> Markup:
    return element("g", *content, class_="scene", transform="scale(1 -1)")


def _draw_ways(scene: Scene, *, shown: BoolArray) -> Markup:
    ways = []
    for stroke, style in style_strokes(scene.strokes):
        rows = stroke.rows[shown[stroke.rows]]
        if len(rows):
            ways.append(element("path", d=trace_moves(scene.trace, rows=rows), class_=style))
    return element("g", *ways)


def _draw_kerfs(scene: Scene, *, shown: BoolArray, name: str) -> Markup:
    """Return the kerfs at true width, of pointed cutters that at the top; where material stays beneath, with rungs."""
    cutters = {cutter.tool: cutter for cutter in scene.cutters}
    drawn: list[Markup] = []
    for number, kerf in enumerate(scene.kerfs, start=1):
        rows = kerf.rows[shown[kerf.rows]]
        if not len(rows):
            continue
        cutter, path = cutters.get(kerf.tool), trace_moves(scene.trace, rows=rows)
        width = 1.0 if cutter is None else 2.0 * find_radius_mm(cutter, above_tip_mm=kerf.depth_mm)
        style = "" if cutter is not None else " kerf-unknown"
        if kerf.through:
            drawn.append(element("path", d=path, class_=f"kerf kerf-through{style}", stroke_width=width))
            continue
        # one path, stroked twice: the path itself has no stroke
        link = f"#{name}-{number}"
        drawn.append(element("defs", element("path", d=path, id=link[1:])))
        drawn.append(element("use", href=link, class_=f"kerf kerf-part{style}", stroke_width=width))
        drawn.append(element("use", href=link, class_="kerf kerf-rungs", stroke_width=0.7 * width))
    return element("g", *drawn, class_="kerfs")


def style_strokes(strokes: tuple[Stroke, ...]) -> list[tuple[Stroke, str]]:
    """Return each stroke with its classes: level cuts are numbered from the highest."""
    styled, level = [], 0
    for stroke in strokes:
        style = f"way {stroke.motion}"
        if stroke.motion is Motion.LEVEL:
            style += f" level-{level}"
            level += 1
        styled.append((stroke, style))
    return styled


def measure_distance_mm(one_mm: tuple[float, float], other_mm: tuple[float, float]) -> float:
    """Return the distance between two points."""
    return hypot(one_mm[0] - other_mm[0], one_mm[1] - other_mm[1])
