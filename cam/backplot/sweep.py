"""What a trace removes from the sheet, by height above the bed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from math import acos, ceil, cos, pi, radians, sqrt, tan

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.portions import (
    Chords,
    Portions,
    chord_portions,
    cut_portions,
    divide_portions,
    find_portions,
    take_portions,
)
from cam.backplot.trace import Trace
from cam.geometry.contour import FloatArray
from cam.tables.rows import Cutter, CutterKind

# vertices of one path that is widened at once: long enough to spare unions, short enough that a
# program of any length is swept in bounded pieces
CHAIN_VERTICES = 500


class Side(IntEnum):
    """On which side of the truth an approximation lies."""

    WITHIN = -1
    BEYOND = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """The removed region at each height, from both sides of the truth; geometries of shapely.

    Attributes
    ----------
    heights_mm
        Heights above the bed, ascending.
    within, beyond
        At each height, a region that was removed for certain, and one outside which nothing was.
    bound_mm
        How far the line of either lies from the truth at most.
    """

    heights_mm: tuple[float, ...]
    within: tuple[BaseGeometry, ...]
    beyond: tuple[BaseGeometry, ...]
    bound_mm: float


def sweep_trace(
    trace: Trace,
    *,
    cutters: Mapping[int, Cutter],
    heights_mm: Sequence[float],
    top_mm: float,
    zero_height_mm: float = 0.0,
    chord_tol_mm: float = 0.0002,
) -> Sweep:
    """Return what a trace removes at heights above the bed.

    Parameters
    ----------
    cutters
        The cutter of each T number; moves with another number remove nothing.
    heights_mm
        Where to look; each at most ``top_mm``, the height of the sheet's upper face.
    zero_height_mm
        The height of the program's Z zero above the bed.
    chord_tol_mm
        How far chords may lie off arcs.

    Notes
    -----
    At a height h the region is the union of the cutter's discs of :func:`find_radius_mm` ``(h - z)``
    along every portion with its tip at z <= h. Discs and arcs are widened polygons: those of
    ``within`` are inscribed and their radius less by the chord tolerance where the path is an arc;
    those of ``beyond`` circumscribed and more. A disc's polygon lies within twice the tolerance of it,
    so that the bound is four times the tolerance.
    """
    heights = tuple(sorted(heights_mm))
    if heights and heights[-1] > top_mm:
        raise ValueError("nothing is removed above the sheet")
    portions = find_portions(trace, zero_height_mm=zero_height_mm, chord_tol_mm=chord_tol_mm)
    below = cut_portions(portions, below_mm=heights[-1]) if heights else portions
    regions = {
        side: tuple(
            sweep_portions(below, cutters=cutters, height_mm=height, side=side, chord_tol_mm=chord_tol_mm)
            for height in heights
        )
        for side in Side
    }
    return Sweep(
        heights_mm=heights,
        within=regions[Side.WITHIN],
        beyond=regions[Side.BEYOND],
        bound_mm=4.0 * chord_tol_mm,
    )


def find_radius_mm(cutter: Cutter, *, above_tip_mm: float) -> float:
    """Return the radius that a cutter clears at a height above its tip, 0 at or below a point's tip.

    Notes
    -----
    Ball: ``sqrt(2 r h - h^2)`` up to h = r. Vee and drill: ``h tan(p / 2)`` with p the point angle.
    Both up to the cutter's radius.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> ball = SimpleNamespace(kind=CutterKind.BALL, radius_mm=3.0)
    >>> find_radius_mm(ball, above_tip_mm=3.0)
    3.0
    >>> find_radius_mm(ball, above_tip_mm=0.0)
    0.0
    """
    if above_tip_mm < 0.0:
        return 0.0
    if cutter.kind is CutterKind.FLAT:
        return cutter.radius_mm
    if cutter.kind is CutterKind.BALL:
        height = min(above_tip_mm, cutter.radius_mm)
        return sqrt(height * (2.0 * cutter.radius_mm - height))
    return min(cutter.radius_mm, above_tip_mm * tan(radians(cutter.point_angle_deg) / 2.0))


def sweep_portions(
    portions: Portions, *, cutters: Mapping[int, Cutter], height_mm: float, side: Side, chord_tol_mm: float
) -> BaseGeometry:
    """Return what portions of moves remove at one height, from one side of the truth."""
    below = cut_portions(portions, below_mm=height_mm)
    pieces: list[BaseGeometry] = []
    for tool in np.unique(below.tool):
        cutter = cutters.get(int(tool))
        if cutter is None:
            continue
        of_tool = take_portions(below, below.tool == tool)
        if cutter.kind is CutterKind.FLAT:
            pieces.extend(_widen(of_tool, radius_mm=cutter.radius_mm, side=side, chord_tol_mm=chord_tol_mm))
            continue
        level = of_tool.start_mm[:, 2] == of_tool.end_mm[:, 2]
        for tip in np.unique(of_tool.end_mm[level, 2]):
            # along a level path a pointed cutter is a flat one of another radius
            radius = find_radius_mm(cutter, above_tip_mm=height_mm - float(tip))
            same = take_portions(of_tool, level & (of_tool.end_mm[:, 2] == tip))
            if radius > 0.0:
                pieces.extend(_widen(same, radius_mm=radius, side=side, chord_tol_mm=chord_tol_mm))
        sloping = take_portions(of_tool, ~level)
        pieces.extend(_widen_tapered(sloping, cutter, height_mm=height_mm, side=side, chord_tol_mm=chord_tol_mm))
    # panels stand apart: what touches is united group by group
    return shapely.disjoint_subset_union_all(pieces)


def _widen_tapered(
    portions: Portions, cutter: Cutter, *, height_mm: float, side: Side, chord_tol_mm: float
) -> list[BaseGeometry]:
    """Widen by a radius that depends on the tip's height: hulls of two discs, step by step.

    Notes
    -----
    The cleared radius is a concave function of the height, so that discs between two of a step are no
    smaller than the hull's.
    """
    chords = _step_slopes(_settle_plunges(portions), cutter, height_mm=height_mm, chord_tol_mm=chord_tol_mm)
    round_ = portions.sweep_rad[chords.portion] != 0.0
    spare = side * chord_tol_mm * round_ + (chord_tol_mm if side is Side.BEYOND else 0.0)
    quarter, grown = _choose_disc(cutter.radius_mm + chord_tol_mm, side=side, disc_tol_mm=2.0 * chord_tol_mm)
    growth = grown / (cutter.radius_mm + chord_tol_mm)
    outlines = []
    for ends in (chords.start_mm, chords.end_mm):
        radius = _find_radii_mm(cutter, above_tip_mm=height_mm - ends[:, 2]) + spare
        tips = np.asarray(shapely.points(ends[:, :2]))
        # the disc of radius 0 is its tip
        outlines += [tips, np.asarray(shapely.buffer(tips, np.maximum(radius, 0.0) * growth, quad_segs=quarter))]
    hulls = np.asarray(shapely.convex_hull(shapely.geometrycollections(np.column_stack(outlines))))
    return [hull for hull in hulls if hull.area > 0.0]


def _settle_plunges(portions: Portions) -> Portions:
    """Return the portions with each vertical one reduced to its lowest point."""
    vertical = (portions.start_mm[:, :2] == portions.end_mm[:, :2]).all(axis=1) & (portions.sweep_rad == 0.0)
    deeper = portions.end_mm[:, 2] <= portions.start_mm[:, 2]
    return divide_portions(
        portions,
        from_share=np.where(vertical & deeper, 1.0, 0.0),
        to_share=np.where(vertical & ~deeper, 0.0, 1.0),
    )


def _find_radii_mm(cutter: Cutter, *, above_tip_mm: FloatArray) -> FloatArray:
    return np.array([find_radius_mm(cutter, above_tip_mm=float(height)) for height in above_tip_mm])


def _step_slopes(portions: Portions, cutter: Cutter, *, height_mm: float, chord_tol_mm: float) -> Chords:
    """Return chords over each of which the cleared radius grows evenly within the chord tolerance.

    Notes
    -----
    A concave function lies above its chord by at most twice as much as it does in the middle.
    """
    left = chord_portions(portions, chord_tol_mm=chord_tol_mm)
    done: list[Chords] = []
    while len(left):
        middle = (left.start_mm + left.end_mm) / 2.0
        low, between, high = (
            _find_radii_mm(cutter, above_tip_mm=height_mm - z[:, 2]) for z in (left.start_mm, middle, left.end_mm)
        )
        fine = between - (low + high) / 2.0 <= chord_tol_mm / 2.0
        done.append(Chords(portion=left.portion[fine], start_mm=left.start_mm[fine], end_mm=left.end_mm[fine]))
        left = Chords(
            portion=np.concatenate((left.portion[~fine], left.portion[~fine])),
            start_mm=np.concatenate((left.start_mm[~fine], middle[~fine])),
            end_mm=np.concatenate((middle[~fine], left.end_mm[~fine])),
        )
    return Chords(
        portion=np.concatenate([each.portion for each in done]) if done else left.portion,
        start_mm=np.concatenate([each.start_mm for each in done]) if done else left.start_mm,
        end_mm=np.concatenate([each.end_mm for each in done]) if done else left.end_mm,
    )


def _widen(portions: Portions, *, radius_mm: float, side: Side, chord_tol_mm: float) -> list[BaseGeometry]:
    """Return regions whose union is the disc's sweep along portions, each portion's line taken once."""
    portions = _drop_repeats(portions)
    arc = portions.sweep_rad != 0.0
    # a chord may lie on either side of the wall that its arc makes: discs are taken smaller or larger by as much
    widths = ((~arc, radius_mm), (arc, radius_mm + side * chord_tol_mm))
    pieces: list[BaseGeometry] = []
    for rows, width in widths:
        if not rows.any() or width <= 0.0:
            continue
        lines = _chain(take_portions(portions, rows), chord_tol_mm=chord_tol_mm)
        quarter, grown = _choose_disc(width, side=side, disc_tol_mm=2.0 * chord_tol_mm)
        pieces.extend(shapely.buffer(lines, grown, quad_segs=quarter))
    return pieces


def _choose_disc(radius_mm: float, *, side: Side, disc_tol_mm: float) -> tuple[int, float]:
    """Return chords to a quarter and the radius of a polygon that lies in or about a disc.

    Notes
    -----
    Where a path turns, the engine divides the turn into a whole number of chords, each up to one and
    a half times the even step; a chord over the angle t lies ``r (1 - cos(t / 2))`` off.
    """
    half_angle = acos(max(0.0, 1.0 - disc_tol_mm / (radius_mm + disc_tol_mm)))
    quarter = max(4, ceil(1.5 * pi / 4.0 / half_angle))
    if side is Side.WITHIN:
        return quarter, radius_mm
    return quarter, radius_mm / cos(1.5 * pi / 4.0 / quarter)


def _drop_repeats(portions: Portions) -> Portions:
    """Return the portions without those whose line, seen from above, came before, either way round."""
    a, b = portions.start_mm[:, :2], portions.end_mm[:, :2]
    turn = portions.sweep_rad
    flip = (a[:, 0] > b[:, 0]) | ((a[:, 0] == b[:, 0]) & (a[:, 1] > b[:, 1]))
    key = np.column_stack(
        (
            np.where(flip[:, None], b, a),
            np.where(flip[:, None], a, b),
            np.where(turn != 0.0, portions.centre_mm.T, 0.0).T,
            np.where(flip, -turn, turn),
        )
    )
    _, first = np.unique(np.round(key, 9), axis=0, return_index=True)
    return take_portions(portions, np.sort(first))


def _chain(portions: Portions, *, chord_tol_mm: float) -> npt.NDArray[np.object_]:
    """Return lines along portions, consecutive ones joined, each of a bounded number of vertices; points where none."""
    chords = chord_portions(portions, chord_tol_mm=chord_tol_mm)
    start, end = chords.start_mm[:, :2], chords.end_mm[:, :2]
    row = np.arange(len(start))
    begins = np.append(True, (start[1:] != end[:-1]).any(axis=1))
    first = np.flatnonzero(begins)[np.cumsum(begins) - 1]
    # a long run is divided, the parts sharing a vertex
    begins = (row - first) % CHAIN_VERTICES == 0
    moves = (start != end).any(axis=1)
    line = np.cumsum(begins) - 1
    points = np.empty((2 * len(start), 2))
    points[0::2], points[1::2] = start, end
    kept = np.column_stack((begins, moves)).ravel()
    owner = np.repeat(line, 2)[kept]
    counts = np.bincount(owner)
    long = counts > 1
    lines = np.empty(len(counts), dtype=np.object_)
    spread = points[kept]
    of_long = long[owner]
    lines[long] = shapely.linestrings(spread[of_long], indices=np.cumsum(long)[owner[of_long]] - 1)
    lines[~long] = shapely.points(spread[~of_long])
    return lines
