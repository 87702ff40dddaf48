"""How high material stands at a place and a time: the paths cut so far, in a tree."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from cam.backplot.portions import Portions, divide_portions, take_portions
from cam.geometry.contour import FloatArray, IntArray
from cam.tables.rows import Cutter, CutterKind

PIECE_MM = 20.0
"""The longest piece of a path in the tree, so that its box is small."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PathTree:
    """Pieces of paths in order of execution, their boxes widened by the cutter's radius; m rows.

    ``radius_mm`` (m,) is the cutter's, ``slope`` (m,) the rise of a pointed cutter's flank over its
    distance from the axis, ``round_`` (m,) 1 for a ball.
    """

    top_mm: float
    pieces: Portions
    radius_mm: FloatArray
    slope: FloatArray
    round_: FloatArray
    tree: shapely.STRtree


def lay_paths(portions: Portions, *, cutters: Mapping[int, Cutter], top_mm: float) -> PathTree:
    """Return the tree of portions; those of unknown tools are left out."""
    known = np.isin(portions.tool, np.array(sorted(cutters), dtype=np.int64))
    pieces = _divide(take_portions(portions, known))
    radius, slope, round_ = np.zeros(len(pieces)), np.zeros(len(pieces)), np.zeros(len(pieces))
    for tool in np.unique(pieces.tool):
        cutter, rows = cutters[int(tool)], pieces.tool == tool
        radius[rows] = cutter.radius_mm
        if cutter.kind is CutterKind.BALL:
            round_[rows] = 1.0
        elif cutter.kind is not CutterKind.FLAT:
            slope[rows] = 1.0 / np.tan(np.radians(cutter.point_angle_deg) / 2.0)
    # no arc of the tree turns more than a quarter, so that it lies within its rise of its chord
    arc = pieces.sweep_rad != 0.0
    rise = np.where(arc, np.where(arc, pieces.radius_mm, 0.0) * (1.0 - np.cos(pieces.sweep_rad / 2.0)), 0.0)
    reach = (radius + rise)[:, None]
    low = np.minimum(pieces.start_mm, pieces.end_mm)[:, :2] - reach
    high = np.maximum(pieces.start_mm, pieces.end_mm)[:, :2] + reach
    return PathTree(
        top_mm=top_mm,
        pieces=pieces,
        radius_mm=radius,
        slope=slope,
        round_=round_,
        tree=shapely.STRtree(np.asarray(shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1]))),
    )


def _divide(portions: Portions) -> Portions:
    """Return the portions in pieces of a bounded length and turn."""
    arc = portions.sweep_rad != 0.0
    chord = np.hypot(*(portions.end_mm - portions.start_mm)[:, :2].T)
    turn = np.abs(portions.sweep_rad)
    length = np.where(arc, np.where(arc, portions.radius_mm, 0.0) * turn, chord)
    count = np.maximum(1, np.ceil(np.maximum(length / PIECE_MM, turn / (np.pi / 2.0) - 1e-9))).astype(np.int64)
    index = np.repeat(np.arange(len(portions)), count)
    nth = np.arange(len(index)) - (np.cumsum(count) - count)[index]
    return divide_portions(
        take_portions(portions, index), from_share=nth / count[index], to_share=(nth + 1) / count[index]
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
    if not len(paths.pieces) or not len(points_mm):
        return floors
    point, piece = paths.tree.query(np.asarray(shapely.points(points_mm)))
    earlier = paths.pieces.move[piece] < before_move[point]
    point, piece = point[earlier], piece[earlier]
    distance, share = _measure(take_portions(paths.pieces, piece), points_mm[point])
    radius = paths.radius_mm[piece]
    covers = distance <= radius - margin_mm
    point, piece, distance, share, radius = (each[covers] for each in (point, piece, distance, share, radius))
    first, last = paths.pieces.start_mm[piece, 2], paths.pieces.end_mm[piece, 2]
    ball = radius - np.sqrt(np.maximum(0.0, radius**2 - distance**2))
    height = first + (last - first) * share + distance * paths.slope[piece] + ball * paths.round_[piece]
    np.minimum.at(floors, point, height)
    return floors


def _measure(pieces: Portions, points_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return each point's distance to its own piece seen from above, and the nearest point's share of it."""
    chord = (pieces.end_mm - pieces.start_mm)[:, :2]
    offset = points_mm - pieces.start_mm[:, :2]
    square = (chord**2).sum(axis=1)
    along = np.divide((offset * chord).sum(axis=1), square, out=np.zeros(len(square)), where=square > 0.0)
    share = np.clip(along, 0.0, 1.0)
    distance = np.hypot(*(offset - chord * share[:, None]).T)
    # straight down, the lowest point counts
    share = np.where(square > 0.0, share, np.where(pieces.end_mm[:, 2] <= pieces.start_mm[:, 2], 1.0, 0.0))
    arc = np.flatnonzero(pieces.sweep_rad != 0.0)
    if len(arc):
        sweep = pieces.sweep_rad[arc]
        spoke = (pieces.start_mm[:, :2] - pieces.centre_mm)[arc]
        seen = points_mm[arc] - pieces.centre_mm[arc]
        angle = np.arctan2(spoke[:, 0] * seen[:, 1] - spoke[:, 1] * seen[:, 0], (spoke * seen).sum(axis=1)) * np.sign(
            sweep
        )
        angle = np.mod(angle, 2.0 * np.pi)
        within = angle <= np.abs(sweep)
        to_start = np.hypot(*offset[arc].T)
        to_end = np.hypot(*(points_mm - pieces.end_mm[:, :2])[arc].T)
        radial = np.abs(np.hypot(*seen.T) - np.hypot(*spoke.T))
        distance[arc] = np.where(within, radial, np.minimum(to_start, to_end))
        share[arc] = np.where(within, angle / np.abs(sweep), np.where(to_end < to_start, 1.0, 0.0))
    return distance, share


def find_floor_mm(paths: PathTree, point: shapely.Point) -> float:
    """Return how high material stands at a point when all is cut."""
    spot = np.array([[point.x, point.y]])
    last = np.array([np.iinfo(np.int64).max])
    return float(find_floors_mm(paths, spot, before_move=last, margin_mm=0.0)[0])
