"""Recesses where they lie: what each leaves standing of its panel, and at which height its floor is."""

from __future__ import annotations

from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from cam.geometry.flatten import flatten
from cam.report.judge_case import CHORD_TOL_MM, Case
from cam.sheet.layout import place_contour
from cam.tables.job import ZeroFace

SLIVER_MM = 1e-6
"""A thousandth of what a program can say: what stands no wider is rounding."""
FLOOR_TOL_MM = 0.05
"""How far a recess's floor may lie above or below where it should be."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedRecess:
    """A recess on the sheet: of its panel, ``shape`` is what lies at the floor, ``floor_mm`` above the bed."""

    panel: int
    name: str
    label: str
    shape: BaseGeometry
    floor_mm: float


def place_recesses(case: Case) -> tuple[PlacedRecess, ...]:
    """Return the recesses of all panels, each cut to its panel.

    Notes
    -----
    With Z zero on the top the portions' heights stand for the thickest sheet, so the floor is counted
    from its top; from the bed it is counted from the middle of what was measured.
    """
    layout = case.layout
    on_top = case.job.heights.zero is ZeroFace.TOP
    top = layout.max_top_mm if on_top else (layout.min_top_mm + layout.max_top_mm) / 2.0
    placed = []
    for index, (placement, panel) in enumerate(zip(layout.placements, case.panels, strict=True)):
        for recess in placement.panel.recesses:
            outer, *holes = (
                flatten(place_contour(placement, contour), chord_tol_mm=CHORD_TOL_MM)
                for contour in recess.region.contours
            )
            shape = shapely.Polygon(outer, holes).buffer(0.0).intersection(panel.polygon)
            placed.append(
                PlacedRecess(
                    panel=index,
                    name=panel.name,
                    label=recess.label,
                    shape=shape,
                    floor_mm=top - recess.depth_mm,
                )
            )
    return tuple(placed)


def find_solid(case: Case, *, panel: int, recesses: tuple[PlacedRecess, ...], above_mm: float) -> BaseGeometry:
    """Return what of a panel must stand at a height: all of it but the recesses whose floors lie below."""
    own = [each.shape for each in recesses if each.panel == panel and each.floor_mm - FLOOR_TOL_MM <= above_mm]
    polygon = case.panels[panel].polygon
    # where a recess ends on the panel's edge, rounding would leave slivers of that standing
    return polygon.difference(shapely.union_all(own).buffer(SLIVER_MM, join_style="mitre")) if own else polygon
