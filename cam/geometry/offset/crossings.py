"""Where raw pieces meet: all crossings and touches, computed in pairs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.raw import TOUCH_MM, Pieces, points_at
from cam.geometry.offset.trim import Intervals

END_SLACK_MM = 1e-8
"""How far beyond its ends a piece is still met: an end that lies on another piece is a crossing."""
MAX_SLACK_MM = 4e-7
"""The same where two pieces are so nearly tangent that rounding moves their crossing."""


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Meetings of two pieces, each with its place along both; all (n,)."""

    first: IntArray
    first_mm: FloatArray
    second: IntArray
    second_mm: FloatArray


def find_crossings(pieces: Pieces, intervals: Intervals) -> Crossings:
    """Return every place where two pieces cross or touch within their intervals' boxes."""
    first, second = _find_pairs(pieces, intervals)
    a, b, points = find_meetings(pieces, first, second)
    doubt = _find_doubt_mm(pieces, a, b, points)
    on_a, along_a = find_along(pieces, a, points, slack_mm=doubt)
    on_b, along_b = find_along(pieces, b, points, slack_mm=doubt)
    on = on_a & on_b
    ends = _find_overlap_ends(pieces, first, second)
    return Crossings(
        np.concatenate((a[on], ends.first)),
        np.concatenate((along_a[on], ends.first_mm)),
        np.concatenate((b[on], ends.second)),
        np.concatenate((along_b[on], ends.second_mm)),
    )


_Meetings = tuple[IntArray, IntArray, FloatArray]


def find_meetings(pieces: Pieces, first: IntArray, second: IntArray) -> _Meetings:
    """Return where the carriers of pairs of pieces, endless lines and whole circles, meet.

    Returns
    -------
    tuple
        The numbers of both pieces and the point, shape (n, 2), for each meeting.
    """
    arc = pieces.is_arc
    swap = arc[first] & ~arc[second]
    first, second = np.where(swap, second, first), np.where(swap, first, second)
    straight, circular = ~arc[first] & ~arc[second], arc[first] & arc[second]
    mixed = ~straight & ~circular
    parts = (
        _line_with_line(pieces, first[straight], second[straight]),
        _line_with_circle(pieces, first[mixed], second[mixed]),
        _circle_with_circle(pieces, first[circular], second[circular]),
    )
    return (
        np.concatenate([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.concatenate([part[2] for part in parts]),
    )


def _find_pairs(pieces: Pieces, intervals: Intervals) -> tuple[IntArray, IntArray]:
    """Return pairs of pieces, the smaller number first, whose intervals' boxes meet."""
    low = points_at(pieces, intervals.piece, intervals.low_mm)
    high = points_at(pieces, intervals.piece, intervals.high_mm)
    radius = pieces.radius_mm[intervals.piece]
    arc = pieces.is_arc[intervals.piece]
    span = (intervals.high_mm - intervals.low_mm) / np.where(arc, radius, np.inf)
    # no point of an arc lies farther from its chord's box than the arc's height
    reach = np.where(arc, radius * (1.0 - np.cos(np.minimum(span, np.pi) / 2.0)), 0.0) + TOUCH_MM
    bottom = np.minimum(low, high) - reach[:, None]
    top = np.maximum(low, high) + reach[:, None]
    boxes = shapely.box(bottom[:, 0], bottom[:, 1], top[:, 0], top[:, 1])
    left, right = shapely.STRtree(boxes).query(boxes)
    a, b = intervals.piece[left], intervals.piece[right]
    key = np.unique((a * len(pieces) + b)[a < b])
    # ends that are one point by construction are joined already; neighbours meet nowhere else
    ends = np.sort(pieces.joined // 2, axis=1)
    key = np.setdiff1d(key, ends[:, 0] * len(pieces) + ends[:, 1], assume_unique=False)
    return key // len(pieces), key % len(pieces)


def _find_doubt_mm(pieces: Pieces, a: IntArray, b: IntArray, points_mm: FloatArray) -> FloatArray:
    """Return how far along the pieces each meeting may be misplaced by rounding, within bounds."""
    return np.asarray(np.clip(find_doubts(pieces, a, b, points_mm).along_mm, END_SLACK_MM, MAX_SLACK_MM))


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """How surely carriers meet: ``along_mm`` by how much rounding may move the meeting along them,
    ``cross`` the sine of the angle from the first to the second, ``tangent`` whether that sine may
    have either sign; all (n,)."""

    along_mm: FloatArray
    cross: FloatArray
    tangent: BoolArray


def find_doubts(pieces: Pieces, a: IntArray, b: IntArray, points_mm: FloatArray) -> Doubts:
    """Return how surely the carriers of pieces meet at points, shape (n, 2).

    Notes
    -----
    An error e across two carriers of curvature difference k that cross at angle t moves their
    meeting by e / t, and no farther than sqrt(2 e / k), where they only touch.
    """
    reach = np.abs(points_mm).max(axis=1) + pieces.radius_mm[a] + pieces.radius_mm[b]
    error = 8.0 * np.finfo(np.float64).eps * reach
    way_a, way_b = (_carrier_directions(pieces, piece, points_mm) for piece in (a, b))
    cross = way_a[:, 0] * way_b[:, 1] - way_a[:, 1] * way_b[:, 0]
    bend_a, bend_b = (
        np.sign(pieces.sweep_rad[piece]) / np.where(pieces.is_arc[piece], pieces.radius_mm[piece], np.inf)
        for piece in (a, b)
    )
    same_way = np.sign((way_a * way_b).sum(axis=1))
    bend = np.maximum(np.abs(bend_a - same_way * bend_b), 1e-9)
    along = np.minimum(error / np.maximum(np.abs(cross), 1e-15), np.sqrt(2.0 * error / bend))
    return Doubts(along, cross, np.abs(cross) <= 4.0 * np.sqrt(error * bend))


def _carrier_directions(pieces: Pieces, piece: IntArray, points_mm: FloatArray) -> FloatArray:
    """Return the unit directions of travel of carriers at points on them, shape (n, 2)."""
    chord = (pieces.end_mm - pieces.start_mm)[piece]
    offset = points_mm - pieces.centre_mm[piece]
    across = np.column_stack((-offset[:, 1], offset[:, 0])) * np.sign(pieces.sweep_rad[piece])[:, None]
    way = np.where(pieces.is_arc[piece, None], across, chord)
    return np.asarray(way / np.maximum(np.hypot(way[:, 0], way[:, 1]), np.finfo(np.float64).tiny)[:, None])


def find_along(
    pieces: Pieces, piece: IntArray, points_mm: FloatArray, *, slack_mm: FloatArray | float = END_SLACK_MM
) -> tuple[BoolArray, FloatArray]:
    """Return whether points on the pieces' carriers lie on the pieces, and how far along."""
    along, length = find_places_mm(pieces, piece, points_mm), pieces.length_mm[piece]
    on = (along >= -slack_mm) & (along <= length + slack_mm)
    return np.asarray(on), np.asarray(np.clip(along, 0.0, length))


def find_places_mm(pieces: Pieces, piece: IntArray, points_mm: FloatArray) -> FloatArray:
    """Return how far along the pieces' carriers points on them lie, less than 0 before the start."""
    chord = (pieces.end_mm - pieces.start_mm)[piece]
    length = np.maximum(pieces.length_mm[piece], np.finfo(np.float64).tiny)
    places = ((points_mm - pieces.start_mm[piece]) * chord).sum(axis=1) / length
    arc = pieces.is_arc[piece]
    if arc.any():
        at = piece[arc]
        sweep = np.abs(pieces.sweep_rad[at])
        offset = points_mm[arc] - pieces.centre_mm[at]
        angle = (np.arctan2(offset[:, 1], offset[:, 0]) - pieces.angle_rad[at]) * np.sign(pieces.sweep_rad[at])
        way = np.mod(angle, 2.0 * np.pi)
        # what lies before the start shows as almost a whole turn
        way = np.where((way > sweep) & (2.0 * np.pi - way < way - sweep), way - 2.0 * np.pi, way)
        places[arc] = way * pieces.radius_mm[at]
    return np.asarray(places)


def _line_with_line(pieces: Pieces, a: IntArray, b: IntArray) -> _Meetings:
    u = (pieces.end_mm - pieces.start_mm)[a]
    v = (pieces.end_mm - pieces.start_mm)[b]
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    sure = np.abs(cross) > 1e-13 * pieces.length_mm[a] * pieces.length_mm[b]
    a, b, u, v, cross = a[sure], b[sure], u[sure], v[sure], cross[sure]
    gap = pieces.start_mm[b] - pieces.start_mm[a]
    s = (gap[:, 0] * v[:, 1] - gap[:, 1] * v[:, 0]) / cross
    points = pieces.start_mm[a] + s[:, None] * u
    return a, b, points


def _line_with_circle(pieces: Pieces, a: IntArray, b: IntArray) -> _Meetings:
    along = (pieces.end_mm - pieces.start_mm)[a] / pieces.length_mm[a, None]
    offset = pieces.centre_mm[b] - pieces.start_mm[a]
    foot = pieces.start_mm[a] + (offset * along).sum(axis=1)[:, None] * along
    height = np.abs(along[:, 0] * offset[:, 1] - along[:, 1] * offset[:, 0])
    radius = pieces.radius_mm[b]
    meets = height - radius <= TOUCH_MM
    half = np.sqrt(np.maximum((radius - height) * (radius + height), 0.0))
    a, b, foot, along, half = a[meets], b[meets], foot[meets], along[meets], half[meets]
    points = np.concatenate((foot - half[:, None] * along, foot + half[:, None] * along))
    return np.concatenate((a, a)), np.concatenate((b, b)), points


def _circle_with_circle(pieces: Pieces, a: IntArray, b: IntArray) -> _Meetings:
    between = pieces.centre_mm[b] - pieces.centre_mm[a]
    apart = np.hypot(between[:, 0], between[:, 1])
    ra, rb = pieces.radius_mm[a], pieces.radius_mm[b]
    meets = (apart - ra - rb <= TOUCH_MM) & (np.abs(ra - rb) - apart <= TOUCH_MM) & (apart > 1e-9)
    a, b, between, apart, ra, rb = a[meets], b[meets], between[meets], apart[meets], ra[meets], rb[meets]
    along = between / apart[:, None]
    across = np.column_stack((-along[:, 1], along[:, 0]))
    way = np.clip((apart + (ra - rb) * (ra + rb) / apart) / 2.0, -ra, ra)
    half = np.sqrt(np.maximum((ra - way) * (ra + way), 0.0))
    foot = pieces.centre_mm[a] + way[:, None] * along
    points = np.concatenate((foot - half[:, None] * across, foot + half[:, None] * across))
    return np.concatenate((a, a)), np.concatenate((b, b)), points


def _find_overlap_ends(pieces: Pieces, a: IntArray, b: IntArray) -> Crossings:
    """Return the ends of pieces that lie on another piece, as where two have the same carrier."""
    parts = []
    for one, other in ((a, b), (b, a)):
        for point, place in ((pieces.start_mm, np.zeros(len(pieces))), (pieces.end_mm, pieces.length_mm)):
            on, along = find_along(pieces, other, point[one])
            gap = np.hypot(*(points_at(pieces, other, along) - point[one]).T)
            hit = on & (gap <= TOUCH_MM)
            parts.append((one[hit], place[one[hit]], other[hit], along[hit]))
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    return Crossings(joined[0], joined[1], joined[2], joined[3])
