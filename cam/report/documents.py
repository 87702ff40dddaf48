"""Documents for ``--json``: plain values with a ``format``, for other programs to read.

A number that is not finite becomes null, for JSON has no word for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from cam.backplot.clock import Timing
from cam.backplot.trace import Kind, Trace
from cam.findings import Finding
from cam.report.verdict import CornersAsCut, Deviation, Verdict
from cam.tables.rows import Cutter

FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramEntry:
    """One program as a document lists it; ``path`` is None where none was written.

    ``rounding_mm`` is how far its numbers lie from the planned ones at most, None of a program that castcut read only.
    """

    path: str | None
    controller: str
    cutters: tuple[str, ...]
    blocks: int
    timing: Timing
    verdict: Verdict
    rounding_mm: float | None = None


def lay_proof_document(
    entries: Sequence[ProgramEntry], *, page: str | None, findings: Sequence[Finding] = ()
) -> dict[str, Any]:
    """Return the document of ``make`` and ``prove``.

    Parameters
    ----------
    entries
        The programs; the document's verdict is proven only if every one of them is.
    page
        Path of the page, None if none was written. With several programs, that of the first.
    findings
        What was found before the programs were judged, such as in the drawings.
    """
    # the files of one program share its verdict: it counts once
    verdicts = list({id(entry.verdict): entry.verdict for entry in entries}.values())
    every = [*findings, *(finding for verdict in verdicts for finding in verdict.findings)]
    proven = bool(verdicts) and all(verdict.proven for verdict in verdicts)
    return {
        "format": FORMAT,
        "verdict": "proven" if proven else "not proven",
        "programs": [_lay_program(entry) for entry in entries],
        "page": page,
        "findings": [finding.as_document() for finding in every],
        "deviation_mm": _lay_deviation([verdict.deviation for verdict in verdicts]),
        "corners": _lay_corners([verdict.corners for verdict in verdicts]),
    }


def join_documents(documents: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the documents of one job for several controllers as one; the numbers are the first one's.

    Programs and findings are listed one after the other; it is proven only if every one is.
    """
    if len(documents) == 1:
        return documents[0]
    proven = all(document["verdict"] == "proven" for document in documents)
    every = [finding for document in documents for finding in document["findings"]]
    return {
        **documents[0],
        "verdict": "proven" if proven else "not proven",
        "programs": [program for document in documents for program in document["programs"]],
        "findings": [finding for i, finding in enumerate(every) if finding not in every[:i]],
        "pages": [document["page"] for document in documents],
    }


def _lay_program(entry: ProgramEntry) -> dict[str, Any]:
    return {
        "path": entry.path,
        "controller": entry.controller,
        "cutters": list(entry.cutters),
        "blocks": entry.blocks,
        "cycle_s": entry.timing.cycle_s,
        "cutting_mm": entry.timing.cutting_mm,
        "rapid_mm": entry.timing.rapid_mm,
        "verdict": str(entry.verdict),
        "rounding_mm": entry.rounding_mm,
    }


def _lay_deviation(deviations: list[Deviation]) -> dict[str, Any]:
    return {
        "gouge_max": max((each.gouge_max_mm for each in deviations), default=None),
        "uncut_max": max((each.uncut_max_mm for each in deviations), default=None),
        "bound": max((each.bound_mm for each in deviations), default=None),
    }


def _lay_corners(corners: list[CornersAsCut]) -> dict[str, Any]:
    return {
        "count": max((each.count for each in corners), default=0),
        "rounded": max((each.rounded for each in corners), default=0),
        "min_radius_mm": min((each.min_radius_mm for each in corners), default=None),
    }


def name_cutters(trace: Trace, *, cutters: tuple[Cutter, ...]) -> tuple[str, ...]:
    """Return the names of the cutters that cut, in the order of their first use; ``T9`` for one without a row."""
    names = {cutter.tool: cutter.name for cutter in cutters}
    rows = zip(trace.tool.tolist(), trace.kind.tolist(), strict=True)
    used = dict.fromkeys(tool for tool, kind in rows if kind in (Kind.LINE, Kind.ARC))
    return tuple(names.get(tool, f"T{tool}") for tool in used)


def lay_refusal_document(findings: Sequence[Finding]) -> dict[str, Any]:
    """Return the document of a command that refused."""
    return {"format": FORMAT, "verdict": "refused", "findings": [finding.as_document() for finding in findings]}
