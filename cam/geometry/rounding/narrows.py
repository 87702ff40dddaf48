"""Slots and pockets that a disc would fill: what tells them from corners, how wide they are, and where."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, ceil, log2, pi, tan

import numpy as np

from cam.errors import PanelRefused
from cam.geometry.contour import Contour, FloatArray
from cam.geometry.offset.clearance import points_on
from cam.geometry.offset.region import find_offset_loops
from cam.geometry.offset.source import Source, find_source
from cam.geometry.rounding.corners import Corner, find_corners, find_inner_vertices
from cam.geometry.rounding.measure import TANGENT_TOL_RAD

SHORT_MM = 0.01
"""A step shorter than this in a corner is part of the corner, not the mouth of a pocket."""
WIDTH_TOL_MM = 1e-4
"""How exactly the width of a slot is found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrow:
    """The narrowest place of a slot or pocket: its width, and the middle of it."""

    width_mm: float
    x_mm: float
    y_mm: float


def is_only_a_corner(corner: Corner, *, source: Source, radius_mm: float) -> bool:
    """Return whether rounding a corner fills nothing but a corner.

    Notes
    -----
    A single sharp joint always is one. Several corners under one disc are, where no more than the
    radius is filled behind it (as in a sharp corner of 60 degrees), where the disc does not rest on
    the two lips of a notch, and where nothing in between opens into a pocket.
    """
    count = len(source)
    if corner.is_plain:
        return True
    if corner.depth_mm > radius_mm:
        return False
    if corner.before >= count and corner.after >= count and corner.depth_mm > SHORT_MM:
        return False
    return not _opens_into_pocket(corner, source)


def _opens_into_pocket(corner: Corner, source: Source) -> bool:
    lost, segments = corner.lost, source.segments
    length = segments.length_mm
    long = length[lost] > SHORT_MM
    if (long & (segments.sweep_rad[lost] > TANGENT_TOL_RAD)).any():
        return True
    inner = find_inner_vertices(source, corner.before, corner.after, lost)
    opens = source.turn_rad[inner] > TANGENT_TOL_RAD
    return bool((opens & (length[inner] > SHORT_MM) & (length[source.previous[inner]] > SHORT_MM)).any())


def find_narrow(corner: Corner, *, source: Source, reach_mm: float) -> Narrow:
    """Return the narrowest place of the slot or pocket behind a corner.

    Notes
    -----
    The slot and the disc in front of it are a contour of their own. In it the largest disc that
    rounds all and fills nothing is sought by halving: twice its radius is the width, and a disc
    a hair larger stays stuck in the middle of the narrow place.
    """
    source_of_slot = find_source((_lay_slot(corner, source, reach_mm),))
    low, high = 0.0, reach_mm
    stuck = corner.centre_mm
    for _ in range(_count_halvings(reach_mm)):
        trial = (low + high) / 2.0
        place = _find_stuck(source_of_slot, radius_mm=trial, towards=corner.centre_mm)
        if place is None:
            low = trial
        else:
            high, stuck = trial, place
    x, y = stuck + source.origin_mm
    return Narrow(width_mm=2.0 * low, x_mm=float(x), y_mm=float(y))


def _count_halvings(size_mm: float) -> int:
    return max(8, ceil(log2(2.0 * size_mm / WIDTH_TOL_MM)))


def _lay_slot(corner: Corner, source: Source, reach_mm: float) -> Contour:
    """Return the stretch behind a disc, closed by the far side of the disc."""
    count, segments = len(source), source.segments
    rows: list[tuple[float, float, float]] = []
    if corner.before < count and corner.start_share < 1.0:
        rows.append(_cut_segment(source, corner.before, corner.start_share, 1.0))
    rows += [(*segments.start_mm[k], tan(segments.sweep_rad[k] / 4.0)) for k in corner.lost.tolist()]
    last = corner.after if corner.after < count else corner.after - count
    end = segments.start_mm[last]
    if corner.after < count and corner.end_share > 0.0:
        rows.append(_cut_segment(source, corner.after, 0.0, corner.end_share))
        end = points_on(segments, np.array([corner.after]), np.array([corner.end_share]))[0]
    start = np.array(rows[0][:2])
    centre = corner.centre_mm
    (x0, y0), (x1, y1) = end - centre, start - centre
    turn = atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1)
    turn = turn if turn < 0.0 else turn - 2.0 * pi
    # the long way round in two arcs: one of almost a turn would have almost no chord
    middle = atan2(y0, x0) + turn / 2.0
    rows.append((float(end[0]), float(end[1]), tan(turn / 8.0)))
    half = centre + reach_mm * np.array([np.cos(middle), np.sin(middle)])
    rows.append((float(half[0]), float(half[1]), tan(turn / 8.0)))
    kept = [row for row, following in zip(rows, [*rows[1:], rows[0]], strict=True) if row[:2] != following[:2]]
    return Contour(np.array(kept))


def _cut_segment(source: Source, segment: int, low: float, high: float) -> tuple[float, float, float]:
    x, y = points_on(source.segments, np.array([segment]), np.array([low]))[0]
    return float(x), float(y), tan(float(source.segments.sweep_rad[segment]) * (high - low) / 4.0)


def _find_stuck(slot: Source, *, radius_mm: float, towards: FloatArray) -> FloatArray | None:
    """Return where a disc is stuck before it has been all through a slot, None if it is nowhere."""
    try:
        loops = find_offset_loops(slot, distance_mm=radius_mm)
    except PanelRefused:
        # no disc for certain: too wide
        return towards - slot.origin_mm
    corners = [corner for loop in loops for corner in find_corners(loop, source=slot, reach_mm=radius_mm)]
    filled = [c for c in corners if not is_only_a_corner(c, source=slot, radius_mm=radius_mm)]
    if len(loops) == 1 and not filled:
        return None
    places = [c.centre_mm for c in filled or corners] or [towards - slot.origin_mm]
    nearest = int(np.argmin([np.hypot(*(place - towards)) for place in places]))
    return places[nearest] + slot.origin_mm


def find_hole_width(source: Source, *, radius_mm: float) -> Narrow:
    """Return the width and the middle of the largest disc in a cut-out that takes none of a radius."""
    low, high = 0.0, radius_mm
    centre = source.segments.start_mm.mean(axis=0)
    for _ in range(_count_halvings(radius_mm)):
        trial = (low + high) / 2.0
        try:
            loops = find_offset_loops(source, distance_mm=trial)
        except PanelRefused:
            # no disc for certain: too wide
            loops = []
        if loops:
            low, centre = trial, loops[0].joint_mm.mean(axis=0)
        else:
            high = trial
    x, y = centre + source.origin_mm
    return Narrow(width_mm=2.0 * low, x_mm=float(x), y_mm=float(y))
