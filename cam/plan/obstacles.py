"""What a cutter must keep away from beside the wall that it makes: other walls of any panel, and keep-outs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely

from cam.geometry.contour import Contour
from cam.geometry.flatten import flatten
from cam.plan.keep_out import KEEP_CLEAR_MM, find_reach_mm, lay_keep_out
from cam.plan.placed import PlacedFeature
from cam.plan.workingstep import Obstacle
from cam.tables.job import KeepOut
from cam.tables.rows import Cutter

CHORD_TOL_MM = 0.01
NEAR_DIAMETERS = 4.0
"""Only what lies so near to a wall, in cutter diameters, can be in a lead's way."""


def find_obstacles(
    features: tuple[PlacedFeature, ...],
    *,
    cutters: Mapping[int, Cutter],
    floor_mm: float,
    keep_outs: Sequence[KeepOut],
) -> dict[int, tuple[Obstacle, ...]]:
    """Return what the cutter must keep away from near the wall of each feature, by its task's key.

    Parameters
    ----------
    cutters
        The cutter of each feature, by its task's key.
    floor_mm
        The height of the deepest pass.
    """
    rings = np.array([_ring(feature.contour) for feature in features], dtype=object)
    tree = shapely.STRtree(rings)
    clamps = [(each, lay_keep_out(each)) for each in keep_outs]
    boxes = [_ring(contour) for _, contour in clamps]
    found = {}
    for i, feature in enumerate(features):
        cutter = cutters[feature.task.key]
        near = NEAR_DIAMETERS * cutter.diameter_mm
        others = sorted(tree.query(rings[i], predicate="dwithin", distance=near + cutter.radius_mm).tolist())
        own = [_name(features[j], keep_mm=cutter.radius_mm) for j in others if j != i]
        for (keep_out, contour), box in zip(clamps, boxes, strict=True):
            keep_mm = find_reach_mm(cutter, height_above_tip_mm=keep_out.height_mm - floor_mm) + KEEP_CLEAR_MM
            if shapely.dwithin(box, rings[i], near + keep_mm):
                own.append(Obstacle(name=keep_out.name, contour=contour, keep_mm=keep_mm))
        found[feature.task.key] = tuple(own)
    return found


def _name(feature: PlacedFeature, *, keep_mm: float) -> Obstacle:
    return Obstacle(
        name=f"{feature.task.feature.label} of {feature.task.panel}", contour=feature.contour, keep_mm=keep_mm
    )


def _ring(contour: Contour) -> shapely.LinearRing:
    return shapely.LinearRing(flatten(contour, chord_tol_mm=CHORD_TOL_MM))
