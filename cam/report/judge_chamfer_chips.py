"""How a vee cutter bites: chip load by the cone's own width, depth of a pass, and air."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cam.backplot.portions import Portions
from cam.backplot.sweep import find_radius_mm
from cam.backplot.trace import Kind
from cam.errors import TableRefused
from cam.findings import Finding, Severity, error, warning
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.report.judge_case import Case, locate_move
from cam.report.judge_facets import find_curvature_per_mm
from cam.report.judge_paths import find_floors_mm
from cam.report.judge_places import Place, gather_places
from cam.tables.chip_load import ChipWindow, find_chip_window
from cam.tables.rows import Cutter, CutterKind

FEED_STEP_MM_PER_MIN = 0.5
RPM_STEP = 0.5
"""Half of the last digit of F and S words."""
LEVEL_SLOPE = 0.002
"""A path that falls by less than this share of its way is level."""
MIN_BITE_MM = 0.02
"""Less depth than this is no bite."""
DEPTH_STEP_MM = 0.02
"""Depths are taken so much deeper at most, so that few windows serve all places."""
DEEP_SLACK_MM = 0.05
"""How much deeper than the material allows a pass may be: passes are divided evenly, the text rounded."""


def judge_chamfer_chips(case: Case) -> list[Finding]:
    """Return the findings on chips, passes and air of vee cutters.

    Notes
    -----
    Where it cuts widest, at the sheet's top, the cone is a cutter of twice its radius there: so wide
    a cutter's rows of the table hold for it; a pass may be twice as many of its diameters deep, for on
    average it is half as deep. On an arc of radius p the cone's outer side, r away from the axis, feeds
    ``(p + r) / p`` times as fast: a chip below the lowest there is so everywhere, while the highest
    counts at the axis. Places are the middles of moves.
    """
    findings: list[Finding] = []
    for tool, cutter in case.cutters.items():
        if cutter.kind is CutterKind.VEE:
            rows = _find_biting(case, tool=tool)
            findings += _judge_tool(case, rows=rows, cutter=cutter) if len(rows) else []
    return findings


def _find_biting(case: Case, *, tool: int) -> IntArray:
    """Return the rows of feed moves of a tool that take something at their middle."""
    below = case.below
    kind = case.trace.kind[below.move]
    feeding = (below.tool == tool) & ((kind == Kind.LINE) | (kind == Kind.ARC))
    rows = np.flatnonzero(feeding & (np.abs(case.trace.spindle_rpm[below.move]) > 0.0))
    depth = _find_bites_mm(case, rows=rows)
    return rows[depth > MIN_BITE_MM]


def _find_bites_mm(case: Case, *, rows: IntArray) -> FloatArray:
    """Return how much deeper than what stood there the tip goes at the middle of portions."""
    middle = _find_middles(case.below, rows)
    floors = find_floors_mm(case.paths, middle[:, :2], before_move=case.below.move[rows], margin_mm=0.0)
    return np.asarray(floors - middle[:, 2])


def _find_middles(portions: Portions, rows: IntArray) -> FloatArray:
    start, end = portions.start_mm[rows], portions.end_mm[rows]
    middle = (start + end) / 2.0
    sweep = portions.sweep_rad[rows]
    arc = np.flatnonzero(sweep != 0.0)
    if len(arc):
        centre = portions.centre_mm[rows[arc]]
        spoke = start[arc, :2] - centre
        half = sweep[arc] / 2.0
        c, s = np.cos(half), np.sin(half)
        middle[arc, 0] = centre[:, 0] + c * spoke[:, 0] - s * spoke[:, 1]
        middle[arc, 1] = centre[:, 1] + s * spoke[:, 0] + c * spoke[:, 1]
    return middle


def _judge_tool(case: Case, *, rows: IntArray, cutter: Cutter) -> list[Finding]:
    below, trace = case.below, case.trace
    start, end = below.start_mm[rows], below.end_mm[rows]
    tips = np.minimum(start[:, 2], end[:, 2])
    falling = start[:, 2] - end[:, 2] > LEVEL_SLOPE * np.maximum(np.hypot(*(end - start)[:, :2].T), 1e-9)
    move = below.move[rows]
    rpm = np.abs(trace.spindle_rpm[move])
    chip = trace.feed_mm_per_min[move] / (rpm * cutter.flutes)
    slack = (FEED_STEP_MM_PER_MIN / trace.feed_mm_per_min[move] + RPM_STEP / rpm) * chip
    # of an arc written in chords the radius of the arc
    bent = np.abs(find_curvature_per_mm(below)[rows])
    path = np.divide(1.0, bent, out=np.full(len(rows), np.inf), where=bent > 0.0)
    reach = np.array([find_radius_mm(cutter, above_tip_mm=case.top_mm - float(z)) for z in tips])
    findings: list[Finding] = []
    low, high, refused = _find_windows(case, rows=rows, cutter=cutter, tips_mm=tips, falling=falling)
    findings += refused
    fastest = chip * (1.0 + reach / path)
    for code, bad, size, limit, words, remedy in (
        ("chip-too-thick", chip - slack > high, chip, high, "above {:.3f} mm, the table's highest", "lower the feed"),
        (
            "chip-too-thin-as-cut",
            fastest + slack < low,
            fastest,
            low,
            "below {:.3f} mm, the least: the cutter rubs and melts the acrylic",
            "raise the feed, or slow the spindle",
        ),
    ):
        places = (Place(move=int(move[i]), size=float(size[i])) for i in np.flatnonzero(bad))
        for place, more in gather_places(places, gap=50):
            i = int(np.flatnonzero(bad & (move == place.move))[0])
            findings.append(
                error(
                    code,
                    f"T{cutter.tool} {cutter.name} takes {size[i]:.3f} mm a tooth, {words.format(limit[i])} where it "
                    f"cuts {2.0 * reach[i]:.2f} mm wide{more}",
                    remedy=remedy,
                    origin=locate_move(case, place.move),
                    size_mm=float(size[i]),
                )
            )
    findings += _judge_depth(case, rows=rows, cutter=cutter, reach_mm=reach)
    return findings + _judge_air(case, moves=np.unique(move))


def _find_windows(
    case: Case, *, rows: IntArray, cutter: Cutter, tips_mm: FloatArray, falling: BoolArray
) -> tuple[FloatArray, FloatArray, list[Finding]]:
    """Return the lowest and highest chip for each row; on the way down only the material's least is asked for."""
    low, high = np.full(len(rows), -np.inf), np.full(len(rows), np.inf)
    low[falling] = case.material.min_chip_mm
    findings: dict[str, Finding] = {}
    level = np.flatnonzero(~falling)
    depth = np.ceil((case.top_mm - tips_mm[level]) / DEPTH_STEP_MM - 1e-6) * DEPTH_STEP_MM
    for each in np.unique(depth):
        at = level[depth == each]
        exact = float((case.top_mm - tips_mm[at]).max())
        wide = replace(cutter, diameter_mm=2.0 * find_radius_mm(cutter, above_tip_mm=exact))
        try:
            # the table's rows for the width; how deep is judged by itself
            window: ChipWindow = find_chip_window(cutter=wide, material=case.material, depth_mm=exact / 2.0)
        except TableRefused as refusal:
            for found in refusal.findings:
                told = replace(
                    found, severity=Severity.ERROR, origin=locate_move(case, int(case.below.move[rows[at[0]]]))
                )
                findings.setdefault(found.code, told)
            continue
        low[at], high[at] = window.low_mm, window.high_mm
    return low, high, list(findings.values())


def _judge_depth(case: Case, *, rows: IntArray, cutter: Cutter, reach_mm: FloatArray) -> list[Finding]:
    bites = _find_bites_mm(case, rows=rows)
    # a cone's cut is half as deep on average as in its middle
    limit = 2.0 * case.material.max_pass_depth_diameters * 2.0 * reach_mm
    deep = np.flatnonzero(bites > limit + DEEP_SLACK_MM)
    return [
        error(
            "pass-too-deep",
            f"a pass of T{cutter.tool} {cutter.name} is {place.size:.2f} mm deep; {case.material.name} allows "
            f"{2.0 * case.material.max_pass_depth_diameters:g} of its width there, for a cone{more}",
            remedy="cut in more passes",
            origin=locate_move(case, place.move),
            size_mm=place.size,
        )
        for place, more in gather_places(
            (Place(move=int(case.below.move[rows[i]]), size=float(bites[i])) for i in deep), gap=50
        )
    ]


def _judge_air(case: Case, *, moves: IntArray) -> list[Finding]:
    off = moves[~case.trace.air[moves]] if case.material.air_blast else moves[:0]
    return [
        warning(
            "air-off",
            f"the vee cutter cuts with the air blast off; {case.material.name} asks for it{more}",
            remedy=f"turn air on ({case.controller.facts.air_on_word}) before this line",
            origin=locate_move(case, place.move),
        )
        for place, more in gather_places((Place(move=int(m), size=0.0) for m in off), gap=1000)
    ]
