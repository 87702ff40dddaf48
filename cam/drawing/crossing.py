"""The segments of all chains, and where they meet that should not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.chain import Chains
from cam.drawing.contact import Contacts, find_contacts, find_neighbour_contacts, take_segments
from cam.geometry.contour import BoolArray, FloatArray, IntArray, Segments, find_segments
from cam.geometry.measure import find_distances_mm, find_segment_boxes_mm

MAX_PAIRS = 3_000_000
MAX_CHUNK_PAIRS = 500_000


class TooTangled(ValueError):  # noqa: N818 - a refusal in the making
    """More segments lie close to each other than can be looked at."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Net:
    """The segments of all chains and an index of their bounding boxes.

    ``row`` (n,) is the row of ``chains`` that each segment starts from, ``chain`` (n,) its chain,
    ``following`` (n,) the segment that follows it in its chain, -1 at an open end. ``boxes_mm`` is
    (n, 4); those of ``tree`` are wider by ``margin_mm`` on every side.
    """

    segments: Segments
    row: IntArray
    chain: IntArray
    following: IntArray
    boxes_mm: FloatArray
    margin_mm: float
    tree: shapely.STRtree


def lay_net(chains: Chains, *, margin_mm: float) -> Net:
    """Return the segments of chains, indexed."""
    counts = np.diff(chains.first)
    last = chains.first[1:] - 1
    onward = np.arange(1, len(chains.vertices) + 1)
    onward[last] = np.where(chains.closed, chains.first[:-1], -1)
    row = np.flatnonzero(onward >= 0)
    segment_of_row = np.full(len(chains.vertices), -1, dtype=np.int64)
    segment_of_row[row] = np.arange(len(row))
    # starts and ends in turn, so that every second segment of the path is one of the chains'
    path = np.zeros((2 * len(row), 3))
    path[0::2] = chains.vertices[row]
    path[1::2, :2] = chains.vertices[onward[row], :2]
    segments = take_segments(find_segments(path, closed=False), np.arange(0, max(2 * len(row) - 1, 0), 2))
    boxes = find_segment_boxes_mm(segments)
    return Net(
        segments=segments,
        row=row,
        chain=np.repeat(np.arange(len(chains)), counts)[row],
        following=segment_of_row[onward[row]],
        boxes_mm=boxes,
        margin_mm=margin_mm,
        tree=shapely.STRtree(np.asarray(shapely.box(*(boxes + margin_mm * np.array([-1.0, -1.0, 1.0, 1.0])).T))),
    )


def find_all_contacts(net: Net, *, touch_tol_mm: float) -> Contacts:
    """Return every meeting of two segments that is no joint of a chain.

    ``touch_tol_mm``, the distance up to which segments touch, is at most twice the net's margin.

    Raises
    ------
    TooTangled
        If more than ``MAX_PAIRS`` pairs of segments lie close enough to be looked at.
    """
    one, other = _find_close_segments(net)
    neighbours = (net.following[one] == other) | (net.following[other] == one)
    apart = find_contacts(net.segments, one[~neighbours], other[~neighbours], touch_tol_mm=touch_tol_mm)
    joined = np.flatnonzero(net.following >= 0)
    beside = find_neighbour_contacts(net.segments, joined, net.following[joined], touch_tol_mm=touch_tol_mm)
    return Contacts(
        one=np.concatenate((apart.one, beside.one)),
        other=np.concatenate((apart.other, beside.other)),
        at_mm=np.concatenate((apart.at_mm, beside.at_mm)),
    )


def _find_close_segments(net: Net) -> tuple[IntArray, IntArray]:
    """Return the pairs of segments whose bounding boxes, widened by the margin, meet."""
    geometries = net.tree.geometries
    found: list[tuple[IntArray, IntArray]] = []
    at, total, chunk = 0, 0, 256
    while at < len(geometries):
        boxes = geometries[at : at + chunk]
        one, other = net.tree.query(boxes)
        once = one + at < other
        found.append((one[once] + at, other[once]))
        total += int(once.sum())
        if total > MAX_PAIRS:
            raise TooTangled(f"more than {MAX_PAIRS} pairs of segments lie close enough to cross")
        at += len(boxes)
        # as many boxes next as keeps the answer small, whatever they lie on
        chunk = min(max(MAX_CHUNK_PAIRS * len(boxes) // max(len(one), 1), 64), 50_000)
    if not found:
        nothing = np.zeros(0, dtype=np.int64)
        return nothing, nothing
    return np.concatenate([pair[0] for pair in found]), np.concatenate([pair[1] for pair in found])


def find_segments_near(net: Net, points: FloatArray, *, within_mm: float) -> tuple[IntArray, IntArray]:
    """Return the pairs of a point (index into (k, 2)) and a segment no farther apart than a distance."""
    geometries = np.asarray(shapely.points(points))
    point, segment = net.tree.query(geometries, predicate="dwithin", distance=within_mm)
    distance = find_distances_mm(take_segments(net.segments, segment), points[point])
    near = distance <= within_mm
    return point[near], segment[near]


def find_overlaps(net: Net, contacts: Contacts, *, touch_tol_mm: float) -> BoolArray:
    """Return which contacts, (k,), are between segments of one line or circle that run along each other."""
    a, b = take_segments(net.segments, contacts.one), take_segments(net.segments, contacts.other)
    both_straight, both_round = ~a.is_arc & ~b.is_arc, a.is_arc & b.is_arc
    with np.errstate(invalid="ignore"):
        same_circle = (np.abs(a.radius_mm - b.radius_mm) <= 10.0 * touch_tol_mm) & (
            np.hypot(*(a.centre_mm - b.centre_mm).T) <= 10.0 * touch_tol_mm
        )
    p, q = a.end_mm - a.start_mm, b.end_mm - b.start_mm
    shorter = np.minimum(np.hypot(*p.T), np.hypot(*q.T))
    longer = np.maximum(np.hypot(*p.T), np.hypot(*q.T))
    parallel = np.abs(p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]) <= 10.0 * touch_tol_mm * longer
    shared = np.zeros(len(contacts.one), dtype=np.int64)
    for ends, of in ((a.start_mm, b), (a.end_mm, b), (b.start_mm, a), (b.end_mm, a)):
        if len(ends):
            shared += find_distances_mm(of, ends) <= touch_tol_mm
    # ends that merely meet are two, so an overlap has a third, or its one contact lies inside
    meets_at_end = np.zeros(len(contacts.one), dtype=np.bool_)
    for ends in (a.start_mm, a.end_mm):
        for others in (b.start_mm, b.end_mm):
            meets_at_end |= np.hypot(*(ends - others).T) <= touch_tol_mm
    runs_along = shared >= np.where(meets_at_end, 3, 2)
    return np.asarray((both_straight & parallel & (shorter > 0.0) | both_round & same_circle) & runs_along)
