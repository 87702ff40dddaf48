"""Where segments meet that should not: crossings, touches and overlaps, exactly, many pairs at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray, Segments
from cam.geometry.measure import find_distances_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contacts:
    """Pairs of segments that meet: ``one`` and ``other`` (k,) and where, ``at_mm`` (k, 2)."""

    one: IntArray
    other: IntArray
    at_mm: FloatArray


def take_segments(segments: Segments, index: IntArray | BoolArray) -> Segments:
    """Return some of the segments."""
    return Segments(
        start_mm=segments.start_mm[index],
        end_mm=segments.end_mm[index],
        centre_mm=segments.centre_mm[index],
        radius_mm=segments.radius_mm[index],
        sweep_rad=segments.sweep_rad[index],
    )


def find_contacts(segments: Segments, one: IntArray, other: IntArray, *, touch_tol_mm: float) -> Contacts:
    """Return which pairs of segments that share no vertex meet, and one point of each meeting.

    Parameters
    ----------
    segments
        All segments.
    one, other
        (k,) the pairs to look at.
    touch_tol_mm
        The distance up to which segments touch.

    Notes
    -----
    An end on the other segment is a touch or an overlap; anything else is a common point of the
    two carriers (line or circle) that lies on both. Carriers that miss each other by up to
    ``touch_tol_mm`` touch.
    """
    at = np.full((len(one), 2), np.nan)
    a, b = take_segments(segments, one), take_segments(segments, other)
    for points in _find_carrier_points(a, b, touch_tol_mm):
        near = np.isnan(at[:, 0]) & np.isfinite(points).all(axis=1)
        near[near] = _is_on(take_segments(a, near), points[near], touch_tol_mm) & _is_on(
            take_segments(b, near), points[near], touch_tol_mm
        )
        at[near] = points[near]
    for ends, of in ((a.start_mm, b), (a.end_mm, b), (b.start_mm, a), (b.end_mm, a)):
        left = np.flatnonzero(np.isnan(at[:, 0]))
        left = left[_is_on(take_segments(of, left), ends[left], touch_tol_mm)]
        at[left] = ends[left]
    met = ~np.isnan(at[:, 0])
    return Contacts(one=one[met], other=other[met], at_mm=at[met])


def find_neighbour_contacts(segments: Segments, one: IntArray, other: IntArray, *, touch_tol_mm: float) -> Contacts:
    """Return which segments meet their successor elsewhere than in the vertex between them.

    Parameters
    ----------
    segments
        All segments.
    one, other
        (k,) pairs of which the second starts where the first ends; they may close a loop of two.

    Notes
    -----
    Two carriers through a common vertex have at most one other common point: the mirror image of
    the vertex about the line through the centres, or about the foot of the centre on the line.
    Where the carriers are the same, the segments overlap if either's far end, or the first's
    middle, lies on the other.
    """
    a, b = take_segments(segments, one), take_segments(segments, other)
    vertex = a.end_mm
    is_loop_of_two = np.hypot(*(a.start_mm - b.end_mm).T) <= touch_tol_mm
    at = np.full((len(one), 2), np.nan)
    for points in (_find_mirrored_vertex(a, b, vertex), a.start_mm, b.end_mm, _find_middles(a)):
        fresh = np.isnan(at[:, 0]) & np.isfinite(points).all(axis=1)
        fresh &= np.hypot(*(points - vertex).T) > touch_tol_mm
        fresh &= ~is_loop_of_two | (np.hypot(*(points - a.start_mm).T) > touch_tol_mm)
        left = np.flatnonzero(fresh)
        left = left[_is_on(take_segments(a, left), points[left], touch_tol_mm)]
        left = left[_is_on(take_segments(b, left), points[left], touch_tol_mm)]
        at[left] = points[left]
    met = ~np.isnan(at[:, 0])
    return Contacts(one=one[met], other=other[met], at_mm=at[met])


def _is_on(segments: Segments, points: FloatArray, touch_tol_mm: float) -> BoolArray:
    """Return which points (n, 2) lie on which of n segments."""
    if not len(segments):
        return np.zeros(0, dtype=np.bool_)
    return np.asarray(find_distances_mm(segments, points) <= touch_tol_mm)


def _find_carrier_points(a: Segments, b: Segments, touch_tol_mm: float) -> tuple[FloatArray, FloatArray]:
    """Return the up to two common points of two carriers, nan where there are none, each (n, 2)."""
    first = np.full((len(a), 2), np.nan)
    second = np.full((len(a), 2), np.nan)
    lines = ~a.is_arc & ~b.is_arc
    first[lines] = _cross_lines(take_segments(a, lines), take_segments(b, lines))
    mixed = a.is_arc != b.is_arc
    swap = mixed & a.is_arc
    for mask, line, arc in ((mixed & ~swap, a, b), (swap, b, a)):
        first[mask], second[mask] = _cross_line_circle(
            take_segments(line, mask), take_segments(arc, mask), touch_tol_mm
        )
    arcs = a.is_arc & b.is_arc
    first[arcs], second[arcs] = _cross_circles(take_segments(a, arcs), take_segments(b, arcs), touch_tol_mm)
    return first, second


def _cross_lines(a: Segments, b: Segments) -> FloatArray:
    p, q = a.end_mm - a.start_mm, b.end_mm - b.start_mm
    cross = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    square = (p * p).sum(axis=1) * (q * q).sum(axis=1)
    plain = cross * cross > 1e-20 * square  # nearly parallel lines meet, if at all, at an end
    offset = b.start_mm - a.start_mm
    along = (offset[:, 0] * q[:, 1] - offset[:, 1] * q[:, 0]) / np.where(plain, cross, 1.0)
    return np.where(plain[:, None], a.start_mm + along[:, None] * p, np.nan)


def _cross_line_circle(line: Segments, arc: Segments, touch_tol_mm: float) -> tuple[FloatArray, FloatArray]:
    unit = _unit(line.end_mm - line.start_mm)
    offset = arc.centre_mm - line.start_mm
    foot = line.start_mm + (offset * unit).sum(axis=1)[:, None] * unit
    away = np.abs(offset[:, 0] * unit[:, 1] - offset[:, 1] * unit[:, 0])
    half = np.sqrt(np.maximum((arc.radius_mm - away) * (arc.radius_mm + away), 0.0))
    half = np.where(away <= arc.radius_mm + touch_tol_mm, half, np.nan)[:, None]
    return foot - half * unit, foot + half * unit


def _cross_circles(a: Segments, b: Segments, touch_tol_mm: float) -> tuple[FloatArray, FloatArray]:
    between = b.centre_mm - a.centre_mm
    apart = np.hypot(*between.T)
    r, s = a.radius_mm, b.radius_mm
    # concentric circles of one radius overlap, if at all, at an end
    meets = (apart <= r + s + touch_tol_mm) & (apart >= np.abs(r - s) - touch_tol_mm) & (apart > touch_tol_mm)
    d = np.where(meets, apart, 1.0)
    along = np.clip((d * d + (r - s) * (r + s)) / (2.0 * d), -r, r)
    half = np.sqrt(np.maximum((r - along) * (r + along), 0.0))
    unit = between / d[:, None]
    normal = np.column_stack((-unit[:, 1], unit[:, 0]))
    foot = np.where(meets[:, None], a.centre_mm + along[:, None] * unit, np.nan)
    return foot - half[:, None] * normal, foot + half[:, None] * normal


def _find_mirrored_vertex(a: Segments, b: Segments, vertex: FloatArray) -> FloatArray:
    """Return the other common point of two carriers through a vertex, nan where there is none."""
    mirrored = np.full(vertex.shape, np.nan)
    mixed = a.is_arc != b.is_arc
    line_unit = np.where(a.is_arc[:, None], _unit(b.end_mm - b.start_mm), _unit(a.end_mm - a.start_mm))
    centre = np.where(a.is_arc[:, None], a.centre_mm, b.centre_mm)
    along = ((centre - vertex) * line_unit).sum(axis=1)[:, None]
    mirrored[mixed] = (vertex + 2.0 * along * line_unit)[mixed]
    arcs = a.is_arc & b.is_arc
    between = b.centre_mm - a.centre_mm
    apart = np.hypot(*between.T)
    arcs &= np.nan_to_num(apart) > 1e-9 * np.where(arcs, a.radius_mm, 1.0)
    unit = between / np.where(arcs, apart, 1.0)[:, None]
    across = vertex - a.centre_mm
    along = (across * unit).sum(axis=1)[:, None]
    mirrored[arcs] = (a.centre_mm + 2.0 * along * unit - across)[arcs]
    return mirrored


def _find_middles(segments: Segments) -> FloatArray:
    """Return the point half way along each segment."""
    half = segments.sweep_rad / 2.0
    offset = segments.start_mm - segments.centre_mm
    c, s = np.cos(half), np.sin(half)
    turned = np.column_stack((c * offset[:, 0] - s * offset[:, 1], s * offset[:, 0] + c * offset[:, 1]))
    straight = (segments.start_mm + segments.end_mm) / 2.0
    return np.where(segments.is_arc[:, None], segments.centre_mm + turned, straight)


def _unit(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors / np.hypot(*vectors.T)[:, None])
