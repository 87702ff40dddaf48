"""The source of an offset: the segments of a region near the origin, and how they join."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import Contour, FloatArray, IntArray, Segments, find_segments

CUSP_MM = 1e-7
"""Two ways out of a vertex that cross again within this length count as a cusp there."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """The segments of a region's contours, one after the other, moved near the origin.

    Segment k runs from its vertex k to the vertex of ``following[k]``; ``turn_rad[k]`` is the
    change of direction at vertex k, positive to the left, in (-pi, pi]. ``start_direction`` and
    ``end_direction`` are (n, 2) unit vectors of travel; ``contour`` and ``index`` say where each
    segment came from. The material lies to the left of every segment.
    """

    segments: Segments
    origin_mm: FloatArray
    contour: IntArray
    index: IntArray
    previous: IntArray
    following: IntArray
    start_direction: FloatArray
    end_direction: FloatArray
    turn_rad: FloatArray

    def __len__(self) -> int:
        return len(self.contour)


def right_of(direction: FloatArray) -> FloatArray:
    """Return directions, shape (n, 2), turned a quarter to the right."""
    return np.column_stack((direction[:, 1], -direction[:, 0]))


def turned(direction: FloatArray, angle_rad: FloatArray) -> FloatArray:
    """Return directions, shape (n, 2), turned to the left by angles, shape (n,)."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.column_stack((c * direction[:, 0] - s * direction[:, 1], s * direction[:, 0] + c * direction[:, 1]))


def find_source(contours: tuple[Contour, ...]) -> Source:
    """Return the segments of contours and their joints; the material lies to the left of each."""
    origin = _find_origin_mm(np.concatenate([contour.points_mm for contour in contours]))
    parts = [find_segments(_local(contour.vertices, origin)) for contour in contours]
    segments = Segments(
        start_mm=np.concatenate([part.start_mm for part in parts]),
        end_mm=np.concatenate([part.end_mm for part in parts]),
        centre_mm=np.concatenate([part.centre_mm for part in parts]),
        radius_mm=np.concatenate([part.radius_mm for part in parts]),
        sweep_rad=np.concatenate([part.sweep_rad for part in parts]),
    )
    counts = [len(part) for part in parts]
    first = np.cumsum([0, *counts[:-1]])
    previous = np.concatenate([f + np.roll(np.arange(c), 1) for f, c in zip(first, counts, strict=True)])
    following = np.concatenate([f + np.roll(np.arange(c), -1) for f, c in zip(first, counts, strict=True)])
    start, end = find_directions(segments)
    return Source(
        segments=segments,
        origin_mm=origin,
        contour=np.repeat(np.arange(len(counts)), counts),
        index=np.concatenate([np.arange(c) for c in counts]),
        previous=previous,
        following=following,
        start_direction=start,
        end_direction=end,
        turn_rad=_find_turns_rad(segments, end[previous], start, previous),
    )


def _find_origin_mm(points_mm: FloatArray) -> FloatArray:
    """Return a near origin in whole millimetres, so that taking it off rounds nothing."""
    if np.abs(points_mm).max() < 8192.0:
        return np.zeros(2)
    return np.asarray(np.round(points_mm.mean(axis=0)))


def _local(vertices: FloatArray, origin: FloatArray) -> FloatArray:
    return np.asarray(vertices - np.array([origin[0], origin[1], 0.0]))


def find_directions(segments: Segments) -> tuple[FloatArray, FloatArray]:
    """Return the unit directions of travel at the start and the end of segments, each (n, 2).

    Notes
    -----
    The chord turned by half the sweep, which keeps its digits on flat arcs, where the centre is
    far away; beyond a half circle, where the chord is short, the radius.
    """
    chord = segments.end_mm - segments.start_mm
    along = chord / np.maximum(np.hypot(chord[:, 0], chord[:, 1]), np.finfo(np.float64).tiny)[:, None]
    half = segments.sweep_rad / 2.0
    start, end = turned(along, -half), turned(along, half)
    long = np.abs(segments.sweep_rad) > np.pi
    if long.any():
        side = -np.sign(segments.sweep_rad[long])[:, None]
        radius = segments.radius_mm[long, None]
        start[long] = side * right_of((segments.start_mm - segments.centre_mm)[long] / radius)
        end[long] = side * right_of((segments.end_mm - segments.centre_mm)[long] / radius)
    return start, end


def _find_turns_rad(segments: Segments, arriving: FloatArray, leaving: FloatArray, previous: IntArray) -> FloatArray:
    cross = arriving[:, 0] * leaving[:, 1] - arriving[:, 1] * leaving[:, 0]
    turn = np.arctan2(cross, (arriving * leaving).sum(axis=1))
    # at a cusp the directions are opposite and the curvatures say on which side the path goes back;
    # so they do where the two ways would otherwise cross again before a touch's width is open
    curvature = np.where(segments.is_arc, np.sign(segments.sweep_rad) / segments.radius_mm, 0.0)
    bend = curvature[previous] + curvature
    cusp = np.abs(turn) > np.pi - np.maximum(1e-9, CUSP_MM * np.abs(bend))
    turn = np.where(cusp & (bend != 0.0), np.where(bend < 0.0, np.abs(turn), -np.abs(turn)), turn)
    return np.asarray(turn)
