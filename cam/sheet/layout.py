"""A sheet with panels laid on it, as seen from above on the machine's bed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import radians

import numpy as np

from cam.geometry.contour import Contour, FloatArray, Region, polygon
from cam.geometry.transform import map_region, mirror, move, turn
from cam.panel.panel import Feature, Finish, Panel, Recess
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


def place_finishes(placement: Placement, feature: Feature) -> tuple[Finish, ...]:
    """Return the finish class of each segment of a feature's contour in the order of its placed contour.

    A panel that lies face down is mirrored, and its contours run the other way round, so that the
    material stays on their left.
    """
    finishes = feature.finishes or (feature.finish,) * len(placement.panel.region.contours[feature.index])
    return finishes[::-1] if placement.face is Face.DOWN else finishes


def place_recess(placement: Placement, recess: Recess) -> Recess:
    """Return a recess of the panel where it lies on the sheet; a centre line keeps its direction of travel."""
    line = recess.centre_line
    return replace(
        recess,
        region=map_region(recess.region, lambda contour: place_contour(placement, contour)),
        centre_line=None if line is None else _place_path(placement, line),
    )


def _place_path(placement: Placement, vertices: FloatArray) -> FloatArray:
    """Return an open path of the panel's drawing where it lies on the sheet."""
    seen = vertices * (-1.0, 1.0, -1.0) if placement.face is Face.DOWN else vertices
    # as a contour, by way of a point of its own, it goes the way of all contours
    x, y, _ = seen.max(axis=0) + 1.0
    contour = turn(Contour(np.concatenate((seen, [[x, y, 0.0]]))), angle_rad=radians(placement.turn_deg))
    return np.array(move(contour, by_mm=placement.by_mm).vertices[:-1])
