"""Words for the terminal: verdicts, findings, plans, refusals."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import indent
from typing import TYPE_CHECKING

from cam.errors import Refusal
from cam.findings import Finding, Severity
from cam.report.plan_row import PlanRow
from cam.report.quantities import say_corners, say_deviation, say_length, say_time
from cam.report.verdict import Verdict

if TYPE_CHECKING:
    # the clock needs numpy, which a refusal's words must not wait for
    from cam.backplot.clock import Timing

_ORDER = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


def write_verdict(verdict: Verdict, *, program: str, timing: Timing) -> str:
    """Return the verdict of one program in five lines."""
    deviation = verdict.deviation
    waiting_s = timing.dwell_s + timing.spindle_s + timing.tool_change_s
    return "\n".join(
        (
            f"{program}: {str(verdict).upper()}",
            f"  deviation  deepest gouge {say_deviation(deviation.gouge_max_mm)}, most material left "
            f"{say_deviation(deviation.uncut_max_mm)}, known to within {say_deviation(deviation.bound_mm)}",
            f"  corners    {say_corners(verdict.corners)}",
            f"  time       {say_time(timing.cycle_s)}: cutting {say_time(timing.cutting_s)}, "
            f"rapids {say_time(timing.rapid_s)}, waiting {say_time(waiting_s)}",
            f"  length     cutting {say_length(timing.cutting_mm)}, rapids {say_length(timing.rapid_mm)}",
        )
    )


def write_findings(findings: Sequence[Finding]) -> str:
    """Return findings as text, errors first, in the order and with the numbers of the page."""
    lines = []
    for number, finding in enumerate(sorted(findings, key=lambda each: _ORDER[each.severity]), start=1):
        lines.append(f"{number:3}  {finding.severity}  {finding.code}")
        lines.append(indent(str(finding), " " * 5))
        if finding.remedy:
            lines.append(f"     do: {finding.remedy}")
    return "\n".join(lines)


def write_plan(plan_rows: Sequence[PlanRow]) -> str:
    """Return the workingsteps as text with the reasons of their numbers."""
    lines = []
    for row in plan_rows:
        passes = f"{row.passes} pass{'es' if row.passes != 1 else ''}"
        feed = f"{row.feed_mm_per_min:.0f} mm/min"
        if row.finish_feed_mm_per_min is not None and row.finish_feed_mm_per_min != row.feed_mm_per_min:
            feed += f" (finishing {row.finish_feed_mm_per_min:.0f})"
        timed = f", {say_time(row.time_s)}" if row.time_s is not None else ""
        lines.append(
            f"{row.number:3}  {row.feature}: {row.operation}, cutter {row.cutter}, {row.rpm:.0f} rpm, {feed}, "
            f"{passes}{timed}"
        )
        said = (
            ("allowance", f"{row.allowance_mm:g} mm" if row.allowance_mm is not None else ""),
            ("entry", row.entry),
            ("held by", row.holding),
        )
        lines.extend(f"     {name}: {value}" for name, value in said if value)
        lines.extend(f"     because: {reason}" for reason in row.reasons)
    return "\n".join(lines)


def write_refusal(refusal: Refusal) -> str:
    """Return a refusal as one message: its first finding in full, a line for each other one.

    Examples
    --------
    >>> from cam.errors import FileRefused
    >>> from cam.findings import Origin, error
    >>> fault = error("no-such-file", "there is no such file", remedy="check the path", origin=Origin(file="a.dxf"))
    >>> print(write_refusal(FileRefused(fault)))
    castcut: refused: there is no such file
      where: a.dxf
      do: check the path
      more: castcut explain no-such-file
    """
    first, *others = refusal.findings
    lines = [f"castcut: refused: {first.message}"]
    if place := str(first.origin):
        lines.append(f"  where: {place}")
    if first.remedy:
        lines.append(f"  do: {first.remedy}")
    lines.append(f"  more: castcut explain {first.code}")
    if others:
        lines.append(f"  and {len(others)} more:")
        lines.extend(f"    {finding} ({finding.code})" for finding in others)
    return "\n".join(lines)
