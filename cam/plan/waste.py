"""The waste that stands when every kerf is cut: what a bridge can hold on to, and what would be loose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from cam.geometry.along import Ruler
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.flatten import flatten
from cam.panel.panel import Role
from cam.plan.placed import PlacedFeature
from cam.plan.workingstep import Bridge
from cam.sheet.layout import Layout

CHORD_TOL_MM = 0.01
STRIP_MM = 2.0
"""The narrowest strip of waste beyond the kerf that a bridge may hold on to (common practice, no source)."""
CRUMB_MM2 = 1.0
"""A smaller piece between two kerfs is a chip, not a slug."""
MIN_SLUG_BRIDGES = 2
"""A slug on one bridge swings."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waste:
    """What stands beside one feature when every kerf is cut.

    Attributes
    ----------
    pieces
        All that stands on the sheet but panels.
    slugs
        Those that would be loose but for the feature's bridges: inside a cut-out, or in a bay of an
        outline whose mouth the kerf closes.
    kerf_mm
        The width that is cut away beside the wall: the cutter and the finishing allowance.
    outside
        Whether the waste is outside the wall.
    holds_panel
        Whether another panel lies inside the feature.
    """

    pieces: tuple[shapely.Polygon, ...]
    slugs: tuple[shapely.Polygon, ...]
    kerf_mm: float
    outside: bool
    holds_panel: bool


def find_waste(
    layout: Layout, *, features: tuple[PlacedFeature, ...], kerfs_mm: Mapping[int, float]
) -> Mapping[int, Waste]:
    """Return the waste beside each feature, by its task's key as the widths of the kerfs are."""
    kerf = kerfs_mm
    shape = {f.task.key: shapely.Polygon(flatten(f.contour, chord_tol_mm=CHORD_TOL_MM)) for f in features}
    outlines = [f for f in features if f.task.feature.role is Role.OUTLINE]
    sheet = shapely.box(0.0, 0.0, layout.width_mm, layout.height_mm)
    standing: shapely.Geometry = sheet
    # from the outermost panels inwards: an island stands in an opening of the panel round it
    for level in sorted({f.level for f in features}):
        solid = [shape[f.task.key] for f in outlines if f.level == level]
        opened = [shape[f.task.key] for f in features if f.level == level and f not in outlines]
        standing = shapely.union(shapely.difference(standing, shapely.unary_union(solid)), shapely.unary_union(opened))
    cut = shapely.unary_union([shapely.buffer(shape[key].exterior, width) for key, width in kerf.items()])
    pieces = tuple(p for p in shapely.get_parts(shapely.difference(standing, cut)) if p.area > CRUMB_MM2)
    found = {}
    for feature in features:
        key, outside = feature.task.key, feature in outlines
        islands = [
            shape[f.task.key]
            for f in outlines
            if not outside and f.level == feature.level + 1 and shape[key].contains(shape[f.task.key])
        ]
        if outside and feature.level == 0:
            bays = [shape[f.task.key] for f in features if f not in outlines]
            slugs = tuple(
                p
                for p in pieces
                if not p.intersects(sheet.exterior)
                and not _lies_in(p, bays)
                and shapely.dwithin(p, shape[key], kerf[key] + STRIP_MM)
            )
        else:
            slugs = (
                () if outside else tuple(p for p in pieces if _lies_in(p, [shape[key]]) and not _lies_in(p, islands))
            )
        found[key] = Waste(pieces=pieces, slugs=slugs, kerf_mm=kerf[key], outside=outside, holds_panel=bool(islands))
    return found


def _lies_in(piece: shapely.Polygon, shapes: list[shapely.Polygon]) -> bool:
    point = piece.representative_point()
    return any(shape.contains(point) for shape in shapes)


def find_anchored(waste: Waste, *, ruler: Ruler, places_mm: FloatArray, length_mm: float) -> BoolArray:
    """Return at which places along a wall (counter-clockwise) a bridge reaches waste that stays, shape (n,).

    Notes
    -----
    Beyond the kerf there must be waste `STRIP_MM` wide over the bridge's whole length: no other
    kerf, and not the sheet's edge.
    """
    strips = _lay_strips(waste, ruler=ruler, places_mm=places_mm, length_mm=length_mm)
    min_x, min_y, max_x, max_y = shapely.total_bounds(strips)
    anchored = np.zeros(len(strips), dtype=np.bool_)
    for piece in waste.pieces:
        low_x, low_y, high_x, high_y = piece.bounds
        if low_x <= max_x and high_x >= min_x and low_y <= max_y and high_y >= min_y:
            shapely.prepare(piece)
            anchored |= shapely.covers(piece, strips)
    return anchored


def _lay_strips(waste: Waste, *, ruler: Ruler, places_mm: FloatArray, length_mm: float) -> npt.NDArray[np.object_]:
    """Return the waste that a bridge at each place would hold on to, (n,) polygons."""
    points, headings, segment = _find_places(ruler, places_mm)
    along = np.column_stack((np.cos(headings), np.sin(headings))) * length_mm / 2.0
    across = np.column_stack((np.sin(headings), -np.cos(headings))) * (1.0 if waste.outside else -1.0)
    # the kerf's polygon is its bound within two chords' distances; within a curve its ends come nearer
    sag = _find_sags_mm(waste, ruler=ruler, segment=segment, length_mm=length_mm)
    near = points + across * (waste.kerf_mm + sag + 2.0 * CHORD_TOL_MM)[:, None]
    far = near + across * STRIP_MM
    return np.asarray(shapely.polygons(np.stack((near - along, near + along, far + along, far - along), axis=1)))


def _find_places(ruler: Ruler, places_mm: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return point (n, 2), direction of travel in radians (n,) and segment (n,) at distances along a wall."""
    segments = ruler.segments
    at = np.mod(places_mm, ruler.length_mm)
    i = np.minimum(np.searchsorted(ruler.at_mm, at, side="right") - 1, len(segments) - 1)
    rest = (at - ruler.at_mm[i])[:, None]
    chord = segments.end_mm[i] - segments.start_mm[i]
    unit = chord / np.hypot(chord[:, 0], chord[:, 1])[:, None]
    arc = segments.is_arc[i]
    turn = np.sign(segments.sweep_rad[i])
    spoke = np.where(arc[:, None], segments.start_mm[i] - segments.centre_mm[i], 0.0)
    radius = np.where(arc, segments.radius_mm[i], 1.0)
    angle = np.arctan2(spoke[:, 1], spoke[:, 0]) + turn * rest[:, 0] / radius
    round_ = np.where(arc[:, None], segments.centre_mm[i], 0.0) + radius[:, None] * np.column_stack(
        (np.cos(angle), np.sin(angle))
    )
    points = np.where(arc[:, None], round_, segments.start_mm[i] + unit * rest)
    headings = np.where(arc, angle + turn * np.pi / 2.0, np.arctan2(unit[:, 1], unit[:, 0]))
    return points, headings, i.astype(np.int64)


def _find_sags_mm(waste: Waste, *, ruler: Ruler, segment: IntArray, length_mm: float) -> FloatArray:
    """Return how far the kerf's far side bends into each strip's ends, (n,); 0 where it does not."""
    inwards = (ruler.segments.sweep_rad[segment] > 0.0) != waste.outside
    radius = ruler.segments.radius_mm[segment] - waste.kerf_mm
    bends = ruler.segments.is_arc[segment] & inwards & (radius > length_mm / 2.0)
    bent = np.where(bends, radius, length_mm)
    return np.where(bends, bent - np.sqrt(bent**2 - (length_mm / 2.0) ** 2), 0.0)


def find_unheld(waste: Waste, *, bridges: tuple[Bridge, ...]) -> shapely.Polygon | None:
    """Return a slug that fewer than `MIN_SLUG_BRIDGES` of some bridges hold, or None."""
    feet = [shapely.Point(bridge.x_mm, bridge.y_mm) for bridge in bridges]
    reach = waste.kerf_mm + STRIP_MM
    for slug in waste.slugs:
        if sum(bool(shapely.dwithin(slug, foot, reach)) for foot in feet) < MIN_SLUG_BRIDGES:
            return slug
    return None
