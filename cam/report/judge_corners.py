"""Re-entrant corners: how many a panel has, and how tight the cutter really left them."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf, pi, radians

import numpy as np
import shapely

from cam.backplot.portions import Portions, find_points_mm, take_portions
from cam.findings import Finding, Origin, error
from cam.geometry.contour import BoolArray, Contour, FloatArray, find_segments
from cam.panel.panel import Panel, Role
from cam.report.judge_case import CHORD_TOL_MM, Case, PlacedPanel, locate_move
from cam.report.judge_facets import INCH_MM, find_faceted_radius_mm
from cam.report.judge_gouges import CONTACT_MM, Clearances
from cam.report.judge_places import Place, gather_places
from cam.report.verdict import CornersAsCut

RADIUS_TOL_MM = 0.005
"""How much tighter than the rule a corner may be as cut: the last decimal of an arc's words."""
CORNER_TURN_RAD = radians(15.0)
"""A re-entrant arc that turns less is no corner."""
CORNER_RADII = 4.0
"""A re-entrant arc of more than so many times the rule's radius is a curved edge, no corner."""
SHARP_RAD = radians(2.0)
"""Two passes that meet at a smaller angle are one smooth pass."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contact:
    """A place where the cutter's edge makes a wall: the cutter's centre, and the way to the wall.

    ``chord_mm`` is the length of the straight portion that it begins or ends, inf of an arc.
    """

    at_mm: tuple[float, float]
    towards: tuple[float, float]
    radius_mm: float
    move: int
    chord_mm: float


def judge_corners(case: Case, *, clearances: Clearances) -> tuple[CornersAsCut, list[Finding]]:
    """Return the re-entrant corners as cut, and findings where one is tighter than the rule.

    Notes
    -----
    Along an arc of the cutter's centre of radius p whose outer side makes a wall, the wall's radius is
    p plus the cutter's. Where two passes that make a wall meet at an angle, it is the cutter's own, unless they
    are chords so short that they follow a circle.
    Round holes are no corners.
    """
    cut = _find_tightest(case, clearances)
    findings = _judge_drawn(case)
    rule = case.job.corners.radius_mm
    tight = [Place(move=move, size=radius, at_mm=np.array([*at, 0.0])) for radius, move, at in cut]
    smallest = min((place.size for place in tight), default=inf)
    for place, more in gather_places([place for place in tight if place.size < rule - RADIUS_TOL_MM]):
        assert place.at_mm is not None
        x, y = float(place.at_mm[0]), float(place.at_mm[1])
        wall = _find_wall(case, (x, y))
        findings.append(
            error(
                "corner-too-tight",
                f"a corner of {case.walls[wall].label} is cut to a radius of {place.size:.3f} mm; the rule asks for "
                f"{rule:g} mm{more}",
                remedy="let the cutter go round the corner on an arc; a sharp turn leaves its own radius",
                origin=locate_move(
                    case,
                    place.move,
                    at_mm=np.array([x, y, case.trace.end_mm[place.move, 2]]),
                    panel=case.walls[wall].panel,
                    feature=case.walls[wall].feature.label,
                ),
                size_mm=place.size,
            )
        )
    corners = CornersAsCut(
        count=sum(_count_corners(panel, rule_mm=rule) for panel in case.panels),
        rounded=sum(_count_rounded(placement.panel) for placement in case.layout.placements),
        min_radius_mm=smallest,
    )
    return corners, findings


def _count_rounded(panel: Panel) -> int:
    """Return how many corners of what is cut through the corner rule changed; those of recesses are apart."""
    through = {feature.label for feature in panel.features}
    return sum(corner.feature in through for corner in panel.rounded)


def _count_corners(panel: PlacedPanel, *, rule_mm: float) -> int:
    """Return how many re-entrant corners a panel has; arcs that follow one another are one corner."""
    count = 0
    for wall, contour in zip(panel.walls, panel.region.contours, strict=True):
        if wall.feature.role is Role.HOLE:
            continue
        segments = find_segments(contour.vertices)
        tight = (segments.sweep_rad < 0.0) & (segments.radius_mm <= CORNER_RADII * rule_mm)
        start = int(np.argmin(tight))
        turned = 0.0
        for i in [*range(start, len(tight)), *range(start)]:
            turned += -float(segments.sweep_rad[i]) if tight[i] else 0.0
            if not tight[i] or i == (start - 1) % len(tight):
                count += turned >= CORNER_TURN_RAD
                turned = 0.0
        count += len(_find_sharp(contour))
    return count


def _find_sharp(contour: Contour) -> list[int]:
    """Return the vertices of a contour, material on its left, that turn into the material without a radius."""
    segments = find_segments(contour.vertices)
    chord = segments.end_mm - segments.start_mm
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    leaving, arriving = heading - segments.sweep_rad / 2.0, heading + segments.sweep_rad / 2.0
    turn = np.mod(leaving - np.roll(arriving, 1) + pi, 2.0 * pi) - pi
    return [int(i) for i in np.flatnonzero(turn < -SHARP_RAD)]


def _judge_drawn(case: Case) -> list[Finding]:
    """Return findings where the panel itself breaks the rule, whoever was to enforce it."""
    rule, findings = case.job.corners.radius_mm, []
    for panel in case.panels:
        for wall, contour in zip(panel.walls, panel.region.contours, strict=True):
            if wall.feature.role is Role.HOLE:
                continue
            segments = find_segments(contour.vertices)
            tight = (segments.sweep_rad < 0.0) & (segments.radius_mm < rule - RADIUS_TOL_MM)
            found = {int(i): float(segments.radius_mm[i]) for i in np.flatnonzero(tight)}
            found.update(dict.fromkeys(_find_sharp(contour), 0.0))
            findings += [
                error(
                    "corner-rule-broken",
                    f"{wall.label} has a re-entrant radius of {radius:.3f} mm; the rule asks for {rule:g} mm",
                    remedy="round the corner in the drawing, or lower the rule's radius_mm",
                    origin=Origin(
                        panel=panel.name,
                        feature=wall.feature.label,
                        x_mm=float(contour.points_mm[i, 0]),
                        y_mm=float(contour.points_mm[i, 1]),
                    ),
                    size_mm=radius,
                )
                for i, radius in sorted(found.items())
            ]
    return findings


def _find_tightest(case: Case, clearances: Clearances) -> list[tuple[float, int, tuple[float, float]]]:
    """Return radius as cut, move and place of every re-entrant curve that the cutter makes."""
    making = np.unique(clearances.portion[clearances.clearance_mm <= CONTACT_MM])
    portions = take_portions(case.below, making)
    radius = np.array([case.cutters[int(tool)].radius_mm for tool in portions.tool])
    length = np.hypot(*(portions.end_mm - portions.start_mm)[:, :2].T)
    chord_mm = np.where(portions.sweep_rad == 0.0, length, inf)
    tree = _CornerWalls(case)
    found: list[tuple[float, int, tuple[float, float]]] = []
    contacts: list[Contact] = []
    for share in (0.0, 0.5, 1.0):
        points, heading = _find_headings(portions, share=share)
        for side in (-1.0, 1.0):
            # side +1 is the left of the travel
            towards = side * np.column_stack((-heading[:, 1], heading[:, 0]))
            makes = tree.find_near(points + radius[:, None] * towards)
            if share == 0.5:
                outer = makes & (portions.sweep_rad * side < 0.0)
                for i in np.flatnonzero(outer):
                    place = points[i] + radius[i] * towards[i]
                    found.append(
                        (
                            float(portions.radius_mm[i] + radius[i]),
                            int(portions.move[i]),
                            (float(place[0]), float(place[1])),
                        )
                    )
            else:
                contacts += [
                    Contact(
                        at_mm=(float(points[i, 0]), float(points[i, 1])),
                        towards=(float(towards[i, 0]), float(towards[i, 1])),
                        radius_mm=float(radius[i]),
                        move=int(portions.move[i]),
                        chord_mm=float(chord_mm[i]),
                    )
                    for i in np.flatnonzero(makes)
                ]
    return found + _find_sharp_meetings(contacts, case=case)


class _CornerWalls:
    """The walls that may have corners, in a tree."""

    def __init__(self, case: Case) -> None:
        round_ = np.array([wall.feature.role is Role.HOLE for wall in case.walls], dtype=np.bool_)
        lines = case.segments.lines[~round_[case.segments.wall]] if len(round_) else case.segments.lines
        self._tree = shapely.STRtree(lines)

    def find_near(self, points_mm: FloatArray) -> BoolArray:
        """Return which points lie on a wall, (n,) bool."""
        near = np.zeros(len(points_mm), dtype=np.bool_)
        if len(points_mm):
            hits = self._tree.query(shapely.points(points_mm), predicate="dwithin", distance=CONTACT_MM + CHORD_TOL_MM)
            near[hits[0]] = True
        return near


def _find_headings(portions: Portions, *, share: float) -> tuple[FloatArray, FloatArray]:
    """Return the points at a share of each portion and the unit directions of travel there, each (n, 2)."""
    points = find_points_mm(portions, share=np.full(len(portions), share))[:, :2]
    chord = (portions.end_mm - portions.start_mm)[:, :2]
    spoke = points - portions.centre_mm
    around = np.sign(portions.sweep_rad)[:, None] * np.column_stack((-spoke[:, 1], spoke[:, 0]))
    heading = np.where((portions.sweep_rad != 0.0)[:, None], around, chord)
    size = np.hypot(heading[:, 0], heading[:, 1])[:, None]
    return points, np.divide(heading, size, out=np.zeros_like(heading), where=size > 0.0)


def _find_sharp_meetings(contacts: list[Contact], *, case: Case) -> list[tuple[float, int, tuple[float, float]]]:
    """Return where passes that make a wall meet at an angle, so that the cutter's own radius is left."""
    meetings: dict[tuple[float, float], list[Contact]] = {}
    for contact in contacts:
        meetings.setdefault((round(contact.at_mm[0], 3), round(contact.at_mm[1], 3)), []).append(contact)
    found = []
    for (x, y), met in meetings.items():
        for i, a in enumerate(met):
            for b in met[:i]:
                turn = abs(np.arctan2(_cross(a.towards, b.towards), _dot(a.towards, b.towards)))
                if SHARP_RAD < turn < pi - SHARP_RAD:
                    middle = (a.towards[0] + b.towards[0], a.towards[1] + b.towards[1])
                    size = hypot(*middle)
                    reach = min(a.radius_mm, b.radius_mm) / size
                    place = (x + middle[0] * reach, y + middle[1] * reach)
                    if _is_made(case, place):
                        chord = min(a.chord_mm, b.chord_mm)
                        faceted = find_faceted_radius_mm(chord, turn_rad=turn, step_mm=_find_last_digit_mm(case))
                        radius = min(a.radius_mm, b.radius_mm) + faceted
                        found.append((radius, max(a.move, b.move), place))
    return found


def _find_last_digit_mm(case: Case) -> float:
    """Return the length of the last digit of the controller's numbers."""
    facts = case.controller.facts
    return (INCH_MM if facts.units == "inch" else 1.0) / 10.0**facts.decimals


def _is_made(case: Case, place: tuple[float, float]) -> bool:
    """Return whether the cutter's edge at a place lies on a wall or in a panel, not in the waste."""
    spot = shapely.Point(place)
    return any(panel.polygon.distance(spot) <= CONTACT_MM for panel in case.panels)


def _cross(a: tuple[float, float], b: tuple[float, float]) -> float:
    return a[0] * b[1] - a[1] * b[0]


def _dot(a: tuple[float, float], b: tuple[float, float]) -> float:
    return a[0] * b[0] + a[1] * b[1]


def _find_wall(case: Case, place: tuple[float, float]) -> int:
    return int(case.segments.wall[case.segments.tree.nearest(shapely.Point(place))])
