"""The edges that a chamfer is taken off, and what of the panels the vee cutter may touch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import tan

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.geometry.contour import Contour
from cam.geometry.flatten import flatten, flatten_vertices
from cam.panel.panel import Finish
from cam.plan.chamfer_form import ChamferForm
from cam.plan.placed import PlacedFeature

CHORD_TOL_MM = 0.0005
SPARE_MM = 0.005
"""How much deeper than the chamfer the cone may touch: the chords' own uncertainty, and a little."""
LEVELS = (0.05, 0.5, 1.0)
"""At these shares of the chamfer's depth, from its lower edge up, the cone is held against the panels."""
TOUCH_MM2 = 2e-5
"""Less area than this is no touch."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeRun:
    """Neighbouring segments of a wall (counter-clockwise) that are all to be chamfered.

    ``first`` and ``last`` are the segments' numbers; ``whole`` says that they go all round.
    """

    wall: Contour
    first: int
    last: int
    whole: bool


def find_runs(feature: PlacedFeature, *, on: Sequence[Finish]) -> tuple[EdgeRun, ...]:
    """Return the runs of segments of a feature's wall whose class is to be chamfered."""
    wall = feature.wall
    chosen = [finish in on for finish in feature.finishes]
    if all(chosen):
        return (EdgeRun(wall=wall, first=0, last=len(chosen) - 1, whole=True),)
    count = len(chosen)
    runs = []
    for first in range(count):
        if chosen[first] and not chosen[first - 1]:
            last = first
            while chosen[(last + 1) % count]:
                last += 1
            runs.append(EdgeRun(wall=wall, first=first, last=last % count, whole=False))
    return tuple(runs)


def lay_run(run: EdgeRun) -> BaseGeometry:
    """Return a run's line."""
    if run.whole:
        return shapely.LinearRing(flatten(run.wall, chord_tol_mm=CHORD_TOL_MM))
    count = len(run.wall)
    length = (run.last - run.first) % count + 2
    rows = np.arange(run.first, run.first + length) % count
    points, _ = flatten_vertices(run.wall.vertices[rows], chord_tol_mm=CHORD_TOL_MM, closed=False)
    return shapely.LineString(points)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """At each of `LEVELS`: the cone's radius, and what of the panels it must not touch."""

    radii_mm: tuple[float, ...]
    forbidden: tuple[BaseGeometry, ...]
    sheet: BaseGeometry


def lay_ground(
    panels: Sequence[shapely.Polygon], *, runs: Sequence[EdgeRun], form: ChamferForm, sheet_mm: tuple[float, float]
) -> Ground:
    """Return what the cone must not touch.

    Notes
    -----
    At a height the chamfer has taken off whatever lies nearer to its edges than the cone's radius less
    the axis' distance from the wall; all else of the panels is forbidden. The band ends square at the
    ends of a run. The axis stays within the sheet by the cutter's radius.
    """
    every = shapely.union_all(list(panels))
    lines = [lay_run(run) for run in runs]
    slope = tan(form.half_angle_rad)
    radii, forbidden = [], []
    for level in LEVELS:
        inset = level * form.depth_mm * slope
        band = shapely.union_all(
            [shapely.buffer(line, inset + SPARE_MM, cap_style="flat", quad_segs=64) for line in lines]
        )
        radii.append(form.aside_mm + inset)
        geometry = shapely.difference(every, band)
        shapely.prepare(geometry)
        forbidden.append(geometry)
    width, height = sheet_mm
    margin = form.reach_mm
    return Ground(
        radii_mm=tuple(radii),
        forbidden=tuple(forbidden),
        sheet=shapely.box(margin, margin, width - margin, height - margin),
    )


def find_touch(ground: Ground, path: BaseGeometry) -> shapely.Point | None:
    """Return a place where the cone along a path of its axis touches what it must not, or None."""
    outside = shapely.difference(path, ground.sheet)
    if not outside.is_empty:
        return outside.representative_point()
    for radius, forbidden in zip(ground.radii_mm, ground.forbidden, strict=True):
        touched = shapely.intersection(shapely.buffer(path, radius, quad_segs=64), forbidden)
        if touched.area > TOUCH_MM2:
            return touched.representative_point()
    return None
