"""Cuts into panels that recesses allow, those that gouge a recess's walls or islands, and floors cut too deep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.findings import Finding, error
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.report.judge_case import Case, locate_move
from cam.report.judge_gouges import Clearances, find_cleared_radii_mm
from cam.report.judge_places import Place, gather_places
from cam.report.judge_recess_case import FLOOR_TOL_MM, PlacedRecess, find_solid


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecessCuts:
    """What is left of the clearances once recesses are taken into account, and what was found in these.

    ``gouge_max_mm`` is the deepest cut into a recess's walls.
    """

    clearances: Clearances
    gouge_max_mm: float
    findings: tuple[Finding, ...]


def judge_recess_cuts(case: Case, *, clearances: Clearances, recesses: tuple[PlacedRecess, ...]) -> RecessCuts:
    """Return the clearances without the cuts that recesses answer for, and the findings on those.

    Notes
    -----
    A cut at some height is held against what must stand there: the panels less the recesses whose floors
    lie at or below it, give or take `FLOOR_TOL_MM`. Where it would be right at the floor but lies below,
    the floor is too deep.
    """
    if not recesses:
        return RecessCuts(clearances=clearances, gouge_max_mm=0.0, findings=())
    tol = case.job.tolerances.gouge_mm
    rows = np.flatnonzero(clearances.clearance_mm < 0.0)
    lines = np.asarray(
        shapely.linestrings(np.stack((clearances.start_mm[rows], clearances.end_mm[rows]), axis=1)[:, :, :2])
    )
    radius = find_cleared_radii_mm(case)[clearances.portion[rows]]
    tip = np.minimum(clearances.start_mm[rows, 2], clearances.end_mm[rows, 2])
    recess = _find_recess(lines, radius_mm=radius, recesses=recesses)
    here = np.flatnonzero(recess >= 0)
    lines, radius, tip, recess, rows = lines[here], radius[here], tip[here], recess[here], rows[here]
    at_height = _find_depths(case, lines, radius_mm=radius, tip_mm=tip, recesses=recesses)
    all_open = _find_depths(case, lines, radius_mm=radius, tip_mm=np.full(len(tip), np.inf), recesses=recesses)
    floor = np.array([each.floor_mm for each in recesses])[recess]
    right = at_height <= tol
    deep = ~right & (all_open <= tol) & (tip < floor - FLOOR_TOL_MM)
    gouged = ~right & (tip >= floor - FLOOR_TOL_MM)
    findings = [
        *_tell(
            case,
            "recess-floor-deep",
            clearances,
            rows=rows[deep],
            recess=recess[deep],
            size=(floor - tip)[deep],
            recesses=recesses,
        ),
        *_tell(
            case,
            "recess-gouged",
            clearances,
            rows=rows[gouged],
            recess=recess[gouged],
            size=at_height[gouged],
            recesses=recesses,
        ),
    ]
    answered = np.zeros(len(clearances.portion), dtype=np.bool_)
    answered[rows[right | deep | gouged]] = True
    depths = np.concatenate((at_height[right | gouged], [0.0]))
    return RecessCuts(
        clearances=_keep(clearances, ~answered), gouge_max_mm=max(0.0, float(depths.max())), findings=tuple(findings)
    )


def _find_recess(lines: FloatArray, *, radius_mm: FloatArray, recesses: tuple[PlacedRecess, ...]) -> IntArray:
    """Return the recess that each path's cutter comes into most, -1 where it comes into none."""
    nearest, found = np.full(len(lines), np.inf), np.full(len(lines), -1, dtype=np.int64)
    for index, recess in enumerate(recesses):
        apart = shapely.distance(lines, recess.shape)
        better = (apart < radius_mm) & (apart < nearest)
        nearest[better], found[better] = apart[better], index
    return found


def _find_depths(
    case: Case, lines: FloatArray, *, radius_mm: FloatArray, tip_mm: FloatArray, recesses: tuple[PlacedRecess, ...]
) -> FloatArray:
    """Return how deep paths cut into what must stand at the heights of their tips; negative where they do not."""
    depth = np.full(len(lines), -np.inf)
    floors = np.unique([each.floor_mm - FLOOR_TOL_MM for each in recesses])
    rank = np.searchsorted(floors, tip_mm, side="right")
    for each in np.unique(rank):
        at = np.flatnonzero(rank == each)
        height = floors[each - 1] if each else -np.inf
        for panel in range(len(case.panels)):
            solid = find_solid(case, panel=panel, recesses=recesses, above_mm=float(height))
            shapely.prepare(solid)
            every = shapely.distance(lines[at], solid)
            near, apart = at[every < radius_mm[at]], every[every < radius_mm[at]]
            if not len(near):
                continue
            inside = np.flatnonzero(apart == 0.0)
            apart[inside] = -shapely.distance(lines[near[inside]], solid.boundary)
            depth[near] = np.maximum(depth[near], radius_mm[near] - apart)
    return depth


def _tell(
    case: Case,
    code: str,
    clearances: Clearances,
    *,
    rows: IntArray,
    recess: IntArray,
    size: FloatArray,
    recesses: tuple[PlacedRecess, ...],
) -> list[Finding]:
    places = [
        Place(
            move=int(case.below.move[clearances.portion[row]]),
            group=int(recess[i]),
            size=float(size[i]),
            at_mm=(clearances.start_mm[row] + clearances.end_mm[row]) / 2.0,
        )
        for i, row in enumerate(rows.tolist())
    ]
    findings = []
    for place, more in gather_places(places):
        own = recesses[place.group]
        message, remedy = {
            "recess-floor-deep": (
                f"the floor of {own.label} of {own.name} is cut {place.size:.3f} mm too deep; "
                f"{FLOOR_TOL_MM:g} mm is allowed{more}",
                "look at this line's depth, at where Z is zero, and at the measured thickness",
            ),
            "recess-gouged": (
                f"the cutter cuts {place.size:.3f} mm into a wall or an island of {own.label} of {own.name}{more}",
                "do not cut: look at this line, and at the cutter's number and diameter",
            ),
        }[code]
        assert place.at_mm is not None
        at = np.array([place.at_mm[0], place.at_mm[1], case.trace.end_mm[place.move, 2]])
        origin = locate_move(case, place.move, at_mm=at, panel=own.name, feature=own.label)
        findings.append(error(code, message, remedy=remedy, origin=origin, size_mm=place.size))
    return findings


def _keep(clearances: Clearances, keep: BoolArray) -> Clearances:
    return Clearances(
        portion=clearances.portion[keep],
        start_mm=clearances.start_mm[keep],
        end_mm=clearances.end_mm[keep],
        wall=clearances.wall[keep],
        clearance_mm=clearances.clearance_mm[keep],
    )
