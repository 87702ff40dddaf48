"""Raw pieces of an offset: the offset of every segment and an arc about every open vertex."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.source import Source, right_of

TOUCH_MM = 1e-7
"""Clearances and lengths below this count as none: a thousandth of what a program can say."""
SMOOTH_MM = 4e-7
"""Two pieces whose ends a small turn takes no farther apart are joined where they are."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Straight and circular pieces at the offset distance from what made them.

    ``start_mm``, ``end_mm``, ``centre_mm`` are (n, 2), the others (n,). ``maker`` is the number of
    the segment that made the piece, or, for an arc about a vertex, the number of segments plus the
    vertex. ``side`` is +1 where the piece passes its source on the right, -1 on the left; its
    source lies ``distance_mm`` to the left (right) of travel. A piece made by an arc smaller than
    the distance does not exist.
    """

    start_mm: FloatArray
    end_mm: FloatArray
    centre_mm: FloatArray
    radius_mm: FloatArray
    angle_rad: FloatArray
    sweep_rad: FloatArray
    length_mm: FloatArray
    maker: IntArray
    joined: IntArray
    distance_mm: float
    side: float

    def __len__(self) -> int:
        return len(self.maker)

    @property
    def is_arc(self) -> BoolArray:
        """(n,) which pieces are circular."""
        return np.asarray(self.sweep_rad != 0.0)


def offset_pieces(source: Source, *, distance_mm: float, side: float) -> Pieces:
    """Return the raw pieces on one side of a source.

    Parameters
    ----------
    source
        The segments.
    distance_mm
        The positive distance.
    side
        +1 for the right of travel (away from the material), -1 for the left.

    Notes
    -----
    ``joined`` is (m, 2): ends that are the same point, end 2 i being the start of piece i and
    2 i + 1 its end.
    """
    segments, count = source.segments, len(source)
    shift = side * distance_mm
    arc = segments.is_arc
    radius = np.where(arc, segments.radius_mm + shift * np.sign(segments.sweep_rad), 0.0)
    exists = ~arc | (radius > 0.0)
    start_normal = right_of(source.start_direction)
    end_normal = right_of(source.end_direction)
    radial = np.sign(segments.sweep_rad)[:, None] * start_normal

    opens = source.turn_rad * side * distance_mm > SMOOTH_MM
    vertex = np.flatnonzero(opens)
    vertex_start = end_normal[source.previous[vertex]] * side
    kept = np.flatnonzero(exists)
    chord = segments.end_mm - segments.start_mm
    corner = segments.start_mm[vertex]
    turn = source.turn_rad[vertex]
    lengths = np.where(arc, radius * np.abs(segments.sweep_rad), np.hypot(chord[:, 0], chord[:, 1]))

    place = np.full(2 * count, -1, dtype=np.int64)
    place[kept] = np.arange(len(kept))
    place[count + vertex] = len(kept) + np.arange(len(vertex))
    return Pieces(
        start_mm=np.concatenate(
            ((segments.start_mm + shift * start_normal)[kept], corner + distance_mm * vertex_start)
        ),
        end_mm=np.concatenate(((segments.end_mm + shift * end_normal)[kept], corner + shift * start_normal[vertex])),
        centre_mm=np.concatenate((np.where(arc[:, None], segments.centre_mm, 0.0)[kept], corner)),
        radius_mm=np.concatenate((radius[kept], np.full(len(vertex), distance_mm))),
        angle_rad=np.concatenate(
            (
                np.arctan2(radial[:, 1], radial[:, 0])[kept],
                np.arctan2(vertex_start[:, 1], vertex_start[:, 0]),
            )
        ),
        sweep_rad=np.concatenate((segments.sweep_rad[kept], turn)),
        length_mm=np.concatenate((lengths[kept], distance_mm * np.abs(turn))),
        maker=np.concatenate((kept, count + vertex)),
        joined=_find_joined(source, place, opens, distance_mm),
        distance_mm=distance_mm,
        side=side,
    )


def _find_joined(source: Source, place: IntArray, opens: BoolArray, distance_mm: float) -> IntArray:
    count = len(source)
    here = np.arange(count)
    before, after, at = place[source.previous], place[here], place[count + here]
    smooth = (np.abs(source.turn_rad) * distance_mm <= SMOOTH_MM) & (before >= 0) & (after >= 0)
    into = opens & (before >= 0)
    out_of = opens & (after >= 0)
    return np.concatenate(
        (
            np.column_stack((2 * before + 1, 2 * after))[smooth],
            np.column_stack((2 * before + 1, 2 * at))[into],
            np.column_stack((2 * at + 1, 2 * after))[out_of],
        )
    )


def points_at(pieces: Pieces, piece: IntArray, along_mm: FloatArray) -> FloatArray:
    """Return the points, shape (n, 2), at lengths along pieces from their starts."""
    share = along_mm / np.maximum(pieces.length_mm[piece], np.finfo(np.float64).tiny)
    points = np.where((share >= 1.0)[:, None], pieces.end_mm[piece], pieces.start_mm[piece])
    within = (share > 0.0) & (share < 1.0)
    arc = pieces.is_arc[piece]
    at = np.flatnonzero(within & arc)
    own, part = piece[at], share[at]
    angle = pieces.angle_rad[own] + pieces.sweep_rad[own] * part
    circle = np.column_stack((np.cos(angle), np.sin(angle)))
    points[at] = pieces.centre_mm[own] + pieces.radius_mm[own, None] * circle
    at = np.flatnonzero(within & ~arc)
    own, part = piece[at], share[at]
    points[at] = pieces.start_mm[own] + part[:, None] * (pieces.end_mm - pieces.start_mm)[own]
    return np.asarray(points)


def directions_at(pieces: Pieces, piece: IntArray, along_mm: FloatArray) -> FloatArray:
    """Return the unit directions of travel, shape (n, 2), at lengths along pieces."""
    share = along_mm / np.maximum(pieces.length_mm[piece], np.finfo(np.float64).tiny)
    angle = pieces.angle_rad[piece] + pieces.sweep_rad[piece] * share
    circular = np.sign(pieces.sweep_rad[piece])[:, None] * np.column_stack((-np.sin(angle), np.cos(angle)))
    chord = (pieces.end_mm - pieces.start_mm)[piece]
    straight = chord / np.maximum(np.hypot(chord[:, 0], chord[:, 1]), np.finfo(np.float64).tiny)[:, None]
    return np.asarray(np.where(pieces.is_arc[piece, None], circular, straight))
