"""Corners that a disc cannot reach, found in the offset by the disc's radius."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, pi

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.joining import Loop
from cam.geometry.offset.source import Source
from cam.geometry.rounding.measure import TANGENT_TOL_RAD

NOISE_MM = 1e-7
"""A stretch without tight arcs and sharp joints that the disc misses by less than this stays as it is."""


class CornersUncertain(Exception):  # noqa: N818 - caught inside the package, never seen outside it
    """The loop does not follow the contour once round, or a fillet does not touch its segments.

    ``args`` are x and y in mm near the source's origin.
    """


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corner:
    """A stretch of a contour that a disc cannot touch, between the two places where it rests.

    ``before`` and ``after`` are the makers (segment, or number of segments plus vertex) that the
    disc touches, ``part_before`` and ``part_after`` their places in the loop. The stretch leaves
    ``before`` at ``start_share``, takes the ``lost`` segments whole and ends on ``after`` at
    ``end_share``. ``centre_mm`` is the disc's centre, ``deepest_mm`` the point of the stretch
    farthest from it, ``depth_mm`` how far the disc stays away from that. ``is_plain`` says that
    the stretch is one sharp joint of two segments.
    """

    before: int
    after: int
    part_before: int
    part_after: int
    start_share: float
    end_share: float
    lost: IntArray
    centre_mm: FloatArray
    deepest_mm: FloatArray
    depth_mm: float
    radius_before_mm: float
    is_plain: bool


NOTHING = np.zeros(0, dtype=np.int64)


def find_corners(loop: Loop, *, source: Source, reach_mm: float) -> list[Corner]:
    """Return the corners along one loop of the offset of a contour by a disc's radius, in order.

    Parameters
    ----------
    loop
        A loop of the offset by ``reach_mm``, or by a hair of ``offset.region.SHIFTS_MM`` more or less.
    """
    count = len(source)
    before, after = np.roll(loop.maker, 1), loop.maker
    opened = ~(_are_joints(source, before, after) & (np.roll(loop.high_share, 1) == 1.0) & (loop.low_share == 0.0))
    segments = (before < count) & (after < count)
    next_to = np.where(segments, source.following[np.where(segments, before, 0)] == after, False)
    turn = source.turn_rad[np.where(segments, after, 0)]
    sharp = next_to & (turn < -TANGENT_TOL_RAD) & _keep_near(loop, source)
    corners = []
    for part in np.flatnonzero(opened).tolist():
        if sharp[part]:
            corners.append(_find_plain(loop, part, source, reach_mm))
            continue
        corner = _find_stretch(loop, part, source, reach_mm)
        # what a joint within the tangent tolerance keeps from the disc, doubled
        slight = max(NOISE_MM, reach_mm * TANGENT_TOL_RAD**2 / 4.0) if next_to[part] else NOISE_MM
        tight = source.segments.sweep_rad[corner.lost] < 0.0
        if corner.depth_mm > slight or (tight & (source.segments.radius_mm[corner.lost] < reach_mm)).any():
            corners.append(corner)
    return corners


def _are_joints(source: Source, before: IntArray, after: IntArray) -> BoolArray:
    """Return where one maker's piece runs into the other's without a crossing."""
    count = len(source)
    vertex = np.where(before < count, source.following[np.minimum(before, count - 1)], before - count)
    both_vertices = (before >= count) & (after >= count)
    return np.asarray((vertex == np.where(after < count, after, after - count)) & ~both_vertices)


def _keep_near(loop: Loop, source: Source) -> BoolArray:
    """Return where what the disc misses of the two makers turns less than half round, so that its end is deepest."""
    count = len(source)
    sweep = np.abs(source.segments.sweep_rad)
    before, after = np.roll(loop.maker, 1), loop.maker
    left = np.where(before < count, sweep[np.minimum(before, count - 1)] * (1.0 - np.roll(loop.high_share, 1)), 0.0)
    joined = np.where(after < count, sweep[np.minimum(after, count - 1)] * loop.low_share, 0.0)
    return np.asarray((left < 3.0) & (joined < 3.0))


def _find_plain(loop: Loop, part: int, source: Source, reach_mm: float) -> Corner:
    """Return the corner of one sharp joint."""
    after, centre = int(loop.maker[part]), loop.joint_mm[part]
    vertex = source.segments.start_mm[after]
    return Corner(
        before=int(loop.maker[part - 1]),
        after=after,
        part_before=(part - 1) % len(loop.maker),
        part_after=part,
        start_share=float(loop.high_share[part - 1]),
        end_share=float(loop.low_share[part]),
        lost=NOTHING,
        centre_mm=centre,
        deepest_mm=vertex,
        depth_mm=hypot(vertex[0] - centre[0], vertex[1] - centre[1]) - reach_mm,
        radius_before_mm=0.0,
        is_plain=True,
    )


def _find_stretch(loop: Loop, part: int, source: Source, reach_mm: float) -> Corner:
    """Return the corner of any stretch between two makers."""
    count, segments = len(source), source.segments
    before, after = int(loop.maker[part - 1]), int(loop.maker[part])
    centre = loop.joint_mm[part]
    lost = find_lost(source, before, after)
    vertices = find_inner_vertices(source, before, after, lost)
    # the ends of segments are deepest, or the far side of an arc
    points = np.concatenate((segments.start_mm[vertices], _far_sides(source, lost, centre)))
    if not len(points):
        points = centre[None, :]
    away = np.hypot(*(points - centre).T)
    deepest = int(np.argmax(away))
    sharp = (source.turn_rad[vertices] < -TANGENT_TOL_RAD).any()
    inward = lost[segments.sweep_rad[lost] < 0.0]
    return Corner(
        before=before,
        after=after,
        part_before=(part - 1) % len(loop.maker),
        part_after=part,
        start_share=float(loop.high_share[part - 1]) if before < count else 1.0,
        end_share=float(loop.low_share[part]) if after < count else 0.0,
        lost=lost,
        centre_mm=centre,
        deepest_mm=points[deepest],
        depth_mm=float(away[deepest]) - reach_mm,
        radius_before_mm=0.0 if sharp or not len(inward) else float(segments.radius_mm[inward].min()),
        is_plain=False,
    )


def find_lost(source: Source, before: int, after: int) -> IntArray:
    """Return the segments between two makers."""
    count = len(source)
    first = int(source.following[before]) if before < count else before - count
    last = int(source.previous[after if after < count else after - count])
    number = (last - first + 1) % count
    return np.asarray((first + np.arange(number)) % count)


def find_inner_vertices(source: Source, before: int, after: int, lost: IntArray) -> IntArray:
    """Return the vertices strictly between two makers; a vertex that the disc rests on is not one of them."""
    count = len(source)
    vertices = np.append(lost, after if after < count else after - count)
    if before >= count:
        vertices = vertices[1:]
    return vertices if after < count else vertices[:-1]


def _far_sides(source: Source, lost: IntArray, centre: FloatArray) -> FloatArray:
    """Return the points of arcs that lie straight beyond their own centres."""
    arcs = lost[source.segments.is_arc[lost]]
    if not len(arcs):
        return np.zeros((0, 2))
    middle, radius = source.segments.centre_mm[arcs], source.segments.radius_mm[arcs]
    away = middle - centre
    size = np.hypot(away[:, 0], away[:, 1])
    offset = source.segments.start_mm[arcs] - middle
    cross = offset[:, 0] * away[:, 1] - offset[:, 1] * away[:, 0]
    turn = np.mod(np.arctan2(cross, (offset * away).sum(axis=1)) * np.sign(source.segments.sweep_rad[arcs]), 2.0 * pi)
    on = (turn <= np.abs(source.segments.sweep_rad[arcs])) & (size > 0.0)
    return np.asarray(middle[on] + away[on] * (radius[on] / size[on])[:, None])


def check_progress(loop: Loop, *, source: Source) -> None:
    """Check that the makers of the only loop of a contour follow it once round.

    Raises
    ------
    CornersUncertain
        At the first joint that goes back.
    """
    count = len(source)
    place = np.where(loop.maker < count, 2 * loop.maker + 1, 2 * (loop.maker - count))
    step = np.mod(np.roll(place, -1) - place, 2 * count)
    if int(step.sum()) > 2 * count or (len(place) > 1 and (step == 0).any()):
        at = int(np.argmax(step)) if step.any() else 0
        x, y = loop.joint_mm[(at + 1) % len(place)]
        raise CornersUncertain(float(x), float(y))
