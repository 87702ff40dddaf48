"""What each level adds to the last: whole rings, runs from cleared to cleared, and openings in the solid."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.geometry.along import Ruler, find_point_at, lay_ruler
from cam.geometry.contour import BoolArray, Contour, FloatArray, Region, polygon
from cam.geometry.transform import reverse
from cam.motion.recess_levels import Level, as_polygon, find_places

SLIT_MM = 0.012
"""Two sides of a slit lie no farther apart."""
CHORD_MM = 0.5
NEW_MM = 0.008
"""A place farther than this from what was cut before is new."""
SPACING_SHARE = 0.08
"""Places along a contour are asked so far apart, as a share of the cutter's radius."""
WIDE_SHARE = 1.05
"""Places farther than so many stepovers from what was cut before are cut as a slot."""


class CutKind(Enum):
    """How a cut begins, and what it meets."""

    HELIX = "helix"
    LINE = "line"
    OPENING = "opening"
    RING = "ring"
    RUN = "run"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """A path of one level: from one distance along a contour to another, a whole lap of a ring.

    ``before`` is where the cutter's centre has been when the level begins, ``within`` where it may go.
    ``wide`` are the parts where the cutter meets more than a stepover, as distances along the ruler that
    may reach past one lap. ``room_mm`` is the room for a helix.
    """

    level: int
    kind: CutKind
    ruler: Ruler
    from_mm: float
    to_mm: float
    wide: tuple[tuple[float, float], ...]
    room_mm: float
    before: BaseGeometry
    within: BaseGeometry


def find_cuts(
    levels: tuple[Level, ...], *, radius_mm: float, stepover_mm: float, against: bool = False
) -> tuple[tuple[Cut, ...], ...]:
    """Return the cuts of each level.

    Parameters
    ----------
    against
        Whether contours are run the other way round: material to the left of the travel instead of to the right.
    """
    cuts: list[tuple[Cut, ...]] = []
    before: BaseGeometry = shapely.Polygon()
    ways: list[BaseGeometry] = []
    for number, level in enumerate(levels):
        within = shapely.union(as_polygon(level.regions), before)
        shapely.prepare(within)
        found = [_lay_slot(way, level=number, before=before, within=within) for way in level.slots]
        ways += [as_line(cut) for cut in found]
        slotted = shapely.union_all([before, *ways])
        for region in level.regions:
            fresh = before.is_empty or not before.intersects(as_polygon((region,)))
            for contour in region.contours:
                if fresh and _lies_along(contour, found):
                    continue
                ruler = lay_ruler(reverse(contour) if against else contour)
                for start, end, _ in _find_new(ruler, before=before, spacing_mm=SPACING_SHARE * radius_mm):
                    closed = end - start >= ruler.length_mm - 1e-9
                    kind = CutKind.RING if closed else CutKind.RUN
                    if closed and fresh:
                        kind = CutKind.OPENING if level.helix_mm is None else CutKind.HELIX
                    found.append(
                        Cut(
                            level=number,
                            kind=kind,
                            ruler=ruler,
                            from_mm=start,
                            to_mm=_find_half(ruler) if kind is CutKind.OPENING else end,
                            wide=_find_wide(
                                ruler, slotted=slotted, limit_mm=WIDE_SHARE * stepover_mm, reach_mm=radius_mm
                            ),
                            room_mm=level.room_mm if level.helix_mm is None else level.helix_mm,
                            before=before,
                            within=within,
                        )
                    )
        cuts.append(tuple(found))
        before = within
        if level.helix_mm is not None:
            before = shapely.union_all([region_middle(region).buffer(level.helix_mm) for region in level.regions])
    return tuple(cuts)


def region_middle(region: Region) -> shapely.Point:
    """Return the middle of a region's bounds, where its helix turns."""
    return as_polygon((region,)).envelope.centroid


def _lay_slot(way: tuple[tuple[float, float], ...], *, level: int, before: BaseGeometry, within: BaseGeometry) -> Cut:
    """Return a slot from what is cleared into a corner."""
    # a ruler runs round: the way there, and back beside it
    (x0, y0), (x1, y1) = way[0], way[-1]
    ruler = lay_ruler(polygon([*way, (x1 + (y1 - y0) + 1.0, y1 - (x1 - x0) + 1.0)]))
    return Cut(
        level=level,
        kind=CutKind.LINE,
        ruler=ruler,
        from_mm=0.0,
        to_mm=float(ruler.at_mm[len(way) - 1]),
        wide=((0.0, float(ruler.at_mm[len(way) - 1])),),
        room_mm=0.0,
        before=before,
        within=within,
    )


def _lies_along(contour: Contour, found: list[Cut]) -> bool:
    """Return whether a contour is the far side of a slit that a cut of the same level opens."""
    ruler = lay_ruler(contour)
    points = shapely.points(_place(ruler, from_mm=0.0, to_mm=ruler.length_mm))
    openings = [cut for cut in found if cut.kind is CutKind.OPENING]
    return any(bool((shapely.distance(points, as_line(cut)) <= SLIT_MM).all()) for cut in openings)


def _find_half(ruler: Ruler) -> float:
    """Return how far a lap round a slit goes: half of it where the other half runs beside it, else all."""
    half = ruler.length_mm / 2.0
    there = shapely.LineString(_place(ruler, from_mm=0.0, to_mm=half))
    back = shapely.points(_place(ruler, from_mm=half, to_mm=ruler.length_mm))
    return half if bool((shapely.distance(back, there) <= SLIT_MM).all()) else ruler.length_mm


def as_line(cut: Cut) -> BaseGeometry:
    """Return a cut's path as a line of chords."""
    return shapely.LineString(_place(cut.ruler, from_mm=cut.from_mm, to_mm=cut.to_mm))


def _place(ruler: Ruler, *, from_mm: float, to_mm: float) -> FloatArray:
    at = np.linspace(from_mm, to_mm, max(8, int(np.ceil((to_mm - from_mm) / CHORD_MM))))
    return np.array([find_point_at(ruler, float(place)) for place in at])


def _find_new(ruler: Ruler, *, before: BaseGeometry, spacing_mm: float) -> list[tuple[float, float, float]]:
    """Return the parts of a contour away from a region: from where to where, and the farthest distance.

    Notes
    -----
    Places are asked at a spacing and at all vertices; a part begins and ends at the last places that
    are not new.
    """
    if before.is_empty:
        return [(0.0, ruler.length_mm, np.inf)]
    count = max(8, int(np.ceil(ruler.length_mm / spacing_mm)))
    at = np.unique(np.concatenate((np.arange(count) / count * ruler.length_mm, ruler.at_mm[:-1])))
    points = np.array([find_point_at(ruler, float(place)) for place in at])
    apart = find_places(points, region=before)
    new = apart > NEW_MM
    if new.all():
        return [(0.0, ruler.length_mm, float(apart.max()))]
    return [
        (float(at[first]), float(at[last % len(at)]) + (ruler.length_mm if last >= len(at) else 0.0), far)
        for first, last, far in _find_runs(new, apart)
    ]


def _find_wide(
    ruler: Ruler, *, slotted: BaseGeometry, limit_mm: float, reach_mm: float
) -> tuple[tuple[float, float], ...]:
    """Return the parts of a contour farther than a limit from what was cut before, a reach longer at both ends."""
    if slotted.is_empty:
        return ((0.0, ruler.length_mm),)
    count = max(8, int(np.ceil(ruler.length_mm / (0.25 * reach_mm))))
    at = np.arange(count) / count * ruler.length_mm
    points = np.array([find_point_at(ruler, float(place)) for place in at])
    wide = find_places(points, region=slotted) > limit_mm
    if wide.all():
        return ((0.0, ruler.length_mm),)
    spread = ruler.length_mm / count
    return tuple(
        ((start + 1) * spread - reach_mm, (end - 1) * spread + reach_mm)
        for start, end, _ in _find_runs(wide, wide.astype(np.float64))
    )


def find_slot_parts(cut: Cut, *, from_mm: float, to_mm: float) -> list[tuple[float, float, bool]]:
    """Return a way along a cut divided where it becomes a slot and where it is none any more."""
    lap = cut.ruler.length_mm
    edges = {from_mm, to_mm}
    spans = [(low + k * lap, high + k * lap) for low, high in cut.wide for k in (-1, 0, 1, 2)]
    for low, high in spans:
        edges |= {edge for edge in (low, high) if from_mm + 1e-6 < edge < to_mm - 1e-6}
    ordered = sorted(edges)
    return [
        (one, other, any(low <= (one + other) / 2.0 <= high for low, high in spans)) for one, other in pairwise(ordered)
    ]


def _find_runs(new: BoolArray, apart: FloatArray) -> list[tuple[int, int, float]]:
    """Return runs of new places round a closed sequence, with the old place before and after each."""
    n = len(new)
    starts = [i for i in range(n) if not new[i] and new[(i + 1) % n]]
    runs = []
    for start in starts:
        end = start + 1
        while new[end % n]:
            end += 1
        runs.append((start, end, float(max(apart[i % n] for i in range(start, end)))))
    return runs
