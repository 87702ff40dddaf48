"""How high material stands at a place and a time: the paths cut so far, in a tree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from cam.backplot.portions import Portions, chord_portions
from cam.geometry.contour import FloatArray, IntArray
from cam.tables.rows import Cutter, CutterKind

PATH_TOL_MM = 0.002
"""How far the tree's chords lie off arcs."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathTree:
    """Chords of paths in order of execution; m rows.

    ``lines`` (m,) are seen from above, ``move`` (m,) is the row of the trace, ``start_mm`` and
    ``end_mm`` (m, 3) are heights above the bed, ``radius_mm`` (m,) the cutter's, ``slope`` (m,) the rise
    of a pointed cutter's flank over its distance from the axis, ``round_`` (m,) whether it is a ball.
    """

    top_mm: float
    move: IntArray
    start_mm: FloatArray
    end_mm: FloatArray
    radius_mm: FloatArray
    slope: FloatArray
    round_: FloatArray
    lines: FloatArray
    tree: shapely.STRtree


def lay_paths(portions: Portions, *, cutters: Mapping[int, Cutter], top_mm: float) -> PathTree:
    """Return the tree of portions; those of unknown tools are left out."""
    chords = chord_portions(portions, chord_tol_mm=PATH_TOL_MM)
    tools = portions.tool[chords.portion]
    known = np.isin(tools, np.array(sorted(cutters), dtype=np.int64))
    tools = tools[known]
    start, end = chords.start_mm[known], chords.end_mm[known]
    radius, slope, round_ = np.zeros(len(tools)), np.zeros(len(tools)), np.zeros(len(tools))
    for tool in np.unique(tools):
        cutter = cutters[int(tool)]
        radius[tools == tool] = cutter.radius_mm
        if cutter.kind is CutterKind.BALL:
            round_[tools == tool] = 1.0
        elif cutter.kind is not CutterKind.FLAT:
            slope[tools == tool] = 1.0 / np.tan(np.radians(cutter.point_angle_deg) / 2.0)
    lines = np.asarray(shapely.linestrings(np.stack((start, end), axis=1)[:, :, :2]))
    return PathTree(
        top_mm=top_mm,
        move=portions.move[chords.portion[known]],
        start_mm=start,
        end_mm=end,
        radius_mm=radius,
        slope=slope,
        round_=round_,
        lines=lines,
        tree=shapely.STRtree(lines),
    )


def find_floors_mm(paths: PathTree, points_mm: FloatArray, *, before_move: IntArray, margin_mm: float) -> FloatArray:
    """Return how high material stands at points, each before a move, shape (n,).

    Parameters
    ----------
    points_mm
        (n, 2) on the sheet.
    before_move
        (n,) only moves of lesser rows have cut.
    margin_mm
        A cutter clears what is nearer to its axis than its radius less this.
    """
    floors = np.full(len(points_mm), paths.top_mm)
    if not len(paths.move) or not len(points_mm):
        return floors
    points = np.asarray(shapely.points(points_mm))
    point, chord = paths.tree.query(points, predicate="dwithin", distance=float(paths.radius_mm.max()))
    earlier = paths.move[chord] < before_move[point]
    point, chord = point[earlier], chord[earlier]
    along = (paths.end_mm - paths.start_mm)[chord]
    offset = points_mm[point] - paths.start_mm[chord, :2]
    square = (along[:, :2] ** 2).sum(axis=1)
    share = np.clip(
        np.divide((offset * along[:, :2]).sum(axis=1), square, out=np.ones(len(square)), where=square > 0.0), 0.0, 1.0
    )
    distance = np.hypot(*(offset - along[:, :2] * share[:, None]).T)
    radius = paths.radius_mm[chord]
    # a move straight down has its lowest point at one end
    low = np.minimum(paths.start_mm[chord, 2], paths.end_mm[chord, 2])
    tip = np.where(square > 0.0, paths.start_mm[chord, 2] + along[:, 2] * share, low)
    ball = radius - np.sqrt(np.maximum(0.0, radius**2 - np.minimum(distance, radius) ** 2))
    height = tip + distance * paths.slope[chord] + ball * paths.round_[chord]
    covers = distance <= radius - margin_mm
    np.minimum.at(floors, point[covers], height[covers])
    return floors


def find_floor_mm(paths: PathTree, point: shapely.Point) -> float:
    """Return how high material stands at a point when all is cut."""
    spot = np.array([[point.x, point.y]])
    last = np.array([np.iinfo(np.int64).max])
    return float(find_floors_mm(paths, spot, before_move=last, margin_mm=0.0)[0])
