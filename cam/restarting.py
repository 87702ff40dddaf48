"""Restart after a stop: the point to go on from, the text, and the proof that both parts cut what the whole cuts."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.clock import time_program
from cam.backplot.interpret import interpret_program, split_lines
from cam.backplot.join import join_traces, place_in_files
from cam.backplot.portions import find_portions
from cam.backplot.restart import RestartPoint, find_restart_point
from cam.backplot.sweep import Side, sweep_portions
from cam.backplot.trace import Kind, PathMode, Trace
from cam.errors import ProgramRefused
from cam.findings import Finding, Origin, Severity, error
from cam.geometry.contour import FloatArray
from cam.pipeline import lay_job_layout
from cam.program.restart import Entry, InForce, pack_words, write_restart
from cam.report.judge import judge_program
from cam.report.verdict import Verdict
from cam.tables.job import Job
from cam.tables.read_job import find_job_rows
from cam.tables.rows import Controller, Cutter, Machine, Tables

SWEEP_TOL_MM = 0.002
"""How far the two sweeps may differ: their own bounds on both sides."""
CHORD_TOL_MM = 0.0002
OF_THE_STOP = frozenset({"chip-too-thin-as-cut"})
MOVES_ZERO = re.compile(r"G0*(92|10)(?![0-9])")
MOST_HEIGHTS = 24
FEED_ABOVE_MM = 2.0
"""How far above the highest cut the rapid down ends."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Restart:
    """A restart program and its proof.

    ``uncut_mm`` and ``overcut_mm`` are the greatest distances by which the first part and the restart together fall
    short of the whole, or go beyond it; ``verdict`` is the judge's on both together, None without a job.
    """

    text: str
    point: RestartPoint
    trace: Trace
    uncut_mm: float
    overcut_mm: float
    verdict: Verdict | None
    findings: tuple[Finding, ...]

    @property
    def proven(self) -> bool:
        """Whether both parts cut what the whole does, without an error."""
        sound = all(finding.severity is not Severity.ERROR for finding in self.findings)
        same = max(self.uncut_mm, self.overcut_mm) <= SWEEP_TOL_MM
        return sound and same and (self.verdict is None or self.verdict.proven)


def restart_program(
    text: str,
    *,
    line: int,
    file: str,
    controller: Controller,
    machine: Machine,
    tables: Tables,
    job: Job | None = None,
    tool: int = 0,
    hand_rpm: float = 0.0,
) -> Restart:
    """Return the program that goes on after a stop in a line.

    Parameters
    ----------
    line
        The line that was being carried out.
    tool, hand_rpm
        What stands in the spindle and turns, where the controller has no words for them.

    Raises
    ------
    ProgramRefused
        ``restart-impossible``, or every error of the program's text.
    """
    lines = split_lines(text)
    whole = interpret_program(text, controller=controller, file=file, tool=tool, hand_rpm=hand_rpm)
    _refuse_faulty(whole, line=line, count=len(lines), file=file, lines=lines)
    cutters: dict[int, Cutter] = {}
    for cutter in tables.cutters:
        cutters.setdefault(cutter.tool, cutter)
    point = find_restart_point(whole, line=line, cutters=cutters, file=file)
    spoken = write_restart(
        lines,
        from_line=point.line,
        stopped_line=line,
        reason=point.reason,
        entry=Entry(
            down_mm=point.down_mm,
            at_mm=point.at_mm,
            travel_mm=point.travel_mm,
            feed_above_mm=_find_top_mm(whole) + FEED_ABOVE_MM,
        ),
        state=_find_in_force(whole, move=point.move, cutters=cutters),
        spin_up_s=machine.spin_up_s,
        controller=controller,
    )
    rest = interpret_program(spoken, controller=controller, file="restart", tool=tool, hand_rpm=hand_rpm)
    first = _take_first(whole, line=line)
    both, spans = join_traces([first, rest], files=[file, "restart"])
    uncut, overcut = _compare_sweeps(whole, both, cutters=cutters)
    verdict = None
    if job is not None:
        verdict = _judge(both, job=job, tables=tables, controller=controller, file=file)
        if not verdict.proven:
            _refuse_unproven(_judge(whole, job=job, tables=tables, controller=controller, file=file), file=file)
        placed = place_in_files(verdict.findings, program=file, spans=spans)
        # at the stop the cutter slowed, which thins the chip there: that is done
        left = tuple(each for each in placed if not (each.origin.file == file and each.code in OF_THE_STOP))
        verdict = replace(verdict, findings=left)
    return Restart(
        text=spoken,
        point=point,
        trace=rest,
        uncut_mm=uncut,
        overcut_mm=overcut,
        verdict=verdict,
        findings=(
            *(finding for finding in rest.findings if finding.severity is Severity.ERROR),
            *_find_standing(whole, rest),
        ),
    )


def _refuse_faulty(trace: Trace, *, line: int, count: int, file: str, lines: list[str]) -> None:
    faults = [finding for finding in trace.findings if finding.severity is Severity.ERROR]
    if faults:
        raise ProgramRefused(*faults)
    why, packed = None, [pack_words(text) for text in lines]
    if not 1 <= line <= count:
        why = f"the program has lines 1 to {count}"
    elif any("#" in text for text in packed):
        why = "the program uses parameters, whose values at the stop only the controller knows"
    elif any(MOVES_ZERO.search(text) for text in packed):
        why = "the program moves its own zero (G10, G92), which only the controller knows"
    if why is not None:
        remedy = "give --line as the controller showed it, or restart by hand"
        raise ProgramRefused(error("restart-impossible", why, remedy=remedy, origin=Origin(file=file, line=line)))


def _refuse_unproven(verdict: Verdict, *, file: str) -> None:
    """Refuse to hold both parts against a job that not even the whole program is proven against."""
    if verdict.proven:
        return
    first = next(finding for finding in verdict.findings if finding.severity is Severity.ERROR)
    raise ProgramRefused(
        error(
            "restart-impossible",
            f"the whole program is not proven against the job either: {first.code}: {first.message}",
            remedy="leave --job out if the program is one of several files: both parts are then held against the whole "
            "file alone; or else prove the program first",
            origin=Origin(file=file, line=first.origin.line),
        )
    )


def _find_standing(whole: Trace, rest: Trace) -> tuple[Finding, ...]:
    """Return an error where the restart feeds with a standing spindle, which the whole program never does."""
    standing = [
        np.flatnonzero(((trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)) & (trace.turning == 0))
        for trace in (whole, rest)
    ]
    if len(standing[0]) or not len(standing[1]):
        return ()
    return (
        error(
            "spindle-stopped",
            "the restart feeds while the spindle stands",
            remedy="restart by hand",
            origin=Origin(file="restart", line=int(rest.line[standing[1][0]])),
        ),
    )


def _find_top_mm(trace: Trace) -> float:
    """Return the height above which the program only travels: that from which it begins to feed down."""
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    return float(np.maximum(trace.start_mm, trace.end_mm)[feeding, 2].max())


def _find_in_force(trace: Trace, *, move: int, cutters: dict[int, Cutter]) -> InForce:
    tool = int(trace.tool[move])
    feeds = np.flatnonzero((trace.feed_mm_per_min > 0.0) & (np.arange(len(trace.kind)) <= move))
    before = int(feeds[-1]) if len(feeds) else move
    return InForce(
        motion=int(trace.motion[move]),
        feed_mm_per_min=float(trace.feed_mm_per_min[before]),
        spindle_rpm=float(trace.spindle_rpm[move]),
        turning=int(trace.turning[move]),
        air=bool(trace.air[move]),
        incremental=bool(trace.distance_mode[move] == 91),
        work_offset=int(trace.work_offset[move]),
        length_offset=int(trace.length_offset[move]),
        path_mode=int(PathMode(int(trace.path_mode[move]))),
        cutter=cutters.get(tool),
        tool=tool,
    )


def _take_first(trace: Trace, *, line: int) -> Trace:
    """Return the rows of the lines before one."""
    keep = trace.line < line
    taken: dict[str, Any] = {}
    for field in fields(Trace):
        value = getattr(trace, field.name)
        if isinstance(value, np.ndarray):
            part = np.array(value[keep])
            part.setflags(write=False)
            taken[field.name] = part
    return replace(trace, **taken, findings=())


def _compare_sweeps(whole: Trace, both: Trace, *, cutters: dict[int, Cutter]) -> tuple[float, float]:
    """Return by how much two traces fall short of one, and go beyond it, at every height that is cut or drilled to.

    Of more than `MOST_HEIGHTS` heights so many are taken, evenly from the lowest to the highest.
    """
    heights = _find_heights_mm(whole, cutters=cutters)
    if len(heights) > MOST_HEIGHTS:
        heights = heights[np.linspace(0, len(heights) - 1, MOST_HEIGHTS).round().astype(int)]
    uncut = overcut = 0.0
    for height in heights.tolist():
        regions = []
        for trace in (whole, both):
            portions = find_portions(trace, zero_height_mm=0.0, chord_tol_mm=CHORD_TOL_MM)
            regions.append(
                sweep_portions(
                    portions, cutters=cutters, height_mm=height + 1e-6, side=Side.WITHIN, chord_tol_mm=CHORD_TOL_MM
                )
            )
        uncut = max(uncut, _find_excess_mm(regions[0], regions[1]))
        overcut = max(overcut, _find_excess_mm(regions[1], regions[0]))
    return uncut, overcut


def _find_heights_mm(trace: Trace, *, cutters: dict[int, Cutter]) -> FloatArray:
    """Return the heights at which a trace cuts level, and for each way straight down one at which the hole is wide.

    The tip of a drill or of a vee has no width: above it by the diameter, or half the way, it has.
    """
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    travel = trace.end_mm - trace.start_mm
    level = feeding & (np.abs(travel[:, 2]) < 1e-9)
    down = feeding & (travel[:, 2] <= -1e-9) & (np.abs(travel[:, :2]).max(axis=1) < 1e-9)
    wide = np.array([cutters[tool].diameter_mm if tool in cutters else 0.0 for tool in trace.tool[down].tolist()])
    holes = trace.end_mm[down, 2] + np.minimum(wide, -travel[down, 2] / 2.0)
    return np.unique(np.round(np.concatenate((trace.end_mm[level, 2], holes)), 6))


def _find_excess_mm(inner: BaseGeometry, outer: BaseGeometry) -> float:
    """Return how far one region reaches out of another at most, to the tolerance of the comparison."""
    for reach in (0.0005, SWEEP_TOL_MM, 0.01, 0.1, 1.0):
        if shapely.difference(inner, outer.buffer(reach, quad_segs=8)).area == 0.0:
            return reach
    return float(shapely.hausdorff_distance(inner, outer))


def _judge(trace: Trace, *, job: Job, tables: Tables, controller: Controller, file: str) -> Verdict:
    rows = find_job_rows(job, tables=tables)
    timing = time_program(trace, machine=rows.machine, controller=controller)
    return judge_program(
        trace,
        timing=timing,
        layout=lay_job_layout(job, tables=tables),
        job=job,
        tables=tables,
        machine=rows.machine,
        material=rows.material,
        controller=controller,
        program=file,
    )
