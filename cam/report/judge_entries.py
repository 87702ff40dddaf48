"""How the cutter enters: rapids through material, plunges, and ramps that are too steep."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, degrees

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.portions import Portions, chord_portions, take_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.backplot.trace import Kind
from cam.findings import Finding, error
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.report.judge_case import CHORD_TOL_MM, Case, locate_move
from cam.report.judge_places import Place, gather_places
from cam.tables.rows import CutterKind

SLIVER_MM2 = 0.05
"""Material seen from above that counts as none: what two approximations of one circle leave between them."""
TREE_CHORD_TOL_MM = 0.05
HEIGHT_SLACK_MM = 1e-6
LAYERS = 8
"""At so many heights it is asked what a pointed cutter meets."""
LAST_DIGIT_MM = 0.0002
"""How far rounding to the last decimal may move the two ends of a ramp against each other."""


def judge_entries(case: Case) -> list[Finding]:
    """Return the findings on rapid moves in material and on steep ways into it.

    Notes
    -----
    Material that a move meets is its cutter's kerf at its lowest height, less what all earlier moves
    had removed down to that height; of a pointed cutter it is asked height by height. The kerf is taken
    inscribed and what was removed circumscribed, so that a finding is certain to within `SLIVER_MM2`.
    """
    below = case.below
    if not len(below):
        return []
    rapid = case.trace.kind[below.move] == Kind.RAPID
    drop = below.start_mm[:, 2] - below.end_mm[:, 2]
    run = _find_runs_mm(below)
    steep = np.zeros(len(below), dtype=np.bool_)
    for tool in np.unique(below.tool).tolist():
        if tool in case.cutters:
            limit = np.tan(np.radians(case.cutters[tool].max_ramp_deg))
            steep |= (below.tool == tool) & (drop - LAST_DIGIT_MM > limit * (run + LAST_DIGIT_MM))
    drilling = np.isin(below.tool, [tool for tool, cutter in case.cutters.items() if cutter.kind is CutterKind.DRILL])
    suspects = np.flatnonzero(
        np.where(rapid, ~_find_straight_out(below), steep & ~drilling) & np.isin(below.tool, list(case.cutters))
    )
    ground = build_ground(below)
    places: dict[str, list[Place]] = {"rapid-in-material": [], "plunge-in-material": [], "entry-too-steep": []}
    for row in suspects.tolist():
        area = find_material_mm2(case, ground, row=row)
        if area > SLIVER_MM2:
            code = "rapid-in-material" if rapid[row] else "plunge-in-material" if run[row] < 1e-6 else "entry-too-steep"
            places[code].append(Place(move=int(below.move[row]), size=area))
    return [
        finding
        for code, found in places.items()
        for finding in _tell(case, code=code, places=found, run=run, drop=drop)
    ]


def _find_straight_out(portions: Portions) -> BoolArray:
    """Return which portions go straight up from where the one before ended: the cutter has just been there."""
    follows = np.zeros(len(portions), dtype=np.bool_)
    follows[1:] = (portions.start_mm[1:] == portions.end_mm[:-1]).all(axis=1) & (
        portions.tool[1:] == portions.tool[:-1]
    )
    upright = (portions.start_mm[:, :2] == portions.end_mm[:, :2]).all(axis=1)
    return np.asarray(follows & upright & (portions.end_mm[:, 2] >= portions.start_mm[:, 2]))


def _find_runs_mm(portions: Portions) -> FloatArray:
    chord = np.hypot(*(portions.end_mm - portions.start_mm)[:, :2].T)
    return np.where(np.isnan(portions.radius_mm), chord, np.abs(portions.sweep_rad) * portions.radius_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """The portions below the top in a tree, to ask what had been removed before one of them."""

    below: Portions
    portion: IntArray
    tree: shapely.STRtree


def build_ground(below: Portions) -> Ground:
    """Return the portions below the top in a tree of their chords."""
    chords = chord_portions(below, chord_tol_mm=TREE_CHORD_TOL_MM)
    ends = np.stack((chords.start_mm[:, :2], chords.end_mm[:, :2]), axis=1)
    return Ground(below=below, portion=chords.portion, tree=shapely.STRtree(np.asarray(shapely.linestrings(ends))))


def find_material_mm2(case: Case, ground: Ground, *, row: int) -> float:
    """Return the area, seen from above and within the sheet, that a portion's cutter meets uncut."""
    below = ground.below
    low = float(min(below.start_mm[row, 2], below.end_mm[row, 2]))
    if _has_been_there(below, row=row, low_mm=low):
        return 0.0
    top = case.top_mm
    own = take_portions(below, np.array([row]))
    kerf = _find_kerf(case, own, height_mm=top)
    reach = max(cutter.radius_mm for cutter in case.cutters.values()) + TREE_CHORD_TOL_MM
    near = np.unique(ground.portion[ground.tree.query(kerf, predicate="dwithin", distance=reach)])
    earlier = take_portions(below, near[near < row])
    if case.cutters[int(below.tool[row])].kind is CutterKind.FLAT:
        return _find_uncut_mm2(case, kerf, earlier=earlier, height_mm=low)
    # a pointed cutter is thin below: it fits where one like it has been, height for height
    return max(
        _find_uncut_mm2(case, _find_kerf(case, own, height_mm=height), earlier=earlier, height_mm=height)
        for height in np.linspace(low, top, LAYERS + 1)[1:].tolist()
    )


def _has_been_there(below: Portions, *, row: int, low_mm: float) -> bool:
    """Return whether an upright move stays where its cutter has been as deep before, as a drill going back does."""
    spot = below.end_mm[row, :2]
    if (below.start_mm[row, :2] != spot).any():
        return False
    deep = np.minimum(below.start_mm[:row, 2], below.end_mm[:row, 2]) <= low_mm
    same = (below.tool[:row] == below.tool[row]) & (below.end_mm[:row, :2] == spot).all(axis=1)
    upright = (below.start_mm[:row, :2] == spot).all(axis=1)
    return bool((deep & same & upright).any())


def _find_kerf(case: Case, portions: Portions, *, height_mm: float) -> BaseGeometry:
    return sweep_portions(
        portions, cutters=case.cutters, height_mm=height_mm, side=Side.WITHIN, chord_tol_mm=CHORD_TOL_MM
    ).intersection(case.sheet)


def _find_uncut_mm2(case: Case, kerf: BaseGeometry, *, earlier: Portions, height_mm: float) -> float:
    gone = sweep_portions(
        earlier,
        cutters=case.cutters,
        height_mm=height_mm + HEIGHT_SLACK_MM,
        side=Side.BEYOND,
        chord_tol_mm=CHORD_TOL_MM,
    )
    return float(kerf.difference(gone).area)


def _tell(case: Case, *, code: str, places: list[Place], run: FloatArray, drop: FloatArray) -> list[Finding]:
    message, remedy = {
        "rapid-in-material": (
            "a rapid move goes through material that has not been cut",
            "retract above the sheet before a rapid move, or feed",
        ),
        "plunge-in-material": (
            "the cutter goes straight down into material",
            "enter along a ramp or a helix",
        ),
        "entry-too-steep": (
            "the cutter enters material more steeply than its row allows",
            "make the ramp longer, or name a cutter that ramps more steeply",
        ),
    }[code]
    findings = []
    for place, more in gather_places(places, gap=3):
        angle = ""
        if code == "entry-too-steep":
            row = int(np.flatnonzero(case.below.move == place.move)[0])
            angle = f": {degrees(atan2(float(drop[row]), float(run[row]))):.1f} degrees"
        findings.append(error(code, message + angle + more, remedy=remedy, origin=locate_move(case, place.move)))
    return findings
