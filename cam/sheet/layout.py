"""A sheet with panels laid on it, as seen from above on the machine's bed."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

from cam.geometry.contour import Contour, Region, polygon
from cam.geometry.transform import map_region, mirror, move, turn
from cam.panel.panel import Panel
from cam.tables.job import Face


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One panel on the sheet: mirrored in x if it lies face down, turned about the origin, then moved."""

    panel: Panel
    by_mm: tuple[float, float]
    turn_deg: float = 0.0
    face: Face = Face.UP


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


def orient_contour(contour: Contour, *, turn_deg: float, face: Face) -> Contour:
    """Return a contour of a drawing mirrored if it lies face down, then turned; not moved yet."""
    seen = mirror(contour) if face is Face.DOWN else contour
    return turn(seen, angle_rad=radians(turn_deg))


def place_contour(placement: Placement, contour: Contour) -> Contour:
    """Return a contour of the panel's drawing where it lies on the sheet, its direction of travel kept."""
    return move(orient_contour(contour, turn_deg=placement.turn_deg, face=placement.face), by_mm=placement.by_mm)


def place_region(placement: Placement) -> Region:
    """Return the panel's region where it lies on the sheet."""
    return map_region(placement.panel.region, lambda contour: place_contour(placement, contour))


def place_point(placement: Placement, point_mm: tuple[float, float]) -> tuple[float, float]:
    """Return a point of the panel's drawing where it lies on the sheet."""
    x, y = point_mm
    # a contour through the point goes the way of all contours, so that the two cannot part
    placed = place_contour(placement, polygon([(x, y), (x + 1.0, y), (x, y + 1.0)]))
    return float(placed.points_mm[0, 0]), float(placed.points_mm[0, 1])
