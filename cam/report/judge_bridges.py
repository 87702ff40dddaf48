"""Where bridges stand, seen from what the sweep left: how far apart, on corners, radii and shown edges."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from cam.findings import Finding, Origin, error, warning
from cam.geometry.along import Ruler, find_nearest_at, lay_ruler
from cam.geometry.contour import BoolArray, Contour, FloatArray
from cam.panel.panel import Finish
from cam.report.judge_case import Case, PlacedPanel, Wall
from cam.report.judge_walls import Ground, Removal, WallRest, lay_ground, may_come_free
from cam.sheet.layout import place_finishes
from cam.tables.job import HoldKind

MAX_GAP_SHARE = 1.5
"""The widest gap between two bridges in spacings (common practice, no source)."""
SAMPLE_MM = 2.0
"""How far apart a wall is asked for the waste beside it."""
WASTE_MM = 2.0
"""Waste narrower than this is none to hold on to."""
MAX_KINK_RAD = radians(15.0)
"""A joint of a wall that turns by more is a corner; less is a curve drawn as chords."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ground:
    """A wall with what is known of it: its classes, the waste beside it, and the middles of its bridges.

    ``held`` (m,) tells for evenly spaced places whether waste stands beside; ``middles_mm`` are distances
    along the wall, ``foot_mm`` how long the longest bridge is at the bed, a diameter included.
    """

    wall: Wall
    rest: WallRest
    ruler: Ruler
    finishes: tuple[Finish, ...]
    held: BoolArray
    middles_mm: tuple[float, ...]
    foot_mm: float


def judge_bridge_places(case: Case, *, removal: Removal, rests: tuple[WallRest, ...]) -> list[Finding]:
    """Return bridges that stand too far apart, on a corner or a tight radius, or where a better place was free."""
    if case.job.hold.by is not HoldKind.BRIDGES:
        return []
    findings: list[Finding] = []
    of_wall = iter(rests)
    waste = lay_ground(_find_waste(case, removal=removal))
    for number, panel in enumerate(case.panels):
        for wall in panel.walls:
            rest = next(of_wall)
            free = may_come_free(case, wall) and not rest.holding
            if rest.standing and rest.holding and not free:
                ground = _lay_ground(case, panel, number=number, wall=wall, rest=rest, waste=waste)
                findings += _judge_gaps(case, ground)
                findings += _judge_places(case, ground)
    return findings


def _find_waste(case: Case, *, removal: Removal) -> BaseGeometry:
    """Return what stands at the bed besides panels, narrow strips left out."""
    panels = shapely.union_all([panel.polygon for panel in case.panels])
    return case.sheet.difference(removal.bed).difference(panels).buffer(-WASTE_MM / 2.0)


def _lay_ground(case: Case, panel: PlacedPanel, *, number: int, wall: Wall, rest: WallRest, waste: Ground) -> _Ground:
    contour: Contour = panel.region.contours[wall.feature.index]
    ruler = lay_ruler(contour)
    line = shapely.LineString(wall.ring_mm)
    count = max(8, int(np.ceil(line.length / SAMPLE_MM)))
    points = _find_points(wall, share=(np.arange(count) + 0.5) / count)
    given = case.job.allowances
    allowance = max(
        [case.material.finish_allowance_mm]
        + [mm for mm in (given.shown_mm, given.hidden_mm, given.trimmed_mm, given.butted_mm) if mm is not None]
    )
    reach = 2.0 * rest.radius_mm + allowance + WASTE_MM / 2.0 + 0.5
    held = np.zeros(count, dtype=np.bool_)
    for piece in _find_beside(waste, wall=wall, reach_mm=reach):
        shapely.prepare(piece)
        held |= shapely.dwithin(piece, points, reach)
    middles = [part.interpolate(0.5, normalized=True) for part in rest.holding]
    return _Ground(
        wall=wall,
        rest=rest,
        ruler=ruler,
        finishes=place_finishes(case.layout.placements[number], wall.feature),
        held=held,
        middles_mm=tuple(find_nearest_at(ruler, (point.x, point.y)) for point in middles),
        foot_mm=max(part.length for part in (*rest.bed, *rest.holding)) + 2.0 * rest.radius_mm,
    )


def _find_points(wall: Wall, *, share: FloatArray) -> npt.NDArray[np.object_]:
    """Return the points at shares of a wall's length."""
    at = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(wall.ring_mm, axis=0).T))))
    x, y = (np.interp(share * at[-1], at, values) for values in wall.ring_mm.T)
    return np.asarray(shapely.points(x, y))


def _find_beside(waste: Ground, *, wall: Wall, reach_mm: float) -> list[BaseGeometry]:
    """Return the waste behind a wall as far as it is within reach.

    Notes
    -----
    Panels are no waste, and behind every wall is a panel: each piece lies on one side of it.
    """
    face = shapely.Polygon(wall.ring_mm)
    box = shapely.box(*face.bounds).buffer(reach_mm, join_style="mitre").bounds
    near = np.sort(waste.tree.query(shapely.box(*box)))
    pieces = waste.parts[near]
    shapely.prepare(face)
    within = np.asarray(shapely.contains_properly(face, shapely.point_on_surface(pieces)))
    return [piece for piece in shapely.clip_by_rect(pieces[within == wall.inside], *box) if not piece.is_empty]


def _judge_gaps(case: Case, ground: _Ground) -> list[Finding]:
    """Return a finding where more wall with waste beside it lies between two bridges than the spacing allows."""
    limit = MAX_GAP_SHARE * case.job.hold.bridge_spacing_mm
    length = ground.ruler.length_mm
    passed = np.concatenate(([0.0], np.cumsum(ground.held * (length / len(ground.held)))))
    at = np.linspace(0.0, length, len(passed))
    middles = np.sort(ground.middles_mm)
    way: FloatArray = np.interp(middles, at, passed)
    gaps = np.diff(np.append(way, way[0] + passed[-1]))
    worst = int(np.argmax(gaps))
    if gaps[worst] <= limit:
        return []
    wanted = np.mod(way[worst] + gaps[worst] / 2.0, passed[-1])
    point = shapely.line_interpolate_point(shapely.LineString(ground.wall.ring_mm), np.interp(wanted, passed, at))
    return [
        error(
            "bridges-far-apart",
            f"{gaps[worst]:.0f} mm of {ground.wall.label} have waste beside them and no bridge; the job asks for "
            f"one every {case.job.hold.bridge_spacing_mm:g} mm",
            remedy="spread the bridges more evenly, or add some",
            origin=_locate(case, ground, x_mm=point.x, y_mm=point.y),
            size_mm=float(gaps[worst]),
        )
    ]


def _judge_places(case: Case, ground: _Ground) -> list[Finding]:
    findings = []
    asked = case.job.hold.count_bridges(ground.ruler.length_mm * (1.0 - 1e-9))
    shown = np.array([finish is Finish.SHOWN for finish in ground.finishes])
    straight = ~ground.ruler.segments.is_arc
    suffices = _takes_all(case, ground, segments=straight, asked=asked)
    unseen_suffices = _takes_all(case, ground, segments=straight & ~shown, asked=asked)
    for middle, part in zip(ground.middles_mm, ground.rest.holding, strict=True):
        half = part.length / 2.0 + ground.rest.radius_mm
        under = _find_segments_under(ground.ruler, from_mm=middle - half, to_mm=middle + half)
        point = part.interpolate(0.5, normalized=True)
        origin = _locate(case, ground, x_mm=point.x, y_mm=point.y)
        if _stands_on_corner(ground, under=under, half_mm=half):
            findings.append(
                error(
                    "bridge-on-corner",
                    f"a bridge of {ground.wall.label} stands on a corner or a tight radius, where the wall cannot "
                    "be dressed flat after it is broken off",
                    remedy="move the bridge on to a straight, or on to a curve of large radius",
                    origin=origin,
                )
            )
        elif suffices and not straight[under].all():
            findings.append(
                warning(
                    "bridge-on-radius",
                    f"a bridge of {ground.wall.label} stands on a curve, though the straights of this wall "
                    "take all bridges",
                    remedy="move the bridge on to a straight",
                    origin=origin,
                )
            )
        elif unseen_suffices and shown[under].any():
            findings.append(
                warning(
                    "bridge-on-shown",
                    f"a bridge of {ground.wall.label} stands on an edge that will be seen, though others take "
                    "all bridges",
                    remedy="move the bridge on to an edge that will not be seen",
                    origin=origin,
                )
            )
    return findings


def _find_segments_under(ruler: Ruler, *, from_mm: float, to_mm: float) -> list[int]:
    """Return the segments between two distances along a wall, in order."""
    count, length = len(ruler.segments), ruler.length_mm
    first = int(np.searchsorted(ruler.at_mm, from_mm % length, side="right")) - 1
    under, reached = [min(first, count - 1)], ruler.at_mm[min(first, count - 1) + 1] - from_mm % length
    while reached < to_mm - from_mm and len(under) < count:
        under.append((under[-1] + 1) % count)
        reached += float(ruler.segments.length_mm[under[-1]])
    return under


def _stands_on_corner(ground: _Ground, *, under: list[int], half_mm: float) -> bool:
    """Return whether a joint under a bridge is a corner, or the cutter's path turns too tightly there.

    Notes
    -----
    The cutter's path is too tight where its radius is less than the bridge and a cutter are long together.
    """
    segments = ground.ruler.segments
    turns = _find_turns_rad(ground.ruler)
    if any(abs(turns[i]) > MAX_KINK_RAD for i in under[1:]):
        return True
    # a placed contour has its material on the left: turning left, the waste is on the outer side
    outer = segments.sweep_rad > 0.0
    path = segments.radius_mm + np.where(outer, ground.rest.radius_mm, -ground.rest.radius_mm)
    return bool((path[under] < 2.0 * half_mm).any())


def _find_turns_rad(ruler: Ruler) -> FloatArray:
    """Return by how much a wall turns at the start of each segment, (n,)."""
    chord = ruler.segments.end_mm - ruler.segments.start_mm
    along = np.arctan2(chord[:, 1], chord[:, 0])
    # an arc leaves its chord's direction by half its turn on either side
    half = ruler.segments.sweep_rad / 2.0
    turn = (along - half) - np.roll(along + half, 1)
    return np.asarray(np.mod(turn + np.pi, 2.0 * np.pi) - np.pi)


def _takes_all(case: Case, ground: _Ground, *, segments: BoolArray, asked: int) -> bool:
    """Return whether the straights among some segments, with waste beside them, take all bridges evenly enough."""
    ruler, held = ground.ruler, ground.held
    middle = (np.arange(len(held)) + 0.5) * ruler.length_mm / len(held)
    spans = []
    for i in np.flatnonzero(segments):
        start, end = float(ruler.at_mm[i]), float(ruler.at_mm[i + 1])
        inside = (middle > start) & (middle < end)
        if end - start >= 1.2 * ground.foot_mm and inside.any() and held[inside].mean() > 0.9:
            spans.append((start, end))
    if sum(int((end - start) / (1.2 * ground.foot_mm)) for start, end in spans) < asked:
        return False
    gaps = [b[0] - a[1] for a, b in zip(spans, [*spans[1:], (spans[0][0] + ruler.length_mm, 0.0)], strict=True)]
    return max(gaps) + 2.0 * ground.foot_mm <= case.job.hold.bridge_spacing_mm


def _locate(case: Case, ground: _Ground, *, x_mm: float, y_mm: float) -> Origin:
    return Origin(
        file=case.program,
        panel=ground.wall.panel,
        feature=ground.wall.feature.label,
        x_mm=float(x_mm),
        y_mm=float(y_mm),
        z_mm=case.hold_mm,
    )
