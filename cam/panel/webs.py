"""Webs: the material between two contours of a panel, which must be wide enough to survive handling."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from cam.errors import PanelRefused
from cam.findings import Finding, Origin, error
from cam.geometry.flatten import flatten
from cam.panel.panel import Panel

CHORD_TOL_MM = 0.001
"""How far the chords lie off the arcs: a web measures too wide by twice as much at most."""
SPECK_MM2 = 0.01
"""A smaller part of an eroded panel is none."""


def check_webs(panel: Panel, *, min_web_mm: float) -> None:
    """Refuse a panel with a web narrower than the rule.

    Parameters
    ----------
    min_web_mm
        The least distance between two contours of the panel, and the least width of a neck that joins two
        parts of it. 0 asks for nothing.

    Raises
    ------
    PanelRefused
        ``web-too-thin``, naming both contours of each such web, or the outline for a neck of its own.
    """
    if min_web_mm <= 0.0:
        return
    rings = [flatten(contour, chord_tol_mm=CHORD_TOL_MM) for contour in panel.region.contours]
    findings = list(_find_thin_webs(panel, rings=rings, min_web_mm=min_web_mm))
    findings += [] if findings else list(_find_thin_necks(panel, rings=rings, min_web_mm=min_web_mm))
    if findings:
        raise PanelRefused(*findings)


def _find_thin_webs(panel: Panel, *, rings: list[np.ndarray], min_web_mm: float) -> Iterator[Finding]:
    lines = np.array([shapely.LinearRing(ring) for ring in rings])
    near = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=min_web_mm - 2.0 * CHORD_TOL_MM)
    labels = {feature.index: feature.label for feature in panel.features}
    for i, j in sorted((i, j) for i, j in near.T.tolist() if i < j):
        web = shapely.shortest_line(lines[i], lines[j])
        point = web.interpolate(0.5, normalized=True)
        yield _say_thin(
            panel,
            feature=labels[j],
            other=labels[i],
            point=point,
            message=f"the web between {labels[j]} and {labels[i]} is {web.length:.2f} mm wide; the rule asks for "
            f"{min_web_mm:g} mm",
            short_mm=min_web_mm - web.length,
        )


def _find_thin_necks(panel: Panel, *, rings: list[np.ndarray], min_web_mm: float) -> Iterator[Finding]:
    """Yield a finding where the outline alone makes the panel so narrow that it falls in two when eroded."""
    eroded = shapely.buffer(shapely.Polygon(rings[0], rings[1:]), -(min_web_mm / 2.0 - 2.0 * CHORD_TOL_MM))
    parts = sorted((p for p in shapely.get_parts(eroded) if p.area > SPECK_MM2), key=lambda p: -p.area)
    for part in parts[1:]:
        other = min((p for p in parts if p is not part), key=lambda p: float(shapely.distance(p, part)))
        point = shapely.shortest_line(part, other).interpolate(0.5, normalized=True)
        yield _say_thin(
            panel,
            feature="outline",
            other="outline",
            point=point,
            message=f"the outline leaves a neck narrower than {min_web_mm:g} mm, the rule for webs",
            short_mm=None,
        )
        return


def _say_thin(
    panel: Panel, *, feature: str, other: str, point: shapely.Point, message: str, short_mm: float | None
) -> Finding:
    handles = {each.label: each.handle for each in panel.features}
    moved = (
        "widen the neck in the drawing" if feature == other else "move one of them in the drawing, or make it smaller"
    )
    return error(
        "web-too-thin",
        message,
        remedy=f"{moved}, or lower min_web_mm in [corners]",
        origin=Origin(
            file=panel.drawing,
            panel=panel.name,
            feature=feature,
            handle=handles.get(feature),
            x_mm=float(point.x),
            y_mm=float(point.y),
        ),
        size_mm=short_mm,
    )
