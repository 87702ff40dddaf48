"""How far the cutter can run up along a contour: a feed that its segments never let the machine reach is no feed."""

from __future__ import annotations

import numpy as np

from cam.geometry.contour import Contour, find_segments


def find_run_mm(wall: Contour, *, cutter_radius_mm: float, outside: bool) -> float:
    """Return the longest run along a contour, as the length of a straight from stop to stop that is as fast.

    Parameters
    ----------
    wall
        The finished wall, counter-clockwise.
    outside
        Whether the cutter goes round it; else it goes within.

    Notes
    -----
    On a straight of length L between arcs of path radius p the machine reaches v^2 = a p + a L: as on a run of L + p
    from rest to rest. Round an arc within a wall the centre of the cutter needs only p / (p + r) of the feed at its
    edge, so a circle counts as a run of p ((p + r) / p)^2. A corner of the wall is gone round outside on the cutter's
    own radius.
    """
    segments = find_segments(wall.vertices)
    length = np.hypot(*(segments.end_mm - segments.start_mm).T)
    # seen along a counter-clockwise wall, an arc to the left bulges out
    bulging = segments.sweep_rad > 0.0
    grown = bulging == outside
    radius = np.where(segments.is_arc, segments.radius_mm, np.inf)
    path = np.where(grown, radius + cutter_radius_mm, np.maximum(radius - cutter_radius_mm, 1e-3))
    before, after = np.roll(path, 1), np.roll(path, -1)
    # between two straights lies a corner: outside the cutter rolls round it, inside the wall has none sharp
    ends = np.minimum(before, after)
    ends = np.where(np.isfinite(ends), ends, cutter_radius_mm if outside else 0.0)
    bent = np.where(segments.is_arc, path, 1.0)
    need = np.where(grown, 1.0, (bent + cutter_radius_mm) / bent)
    runs = np.where(segments.is_arc, bent * need**2, length + ends)
    return float(runs.max())
