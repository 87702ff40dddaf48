"""The whole way round a source at a distance: pieces and the links between them, closed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.raw import SMOOTH_MM, Pieces, offset_pieces
from cam.geometry.offset.short_cuts import find_passed
from cam.geometry.offset.source import Source

BENT_MM = 1e-9
"""Two pieces whose joint this small a step across mends are joined where they overlap."""


class ChainUnsure(Exception):  # noqa: N818 - caught inside the package, never seen outside it
    """The way round a source cannot be followed with certainty at this distance."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chain:
    """Pieces and links in order of travel, closed round by round.

    ``pieces`` holds the pieces of the offset (``is_link`` False) and straight links, which lead over
    a corner that closes or past an arc smaller than the distance; links are never part of the
    offset. ``low_mm`` and ``high_mm`` say from where to where each runs: pieces that overlap by less
    than a nanometre's bend are cut back. ``following`` and ``previous`` are the neighbours in the
    round, ``round`` is the number of the contour and ``gap_mm`` the
    gap or overlap to the next; all (n,). ``passed_mm``, (m, 2), and ``passed``, (m,), are middles of
    the offsets of segments that the chain passes by, and the segments.
    """

    pieces: Pieces
    is_link: BoolArray
    low_mm: FloatArray
    high_mm: FloatArray
    following: IntArray
    previous: IntArray
    round: IntArray
    gap_mm: FloatArray
    passed: IntArray
    passed_mm: FloatArray

    def __len__(self) -> int:
        return len(self.round)


def lay_chain(source: Source, *, distance_mm: float, side: float) -> Chain:
    """Return the closed chain of pieces and links on one side of a source.

    Raises
    ------
    ChainUnsure
        If a contour is about as large as the disc that must not fit round it.

    Notes
    -----
    The chain is the convolution of the boundary with a circle, but for its backward arcs: their
    chords take their place. Its winding number about a point is the number of separate parts of
    the material within the distance, or more, never less than 1 where there is one; for that, a
    contour that vanishes because a disc of the distance covers it must be left out whole.
    """
    segments, count = source.segments, len(source)
    pieces = offset_pieces(source, distance_mm=distance_mm, side=side)
    shift = side * distance_mm
    turn = source.turn_rad * side
    closes = turn * distance_mm < -SMOOTH_MM
    # across the joint of two overlapping pieces, a bend of this many mm
    bent = closes & (0.5 * distance_mm * turn**2 <= BENT_MM)
    made = np.zeros(2 * count, dtype=np.bool_)
    made[pieces.maker] = True
    start = segments.start_mm + shift * np.column_stack((source.start_direction[:, 1], -source.start_direction[:, 0]))
    end = segments.end_mm + shift * np.column_stack((source.end_direction[:, 1], -source.end_direction[:, 0]))
    past = ~made[:count] & (np.hypot(*(end - start).T) > SMOOTH_MM)
    closing = np.where(closes & ~bent, -turn, 0.0)
    passed = find_passed(source, closing_rad=closing, distance_mm=distance_mm)
    over = np.flatnonzero((closing > 0.0) & ~passed)
    along = np.flatnonzero(past & ~passed)
    # the last before each that is not passed by; the first and the last of a round never are
    last = np.maximum.accumulate(np.where(passed, 0, np.arange(count)))[source.previous]
    links_from = np.concatenate((end[last[over]], start[along]))
    links_to = np.concatenate((start[over], end[along]))
    # slot 2 k is the corner before segment k, slot 2 k + 1 the segment
    slot = np.concatenate(
        (np.where(pieces.maker < count, 2 * pieces.maker + 1, 2 * (pieces.maker - count)), 2 * over, 2 * along + 1)
    )
    order = np.argsort(slot, kind="stable")
    order = order[(slot[order] % 2 == 0) | ~passed[slot[order] // 2]]
    pieces = _with_links(pieces, links_from, links_to)
    trim = np.where(bent, distance_mm * np.abs(turn) / 2.0, 0.0)
    low, high = _cut_back(pieces, trim, source)
    owner = source.contour[slot[order] // 2]
    keep = ~np.isin(owner, _find_covered(source, distance_mm=distance_mm, side=side))
    order, owner = order[keep], owner[keep]
    first = np.searchsorted(owner, owner, side="left")
    final = np.searchsorted(owner, owner, side="right") - 1
    here = np.arange(len(order))
    following = np.where(here == final, first, here + 1)
    taken = _take(pieces, order)
    return Chain(
        pieces=taken,
        is_link=order >= len(pieces) - len(links_from),
        low_mm=low[order],
        high_mm=high[order],
        following=following,
        previous=np.where(here == first, final, here - 1),
        round=owner,
        passed=np.flatnonzero(passed),
        passed_mm=(start[passed] + end[passed]) / 2.0,
        gap_mm=np.hypot(*(taken.end_mm - taken.start_mm[following]).T),
    )


def _cut_back(pieces: Pieces, trim_mm: FloatArray, source: Source) -> tuple[FloatArray, FloatArray]:
    count = len(source)
    low, high = np.zeros(len(pieces)), pieces.length_mm.copy()
    body = np.flatnonzero((pieces.maker >= 0) & (pieces.maker < count))
    maker = pieces.maker[body]
    low[body] = trim_mm[maker]
    high[body] -= trim_mm[source.following[maker]]
    if (low > high).any():
        raise ChainUnsure
    return low, high


def _find_covered(source: Source, *, distance_mm: float, side: float) -> IntArray:
    """Return the contours that a disc of the distance covers, of those that close on themselves."""
    covered = []
    bounds = np.searchsorted(source.contour, np.arange(int(source.contour[-1]) + 2))
    # grown material closes its holes, shrunk material its outer contour
    for number in range(1, len(bounds) - 1) if side > 0.0 else (0,):
        own = np.arange(bounds[number], bounds[number + 1])
        if np.ptp(source.segments.start_mm[own], axis=0).max() / 2.0 > distance_mm:
            continue
        points = _points_round(source, own)
        radius = float(shapely.minimum_bounding_radius(shapely.multipoints(points)))
        if abs(radius - distance_mm) <= 0.02 * distance_mm:
            raise ChainUnsure
        if radius < distance_mm:
            covered.append(number)
    return np.array(covered, dtype=np.int64)


def _points_round(source: Source, own: IntArray) -> FloatArray:
    """Return points on segments, arcs by eight points to a turn at least: within 2 % of their bow."""
    segments = source.segments
    points = [segments.start_mm[own]]
    arcs = own[segments.is_arc[own]]
    offset = (segments.start_mm - segments.centre_mm)[arcs]
    angle = np.arctan2(offset[:, 1], offset[:, 0])
    for share in np.linspace(0.0, 1.0, 17)[1:-1] if len(arcs) else ():
        at = angle + segments.sweep_rad[arcs] * share
        points.append(
            segments.centre_mm[arcs] + segments.radius_mm[arcs, None] * np.column_stack((np.cos(at), np.sin(at)))
        )
    return np.concatenate(points)


def _with_links(pieces: Pieces, links_from: FloatArray, links_to: FloatArray) -> Pieces:
    count = len(links_from)
    nothing = np.zeros(count)
    return Pieces(
        start_mm=np.concatenate((pieces.start_mm, links_from)),
        end_mm=np.concatenate((pieces.end_mm, links_to)),
        centre_mm=np.concatenate((pieces.centre_mm, np.zeros((count, 2)))),
        radius_mm=np.concatenate((pieces.radius_mm, nothing)),
        angle_rad=np.concatenate((pieces.angle_rad, nothing)),
        sweep_rad=np.concatenate((pieces.sweep_rad, nothing)),
        length_mm=np.concatenate((pieces.length_mm, np.hypot(*(links_to - links_from).T))),
        maker=np.concatenate((pieces.maker, np.full(count, -1))),
        joined=pieces.joined[:0],
        distance_mm=pieces.distance_mm,
        side=pieces.side,
    )


def _take(pieces: Pieces, which: IntArray) -> Pieces:
    return Pieces(
        start_mm=pieces.start_mm[which],
        end_mm=pieces.end_mm[which],
        centre_mm=pieces.centre_mm[which],
        radius_mm=pieces.radius_mm[which],
        angle_rad=pieces.angle_rad[which],
        sweep_rad=pieces.sweep_rad[which],
        length_mm=pieces.length_mm[which],
        maker=pieces.maker[which],
        joined=pieces.joined,
        distance_mm=pieces.distance_mm,
        side=pieces.side,
    )
