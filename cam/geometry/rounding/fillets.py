"""Fillets of an exact radius in corners."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.clearance import find_feet
from cam.geometry.offset.crossings import find_meetings
from cam.geometry.offset.raw import Pieces
from cam.geometry.offset.source import Source, right_of
from cam.geometry.rounding.corners import Corner, CornersUncertain

SAME_MM = 1e-6
"""What remains of a segment between two fillets counts as nothing up to this length."""
EXACT_MM = 1e-9
"""How far a fillet may stand off the segments that it is computed to touch, far from them relative to its radius."""
TOUCH_MM = 2e-6
"""The same for a fillet about a joint of the offset: the offset's own check, and what it may shift."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fillet:
    """An arc that takes a corner's place, clockwise about ``centre_mm`` from ``start_mm`` to ``end_mm``.

    ``start_share`` and ``end_share`` say where along the segments it leaves and joins; 1.0 and 0.0
    where it rests on a vertex.
    """

    corner: Corner
    centre_mm: FloatArray
    radius_mm: float
    start_mm: FloatArray
    end_mm: FloatArray
    start_share: float
    end_share: float

    @property
    def sweep_rad(self) -> float:
        """The clockwise and so negative included angle, less than half a turn; positive only by rounding."""
        (x0, y0), (x1, y1) = self.start_mm - self.centre_mm, self.end_mm - self.centre_mm
        return atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1)


def find_fillets(corners: list[Corner], *, source: Source, radius_mm: float, reach_mm: float) -> list[Fillet]:
    """Return a fillet for each corner of a loop, in order.

    Raises
    ------
    CornersUncertain
        If a fillet does not touch the two segments that it was found between.

    Notes
    -----
    The corners were found with a disc of ``reach_mm``, a hair smaller than the radius, so that a
    slot of exactly twice the radius is open. The fillets have exactly the radius, unless it does
    not go in by that hair; then they have the largest that two neighbours leave each other room
    for, or the reach.
    """
    if not corners:
        return []
    count = len(corners)
    exact = _lay_fillets(corners, np.full(count, radius_mm), source)
    small = _lay_fillets(corners, np.full(count, reach_mm), source)
    chosen = []
    for corner, one, other in zip(corners, exact, small, strict=True):
        fillet = one or other or _lay_about_joint(corner, source, reach_mm)
        if fillet is None:
            raise CornersUncertain(*corner.deepest_mm.tolist())
        chosen.append(fillet)
    return _make_room(chosen, small, source)


def _lay_fillets(corners: list[Corner], radius_mm: FloatArray, source: Source) -> list[Fillet | None]:
    """Return the fillets of given radii, None where one does not touch both segments between their ends."""
    makers = np.array([[c.before for c in corners], [c.after for c in corners]])
    guess = np.array([c.centre_mm for c in corners])
    centres = _find_centres(makers, radius_mm, source, guess)
    starts, start_shares = _find_rests(makers[0], centres, source)
    ends, end_shares = _find_rests(makers[1], centres, source)
    with np.errstate(invalid="ignore"):
        off = np.maximum(
            np.abs(np.hypot(*(starts - centres).T) - radius_mm), np.abs(np.hypot(*(ends - centres).T) - radius_mm)
        )
        good = off <= EXACT_MM * np.maximum(1.0, radius_mm)
    return [
        _as_fillet(
            corner,
            centre=centres[i],
            radius_mm=float(radius_mm[i]),
            ends=(starts[i], ends[i]),
            shares=(float(start_shares[i]), float(end_shares[i])),
            source=source,
        )
        if good[i]
        else None
        for i, corner in enumerate(corners)
    ]


def _as_fillet(
    corner: Corner,
    *,
    centre: FloatArray,
    radius_mm: float,
    ends: tuple[FloatArray, FloatArray],
    shares: tuple[float, float],
    source: Source,
) -> Fillet:
    return Fillet(
        corner=corner,
        centre_mm=centre,
        radius_mm=radius_mm,
        start_mm=ends[0],
        end_mm=ends[1],
        start_share=1.0 if corner.before >= len(source) else shares[0],
        end_share=0.0 if corner.after >= len(source) else shares[1],
    )


def _lay_about_joint(corner: Corner, source: Source, reach_mm: float) -> Fillet | None:
    """Return the fillet about the joint of the offset itself, None if it stands off its segments."""
    centre = corner.centre_mm[None, :]
    start, start_share = _find_rests(np.array([corner.before]), centre, source)
    end, end_share = _find_rests(np.array([corner.after]), centre, source)
    for point in (start, end):
        if abs(float(np.hypot(*(point - centre)[0])) - reach_mm) > TOUCH_MM:
            return None
    shares = float(start_share[0]), float(end_share[0])
    return _as_fillet(
        corner, centre=corner.centre_mm, radius_mm=reach_mm, ends=(start[0], end[0]), shares=shares, source=source
    )


def _find_centres(makers: IntArray, radius_mm: FloatArray, source: Source, guess: FloatArray) -> FloatArray:
    """Return the points at a distance from pairs of makers (2, n) that are nearest to a guess, nan where none is."""
    count = makers.shape[1]
    carriers, exists = _lay_carriers(makers.reshape(-1), np.tile(radius_mm, 2), source)
    pairs = np.flatnonzero(exists[:count] & exists[count:])
    first, second, points = find_meetings(carriers, pairs, pairs + count)
    owner = np.minimum(first, second)
    away = np.hypot(*(points - guess[owner]).T)
    near = away < 0.1 * radius_mm[owner]
    owner, points, away = owner[near], points[near], away[near]
    order = np.lexsort((-away, owner))
    centres = np.full((count, 2), np.nan)
    # the last of each owner is written last: the nearest
    centres[owner[order]] = points[order]
    return centres


def _lay_carriers(makers: IntArray, distance_mm: FloatArray, source: Source) -> tuple[Pieces, BoolArray]:
    """Return the carriers at distances from makers, and which of them exist."""
    count, segments = len(source), source.segments
    vertex = makers >= count
    segment = np.where(vertex, makers - count, makers)
    arc = segments.is_arc[segment] & ~vertex
    sign = np.sign(segments.sweep_rad[segment])
    radius = np.where(arc, segments.radius_mm[segment] + distance_mm * sign, 0.0)
    centre = np.where(arc[:, None], segments.centre_mm[segment], segments.start_mm[segment])
    normal = right_of(source.start_direction[segment])
    start = segments.start_mm[segment] + distance_mm[:, None] * normal
    end = segments.end_mm[segment] + distance_mm[:, None] * normal
    pieces = Pieces(
        start_mm=start,
        end_mm=end,
        centre_mm=centre,
        radius_mm=np.where(vertex, distance_mm, radius),
        angle_rad=np.zeros(len(makers)),
        sweep_rad=np.where(vertex, 1.0, np.where(arc, sign, 0.0)),
        length_mm=np.where(vertex | arc, 1.0, np.hypot(*(end - start).T)),
        maker=makers,
        joined=np.zeros((0, 2), dtype=np.int64),
        distance_mm=float(distance_mm[0]),
        side=1.0,
    )
    return pieces, np.asarray(~arc | (radius > 0.0))


def _find_rests(makers: IntArray, centres: FloatArray, source: Source) -> tuple[FloatArray, FloatArray]:
    """Return the points of makers nearest to centres, and the share of their segments where these lie."""
    count, segments = len(source), source.segments
    vertex = makers >= count
    segment = np.where(vertex, makers - count, makers)
    feet = find_feet(segments, segment, centres)
    feet[vertex] = segments.start_mm[segment[vertex]]
    start, chord = segments.start_mm[segment], (segments.end_mm - segments.start_mm)[segment]
    straight = ((feet - start) * chord).sum(axis=1) / np.maximum((chord**2).sum(axis=1), np.finfo(np.float64).tiny)
    arc = segments.is_arc[segment] & ~vertex
    if not arc.any():
        return feet, np.asarray(straight)
    one, other = start - segments.centre_mm[segment], feet - segments.centre_mm[segment]
    sweep = segments.sweep_rad[segment]
    cross = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
    turn = np.arctan2(cross, (one * other).sum(axis=1)) * np.sign(sweep)
    turn = np.where(turn < -1e-9, turn + 2.0 * np.pi, turn)
    shares = np.where(arc, turn / np.where(arc, np.abs(sweep), 1.0), straight)
    return feet, np.asarray(shares)


def _make_room(fillets: list[Fillet], small: list[Fillet | None], source: Source) -> list[Fillet]:
    """Return the fillets with those that would overlap on a segment laid so that they meet there."""
    radius = np.array([fillet.radius_mm for fillet in fillets])
    lengths = source.segments.length_mm
    for number, fillet in enumerate(fillets):
        before = fillets[number - 1]
        if before.corner.part_after != fillet.corner.part_before or fillet.corner.before >= len(source):
            continue
        length = float(lengths[fillet.corner.before])
        gap = (fillet.start_share - before.end_share) * length
        one, other = small[number - 1], small[number]
        if gap >= -SAME_MM or one is None or other is None:
            continue
        room = (other.start_share - one.end_share) * length
        # linear between the two radii: exact between parallel walls, short of a meeting elsewhere
        share = max(room, 0.0) / (max(room, 0.0) - gap)
        for which in (number - 1, number):
            least = (one if which == number - 1 else other).radius_mm
            radius[which] = min(radius[which], least + share * (fillets[which].radius_mm - least))
    changed = [i for i, fillet in enumerate(fillets) if radius[i] != fillet.radius_mm]
    if not changed:
        return fillets
    laid = _lay_fillets([fillets[i].corner for i in changed], radius[changed], source)
    chosen = list(fillets)
    for i, fresh in zip(changed, laid, strict=True):
        chosen[i] = fresh or small[i] or fillets[i]
    return chosen
