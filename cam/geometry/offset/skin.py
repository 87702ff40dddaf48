"""Whether points lie nearer to the source of an offset than a distance: many points, quickly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.geometry.contour import BoolArray, FloatArray, IntArray, Segments
from cam.geometry.flatten import count_chords
from cam.geometry.offset.source import Source

SKIN_MM = 2e-4
"""Chord distance of the arcs in a skin."""


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """A source as prepared lines, its arcs as chords within ``slack_mm``."""

    source: Source
    lines: shapely.MultiLineString
    slack_mm: float


def find_chord_points(segments: Segments, *, chord_tol_mm: float) -> tuple[FloatArray, IntArray]:
    """Return points on segments, shape (m, 2), the start of each first, and how many each has, shape (n,)."""
    counts = count_chords(segments, chord_tol_mm=chord_tol_mm)
    owner = np.repeat(np.arange(len(counts)), counts)
    share = (np.arange(len(owner)) - (np.cumsum(counts) - counts)[owner]) / counts[owner]
    points = segments.start_mm[owner].copy()
    within = np.flatnonzero(share > 0.0)
    at = owner[within]
    offset = (segments.start_mm - segments.centre_mm)[at]
    angle = np.arctan2(offset[:, 1], offset[:, 0]) + segments.sweep_rad[at] * share[within]
    circle = np.column_stack((np.cos(angle), np.sin(angle)))
    points[within] = segments.centre_mm[at] + segments.radius_mm[at, None] * circle
    return points, counts


def lay_skin(source: Source) -> Skin:
    """Return the skin of a source."""
    points, counts = find_chord_points(source.segments, chord_tol_mm=SKIN_MM)
    first = np.cumsum(counts) - counts
    bounds = first[np.flatnonzero(np.diff(source.contour, prepend=-1))]
    rings = [np.concatenate((part, part[:1])) for part in np.split(points, bounds[1:])]
    lines = shapely.MultiLineString(rings)
    shapely.prepare(lines)
    return Skin(source, lines, SKIN_MM if source.segments.is_arc.any() else 0.0)


def find_nearer(skin: Skin, points_mm: FloatArray, *, than_mm: FloatArray | float) -> BoolArray:
    """Return which points, shape (n, 2), are surely within distances of the source, shape (n,)."""
    within = np.broadcast_to(np.asarray(than_mm, dtype=np.float64) - skin.slack_mm, len(points_mm))
    points = shapely.points(points_mm)
    # the stubs know of one distance only
    near = shapely.dwithin(skin.lines, points, np.maximum(within, 0.0))  # type: ignore[call-overload]
    return np.asarray((within >= 0.0) & near)
