"""A sheet with panels laid on it, as seen from above on the machine's bed."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

from cam.geometry.contour import Contour, Region
from cam.geometry.transform import map_region, move, turn
from cam.panel.panel import Panel


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One panel on the sheet: turned about the drawing's origin, then moved."""

    panel: Panel
    by_mm: tuple[float, float]
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A sheet, lower left corner at the work zero, and the panels on it.

    ``min_top_mm`` and ``max_top_mm`` bound the height of the sheet's upper face above the bed:
    the measured thicknesses, or the nominal one with its tolerance.
    """

    sheet: str
    material: str
    width_mm: float
    height_mm: float
    thickness_mm: float
    min_top_mm: float
    max_top_mm: float
    placements: tuple[Placement, ...]


def place_contour(placement: Placement, contour: Contour) -> Contour:
    """Return a contour of the panel's drawing where it lies on the sheet."""
    return move(turn(contour, angle_rad=radians(placement.turn_deg)), by_mm=placement.by_mm)


def place_region(placement: Placement) -> Region:
    """Return the panel's region where it lies on the sheet."""
    return map_region(placement.panel.region, lambda contour: place_contour(placement, contour))
