"""The offset from its chain: how deep every part of the chain lies, counted at crossings."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import shapely

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.chain import Chain, ChainUnsure
from cam.geometry.offset.crossings import find_doubts, find_meetings, find_places_mm
from cam.geometry.offset.flat_meetings import REACH_MM, Meetings, are_flat, find_flat_meetings, join_meetings
from cam.geometry.offset.raw import TOUCH_MM, Pieces
from cam.geometry.offset.trace import Parts

MAX_PAIRS = 24
"""Pairs of boxes for each piece beyond which counting crossings costs more than searching distances."""

END_MM = 1e-9
"""A crossing as near as this to an end of a piece may be one or none: rounding decides."""
HINGE_MM = 1e-3
"""Length of the arcs about vertices, and of the ends beside them, that are taken for one joint."""


@dataclass(frozen=True, slots=True, eq=False)
class DeepParts:
    """All parts of a chain between crossings, in order of travel; all (n,).

    ``depth`` counts, within a round, how many more layers cover the far side of a part than cover
    that of the round's first. ``following`` is the part that goes on where this one ends, on the
    piece that crosses if it ends at a crossing.
    """

    parts: Parts
    is_link: BoolArray
    round: IntArray
    depth: IntArray
    following: IntArray


def find_deep_parts(chain: Chain) -> DeepParts:
    """Return the parts of a chain and their depths.

    Raises
    ------
    ChainUnsure
        If pieces meet in a way that rounding could decide either way, or too many meet.
    """
    meetings = _find_meetings(chain, *_find_pairs(chain))
    a, along_a, b, along_b = meetings.first, meetings.first_mm, meetings.second, meetings.second_mm
    turn = np.where(meetings.cross < 0.0, 1, -1) * int(chain.pieces.side)
    count, crossings = len(chain), len(a)
    # rows: the starts of all pieces, then both sides of all crossings
    piece = np.concatenate((np.arange(count), a, b))
    along = np.concatenate((chain.low_mm, along_a, along_b))
    step = np.concatenate((np.zeros(count, dtype=np.int64), turn, -turn))
    # one key: the number of the piece, and less than a half for the way along it; starts come first
    span = np.maximum(chain.high_mm - chain.low_mm, np.finfo(np.float64).tiny)
    key = piece + (along - chain.low_mm[piece]) / (2.0 * span[piece])
    order = np.argsort(key, kind="stable")
    row = np.empty(len(order), dtype=np.int64)
    row[order] = np.arange(len(order))
    piece, along, step = piece[order], along[order], step[order]
    last = np.append(piece[1:] != piece[:-1], True)
    partner = np.concatenate(
        (np.zeros(count, dtype=np.int64), row[count + crossings :], row[count : count + crossings])
    )[order]
    here = np.arange(len(order))
    high = np.where(last, chain.high_mm[piece], np.append(along[1:], 0.0))
    following = np.where(last, row[chain.following[piece]], partner[np.minimum(here + 1, len(order) - 1)])
    return DeepParts(
        parts=Parts(piece, along, high, here, following),
        is_link=chain.is_link[piece],
        round=chain.round[piece],
        depth=np.cumsum(step),
        following=following,
    )


def _find_pairs(chain: Chain) -> tuple[IntArray, IntArray]:
    """Return pairs of pieces whose boxes meet, those that follow each other left out."""
    pieces, count = chain.pieces, len(chain)
    reach = np.where(
        pieces.is_arc, pieces.radius_mm * (1.0 - np.cos(np.minimum(np.abs(pieces.sweep_rad) / 2.0, np.pi))), 0.0
    )
    reach = reach[:, None] + TOUCH_MM
    bottom = np.minimum(pieces.start_mm, pieces.end_mm) - reach
    top = np.maximum(pieces.start_mm, pieces.end_mm) + reach
    boxes = shapely.box(bottom[:, 0], bottom[:, 1], top[:, 0], top[:, 1])
    tree = shapely.STRtree(boxes)
    probe = boxes[:: max(1, count // 256)]
    if len(tree.query(probe)[0]) > 2 * MAX_PAIRS * len(probe):
        raise ChainUnsure
    first, second = tree.query(boxes)
    distinct = (first < second) & (chain.following[first] != second) & (chain.following[second] != first)
    if (np.abs(pieces.sweep_rad) > 1.9 * np.pi).any():
        raise ChainUnsure
    return first[distinct], second[distinct]


def _find_meetings(chain: Chain, first: IntArray, second: IntArray) -> Meetings:
    """Return the crossings of pairs of pieces, all of them certain."""
    flat = are_flat(chain.pieces)
    both = flat[first] & flat[second]
    found = find_flat_meetings(chain.pieces, first[both], second[both])
    along = np.flatnonzero(both)[found.coincide]
    if not _keeps_apart(chain, first[along], second[along]).all():
        raise ChainUnsure
    meetings, rest = found.meetings, np.append(np.flatnonzero(~both), np.flatnonzero(both)[found.left])
    if len(rest):
        meetings = join_meetings(meetings, _find_round_meetings(chain.pieces, first[rest], second[rest]))
    a, along_a, b, along_b = meetings.first, meetings.first_mm, meetings.second, meetings.second_mm
    slack, gap = meetings.doubt_mm + END_MM, chain.gap_mm
    low, high = chain.low_mm + gap[chain.previous], chain.high_mm - gap
    sure = (along_a >= low[a] + slack) & (along_a <= high[a] - slack) & ~meetings.tangent
    sure &= (along_b >= low[b] + slack) & (along_b <= high[b] - slack)
    at = np.flatnonzero(~sure)
    if len(at):
        a, along_a, b, along_b, slack = a[at], along_a[at], b[at], along_b[at], slack[at]
        low, high = chain.low_mm - gap[chain.previous], chain.high_mm + gap
        possible = (along_a >= low[a] - slack) & (along_a <= high[a] + slack)
        possible &= (along_b >= low[b] - slack) & (along_b <= high[b] + slack)
        at = np.flatnonzero(possible)
        if len(at) and not _are_hinges(chain, a[at], along_a[at], b[at], along_b[at]):
            raise ChainUnsure
    return meetings if sure.all() else _take(meetings, np.flatnonzero(sure))


def _take(meetings: Meetings, which: IntArray) -> Meetings:
    return Meetings(*(getattr(meetings, field.name)[which] for field in fields(Meetings)))


def _find_round_meetings(pieces: Pieces, first: IntArray, second: IntArray) -> Meetings:
    """Return where pairs of pieces meet of which one at least is a long arc."""
    a, b, length = first, second, pieces.length_mm
    round_ = pieces.is_arc[a] & pieces.is_arc[b]
    apart = np.hypot(*(pieces.centre_mm[b] - pieces.centre_mm[a]).T)
    same = round_ & (apart <= 1e-6) & (np.abs(pieces.radius_mm[a] - pieces.radius_mm[b]) <= 1e-6)
    for one, other in ((a[same], b[same]), (b[same], a[same])):
        for point in (pieces.start_mm, pieces.end_mm):
            place = find_places_mm(pieces, other, point[one])
            if ((place > -TOUCH_MM) & (place < length[other] + TOUCH_MM)).any():
                raise ChainUnsure
    a, b, points = find_meetings(pieces, first, second)
    on_a, on_b = find_places_mm(pieces, a, points), find_places_mm(pieces, b, points)
    near = np.flatnonzero(
        (on_a > -REACH_MM) & (on_a < length[a] + REACH_MM) & (on_b > -REACH_MM) & (on_b < length[b] + REACH_MM)
    )
    a, b, points = a[near], b[near], points[near]
    doubts = find_doubts(pieces, a, b, points)
    return Meetings(a, on_a[near], b, on_b[near], doubts.cross, doubts.along_mm, doubts.tangent)


def _are_hinges(chain: Chain, a: IntArray, along_a: FloatArray, b: IntArray, along_b: FloatArray) -> bool:
    """Return whether all meetings are of two pieces that a short arc about a vertex keeps apart.

    Notes
    -----
    Such pieces part at the vertex: their carriers meet within the arc's length beyond their ends.
    """
    turned = chain.following[chain.following[b]] == a
    first, last = np.where(turned, b, a), np.where(turned, a, b)
    from_end = chain.high_mm[first] - np.where(turned, along_b, along_a)
    from_start = np.where(turned, along_a, along_b) - chain.low_mm[last]
    near = (np.abs(from_end) < HINGE_MM) & (np.abs(from_start) < HINGE_MM)
    return bool((near & _keeps_apart(chain, a, b)).all())


def _keeps_apart(chain: Chain, a: IntArray, b: IntArray) -> BoolArray:
    """Return which pairs have nothing but a short arc about a vertex between them."""
    apart = np.zeros(len(a), dtype=np.bool_)
    for first, last in ((a, b), (b, a)):
        between = chain.following[first]
        short = ~chain.is_link[between] & (chain.pieces.length_mm[between] < HINGE_MM)
        apart |= (chain.following[between] == last) & short
    return apart
