"""How close the cutter comes to the walls of the panels, and where it cuts into them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.backplot.portions import chord_portions, take_portions
from cam.backplot.sweep import find_radius_mm
from cam.findings import Finding, error
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.report.judge_case import CHORD_TOL_MM, Case, locate_move
from cam.report.judge_chamfer import asks_for_chamfer
from cam.report.judge_places import Place, gather_places
from cam.tables.rows import CutterKind

CONTACT_MM = 0.02
"""A cutter whose edge passes a wall within this distance makes that wall."""
COARSE_MM = 0.02
"""How far the chords lie off the path by which it is found what comes near a wall at all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clearances:
    """Chords of the path that come to a wall or into a panel; m rows.

    ``portion`` (m,) is the row of the case's portions below the top, ``start_mm`` and ``end_mm``
    (m, 3) the chord, ``wall`` (m,) the nearest wall, ``clearance_mm`` (m,) from the cutter's edge to
    it, negative where the cutter cuts into the panel.
    """

    portion: IntArray
    start_mm: FloatArray
    end_mm: FloatArray
    wall: IntArray
    clearance_mm: FloatArray


def find_clearances(case: Case) -> Clearances:
    """Return how close the cutter's edge comes to the walls.

    Notes
    -----
    Distances between chords of the path and chords of the walls, the cutter's radius taken off; the
    error is twice the chord tolerance. A pointed or round cutter counts with its radius at the
    sheet's top.
    """
    radii = find_cleared_radii_mm(case)
    asked = _find_asked(case, radii_mm=radii)
    chords = chord_portions(take_portions(case.below, asked), chord_tol_mm=CHORD_TOL_MM)
    portion = asked[chords.portion]
    radius = radii[portion]
    lines = np.asarray(shapely.linestrings(np.stack((chords.start_mm, chords.end_mm), axis=1)[:, :, :2]))
    distance, wall = _find_distances(case, lines, reach_mm=radius + CONTACT_MM)
    middle = (chords.start_mm + chords.end_mm)[:, :2] / 2.0
    inside = _lie_inside(case, middle)
    deep = np.flatnonzero(inside)
    if len(deep):
        points = np.asarray(shapely.points(middle[deep]))
        nearest, apart = case.segments.tree.query_nearest(points, return_distance=True, all_matches=False)
        distance[deep], wall[deep] = -apart, case.segments.wall[nearest[1]]
    near = np.flatnonzero(wall >= 0)
    return Clearances(
        portion=portion[near],
        start_mm=chords.start_mm[near],
        end_mm=chords.end_mm[near],
        wall=wall[near],
        clearance_mm=distance[near] - radius[near],
    )


def _find_asked(case: Case, *, radii_mm: FloatArray) -> IntArray:
    """Return the portions below the top that may come to a wall or lie in a panel, by coarser chords.

    Notes
    -----
    A portion none of whose chords comes within reach, and the coarser distance, of a wall crosses none: it lies
    wholly in a panel or wholly outside all, and so do the middles of its chords.
    """
    chords = chord_portions(case.below, chord_tol_mm=COARSE_MM)
    radius = radii_mm[chords.portion]
    known = np.flatnonzero(np.isfinite(radius))
    ends = np.stack((chords.start_mm, chords.end_mm), axis=1)[known, :, :2]
    reach = radius[known] + CONTACT_MM + 2.0 * COARSE_MM
    near, _, _ = _find_pairs(case, np.asarray(shapely.linestrings(ends)), reach_mm=reach)
    asked = _lie_inside(case, ends.mean(axis=1))
    asked[near] = True
    return np.unique(chords.portion[known[asked]])


def _lie_inside(case: Case, points_mm: FloatArray) -> BoolArray:
    """Return which points lie in a panel, (n,)."""
    inside = np.zeros(len(points_mm), dtype=np.bool_)
    for panel in case.panels:
        inside |= shapely.contains_xy(panel.polygon, points_mm)
    return inside


def find_cleared_radii_mm(case: Case) -> FloatArray:
    """Return the radius that each portion below the top clears at the top.

    It is nan for an unknown tool, for drills, and for vee cutters where panels are to be chamfered: these
    are judged apart.
    """
    tips = np.minimum(case.below.start_mm[:, 2], case.below.end_mm[:, 2])
    radii = np.full(len(tips), np.nan)
    for tool in np.unique(case.below.tool):
        cutter = case.cutters.get(int(tool))
        if cutter is None or cutter.kind is CutterKind.DRILL:
            continue
        if cutter.kind is CutterKind.VEE and asks_for_chamfer(case):
            continue
        rows = np.flatnonzero(case.below.tool == tool)
        if cutter.kind is CutterKind.FLAT:
            radii[rows] = cutter.radius_mm
        else:
            radii[rows] = [find_radius_mm(cutter, above_tip_mm=case.top_mm - float(z)) for z in tips[rows]]
    return radii


def _find_distances(case: Case, lines: FloatArray, *, reach_mm: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return each line's distance to the nearest wall within reach, and that wall; inf and -1 beyond."""
    distance = np.full(len(lines), np.inf)
    wall = np.full(len(lines), -1, dtype=np.int64)
    if not len(lines):
        return distance, wall
    line, segment, apart = _find_pairs(case, lines, reach_mm=reach_mm)
    # the last written wins: the nearest one
    order = np.argsort(-apart, kind="stable")
    distance[line[order]], wall[line[order]] = apart[order], case.segments.wall[segment[order]]
    return distance, wall


def _find_pairs(case: Case, lines: FloatArray, *, reach_mm: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Return each pair of a line and a wall's segment within reach of it, and their distance."""
    low_x, low_y, high_x, high_y = shapely.bounds(lines).T
    # boxes first: of chords so short few more are in reach by their boxes than are
    boxes = shapely.box(low_x - reach_mm, low_y - reach_mm, high_x + reach_mm, high_y + reach_mm)
    line, segment = case.segments.tree.query(np.asarray(boxes))
    apart = shapely.distance(lines[line], case.segments.lines[segment])
    within = apart <= reach_mm[line]
    return line[within], segment[within], apart[within]


def judge_gouges(case: Case, *, clearances: Clearances) -> tuple[float, list[Finding]]:
    """Return the deepest cut into a panel, mm, and a finding for each run of moves beyond the tolerance."""
    depth = -clearances.clearance_mm
    deepest = max(0.0, float(depth.max())) if len(depth) else 0.0
    over = np.flatnonzero(depth > case.job.tolerances.gouge_mm)
    touching = _find_other_walls_made(case, clearances)
    places = [
        Place(
            move=int(case.below.move[clearances.portion[i]]),
            group=int(clearances.wall[i]),
            size=float(depth[i]),
            at_mm=(clearances.start_mm[i] + clearances.end_mm[i]) / 2.0,
        )
        for i in over
    ]
    findings = []
    for place, more in gather_places(places):
        wall = case.walls[place.group]
        made = touching.get(place.move)
        neighbour = made is not None and made != wall.panel
        code = "neighbour-touched" if neighbour else "panel-gouged"
        while_ = f" while it makes a wall of {made}" if neighbour else ""
        findings.append(
            error(
                code,
                f"the cutter cuts {place.size:.3f} mm into {wall.label}{while_}{more}",
                remedy="do not cut: look at this line, at the cutter's number and diameter, and at where the panel "
                "lies on the sheet",
                origin=locate_move(
                    case,
                    place.move,
                    at_mm=_to_program(case, place.at_mm),
                    panel=wall.panel,
                    feature=wall.feature.label,
                ),
                size_mm=place.size,
            )
        )
    return deepest, findings


def _find_other_walls_made(case: Case, clearances: Clearances) -> dict[int, str]:
    """Return the panel whose wall each move makes."""
    made = np.abs(clearances.clearance_mm) <= CONTACT_MM
    moves = case.below.move[clearances.portion[made]]
    return {int(m): case.walls[int(w)].panel for m, w in zip(moves, clearances.wall[made], strict=True)}


def _to_program(case: Case, point_mm: FloatArray | None) -> FloatArray | None:
    """Return a point of the portions in the program's own heights."""
    if point_mm is None:
        return None
    shift = case.high.start_mm[0, 2] - case.trace.start_mm[case.high.move[0], 2]
    return np.asarray(point_mm - np.array([0.0, 0.0, shift]))


def find_wall_tools(case: Case, *, clearances: Clearances) -> dict[int, int]:
    """Return the T number that makes most of each wall; walls that nothing makes are missing."""
    made = np.abs(clearances.clearance_mm) <= CONTACT_MM
    length = np.hypot(*(clearances.end_mm - clearances.start_mm)[made, :2].T)
    tool = case.below.tool[clearances.portion[made]]
    wall = clearances.wall[made]
    tools: dict[int, int] = {}
    for index in np.unique(wall):
        of_wall = wall == index
        candidates = np.unique(tool[of_wall])
        sums = [length[of_wall & (tool == candidate)].sum() for candidate in candidates]
        tools[int(index)] = int(candidates[int(np.argmax(sums))])
    return tools
