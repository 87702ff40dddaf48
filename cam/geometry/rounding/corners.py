"""Corners that a disc cannot reach, found in the offset by the disc's radius."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import FloatArray, IntArray
from cam.geometry.offset.clearance import points_on
from cam.geometry.offset.joining import Loop
from cam.geometry.offset.source import Source
from cam.geometry.rounding.measure import TANGENT_TOL_RAD

NOISE_MM = 1e-7
"""A stretch of several segments that the disc misses by less than this stays as it is."""
SHORT_MM = 0.01
"""A step shorter than this in a corner is part of the corner, not the mouth of a pocket."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corner:
    """A stretch of a contour that a disc cannot touch, between the two places where it rests.

    ``before`` and ``after`` are the makers (segment, or number of segments plus vertex) that the
    disc touches, ``part_before`` and ``part_after`` their places in the loop. ``lost`` are the
    segments between them that are cut away whole; ``centre_mm`` is the disc's centre, ``deepest_mm``
    the point of the stretch farthest from it, ``depth_mm`` how far the disc stays away from that.
    """

    before: int
    after: int
    part_before: int
    part_after: int
    lost: IntArray
    centre_mm: FloatArray
    deepest_mm: FloatArray
    depth_mm: float
    radius_before_mm: float


def find_corners(loop: Loop, *, source: Source, reach_mm: float) -> list[Corner]:
    """Return the corners along one loop of the offset of a contour by a disc's radius, ``reach_mm``."""
    count = len(source)
    corners = []
    for part in range(len(loop.maker)):
        before, after = int(loop.maker[part - 1]), int(loop.maker[part])
        if loop.high_share[part - 1] == 1.0 and loop.low_share[part] == 0.0 and _is_joint(source, before, after):
            continue
        lost = _find_lost(source, before, after)
        single = not len(lost) and before < count and after < count
        if single and source.turn_rad[after] >= -TANGENT_TOL_RAD:
            continue
        corner = _find_corner(loop, part, lost, source, reach_mm)
        if single or corner.depth_mm > NOISE_MM:
            corners.append(corner)
    return corners


def _is_joint(source: Source, before: int, after: int) -> bool:
    """Return whether one maker's piece runs into the other's without a crossing."""
    count = len(source)
    if before < count and after < count:
        return int(source.following[before]) == after
    if before < count:
        return int(source.following[before]) == after - count
    return before - count == after


def _find_lost(source: Source, before: int, after: int) -> IntArray:
    count = len(source)
    first = int(source.following[before]) if before < count else before - count
    last = int(source.previous[after if after < count else after - count])
    number = (last - first + 1) % count
    return (first + np.arange(number)) % count


def _find_corner(loop: Loop, part: int, lost: IntArray, source: Source, reach_mm: float) -> Corner:
    count = len(source)
    before, after = int(loop.maker[part - 1]), int(loop.maker[part])
    last = after if after < count else after - count
    inside = points_on(source.segments, np.repeat(lost, 4), np.tile([0.0, 0.25, 0.5, 0.75], len(lost)))
    points = np.concatenate((inside, source.segments.start_mm[[last]]))
    away = np.hypot(*(points - loop.joint_mm[part]).T)
    deepest = int(np.argmax(away))
    # the corners between the places where the disc rests; a vertex it rests on is not one of them
    vertices = np.append(lost, last)
    if before >= count:
        vertices = vertices[1:]
    if after >= count:
        vertices = vertices[:-1]
    sharp = (source.turn_rad[vertices] < -TANGENT_TOL_RAD).any()
    inward = lost[source.segments.sweep_rad[lost] < 0.0]
    return Corner(
        before=before,
        after=after,
        part_before=(part - 1) % len(loop.maker),
        part_after=part,
        lost=lost,
        centre_mm=loop.joint_mm[part],
        deepest_mm=points[deepest],
        depth_mm=float(away[deepest]) - reach_mm,
        radius_before_mm=0.0 if sharp or not len(inward) else float(source.segments.radius_mm[inward].min()),
    )


def is_only_a_corner(corner: Corner, *, source: Source, radius_mm: float) -> bool:
    """Return whether rounding a corner fills nothing but a corner.

    Notes
    -----
    A single sharp corner always is one. Several corners under one disc are, where no more than the
    radius is filled behind it (as in a sharp corner of 60 degrees), where the disc does not rest on
    the two lips of a notch, and where nothing in between opens into a pocket.
    """
    count = len(source)
    if not len(corner.lost) and corner.before < count and corner.after < count:
        return True
    if corner.depth_mm > radius_mm:
        return False
    if corner.before >= count and corner.after >= count and corner.depth_mm > SHORT_MM:
        return False
    return not _opens_into_pocket(corner, source)


def _opens_into_pocket(corner: Corner, source: Source) -> bool:
    lost, segments = corner.lost, source.segments
    length = segments.length_mm
    long = length[lost] > SHORT_MM
    if (long & (segments.sweep_rad[lost] > TANGENT_TOL_RAD)).any():
        return True
    # vertices strictly inside the stretch, between what is lost and between that and the rests
    inner = lost[1:] if corner.before >= len(source) else lost
    if corner.after < len(source) and len(lost):
        inner = np.append(inner, corner.after)
    opens = source.turn_rad[inner] > TANGENT_TOL_RAD
    return bool((opens & (length[inner] > SHORT_MM) & (length[source.previous[inner]] > SHORT_MM)).any())
