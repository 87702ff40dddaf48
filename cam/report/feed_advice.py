"""Cutting data as a sentence, a table and a document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from cam.findings import Finding
from cam.tables.edge_marks import EdgeMarks
from cam.tables.feed_limits import FeedWindow

FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonGiven:
    """Why a number is what it is, as the report shows it."""

    quantity: str
    rule: str
    text: str
    source: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedAdvice:
    """Cutting data as the report shows it; filled by the pipeline, so that the report knows no plan."""

    window: FeedWindow
    spindle_rpm: float
    feed_mm_per_min: float
    chip_load_mm: float
    chip_thickness_mm: float
    chip_low_mm: float
    chip_high_mm: float
    plunge_mm_per_min: float
    ramp_feed_mm_per_min: float
    ramp_deg: float
    depth_mm: float
    pass_depth_mm: float
    passes: int
    stepover_mm: float
    power_w: float
    power_available_w: float
    finish_allowance_mm: float
    finish_feed_mm_per_min: float
    marks: EdgeMarks
    reasons: tuple[ReasonGiven, ...]
    findings: tuple[Finding, ...]


def write_feed_advice(advice: FeedAdvice) -> str:
    """Return the advice as one sentence, a table, and the chain of reasons with their sources."""
    window = advice.window
    what = "a slot" if window.radial_mm is None else f"a bite of {window.radial_mm:g} mm"
    times = "one pass" if advice.passes == 1 else f"{advice.passes} passes of {advice.pass_depth_mm:.2f} mm"
    lines = [
        f"Cut {window.material.title} with {window.cutter.title} on {window.machine.title} at "
        f"{advice.spindle_rpm:.0f} rpm and {advice.feed_mm_per_min:.0f} mm/min: {what} {advice.depth_mm:g} mm deep, "
        f"in {times}.",
        "",
        *_lay_rows(advice),
        "",
    ]
    sources = {
        source: i for i, source in enumerate(dict.fromkeys(r.source for r in advice.reasons if r.source), start=1)
    }
    for reason in advice.reasons:
        lines.append(f"because: {reason.text}" + (f" [{sources[reason.source]}]" if reason.source else ""))
    lines += [f"[{number}] {source}" for source, number in sources.items()]
    lines += [f"caution: {caution}" for caution in window.material.cautions]
    return "\n".join(lines)


def _lay_rows(advice: FeedAdvice) -> list[str]:
    rows = (
        ("spindle speed", f"{advice.spindle_rpm:.0f} rpm"),
        ("feed", f"{advice.feed_mm_per_min:.0f} mm/min"),
        ("chip load", f"{advice.chip_load_mm:.3f} mm, may be {advice.chip_low_mm:.3f} to {advice.chip_high_mm:.3f} mm"),
        ("thickest chip", f"{advice.chip_thickness_mm:.3f} mm"),
        ("ramp", f"{advice.ramp_deg:g} degrees at {advice.ramp_feed_mm_per_min:.0f} mm/min"),
        ("straight down", f"at most {advice.plunge_mm_per_min:.0f} mm/min"),
        ("depth of a pass", f"{advice.pass_depth_mm:.2f} mm"),
        ("stepover", f"at most {advice.stepover_mm:.2f} mm"),
        ("finishing", f"{advice.finish_allowance_mm:g} mm left, {advice.finish_feed_mm_per_min:.0f} mm/min"),
        ("power", f"{advice.power_w:.0f} W of {advice.power_available_w:.0f} W"),
        ("marks on the wall", f"{advice.marks.even_mm * 1000:.2f} to {advice.marks.uneven_mm * 1000:.2f} um"),
        ("first grit", _say_grit(advice.marks)),
    )
    return [f"  {name:<18} {said}" for name, said in rows]


def _say_grit(marks: EdgeMarks) -> str:
    return f"{'none, buff' if marks.first_grit is None else f'P{marks.first_grit}'}: {marks.reason}"


def lay_feed_document(advice: FeedAdvice, *, picture: str | None) -> dict[str, Any]:
    """Return the document of ``feeds``; ``picture`` is the path of the SVG, None where none was written."""
    window = advice.window
    return {
        "format": FORMAT,
        "cutter": window.cutter.name,
        "material": window.material.name,
        "machine": window.machine.name,
        "spindle_rpm": advice.spindle_rpm,
        "feed_mm_per_min": advice.feed_mm_per_min,
        "chip_load_mm": advice.chip_load_mm,
        "chip_thickness_mm": advice.chip_thickness_mm,
        "chip_low_mm": advice.chip_low_mm,
        "chip_high_mm": advice.chip_high_mm,
        "plunge_mm_per_min": advice.plunge_mm_per_min,
        "ramp_mm_per_min": advice.ramp_feed_mm_per_min,
        "ramp_deg": advice.ramp_deg,
        "depth_mm": advice.depth_mm,
        "pass_depth_mm": advice.pass_depth_mm,
        "passes": advice.passes,
        "stepover_mm": advice.stepover_mm,
        "power_w": advice.power_w,
        "power_available_w": advice.power_available_w,
        "finish_allowance_mm": advice.finish_allowance_mm,
        "finish_feed_mm_per_min": advice.finish_feed_mm_per_min,
        "marks_mm": {"even": advice.marks.even_mm, "uneven": advice.marks.uneven_mm},
        "first_grit": advice.marks.first_grit,
        "reasons": [
            {"quantity": each.quantity, "rule": each.rule, "text": each.text, "source": each.source}
            for each in advice.reasons
        ],
        "findings": [finding.as_document() for finding in advice.findings],
        "picture": picture,
    }
