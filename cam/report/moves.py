"""The moves of a trace as JSON, one object a line, and a program's summary without a panel."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from math import isnan
from typing import Any

from cam.backplot.clock import Timing
from cam.backplot.trace import Kind, Trace
from cam.findings import Finding, Severity
from cam.report.time_split import TimeSplit
from cam.tables.rows import Cutter

FORMAT = 1
DECIMALS = 6
_KINDS = {
    Kind.RAPID: "rapid",
    Kind.LINE: "line",
    Kind.ARC: "arc",
    Kind.DWELL: "dwell",
    Kind.TOOL_CHANGE: "tool change",
    Kind.SPINDLE: "spindle",
    Kind.STOP: "stop",
    Kind.AIR: "air",
    Kind.END: "end",
}


def write_moves(trace: Trace, *, timing: Timing, cutters: tuple[Cutter, ...]) -> Iterator[str]:
    """Yield one JSON object for each row of a trace, in order: what it does, where it ends, and when.

    Notes
    -----
    Lengths in mm in the program's frame; where nothing has moved yet the place is null. ``feed_mm_per_min`` is the
    programmed feed, ``duration_s`` the time that the move takes. Arcs have ``centre_mm``, ``sweep_rad`` (positive
    counter-clockwise) and ``plane``.
    """
    names = {cutter.tool: cutter.name for cutter in reversed(cutters)}
    for i in range(len(trace.kind)):
        kind = Kind(int(trace.kind[i]))
        placed = bool(trace.start_known[i]) or kind in (Kind.RAPID, Kind.LINE, Kind.ARC)
        move: dict[str, Any] = {
            "line": int(trace.line[i]),
            "kind": _KINDS[kind],
            "to_mm": [_number(value) if placed else None for value in trace.end_mm[i].tolist()],
            "feed_mm_per_min": _number(float(trace.feed_mm_per_min[i])),
            "spindle_rpm": _number(float(trace.spindle_rpm[i])),
            "cutter": names.get(int(trace.tool[i]), f"T{int(trace.tool[i])}" if trace.tool[i] else None),
            "duration_s": _number(float(timing.duration_s[i])),
        }
        if kind is Kind.ARC:
            move["centre_mm"] = [_number(value) for value in trace.centre_mm[i].tolist()]
            move["sweep_rad"] = float(trace.sweep_rad[i])
            move["plane"] = f"G{int(trace.plane[i])}"
        yield json.dumps(move, allow_nan=False)


def _number(value: float) -> float | None:
    return None if isnan(value) else round(value, DECIMALS) + 0.0


def lay_backplot_document(
    trace: Trace, *, timing: Timing, split: TimeSplit, findings: Sequence[Finding], page: str | None
) -> dict[str, Any]:
    """Return the document of ``backplot``."""
    return {
        "format": FORMAT,
        "lines": trace.lines,
        "errors": [
            {
                "line": finding.origin.line,
                "column": finding.origin.column,
                "code": finding.code,
                "message": finding.message,
            }
            for finding in findings
            if finding.severity is Severity.ERROR
        ],
        "cycle_s": timing.cycle_s,
        "cutting_mm": timing.cutting_mm,
        "rapid_mm": timing.rapid_mm,
        "cutting_s": split.cutting_s,
        "entry_s": split.entry_s,
        "corners_s": split.corners_s,
        "rapid_s": split.rapid_s,
        "other_s": split.other_s,
        "findings": [finding.as_document() for finding in findings],
        "page": page,
    }
