"""How tight the re-entrant corners of a region are."""

from __future__ import annotations

from math import inf

import numpy as np

from cam.geometry.contour import Region
from cam.geometry.offset.source import find_source

TANGENT_TOL_RAD = 1e-3
"""Two segments that meet within this angle, 0.06 degrees, count as tangent.

A cutter of 10 mm radius leaves 0.00000125 mm in such a corner (radius times angle squared over 8).
"""


def find_min_reentrant_radius_mm(region: Region, *, tangent_tol_rad: float = TANGENT_TOL_RAD) -> float:
    """Return the smallest re-entrant radius of a region.

    Parameters
    ----------
    region
        The material that stays.
    tangent_tol_rad
        Up to this change of direction a joint counts as tangent, not as a corner.

    Returns
    -------
    float
        0.0 with a sharp re-entrant corner, inf with no re-entrant corner or arc at all.

    Examples
    --------
    >>> from cam.geometry.contour import circle, rectangle
    >>> from cam.geometry.transform import reverse
    >>> plate = rectangle((0.0, 0.0), width_mm=50.0, height_mm=50.0)
    >>> find_min_reentrant_radius_mm(Region(outer=plate))
    inf
    >>> hole = reverse(circle((25.0, 25.0), radius_mm=8.0))
    >>> find_min_reentrant_radius_mm(Region(outer=plate, holes=(hole,)))
    8.0
    """
    source = find_source(region.contours)
    if (source.turn_rad < -tangent_tol_rad).any():
        return 0.0
    inward = source.segments.sweep_rad < 0.0
    return float(np.min(source.segments.radius_mm[inward], initial=inf))
