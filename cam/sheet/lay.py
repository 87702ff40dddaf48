"""Panels laid on a sheet where the job says, or row by row from the sheet's corner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.errors import LayoutRefused
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_bounds_mm
from cam.panel.panel import Panel
from cam.sheet.layout import Layout, Placement, orient_contour, place_contour
from cam.tables.job import Face
from cam.tables.rows import Material, SheetSize
from cam.tables.thickness import find_thickness_range

OVERLAP_CHORD_TOL_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The panels of one drawing, which keep their places among themselves."""

    drawing: str
    panels: tuple[Panel, ...]
    at_mm: tuple[float, float] | None
    turn_deg: float
    face: Face = Face.UP


def find_top_range_mm(
    *, thickness_mm: float, material: Material, measured_mm: tuple[float, ...]
) -> tuple[float, float]:
    """Return the lowest and highest place of the sheet's upper face above the bed.

    Notes
    -----
    Measured thicknesses are taken as they are; without them the nominal thickness with the
    material's tolerance.
    """
    if measured_mm:
        return min(measured_mm), max(measured_mm)
    return find_thickness_range(material, thickness_mm=thickness_mm)


def lay_panels(
    groups: tuple[Group, ...],
    *,
    sheet: SheetSize,
    material: Material,
    margin_mm: float,
    measured_thickness_mm: tuple[float, ...] = (),
) -> Layout:
    """Return the layout of panels on one sheet.

    Parameters
    ----------
    groups
        Each is laid with its lower left corner at ``at_mm`` after its turn; without one, at the
        next free place in rows from the sheet's lower left corner.
    margin_mm
        What every panel keeps from the sheet's edges, and rows and neighbours from one another.

    Raises
    ------
    LayoutRefused
        If a panel does not fit the sheet within its margins, or panels overlap.
    """
    placements: list[Placement] = []
    cursor_x = cursor_y = margin_mm
    row_mm = 0.0
    for group in groups:
        boxes = np.array([find_bounds_mm(_turned(panel.region.outer, group)) for panel in group.panels])
        min_x, min_y = boxes[:, :2].min(axis=0)
        width, height = boxes[:, 2:].max(axis=0) - (min_x, min_y)
        if group.at_mm is not None:
            x, y = group.at_mm
        else:
            if cursor_x > margin_mm and cursor_x + width > sheet.width_mm - margin_mm:
                cursor_x, cursor_y, row_mm = margin_mm, cursor_y + row_mm + margin_mm, 0.0
            x, y = cursor_x, cursor_y
            cursor_x, row_mm = cursor_x + width + margin_mm, max(row_mm, height)
        placements += [
            Placement(panel=panel, by_mm=(float(x - min_x), float(y - min_y)), turn_deg=group.turn_deg, face=group.face)
            for panel in group.panels
        ]
    min_top, max_top = find_top_range_mm(
        thickness_mm=sheet.thickness_mm, material=material, measured_mm=measured_thickness_mm
    )
    layout = Layout(
        sheet=sheet.name,
        material=material.name,
        width_mm=sheet.width_mm,
        height_mm=sheet.height_mm,
        thickness_mm=sheet.thickness_mm,
        min_top_mm=min_top,
        max_top_mm=max_top,
        placements=tuple(placements),
    )
    findings = _find_outside(layout, margin_mm=margin_mm) + _find_overlaps(layout)
    if findings:
        raise LayoutRefused(*findings)
    return layout


def _turned(contour: Contour, group: Group) -> Contour:
    return orient_contour(contour, turn_deg=group.turn_deg, face=group.face)


def _find_outside(layout: Layout, *, margin_mm: float) -> list[Finding]:
    findings = []
    for placement in layout.placements:
        min_x, min_y, max_x, max_y = find_bounds_mm(place_contour(placement, placement.panel.region.outer))
        short = max(
            margin_mm - min_x,
            margin_mm - min_y,
            max_x - (layout.width_mm - margin_mm),
            max_y - (layout.height_mm - margin_mm),
        )
        if short > 1e-6:
            findings.append(
                error(
                    "panel-off-sheet",
                    f"the panel reaches from ({min_x:.1f}, {min_y:.1f}) to ({max_x:.1f}, {max_y:.1f}) mm, "
                    f"{short:.1f} mm beyond the margins of {margin_mm:g} mm on sheet {layout.sheet} "
                    f"({layout.width_mm:g} x {layout.height_mm:g} mm)",
                    remedy="choose a larger sheet, turn or move the panel (turn_deg, at_mm), or reduce margin_mm",
                    origin=Origin(file=placement.panel.drawing, panel=placement.panel.name),
                    size_mm=short,
                )
            )
    return findings


def _find_overlaps(layout: Layout) -> list[Finding]:
    """Return a finding for each two panels that share material; an island lies in a cut-out and shares none."""
    shapes = np.array([_build_polygon(placement) for placement in layout.placements])
    findings = []
    for i, j in shapely.STRtree(shapes).query(shapes, predicate="intersects").T.tolist():
        if i < j and shapely.intersection(shapes[i], shapes[j]).area > OVERLAP_CHORD_TOL_MM:
            point = shapely.intersection(shapes[i], shapes[j]).representative_point()
            a, b = (layout.placements[k].panel.name for k in (i, j))
            findings.append(
                error(
                    "panels-overlap",
                    f"panels {a} and {b} overlap on the sheet",
                    remedy="move one of them with at_mm, or leave both without one to have them laid in rows",
                    origin=Origin(panel=a, x_mm=point.x, y_mm=point.y),
                )
            )
    return findings


def _build_polygon(placement: Placement) -> shapely.Polygon:
    outer, *holes = (
        flatten(place_contour(placement, contour), chord_tol_mm=OVERLAP_CHORD_TOL_MM)
        for contour in placement.panel.region.contours
    )
    return shapely.Polygon(outer, holes)
