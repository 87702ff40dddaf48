"""What stands in recesses: ridges and places on the floor that are too high, and material left on the walls."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.portions import Portions, take_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.findings import Finding, Origin, error
from cam.report.judge_case import BOUND_MM, CHORD_TOL_MM, Case
from cam.report.judge_paths import find_floor_mm
from cam.report.judge_recess_case import FLOOR_TOL_MM, PlacedRecess

FILM_START_MM = BOUND_MM + 0.0005
"""Nearer to a wall than this, material left cannot be told from the bound and the last decimal of the text."""
WALL_MM = 1.0
"""What stands along a wall and is no thicker than this is left on the wall; more is a floor that was not cut."""


def judge_recess(case: Case, *, recesses: tuple[PlacedRecess, ...]) -> tuple[float, list[Finding]]:
    """Return the thickest material left on the walls of recesses, and the findings on floors and walls.

    Notes
    -----
    What was removed just above the floor is taken inscribed, so that too much is found rather than too
    little; beside the wall what cannot be told from the bound does not count.
    """
    thickest, findings = 0.0, []
    for recess in recesses:
        # with a cut-out in it a recess's own edge is where that begins
        wanted = recess.shape.buffer(-FILM_START_MM)
        removed = _sweep_near(case, recess)
        floors: list[tuple[float, shapely.Point]] = []
        for part in shapely.get_parts(wanted.difference(removed)):
            if part.buffer(-BOUND_MM).is_empty:
                continue
            far, point = _find_farthest(part, edge=recess.shape.boundary)
            on_wall = far <= WALL_MM and part.distance(recess.shape.boundary) <= 2.0 * FILM_START_MM
            # what covers all of a recess has its whole boundary on the wall
            if not on_wall or not part.buffer(-WALL_MM / 2.0).is_empty:
                spot = part.representative_point()
                floors.append((find_floor_mm(case.paths, spot) - recess.floor_mm, spot))
                continue
            thickest = max(thickest, far)
            if far > case.job.tolerances.finish_uncut_mm:
                findings.append(_say_wall(case, recess, size=far, point=point))
        if floors:
            height, spot = max(floors, key=lambda each: each[0])
            findings.append(_say_floor(case, recess, size=height, point=spot, more=len(floors) - 1))
    return thickest, findings


def _sweep_near(case: Case, recess: PlacedRecess) -> BaseGeometry:
    """Return what is removed within a recess just above its floor, at least."""
    height = recess.floor_mm + FLOOR_TOL_MM
    return sweep_portions(
        take_portions(case.below, _find_near(case.below, recess, height_mm=height, reach_mm=_find_reach_mm(case))),
        cutters=case.cutters,
        height_mm=height,
        side=Side.WITHIN,
        chord_tol_mm=CHORD_TOL_MM,
    )


def _find_reach_mm(case: Case) -> float:
    return max((cutter.radius_mm for cutter in case.cutters.values()), default=0.0)


def _find_near(portions: Portions, recess: PlacedRecess, *, height_mm: float, reach_mm: float) -> np.ndarray:
    """Return which portions, by their boxes and depths, may cut in a recess; an arc's box is its circle's."""
    low = np.minimum(portions.start_mm, portions.end_mm)
    high = np.maximum(portions.start_mm, portions.end_mm)
    arc = portions.sweep_rad != 0.0
    spread = np.where(arc, portions.radius_mm, 0.0)[:, None]
    centre = np.where(arc[:, None], portions.centre_mm, low[:, :2])
    left = np.minimum(low[:, :2], centre - spread)
    right = np.maximum(high[:, :2], centre + spread)
    min_x, min_y, max_x, max_y = recess.shape.bounds
    near = (left <= np.array([max_x, max_y]) + reach_mm).all(axis=1)
    near &= (right >= np.array([min_x, min_y]) - reach_mm).all(axis=1)
    return np.flatnonzero(near & (low[:, 2] <= height_mm))


def _find_farthest(part: BaseGeometry, *, edge: BaseGeometry) -> tuple[float, shapely.Point]:
    """Return how far a piece of material reaches from a recess's edge, and where."""
    points = np.asarray(shapely.points(shapely.get_coordinates(shapely.segmentize(part.boundary, 0.2))))
    apart = shapely.distance(points, edge)
    worst = int(np.argmax(apart))
    return float(apart[worst]), points[worst]


def _say_wall(case: Case, recess: PlacedRecess, *, size: float, point: shapely.Point) -> Finding:
    return error(
        "recess-wall-left",
        f"{size:.3f} mm of material is left on a wall of {recess.label} of {recess.name}; "
        f"{case.job.tolerances.finish_uncut_mm:g} mm is allowed",
        remedy="look whether the finishing pass runs all along this wall, and with the cutter that the program names",
        origin=_locate(case, recess, point=point),
        size_mm=size,
    )


def _say_floor(case: Case, recess: PlacedRecess, *, size: float, point: shapely.Point, more: int) -> Finding:
    others = f"; and at {more} more places" if more else ""
    return error(
        "recess-floor-high",
        f"{size:.3f} mm of material stands on the floor of {recess.label} of {recess.name}; "
        f"{FLOOR_TOL_MM:g} mm is allowed{others}",
        remedy="look whether the passes overlap there, at their depth, and at where Z is zero",
        origin=_locate(case, recess, point=point),
        size_mm=size,
    )


def _locate(case: Case, recess: PlacedRecess, *, point: shapely.Point) -> Origin:
    return Origin(
        file=case.program,
        panel=recess.name,
        feature=recess.label,
        x_mm=float(point.x),
        y_mm=float(point.y),
        z_mm=recess.floor_mm,
    )
