"""One static HTML page for one program: verdict, picture, findings, numbers, cautions.

The page is a single file that opens from a file path, asks the network for nothing and runs no
script. It is a function of its arguments alone: the same program gives the same bytes.
"""

from __future__ import annotations

from importlib.resources import files

import numpy as np

from cam import __version__
from cam.backplot.clock import Timing
from cam.backplot.trace import Kind, Trace
from cam.findings import Finding
from cam.report.cautions import CAUTIONS, PRECEDENCE
from cam.report.close_ups import lay_close_ups
from cam.report.flags import Flag, find_flags
from cam.report.markup import EMPTY, Markup, element, join, words
from cam.report.picture import lay_picture
from cam.report.plan_row import PlanRow
from cam.report.quantities import say_corners, say_deviation, say_time
from cam.report.scene import Scene, find_scene, find_view
from cam.report.tabulate import lay_corners, lay_cutters, lay_facts, lay_findings, lay_plan, lay_times
from cam.report.verdict import Verdict
from cam.sheet.layout import Layout
from cam.tables.job import KeepOut
from cam.tables.rows import Machine, Tables

# the page may show its own pictures and styles and nothing else
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"


def write_page(
    *,
    title: str,
    program: str,
    trace: Trace,
    timing: Timing,
    layout: Layout,
    verdict: Verdict,
    tables: Tables,
    machine: Machine,
    plan_rows: tuple[PlanRow, ...] = (),
    bed_z_mm: float = 0.0,
    keep_outs: tuple[KeepOut, ...] = (),
    rounding_mm: float | None = None,
) -> str:
    """Return the page of one program as HTML.

    Parameters
    ----------
    title, program
        The job's title and the program's file name.
    trace, timing, layout, verdict
        What the program does, how long it takes, what it should make, and what the judge says.
    tables, machine
        For the cutters' sizes and the machine's name.
    plan_rows
        The workingsteps, where the program was planned here.
    bed_z_mm
        Height of the bed in the program's frame: 0 where Z is 0 on the bed, else below 0.
    keep_outs
        Clamps, screws and stops on the bed.
    rounding_mm
        How far the program's numbers lie from the planned ones at most; None where that is not known.
    """
    scene = find_scene(trace, layout=layout, cutters=tables.cutters, bed_z_mm=bed_z_mm, keep_outs=keep_outs)
    view = find_view(layout, trace=trace, keep_outs=keep_outs)
    labels = tuple((corner.x_mm, corner.y_mm) for corner in scene.corners)
    flags = find_flags(verdict.findings, view=view, keep_clear_mm=labels)
    described = _describe(scene, flags=flags)
    numbers = element(
        "div",
        lay_times(timing),
        lay_facts(
            layout,
            trace=trace,
            timing=timing,
            machine=machine,
            bed_z_mm=bed_z_mm,
            keep_outs=keep_outs,
            rounding_mm=rounding_mm,
        ),
        class_="columns",
    )
    corners = lay_corners(scene.corners)
    plan = lay_plan(plan_rows)
    sections = (
        _lay_verdict(verdict, timing=timing),
        _lay_section("picture", "The cut from above", lay_picture(scene, flags=flags, view=view, described=described)),
        _lay_section("findings", "Findings", lay_findings(flags)),
        lay_close_ups(scene, view=view, flags=flags),
        _lay_section("numbers", "Numbers", numbers, lay_cutters(trace, timing=timing, cutters=tables.cutters)),
        _lay_section("corners", "Changed corners", corners) if corners else EMPTY,
        _lay_section("plan", "Plan", plan) if plan else EMPTY,
        _lay_section("cautions", "Before the spindle starts", lay_cautions()),
    )
    header = element("header", element("h1", words(title)), element("p", words(f"Program {program}"), class_="soft"))
    return lay_document(title=f"{title}: {verdict}", header=header, sections=sections)


def write_plain_page(
    *, program: str, trace: Trace, timing: Timing, findings: tuple[Finding, ...], tables: Tables, machine: Machine
) -> str:
    """Return the page of a program that is not judged against a panel: picture, findings, times.

    What it reaches over stands in for the sheet; whatever moves at feed counts as cutting.
    """
    layout = _find_reached_layout(trace)
    scene = find_scene(trace, layout=layout, cutters=tables.cutters, bed_z_mm=0.0)
    view = find_view(layout, trace=trace)
    flags = find_flags(findings, view=view)
    described = (
        f"Tool-centre paths of {program} by motion and height, the kerf at true width; tables below list findings."
    )
    said = f"Timed on {machine.title}. Not judged against a panel."
    header = element("header", element("h1", words(f"Program {program}")), element("p", words(said), class_="soft"))
    sections = (
        _lay_section(
            "picture", "The moves from above", lay_picture(scene, flags=flags, view=view, described=described)
        ),
        _lay_section("findings", "Findings", lay_findings(flags)),
        _lay_section(
            "numbers", "Numbers", lay_times(timing), lay_cutters(trace, timing=timing, cutters=tables.cutters)
        ),
        _lay_section("cautions", "Before the spindle starts", lay_cautions()),
    )
    return lay_document(title=f"Program {program}", header=header, sections=sections)


def _find_reached_layout(trace: Trace) -> Layout:
    """Return a layout without panels, as large and high as the feed moves reach."""
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    points = np.concatenate((trace.start_mm[feeding], trace.end_mm[feeding]))
    points = points[np.isfinite(points).all(axis=1)]
    width, height, top = points.max(axis=0).tolist() if len(points) else (100.0, 100.0, 1.0)
    return Layout(
        sheet="as far as the program reaches",
        material="",
        width_mm=max(width, 1.0),
        height_mm=max(height, 1.0),
        thickness_mm=max(top, 1.0),
        min_top_mm=max(top, 1.0),
        max_top_mm=max(top, 1.0),
        placements=(),
    )


def lay_document(*, title: str, header: Markup, sections: tuple[Markup, ...]) -> str:
    """Return a whole HTML file around a page's sections."""
    style = files("cam.report").joinpath("page.css").read_text(encoding="utf-8")
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="generator", content=f"castcut {__version__}"),
        element("title", words(title)),
        element("style", Markup(style)),
    )
    body = element(
        "body",
        element("a", words("Skip to the findings"), class_="skip", href="#findings"),
        header,
        element("main", join(sections)),
        element("footer", element("p", words(f"Written by castcut {__version__}."), class_="soft")),
    )
    return f"<!DOCTYPE html>\n{element('html', join((head, body)), lang='en')}\n"


def _lay_section(name: str, heading: str, *content: Markup) -> Markup:
    return element(
        "section", element("h2", words(heading), id=f"{name}-title"), *content, id=name, aria_labelledby=f"{name}-title"
    )


def _lay_verdict(verdict: Verdict, *, timing: Timing) -> Markup:
    deviation = verdict.deviation
    greatest = max(deviation.gouge_max_mm, deviation.uncut_max_mm)
    figures = (
        words("Greatest deviation "), element("strong", words(say_deviation(greatest))),
        words(": deepest gouge "), element("strong", words(say_deviation(deviation.gouge_max_mm))),
        words(", most material left on a finished wall "),
        element("strong", words(say_deviation(deviation.uncut_max_mm))),
        words(f", each known to within {say_deviation(deviation.bound_mm)}."),
    )  # fmt: skip
    said = say_corners(verdict.corners)
    rest = f"{said[0].upper()}{said[1:]}. Cycle time {say_time(timing.cycle_s)}."
    sign = "M8 34L24 50L56 14" if verdict.proven else "M12 12L52 52M52 12L12 52"
    colour = "var(--good)" if verdict.proven else "var(--error)"
    icon = element(
        "svg",
        element("path", d=sign, fill="none", stroke=colour, stroke_width=9.0),
        viewBox="0 0 64 64",
        aria_hidden="true",
    )
    return element(
        "section",
        icon,
        element("h2", words(str(verdict).capitalize()), id="verdict-title"),
        element("p", *figures),
        element("p", words(rest)),
        element("p", words(_count_findings(verdict))),
        id="verdict",
        class_="verdict " + ("proven" if verdict.proven else "not-proven"),
        aria_labelledby="verdict-title",
    )


def _count_findings(verdict: Verdict) -> str:
    counts: dict[str, int] = {}
    for finding in verdict.findings:
        counts[str(finding.severity)] = counts.get(str(finding.severity), 0) + 1
    said = [
        f"{counts[word]} {word}{'s' if counts[word] > 1 else ''}"
        for word in ("error", "warning", "note")
        if word in counts
    ]
    if not said:
        return "No findings."
    return ("" if verdict.proven else "Do not run this program. ") + f"Findings: {', '.join(said)}."


def _describe(scene: Scene, *, flags: tuple[Flag, ...]) -> str:
    layout = scene.layout
    placed = sum(flag.place_mm is not None for flag in flags)
    return (
        f"Sheet of {layout.width_mm:.0f} by {layout.height_mm:.0f} mm with {len(layout.placements)} panels, the kerf "
        f"at true width, the tool-centre paths by motion and height, {len(scene.bridges)} bridges, "
        f"{len(scene.corners)} changed corners and {placed} numbered findings; tables below list them."
    )


def lay_cautions() -> Markup:
    """Return the safety cautions."""
    terms = [
        element("div", element("dt", words(caution.hazard)), element("dd", words(caution.advice)))
        for caution in CAUTIONS
    ]
    return element("div", element("p", words(PRECEDENCE)), element("dl", *terms), class_="cautions")
