"""What the program sets: cutters, spindle, feeds, travel and its end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from cam.backplot.portions import chord_portions
from cam.backplot.sweep import find_radius_mm
from cam.backplot.trace import Kind, PathMode
from cam.findings import Finding, Origin, error, warning
from cam.geometry.contour import FloatArray, IntArray
from cam.report.judge_case import Case, locate_move
from cam.report.judge_places import Place, gather_places
from cam.tables.rows import Cutter, CutterKind

SPIN_UP_SLACK_S = 0.01
SAFE_END_MM = 1.0
"""How far above the sheet's highest top a program must end."""
TRAVEL_CHORD_TOL_MM = 0.001


def judge_setting(case: Case) -> list[Finding]:
    """Return the findings on cutters, spindle, feeds, travel and end."""
    return [
        *_judge_work_offset(case),
        *_judge_cutters(case),
        *_judge_spindle(case),
        *_judge_spin_up(case),
        *_judge_path_mode(case),
        *_judge_feeds(case),
        *_judge_travel(case),
        *_judge_sheet_edge(case),
        *_judge_end(case),
    ]


def _tell(
    case: Case, *, code: str, moves: Iterable[int], message: str, remedy: str, sizes: FloatArray | None = None
) -> list[Finding]:
    """Return one finding for each run of moves that share a fault."""
    places = [Place(move=int(move), size=float(sizes[i]) if sizes is not None else 0.0) for i, move in enumerate(moves)]
    return [
        error(
            code,
            message + more,
            remedy=remedy,
            origin=locate_move(case, place.move),
            size_mm=place.size if sizes is not None else None,
        )
        for place, more in gather_places(places, gap=50)
    ]


def _judge_work_offset(case: Case) -> list[Finding]:
    """Return a finding for cuts under another work offset than the one that the job sets up."""
    moves = np.unique(case.below.move)
    names = case.controller.facts.work_offsets
    wanted = names.index(case.job.work_offset) + 1 if case.job.work_offset in names else 1
    return _tell(
        case,
        code="work-offset-differs",
        moves=moves[case.trace.work_offset[moves] != wanted],
        message=f"the program cuts under another work offset than {case.job.work_offset}, which the job sets up",
        remedy=f"write {case.job.work_offset} before the first move, or change work_offset in the job",
    )


def _cutting_moves(case: Case) -> Iterator[tuple[int, Cutter, IntArray]]:
    """Yield each T number below the sheet's top, its cutter, and the rows of its portions."""
    for tool in np.unique(case.below.tool).tolist():
        if tool in case.cutters:
            yield tool, case.cutters[tool], np.flatnonzero(case.below.tool == tool)


def _judge_cutters(case: Case) -> list[Finding]:
    findings = []
    for tool in np.unique(case.below.tool).tolist():
        rows = np.flatnonzero(case.below.tool == tool)
        move = int(case.below.move[rows[0]])
        if tool not in case.cutters:
            what = "without a cutter (no T word and M6 before it)" if tool == 0 else f"with T{tool}, which no table has"
            findings.append(
                error(
                    "unknown-cutter",
                    f"the program cuts {what}",
                    remedy="call a cutter of the table by its tool number, or add the cutter to the shop's own tables",
                    origin=locate_move(case, move),
                )
            )
            continue
        cutter = case.cutters[tool]
        tips = np.minimum(case.below.start_mm[rows, 2], case.below.end_mm[rows, 2])
        depth = case.top_mm - float(tips.min())
        move = int(case.below.move[rows[int(np.argmin(tips))]])
        for code, reach, what in (
            ("edge-too-short", cutter.edge_length_mm, "flutes are"),
            ("collet-in-stock", cutter.stick_out_mm, "stick-out below the collet nut is"),
        ):
            if depth > reach:
                findings.append(
                    error(
                        code,
                        f"T{tool} {cutter.name} goes {depth:.2f} mm below the highest top; its {what} {reach:g} mm",
                        remedy="choose a longer cutter, or measure the sheet so that its highest top is known",
                        origin=locate_move(case, move),
                        size_mm=depth - reach,
                    )
                )
    return findings


def _judge_spindle(case: Case) -> list[Finding]:
    moves = np.unique(case.below.move)
    rpm = case.trace.spindle_rpm[moves]
    rapid = case.trace.kind[moves] == Kind.RAPID
    findings = _tell(
        case,
        code="spindle-stopped",
        moves=moves[(rpm == 0.0) & ~rapid],
        message="the program feeds below the sheet's top with the spindle stopped",
        remedy="start the spindle (M3 with an S word) before this line",
    )
    findings += _tell(
        case,
        code="spindle-reversed",
        moves=moves[rpm < 0.0],
        message="the spindle turns counter-clockwise (M4); the cutters of the table cut clockwise",
        remedy="start the spindle with M3",
    )
    for tool, cutter, rows in _cutting_moves(case):
        if cutter.kind is CutterKind.DRILL:
            continue  # turns by the surface speed of its rim
        of_tool = np.unique(case.below.move[rows])
        speeds = case.trace.spindle_rpm[of_tool]
        low = max(case.machine.min_rpm, case.material.min_rpm)
        high = min(case.machine.max_rpm, case.material.max_rpm, cutter.max_rpm, case.controller.limits.max_rpm)
        findings += _tell(
            case,
            code="speed-outside-window",
            moves=of_tool[(speeds > 0.0) & ((speeds < low - 0.5) | (speeds > high + 0.5))],
            message=f"T{tool} {cutter.name} turns outside {low:.0f} to {high:.0f} rpm, what machine, material and "
            "cutter allow together",
            remedy="change the S word, or the row that sets the limit",
        )
    return findings


def _judge_spin_up(case: Case) -> list[Finding]:
    """Return a finding for each start of the spindle whose first cut comes before it has its speed."""
    trace = case.trace
    cuts = set(np.unique(case.below.move).tolist())
    waited, pending, before = 0.0, False, 0.0
    moves = []
    for i in range(len(trace)):
        rpm = abs(float(trace.spindle_rpm[i]))
        if rpm != before:
            pending, waited, before = rpm > before, 0.0, rpm
        if trace.kind[i] == Kind.DWELL:
            waited += float(trace.duration_s[i])
        if pending and i in cuts:
            if waited < case.machine.spin_up_s - SPIN_UP_SLACK_S:
                moves.append(i)
            pending = False
    return _tell(
        case,
        code="no-spin-up",
        moves=moves,
        message=f"the first cut after the spindle starts comes before it has its speed: machine {case.machine.name} "
        f"needs {case.machine.spin_up_s:g} s",
        remedy=f"dwell after M3: G4 P{case.machine.spin_up_s:g}",
    )


def _judge_path_mode(case: Case) -> list[Finding]:
    """Return a warning where the controller may cut corners: what is judged is the path as written.

    A controller whose blending is stated, and no more than a gouge may be deep, is as good as exact.
    """
    if 0.0 < case.controller.facts.blend_tol_mm <= case.job.tolerances.gouge_mm:
        return []
    moves = np.unique(case.below.move)
    loose = moves[case.trace.path_mode[moves] == PathMode.CONTINUOUS]
    if not len(loose):
        return []
    return [
        warning(
            "path-not-exact",
            "the program cuts in continuous path mode (G64, or no path word): the controller may round corners by an "
            "amount that is not stated, and the proof holds for the path as written",
            remedy="write G61 before the first cut, or know the controller's own tolerance",
            origin=locate_move(case, int(loose[0])),
        )
    ]


def _judge_feeds(case: Case) -> list[Finding]:
    """Return a finding for feeds that the machine does not reach."""
    trace = case.trace
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    over = np.flatnonzero(feeding & (trace.feed_mm_per_min > case.machine.max_feed_mm_per_min + 0.5))
    return _tell(
        case,
        code="feed-beyond-machine",
        moves=over,
        message=f"the feed is above the {case.machine.max_feed_mm_per_min:g} mm/min that machine {case.machine.name} "
        "reaches, which would thin the chip unsaid",
        remedy="reduce the F word and the S word together",
    )


def _judge_travel(case: Case) -> list[Finding]:
    chords = chord_portions(case.high, chord_tol_mm=TRAVEL_CHORD_TOL_MM)
    if not len(chords):
        return []
    findings = []
    points, moves = chords.end_mm, case.high.move[chords.portion]
    for axis, name in enumerate("XYZ"):
        low, high = float(points[:, axis].min()), float(points[:, axis].max())
        span = high - low
        if span > case.machine.travel_mm[axis] + TRAVEL_CHORD_TOL_MM:
            move = int(moves[int(np.argmax(points[:, axis]))])
            findings.append(
                error(
                    "outside-travel",
                    f"the program moves {name} from {low:.2f} to {high:.2f} mm, {span:.2f} mm in all; machine "
                    f"{case.machine.name} travels {case.machine.travel_mm[axis]:g} mm",
                    remedy="choose a larger machine, or turn and move the panels on the sheet",
                    origin=locate_move(case, move),
                    size_mm=span - case.machine.travel_mm[axis],
                )
            )
    return findings


def _judge_sheet_edge(case: Case) -> list[Finding]:
    """Return a finding where the cutter, below the sheet's top, reaches over the sheet's edge."""
    moves, sizes = [], []
    for _, cutter, rows in _cutting_moves(case):
        # a pointed cutter is only as wide as its height above the tip makes it
        tips = np.minimum(case.below.start_mm[rows, 2], case.below.end_mm[rows, 2])
        reach = find_radius_mm(cutter, above_tip_mm=case.top_mm - float(tips.min()))
        ends = np.concatenate((case.below.start_mm[rows], case.below.end_mm[rows]))
        over = np.max(
            [
                reach - ends[:, 0],
                reach - ends[:, 1],
                ends[:, 0] + reach - case.layout.width_mm,
                ends[:, 1] + reach - case.layout.height_mm,
            ],
            axis=0,
        )
        bad = np.flatnonzero(over > 0.0)
        moves += case.below.move[rows[bad % len(rows)]].tolist()
        sizes += over[bad].tolist()
    return _tell(
        case,
        code="sheet-edge-crossed",
        moves=moves,
        sizes=np.array(sizes),
        message="the kerf crosses the sheet's edge, so that what lies there is no longer held, or the zero is not "
        "where the job lays the sheet",
        remedy="set X and Y zero to the sheet's lower left corner, or move the panel away from the edge",
    )


def _judge_end(case: Case) -> list[Finding]:
    moving = np.flatnonzero(case.trace.kind <= Kind.ARC)
    if not len(moving) or not len(case.below):
        return [
            error(
                "nothing-cut",
                "the program cuts nothing",
                remedy="check that this is the program of this job, and where its Z zero is",
                origin=Origin(file=case.program),
            )
        ]
    last = int(moving[-1])
    lift = float(case.high.end_mm[-1, 2]) - case.top_mm
    if lift < SAFE_END_MM:
        return [
            error(
                "no-return-to-safety",
                f"the program ends with the cutter {abs(lift):.2f} mm {'above' if lift >= 0 else 'below'} the sheet's "
                "highest top",
                remedy="retract (G0 Z) before the spindle stops and the program ends",
                origin=locate_move(case, last),
            )
        ]
    return []
