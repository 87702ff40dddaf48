"""How far points lie from the source of an offset: a search within a bound, then exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.geometry.contour import FloatArray, IntArray, Segments
from cam.geometry.flatten import count_chords
from cam.geometry.offset.source import Source

FLATTEN_MM = 1e-3
"""Chord distance of the arcs in the search tree; searches are widened by it, nothing is measured on it."""


@dataclass(frozen=True, slots=True, eq=False)
class SourceTree:
    """A search tree over a source's segments, its arcs as chords within ``FLATTEN_MM``."""

    source: Source
    tree: shapely.STRtree
    slack_mm: float


def plant_tree(source: Source) -> SourceTree:
    """Return the search tree of a source."""
    segments = source.segments
    arcs = segments.is_arc
    counts = count_chords(segments, chord_tol_mm=FLATTEN_MM)
    owner = np.repeat(np.arange(len(source)), counts + 1)
    first = np.cumsum(counts + 1) - (counts + 1)
    share = (np.arange(len(owner)) - first[owner]) / counts[owner]
    lines = shapely.linestrings(points_on(segments, owner, share), indices=owner)
    return SourceTree(source, shapely.STRtree(np.atleast_1d(np.asarray(lines))), FLATTEN_MM if arcs.any() else 0.0)


def points_on(segments: Segments, segment: IntArray, share: FloatArray) -> FloatArray:
    """Return points, shape (m, 2), at shares 0 to 1 of segments' lengths."""
    chord = (segments.end_mm - segments.start_mm)[segment]
    points = segments.start_mm[segment] + share[:, None] * chord
    arc = segments.is_arc[segment] & (share > 0.0) & (share < 1.0)
    if arc.any():
        at = segment[arc]
        offset = (segments.start_mm - segments.centre_mm)[at]
        angle = np.arctan2(offset[:, 1], offset[:, 0]) + segments.sweep_rad[at] * share[arc]
        points[arc] = segments.centre_mm[at] + segments.radius_mm[at, None] * np.column_stack(
            (np.cos(angle), np.sin(angle))
        )
    points[share >= 1.0] = segments.end_mm[segment[share >= 1.0]]
    return np.asarray(points)


def find_feet(segments: Segments, segment: IntArray, points_mm: FloatArray) -> FloatArray:
    """Return the point of each segment nearest to each point, pair by pair, shape (n, 2)."""
    start, end = segments.start_mm[segment], segments.end_mm[segment]
    chord = end - start
    square = np.maximum((chord**2).sum(axis=1), np.finfo(np.float64).tiny)
    share = np.clip(((points_mm - start) * chord).sum(axis=1) / square, 0.0, 1.0)
    feet = start + share[:, None] * chord
    feet[share >= 1.0] = end[share >= 1.0]
    arc = segments.is_arc[segment]
    if arc.any():
        at, point = segment[arc], points_mm[arc]
        centre, radius, sweep = segments.centre_mm[at], segments.radius_mm[at], segments.sweep_rad[at]
        from_centre = point - centre
        reach = np.hypot(from_centre[:, 0], from_centre[:, 1])
        offset = segments.start_mm[at] - centre
        cross = offset[:, 0] * from_centre[:, 1] - offset[:, 1] * from_centre[:, 0]
        turn = np.arctan2(cross, (offset * from_centre).sum(axis=1)) * np.sign(sweep)
        on = np.mod(turn, 2.0 * np.pi) <= np.abs(sweep)
        stretch = np.divide(radius, reach, out=np.zeros_like(reach), where=reach > 0.0)
        radial = centre + from_centre * stretch[:, None]
        nearer_start = np.hypot(*(point - start[arc]).T) <= np.hypot(*(point - end[arc]).T)
        ends = np.where(nearer_start[:, None], start[arc], end[arc])
        feet[arc] = np.where((on & (reach > 0.0))[:, None], radial, ends)
    return np.asarray(feet)


def find_neighbours(
    tree: SourceTree, points_mm: FloatArray, *, within_mm: float
) -> tuple[IntArray, IntArray, FloatArray]:
    """Return every pair of point and segment that may lie within a distance of each other.

    Returns
    -------
    tuple
        The numbers of the points, those of the segments, and the exact vectors, shape (n, 2), from
        the point to the nearest point of the segment. Pairs within the distance are all there;
        pairs up to ``slack_mm`` beyond it may be.
    """
    point, segment = tree.tree.query(shapely.points(points_mm), predicate="dwithin", distance=within_mm + tree.slack_mm)
    feet = find_feet(tree.source.segments, segment, points_mm[point])
    return point, segment, feet - points_mm[point]
