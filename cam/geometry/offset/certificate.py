"""The check that an offset must pass before anyone sees it."""

from __future__ import annotations

import numpy as np

from cam.geometry.contour import FloatArray, find_segments
from cam.geometry.offset.clearance import SourceTree, find_feet, find_neighbours, points_on
from cam.geometry.offset.joining import Loop
from cam.geometry.offset.source import Source

JOINT_TOL_MM = 1e-6
"""How far a joint or a middle of the result may lie from the distance it should keep."""

MAX_JOINTS = 1000
"""How many joints of a loop are held against their makers; of more, an even choice."""


def check_loops(loops: list[Loop], *, source: Source, tree: SourceTree, distance_mm: float) -> str:
    """Return why loops are not the offset of a source, an empty text if nothing speaks against it."""
    if not loops:
        return ""
    points = np.concatenate([_find_samples(loop) for loop in loops])
    off = find_deviations_mm(tree, points, distance_mm=abs(distance_mm))
    worst = int(np.argmax(off))
    if not off[worst] <= JOINT_TOL_MM:
        x, y = points[worst] + source.origin_mm
        return f"at ({x:.4f}, {y:.4f}) mm it is {off[worst]:.2g} mm off the distance"
    return ""


def check_makers(loops: list[Loop], *, source: Source, distance_mm: float) -> str:
    """Return why joints do not keep the distance from the makers on both sides, an empty text if they do."""
    for loop in loops:
        after = loop.maker
        which = np.linspace(0, len(after) - 1, min(len(after), MAX_JOINTS)).astype(np.int64)
        joints = loop.joint_mm[which]
        for maker in (after[which], np.roll(after, 1)[which]):
            vertex = maker >= len(source)
            segment = maker % len(source)
            feet = find_feet(source.segments, segment, joints)
            feet[vertex] = source.segments.start_mm[segment[vertex]]
            off = np.abs(np.hypot(*(feet - joints).T) - abs(distance_mm))
            worst = int(np.argmax(off))
            if not off[worst] <= JOINT_TOL_MM:
                x, y = joints[worst] + source.origin_mm
                return f"at ({x:.4f}, {y:.4f}) mm it is {off[worst]:.2g} mm off the distance"
    return ""


def _find_samples(loop: Loop) -> FloatArray:
    """Return the joints and three points within each segment of a loop."""
    segments = find_segments(loop.vertices)
    every = np.tile(np.arange(len(segments)), 4)
    return points_on(segments, every, np.repeat([0.0, 0.25, 0.5, 0.75], len(segments)))


def find_deviations_mm(tree: SourceTree, points_mm: FloatArray, *, distance_mm: float) -> FloatArray:
    """Return how far the distance of points from the source is from what it should be, shape (n,)."""
    point, _, foot = find_neighbours(tree, points_mm, within_mm=distance_mm + 2.0 * JOINT_TOL_MM)
    nearest = np.full(len(points_mm), np.inf)
    np.minimum.at(nearest, point, np.hypot(foot[:, 0], foot[:, 1]))
    return np.asarray(np.abs(nearest - distance_mm))
