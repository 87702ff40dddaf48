"""Fillets of an exact radius in corners, and the contour that they leave."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, pi, tan

import numpy as np

from cam.geometry.contour import Contour, FloatArray
from cam.geometry.offset.clearance import find_feet
from cam.geometry.offset.crossings import find_meetings
from cam.geometry.offset.joining import Loop
from cam.geometry.offset.raw import offset_pieces
from cam.geometry.offset.source import Source
from cam.geometry.rounding.corners import Corner

SAME_MM = 1e-6
"""What remains of a segment between two fillets counts as nothing up to this length."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fillet:
    """An arc that takes a corner's place, clockwise about ``centre_mm`` from ``start_mm`` to ``end_mm``.

    ``start_share`` and ``end_share`` say where along the segments it leaves and joins; 1.0 and 0.0
    where it rests on a vertex.
    """

    corner: Corner
    centre_mm: FloatArray
    start_mm: FloatArray
    end_mm: FloatArray
    start_share: float
    end_share: float

    @property
    def sweep_rad(self) -> float:
        """The negative (clockwise) included angle."""
        (x0, y0), (x1, y1) = self.start_mm - self.centre_mm, self.end_mm - self.centre_mm
        turn = atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1)
        return turn if turn <= 0.0 else turn - 2.0 * pi


def find_fillets(corners: list[Corner], *, source: Source, radius_mm: float, reach_mm: float) -> list[Fillet]:
    """Return a fillet for each corner.

    Notes
    -----
    The corners were found with a disc of ``reach_mm``, a hair smaller than the radius, so that a
    slot of exactly twice the radius is open. The fillets have exactly the radius, unless it does
    not go in by that hair; then they have the reach.
    """
    exact = _find_exact_centres(corners, source=source, radius_mm=radius_mm)
    fillets = []
    for corner, centre in zip(corners, exact, strict=True):
        fillet = None if centre is None else _lay_fillet(corner, centre, source, radius_mm)
        if fillet is None:
            fillet = _lay_fillet(corner, corner.centre_mm, source, reach_mm)
        if fillet is None:
            raise ArithmeticError("a fillet does not touch the segments that it was found between")
        fillets.append(fillet)
    return _without_overlaps(fillets, source, reach_mm)


def _find_exact_centres(corners: list[Corner], *, source: Source, radius_mm: float) -> list[FloatArray | None]:
    pieces = offset_pieces(source, distance_mm=radius_mm, side=1.0)
    place = np.full(2 * len(source), -1, dtype=np.int64)
    place[pieces.maker] = np.arange(len(pieces))
    centres: list[FloatArray | None] = []
    for corner in corners:
        a, b = int(place[corner.before]), int(place[corner.after])
        best = None
        if a >= 0 and b >= 0:
            _, _, points = find_meetings(pieces, np.array([a]), np.array([b]))
            away = np.hypot(*(points - corner.centre_mm).T)
            if len(points) and away.min() < 0.1 * radius_mm:
                best = points[int(np.argmin(away))]
        centres.append(best)
    return centres


def _lay_fillet(corner: Corner, centre: FloatArray, source: Source, radius_mm: float) -> Fillet | None:
    """Return the fillet about a centre, None if it does not touch both segments between their ends."""
    start, start_share = _find_rest(corner.before, centre, source)
    end, end_share = _find_rest(corner.after, centre, source)
    for point in (start, end):
        if abs(float(np.hypot(*(point - centre))) - radius_mm) > 1e-9 * max(1.0, radius_mm):
            return None
    return Fillet(
        corner=corner,
        centre_mm=centre,
        start_mm=start,
        end_mm=end,
        start_share=1.0 if corner.before >= len(source) else start_share,
        end_share=0.0 if corner.after >= len(source) else end_share,
    )


def _find_rest(maker: int, centre: FloatArray, source: Source) -> tuple[FloatArray, float]:
    count, segments = len(source), source.segments
    if maker >= count:
        return segments.start_mm[maker - count], 0.0
    foot = find_feet(segments, np.array([maker]), centre[None, :])[0]
    if not segments.is_arc[maker]:
        chord = segments.end_mm[maker] - segments.start_mm[maker]
        return foot, float(((foot - segments.start_mm[maker]) @ chord) / (chord @ chord))
    (x0, y0), (x1, y1) = segments.start_mm[maker] - segments.centre_mm[maker], foot - segments.centre_mm[maker]
    sweep = float(segments.sweep_rad[maker])
    turn = atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1) * (1.0 if sweep > 0.0 else -1.0)
    if turn < -1e-9:
        turn += 2.0 * pi
    return foot, turn / abs(sweep)


def _without_overlaps(fillets: list[Fillet], source: Source, reach_mm: float) -> list[Fillet]:
    """Return the fillets with those that would overlap on a segment laid with the smaller reach."""
    ends = {fillet.corner.after: number for number, fillet in enumerate(fillets)}
    chosen = list(fillets)
    for number, fillet in enumerate(fillets):
        other = ends.get(fillet.corner.before)
        if other is None or fillet.corner.before >= len(source):
            continue
        length = float(source.segments.length_mm[fillet.corner.before])
        if (fillets[other].end_share - fillet.start_share) * length > SAME_MM:
            for which in (number, other):
                corner = fillets[which].corner
                smaller = _lay_fillet(corner, corner.centre_mm, source, reach_mm)
                if smaller is not None:
                    chosen[which] = smaller
    return chosen


def lay_contour(contour: Contour, *, loop: Loop, fillets: list[Fillet], source: Source) -> Contour:
    """Return a contour with fillets in place of its corners; segments they do not reach stay bit for bit."""
    count = len(source)
    into = {fillet.corner.part_after: fillet for fillet in fillets}
    out_of = {fillet.corner.part_before: fillet for fillet in fillets}
    rows: list[tuple[float, float, float, int]] = []
    for part, maker in enumerate(loop.maker.tolist()):
        fillet = into.get(part)
        if fillet is not None:
            x, y = fillet.start_mm + source.origin_mm
            if fillet.corner.before >= count:
                x, y = contour.points_mm[fillet.corner.before - count]
            rows.append((float(x), float(y), tan(fillet.sweep_rad / 4.0), -1))
        if maker < count:
            row = _lay_segment(contour, maker, into.get(part), out_of.get(part), source)
            if row is not None:
                rows.append(row)
    first = min((i for i, row in enumerate(rows) if row[3] >= 0), key=lambda i: rows[i][3], default=0)
    rows = rows[first:] + rows[:first]
    return Contour(np.array([row[:3] for row in rows]))


def _lay_segment(
    contour: Contour, segment: int, into: Fillet | None, out_of: Fillet | None, source: Source
) -> tuple[float, float, float, int] | None:
    x, y, bulge = (float(value) for value in contour.vertices[segment])
    low = into.end_share if into is not None else 0.0
    high = out_of.start_share if out_of is not None else 1.0
    if into is None and out_of is None:
        return x, y, bulge, segment
    if (high - low) * float(source.segments.length_mm[segment]) <= SAME_MM:
        return None
    if into is not None and low > 0.0:
        x, y = (float(value) for value in into.end_mm + source.origin_mm)
    if bulge and (low > 0.0 or high < 1.0):
        bulge = tan(float(source.segments.sweep_rad[segment]) * (high - low) / 4.0)
    return x, y, bulge, segment
