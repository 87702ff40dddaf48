"""Positions along contours by arc length, and the pieces between them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import atan2, cos, floor, pi, sin, tan

import numpy as np

from cam.geometry.contour import Contour, FloatArray, Segments, find_segments
from cam.geometry.measure import find_distances_mm


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ruler:
    """A contour with the distance of each vertex from the first.

    ``at_mm`` is (n + 1,): the last value is the whole length.
    """

    contour: Contour
    segments: Segments
    at_mm: FloatArray

    @property
    def length_mm(self) -> float:
        """The whole length."""
        return float(self.at_mm[-1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Part of one segment: where it ends, its bulge, and where on the ruler it starts and ends."""

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    centre_mm: tuple[float, float] | None
    sweep_rad: float
    from_mm: float
    to_mm: float
    segment: int


def lay_ruler(contour: Contour) -> Ruler:
    """Return the contour with its vertices' distances from the first."""
    segments = find_segments(contour.vertices)
    return Ruler(
        contour=contour,
        segments=segments,
        at_mm=np.concatenate(([0.0], np.cumsum(segments.length_mm))),
    )


def find_segment_at(ruler: Ruler, at_mm: float) -> int:
    """Return the index of the segment at a distance, which is taken round the contour."""
    wrapped = at_mm - floor(at_mm / ruler.length_mm) * ruler.length_mm
    return min(int(np.searchsorted(ruler.at_mm, wrapped, side="right")) - 1, len(ruler.segments) - 1)


def find_point_at(ruler: Ruler, at_mm: float) -> tuple[float, float]:
    """Return the point at a distance along the contour, taken round it."""
    wrapped = at_mm - floor(at_mm / ruler.length_mm) * ruler.length_mm
    index = find_segment_at(ruler, at_mm)
    return _point_on(ruler.segments, index, wrapped - float(ruler.at_mm[index]))


def find_heading_at(ruler: Ruler, at_mm: float) -> float:
    """Return the direction of travel in radians at a distance along the contour."""
    wrapped = at_mm - floor(at_mm / ruler.length_mm) * ruler.length_mm
    index = find_segment_at(ruler, at_mm)
    segments = ruler.segments
    if not segments.sweep_rad[index]:
        dx, dy = segments.end_mm[index] - segments.start_mm[index]
        return atan2(float(dy), float(dx))
    x, y = _point_on(segments, index, wrapped - float(ruler.at_mm[index]))
    radial = atan2(y - float(segments.centre_mm[index, 1]), x - float(segments.centre_mm[index, 0]))
    return radial + (pi / 2.0 if segments.sweep_rad[index] > 0 else -pi / 2.0)


def _point_on(segments: Segments, index: int, distance_mm: float) -> tuple[float, float]:
    start = segments.start_mm[index]
    sweep = float(segments.sweep_rad[index])
    if not sweep:
        chord = segments.end_mm[index] - start
        share = distance_mm / float(np.hypot(*chord))
        return float(start[0] + chord[0] * share), float(start[1] + chord[1] * share)
    centre, radius = segments.centre_mm[index], float(segments.radius_mm[index])
    angle = atan2(float(start[1] - centre[1]), float(start[0] - centre[0]))
    angle += distance_mm / radius * (1.0 if sweep > 0 else -1.0)
    return float(centre[0]) + radius * cos(angle), float(centre[1]) + radius * sin(angle)


def cut_pieces(ruler: Ruler, *, from_mm: float, to_mm: float, at_mm: tuple[float, ...] = ()) -> list[Piece]:
    """Return the pieces of the contour between two distances, cut also at further ones.

    Parameters
    ----------
    from_mm, to_mm
        Distances along the contour, ``to_mm`` the larger; more than one lap is allowed.
    at_mm
        Distances at which to cut as well, in any order.

    Notes
    -----
    A whole segment keeps its exact end points; pieces shorter than 1e-9 mm are not made.

    Examples
    --------
    >>> from cam.geometry.contour import rectangle
    >>> ruler = lay_ruler(rectangle((0.0, 0.0), width_mm=4.0, height_mm=2.0))
    >>> [piece.end_mm for piece in cut_pieces(ruler, from_mm=3.0, to_mm=7.0)]
    [(4.0, 0.0), (4.0, 2.0), (3.0, 2.0)]
    """
    length = ruler.length_mm
    laps = range(floor(from_mm / length), floor(to_mm / length) + 1)
    vertices = np.concatenate([ruler.at_mm[:-1] + lap * length for lap in laps])
    stops = np.unique(np.concatenate((vertices, np.asarray(at_mm, dtype=np.float64), [from_mm, to_mm])))
    stops = stops[(stops >= from_mm) & (stops <= to_mm)]
    on_vertex = dict.fromkeys(vertices.tolist())
    kept = [from_mm]
    for stop in stops.tolist()[1:]:
        if stop - kept[-1] > 1e-9:
            kept.append(stop)
        elif stop in on_vertex:
            # a cut a hair before a vertex gives way to the vertex, whose point is exact
            kept[-1] = stop
    pieces = []
    for start, end in pairwise(kept):
        index = find_segment_at(ruler, (start + end) / 2.0)
        segments = ruler.segments
        lap_mm = floor((start + end) / 2.0 / length) * length
        first, last = float(ruler.at_mm[index]) + lap_mm, float(ruler.at_mm[index + 1]) + lap_mm
        sweep, arc_length = float(segments.sweep_rad[index]), last - first
        pieces.append(
            Piece(
                start_mm=_exact(segments.start_mm[index])
                if abs(start - first) <= 1e-9
                else _point_on(segments, index, start - first),
                end_mm=_exact(segments.end_mm[index])
                if abs(end - last) <= 1e-9
                else _point_on(segments, index, end - first),
                centre_mm=_exact(segments.centre_mm[index]) if sweep else None,
                sweep_rad=sweep * (end - start) / arc_length if sweep else 0.0,
                from_mm=start,
                to_mm=end,
                segment=index,
            )
        )
    return pieces


def _exact(point: FloatArray) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def start_at(contour: Contour, *, at_mm: float) -> Contour:
    """Return the contour started at a distance along it; the segment there is cut in two.

    Raises
    ------
    ValueError
        If the contour has no length there.
    """
    ruler = lay_ruler(contour)
    pieces = cut_pieces(ruler, from_mm=at_mm, to_mm=at_mm + ruler.length_mm)
    return Contour(
        np.array([[*piece.start_mm, tan(piece.sweep_rad / 4.0)] for piece in pieces], dtype=np.float64),
    )


def find_nearest_at(ruler: Ruler, point_mm: tuple[float, float]) -> float:
    """Return the distance along the contour of its point nearest to another point; ties to the first."""
    distances = find_distances_mm(ruler.segments, point_mm)
    index = int(np.argmin(distances))
    segments, x, y = ruler.segments, point_mm[0], point_mm[1]
    start, length = segments.start_mm[index], float(segments.length_mm[index])
    sweep = float(segments.sweep_rad[index])
    if not sweep:
        chord = segments.end_mm[index] - start
        along = float(((x - start[0]) * chord[0] + (y - start[1]) * chord[1]) / np.hypot(*chord))
    else:
        centre, radius = segments.centre_mm[index], float(segments.radius_mm[index])
        first = atan2(float(start[1] - centre[1]), float(start[0] - centre[0]))
        turned = (atan2(y - float(centre[1]), x - float(centre[0])) - first) * (1.0 if sweep > 0 else -1.0)
        turned %= 2.0 * pi
        # beyond the end, the nearer of the two ends
        if turned > abs(sweep):
            turned = abs(sweep) if turned - abs(sweep) < 2.0 * pi - turned else 0.0
        along = turned * radius
    return float(ruler.at_mm[index]) + min(max(along, 0.0), length)
