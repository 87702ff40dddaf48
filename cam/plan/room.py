"""Room for the cutter: between panels, to the sheet's edge, and within the machine's travel."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from cam.errors import PlanRefused
from cam.findings import Finding, Origin, error
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_bounds_mm
from cam.panel.panel import Role
from cam.plan.choose_cutters import Choice
from cam.plan.keep_out import find_rapid_mm
from cam.plan.means import Means
from cam.plan.placed import PlacedFeature
from cam.sheet.layout import Layout
from cam.tables.job import HoldKind

CHORD_TOL_MM = 0.01
MIN_CLEARANCE_MM = 2.0
"""Less would brush a bowed sheet or a chip on it (common practice, no source)."""
MAX_HOLD_SHARE = 0.75
"""A bridge or skin higher than this share of the sheet is no cut to break out of (common practice, no source)."""
SPARE_MM = 0.5
"""What stays of the gap between two panels: a lead on a curved wall leaves its slot by less than that."""


def check_room(
    layout: Layout,
    *,
    features: tuple[PlacedFeature, ...],
    choice: Choice,
    kerfs_mm: Mapping[int, float],
    means: Means,
) -> None:
    """Refuse outlines that leave the cutter no room.

    Raises
    ------
    PlanRefused
        If two panels, one of them perhaps within a cut-out of the other, are closer than a kerf with
        its finishing allowance, an outline's kerf leaves the sheet, or the cutter's centre leaves the
        machine's travel.
    """
    kerf = [kerfs_mm[feature.task.key] for feature in features]
    findings = [
        *_find_close_panels(features, kerf_mm=kerf),
        *(
            finding
            for feature, width in zip(features, kerf, strict=True)
            if feature.task.feature.role is Role.OUTLINE
            for finding in _find_short_room(
                feature,
                kerf_mm=width,
                reach_mm=width - choice.cutter[feature.task.key].radius_mm,
                layout=layout,
                means=means,
            )
        ),
    ]
    findings += _find_height_faults(layout, means=means)
    rapid = find_rapid_mm(layout, clearance_mm=means.heights.clearance_mm, keep_outs=means.keep_outs)
    depth = rapid + means.heights.into_bed_mm
    if depth > means.machine.travel_mm[2]:
        findings.append(
            error(
                "beyond-travel",
                f"clearance and depth need {depth:.1f} mm of Z, machine {means.machine.name} has "
                f"{means.machine.travel_mm[2]:g} mm",
                remedy="reduce clearance_mm, take lower clamps, or choose a machine with more Z travel",
            )
        )
    if findings:
        raise PlanRefused(*findings)


def _find_height_faults(layout: Layout, *, means: Means) -> list[Finding]:
    """Return what keeps the cutter from travelling clear of the sheet, or a hold from being cut at all."""
    findings = []
    if means.heights.clearance_mm < MIN_CLEARANCE_MM:
        findings.append(
            error(
                "clearance-too-low",
                f"clearance_mm is {means.heights.clearance_mm:g}; the cutter travels at least {MIN_CLEARANCE_MM:g} mm "
                "above the sheet",
                remedy="raise clearance_mm in [heights]",
            )
        )
    hold = means.hold
    skin = hold.by is HoldKind.SKIN
    height_mm, key = (hold.skin_mm, "skin_mm") if skin else (hold.bridge_height_mm, "bridge_height_mm")
    if height_mm > MAX_HOLD_SHARE * layout.min_top_mm:
        findings.append(
            error(
                "hold-too-high",
                f"{key} is {height_mm:g}, more than {MAX_HOLD_SHARE:g} of a sheet that may be as thin as "
                f"{layout.min_top_mm:.2f} mm",
                remedy=f"lower {key} in [hold], or measure the sheet (measured_thickness_mm)",
            )
        )
    return findings


def _find_close_panels(features: tuple[PlacedFeature, ...], *, kerf_mm: list[float]) -> list[Finding]:
    rings = np.array([shapely.LinearRing(flatten(feature.contour, chord_tol_mm=CHORD_TOL_MM)) for feature in features])
    findings = []
    reach = max(kerf_mm) + SPARE_MM
    for i, j in shapely.STRtree(rings).query(rings, predicate="dwithin", distance=reach).T.tolist():
        gap, needed = shapely.distance(rings[i], rings[j]), max(kerf_mm[i], kerf_mm[j]) + SPARE_MM
        if i < j and gap < needed and _bound_two_panels(features[i], features[j]):
            a, b = features[i].task, features[j].task
            point = shapely.shortest_line(rings[i], rings[j]).coords[0]
            findings.append(
                error(
                    "panels-too-close",
                    f"{a.feature.label} of {a.panel} and {b.feature.label} of {b.panel} stand {gap:.2f} mm apart; the "
                    f"cutter needs {needed:.2f} mm",
                    remedy="move them apart with at_mm, raise margin_mm, or choose a smaller cutter",
                    origin=Origin(panel=a.panel, x_mm=point[0], y_mm=point[1]),
                    size_mm=needed - gap,
                )
            )
    return findings


def _bound_two_panels(first: PlacedFeature, second: PlacedFeature) -> bool:
    """Return whether two walls belong to different panels: two outlines, or a cut-out and the outline within it."""
    outline, other = sorted((first, second), key=lambda f: f.task.feature.role is not Role.OUTLINE)
    if outline.task.feature.role is not Role.OUTLINE:
        return False
    return other.task.feature.role is Role.OUTLINE or outline.level > other.level


def _find_short_room(
    outline: PlacedFeature, *, kerf_mm: float, reach_mm: float, layout: Layout, means: Means
) -> list[Finding]:
    min_x, min_y, max_x, max_y = find_bounds_mm(outline.contour)
    findings = []
    edge = min(min_x, min_y, layout.width_mm - max_x, layout.height_mm - max_y)
    if edge < kerf_mm and outline.level == 0:
        findings.append(
            error(
                "too-near-sheet-edge",
                f"panel {outline.task.panel} comes within {edge:.2f} mm of the sheet's edge; its kerf needs "
                f"{kerf_mm:.2f} mm, or the waste beside it cannot hold it",
                remedy="raise margin_mm, move the panel with at_mm, or choose a smaller cutter",
                origin=outline.task.origin,
                size_mm=kerf_mm - edge,
            )
        )
    travel_x, travel_y, _ = means.machine.travel_mm
    over = max(max_x + reach_mm - travel_x, max_y + reach_mm - travel_y)
    if over > 0.0:
        findings.append(
            error(
                "beyond-travel",
                f"panel {outline.task.panel} needs the cutter at ({max_x + reach_mm:.1f}, {max_y + reach_mm:.1f}) mm; "
                f"machine {means.machine.name} travels {travel_x:g} x {travel_y:g} mm",
                remedy="turn or move the panel, cut it in two, or choose a larger machine",
                origin=outline.task.origin,
                size_mm=over,
            )
        )
    return findings
