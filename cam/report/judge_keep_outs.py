"""Whether cutter, shank or holder come into a clamp, screw or stop of the job."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import shapely

from cam.backplot.portions import Chords, Portions, chord_portions, cut_portions
from cam.findings import Finding, error
from cam.geometry.contour import FloatArray
from cam.report.judge_case import CHORD_TOL_MM, Case, locate_move
from cam.report.judge_places import Place, gather_places
from cam.tables.job import KeepOut
from cam.tables.rows import Cutter

HOLDER_RADIUS_MM = 25.0
"""What collet nut and holder are taken for, whose size no table has (common practice, no source)."""


def judge_keep_outs(case: Case) -> list[Finding]:
    """Return a finding for each run of moves, rapid or feed, that comes into a keep-out below its height.

    Notes
    -----
    Seen from above the tool is a disc: up to the flutes' end as wide as the cutter, up to the stick-out as
    its shank where that is wider, above it `HOLDER_RADIUS_MM` in radius. How much of it stands below the
    keep-out's top is taken for the thinnest sheet that there may be, where the tip is lowest. Moves of
    tools that no table has count with the holder's radius all the way down.
    """
    findings = []
    for keep_out in case.job.keep_outs:
        box = _lay_box(keep_out)
        low = cut_portions(case.low, below_mm=float(np.nextafter(keep_out.height_mm, -np.inf)))
        chords = chord_portions(low, chord_tol_mm=CHORD_TOL_MM)
        known = np.flatnonzero(np.isfinite(chords.start_mm).all(axis=1) & np.isfinite(chords.end_mm).all(axis=1))
        lines = np.asarray(shapely.linestrings(np.stack((chords.start_mm, chords.end_mm), axis=1)[known, :, :2]))
        apart = shapely.distance(lines, box) if len(known) else np.empty(0)
        depth = _find_reaches_mm(case, chords, low=low, height_mm=keep_out.height_mm)[known] - apart
        # a chord may lie off its arc by so much
        places = [
            Place(move=int(low.move[chords.portion[known[i]]]), size=float(depth[i]))
            for i in np.flatnonzero(depth > CHORD_TOL_MM)
        ]
        findings += [_tell(case, place, more=more, keep_out=keep_out) for place, more in gather_places(places, gap=3)]
    return findings


def find_reach_mm(cutter: Cutter, *, height_above_tip_mm: float) -> float:
    """Return the radius of the widest part of a tool up to a height above its tip."""
    if height_above_tip_mm <= cutter.edge_length_mm:
        return cutter.radius_mm
    shank = max(cutter.radius_mm, cutter.shank_mm / 2.0)
    return shank if height_above_tip_mm <= cutter.stick_out_mm else max(shank, HOLDER_RADIUS_MM)


def _find_reaches_mm(case: Case, chords: Chords, *, low: Portions, height_mm: float) -> FloatArray:
    tips = np.minimum(chords.start_mm[:, 2], chords.end_mm[:, 2])
    tools = low.tool[chords.portion]
    reaches = np.full(len(tips), HOLDER_RADIUS_MM)
    for tool in set(tools.tolist()) & set(case.cutters):
        rows = np.flatnonzero(tools == tool)
        above = height_mm - tips[rows]
        reaches[rows] = [find_reach_mm(case.cutters[tool], height_above_tip_mm=float(each)) for each in above]
    return reaches


def _lay_box(keep_out: KeepOut) -> shapely.Polygon:
    (x, y), (width, height) = keep_out.at_mm, keep_out.size_mm
    c, s = cos(radians(keep_out.turn_deg)), sin(radians(keep_out.turn_deg))
    corners = [(-width, -height), (width, -height), (width, height), (-width, height)]
    return shapely.Polygon([(x + (c * u - s * v) / 2.0, y + (s * u + c * v) / 2.0) for u, v in corners])


def _tell(case: Case, place: Place, *, more: str, keep_out: KeepOut) -> Finding:
    x, y = keep_out.at_mm
    return error(
        "keep-out-touched",
        f"the tool comes {place.size:.2f} mm into {keep_out.name} at ({x:g}, {y:g}) mm, below its height of "
        f"{keep_out.height_mm:g} mm above the bed{more}",
        remedy="do not run: move the clamp, travel higher, or choose a longer or smaller cutter",
        origin=locate_move(case, place.move),
        size_mm=place.size,
    )
