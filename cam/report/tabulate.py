"""The page's tables: findings, changed corners, time and lengths, cutters, sheet, plan."""

from __future__ import annotations

import numpy as np

from cam.backplot.clock import Timing
from cam.backplot.trace import Kind, Trace
from cam.findings import Severity
from cam.report.clamps import say_keep_out
from cam.report.flags import Flag, draw_shape, name_place
from cam.report.markup import EMPTY, Markup, element, format_number, join, lay_table, words
from cam.report.plan_row import PlanRow
from cam.report.quantities import say_length, say_range, say_time
from cam.report.scene import PlacedCorner, name_panel
from cam.sheet.layout import Layout
from cam.tables.job import KeepOut
from cam.tables.rows import Cutter, Machine


def lay_findings(flags: tuple[Flag, ...]) -> Markup:
    """Return the table of findings, or a sentence that there are none."""
    if not flags:
        return element("p", words("Nothing was found that a person must look at."))
    rows = []
    for flag in flags:
        finding = flag.finding
        number: Markup = words(str(flag.number))
        if flag.place_mm is not None:
            number = element("a", number, href=f"#mark-{flag.number}", aria_label=f"{flag.number}, show in the picture")
        rows.append(
            (
                number,
                _badge(finding.severity),
                element("code", words(finding.code)),
                words(name_place(finding.origin) or "the whole program"),
                words(finding.message),
                words(finding.remedy),
            )
        )
    return lay_table(
        caption="Findings, errors first; the numbers are those of the flags in the picture",
        headings=("No.", "Weight", "Code", "Place", "What was found", "What to do"),
        rows=rows,
        row_ids=[f"finding-{flag.number}" for flag in flags],
    )


def _badge(severity: Severity) -> Markup:
    shape = element("g", draw_shape(severity, x=10.0, y=10.0, size=6.0), class_=severity)
    icon = element("svg", shape, viewBox="0 0 20 20", aria_hidden="true")
    return element("span", icon, words(severity), class_="badge")


def lay_corners(corners: tuple[PlacedCorner, ...]) -> Markup:
    """Return the table of corners that the corner rule opened; empty if there are none."""
    if not corners:
        return EMPTY
    rows = [
        (
            element("a", words(f"C{placed.number}"), href=f"#corner-{placed.number}"),
            words(placed.panel),
            words(placed.corner.feature),
            words(f"{placed.x_mm:.2f}"),
            words(f"{placed.y_mm:.2f}"),
            words("square" if placed.corner.radius_before_mm == 0.0 else f"{placed.corner.radius_before_mm:.2f}"),
            words(f"{placed.corner.radius_mm:.2f}"),
        )
        for placed in corners
    ]
    return lay_table(
        caption="Corners that were opened, with radii and places on the sheet in mm",
        headings=("Mark", "Panel", "Contour", "X", "Y", "Radius drawn", "Radius now"),
        rows=rows,
        row_ids=[f"corner-row-{placed.number}" for placed in corners],
        numeric=frozenset({3, 4, 5, 6}),
    )


def lay_times(timing: Timing) -> Markup:
    """Return the split of the cycle time, with a bar for each share."""
    parts = (
        ("cutting", timing.cutting_s),
        ("rapid moves", timing.rapid_s),
        ("dwells", timing.dwell_s),
        ("spindle starting", timing.spindle_s),
        ("changing cutters", timing.tool_change_s),
    )
    rows = [(words("whole cycle"), words(say_time(timing.cycle_s)), EMPTY)]
    for name, seconds in parts:
        share = seconds / timing.cycle_s if timing.cycle_s > 0.0 else 0.0
        bar = element("i", style=f"width:{format_number(100.0 * share, decimals=1)}%")
        rows.append((words(name), words(say_time(seconds)), element("span", bar, class_="share", title=f"{share:.0%}")))
    return lay_table(
        caption="Cycle time, simulated with acceleration and slowing at corners",
        headings=("Part", "Time", "Share"),
        rows=rows,
        numeric=frozenset({1}),
    )


def lay_facts(
    layout: Layout,
    *,
    trace: Trace,
    timing: Timing,
    machine: Machine,
    bed_z_mm: float,
    keep_outs: tuple[KeepOut, ...],
    rounding_mm: float | None,
) -> Markup:
    """Return sheet, machine and lengths, one fact a row."""
    top = f"{layout.min_top_mm:.2f} to {layout.max_top_mm:.2f} mm above the bed"
    facts = (
        ("Sheet", f"{layout.sheet}: {format_number(layout.width_mm)} x {format_number(layout.height_mm)} mm"),
        ("Material", layout.material),
        ("Thickness", f"{format_number(layout.thickness_mm)} mm nominal; upper face {top}"),
        ("Panels", "; ".join(name_panel(placement) for placement in layout.placements) or "none"),
        ("Z zero", "on the bed" if bed_z_mm == 0.0 else f"on the sheet's top, {-bed_z_mm:.2f} mm above the bed"),
        ("Depth and travel", _say_heights(trace, bed_z_mm=bed_z_mm)),
        ("Clamps to keep out of", "; ".join(say_keep_out(each) for each in keep_outs) or "none"),
        ("Machine", machine.title),
        ("Length cut", say_length(timing.cutting_mm)),
        ("Length of rapid moves", say_length(timing.rapid_mm)),
        ("Program", f"{trace.lines} lines, {len(trace)} moves and functions"),
        ("Rounding", "not known" if rounding_mm is None else f"places at most {rounding_mm * 1000.0:.2f} um off"),
    )
    return lay_table(
        caption="Sheet, machine and program",
        headings=("Fact", "Value"),
        rows=[(words(name), words(value)) for name, value in facts],
    )


def _say_heights(trace: Trace, *, bed_z_mm: float) -> str:
    """Return how deep the program goes into the bed, and how high it travels."""
    moving = trace.kind <= Kind.ARC
    heights = np.concatenate((trace.start_mm[moving, 2], trace.end_mm[moving, 2]))
    heights = heights[np.isfinite(heights)] - bed_z_mm
    if not len(heights):
        return "nothing moves"
    low, high = float(heights.min()), float(heights.max())
    deep = f"{-low:.2f} mm into the bed" if low < 0.0 else f"{low:.2f} mm above the bed"
    return f"as deep as {deep}; up to {high:.2f} mm above it"


def lay_cutters(trace: Trace, *, timing: Timing, cutters: tuple[Cutter, ...]) -> Markup:
    """Return the cutters in the order of their first use, with speeds and feeds read from the text."""
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    by_tool = {cutter.tool: cutter for cutter in cutters}
    rows = []
    for tool in dict.fromkeys(trace.tool[feeding].tolist()):
        used = feeding & (trace.tool == tool)
        cutter = by_tool.get(tool)
        speeds, feeds = np.abs(trace.spindle_rpm[used]), trace.feed_mm_per_min[used]
        rows.append(
            (
                words(f"T{tool}"),
                words(f"{cutter.title} ({cutter.name})" if cutter else "not in the table of cutters"),
                words(f"{format_number(cutter.diameter_mm)} mm" if cutter else "unknown"),
                words(str(cutter.flutes) if cutter else "unknown"),
                words(say_range(float(speeds.min()), float(speeds.max()), unit="rpm")),
                words(say_range(float(feeds.min()), float(feeds.max()), unit="mm/min")),
                words(say_length(float(timing.length_mm[used].sum()))),
                words(say_time(float(timing.duration_s[used].sum()))),
            )
        )
    return lay_table(
        caption="Cutters, with speeds and feeds as the program sets them",
        headings=("Tool", "Cutter", "Diameter", "Flutes", "Spindle", "Feed", "Length", "Time"),
        rows=rows,
        numeric=frozenset({2, 3, 4, 5, 6, 7}),
    )


def lay_plan(plan_rows: tuple[PlanRow, ...]) -> Markup:
    """Return the workingsteps with the reasons for their numbers; empty if there are none."""
    if not plan_rows:
        return EMPTY
    rows = [
        (
            words(str(row.number)),
            words(row.feature),
            words(row.operation),
            words(row.cutter),
            words(f"{row.rpm:.0f}"),
            words(_say_feeds(row)),
            words(str(row.passes)),
            words(f"{row.allowance_mm:g}" if row.allowance_mm is not None else ""),
            words(row.entry),
            words(row.holding),
            words(say_time(row.time_s) if row.time_s is not None else ""),
            element("ul", join(element("li", words(reason)) for reason in row.reasons)) if row.reasons else EMPTY,
        )
        for row in plan_rows
    ]
    return lay_table(
        caption="Workingsteps in order, as planned",
        headings=(
            "No.", "Feature", "Operation", "Cutter", "rpm", "mm/min", "Passes", "Allowance", "Entry", "Held by", "Time",
            "Reasons",
        ),
        rows=rows,
        numeric=frozenset({4, 5, 6, 7, 10}),
    )  # fmt: skip


def _say_feeds(row: PlanRow) -> str:
    """Return the feed of roughing, and that of finishing where it is another."""
    finishing = row.finish_feed_mm_per_min
    rough = f"{row.feed_mm_per_min:.0f}"
    return rough if finishing is None or finishing == row.feed_mm_per_min else f"{rough}, finishing {finishing:.0f}"
