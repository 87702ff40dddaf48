"""Reading a drawing: the file, its unit, its pieces, the loops they close, the faults they have."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from cam.drawing.chain import chain_pieces, close_gaps, find_ends, pair_ends
from cam.drawing.clean import clean_pieces
from cam.drawing.collect import collect_entities
from cam.drawing.document import read_bytes, read_document
from cam.drawing.drawing import Drawing, OpenChain
from cam.drawing.limits import Limits
from cam.drawing.loops import find_free_ends, find_nearest_free_mm, lay_loops, lay_open_chains
from cam.drawing.units import UNIT_BY_CODE, find_mm_per_unit
from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, Severity, error, note

MAX_COORDINATE_MM = 1e7
FLAT_TOL_MM = 0.01


def read_drawing(
    path: Path, *, units: str | None = None, join_tol_mm: float = 0.01, fit_tol_mm: float = 0.005
) -> Drawing:
    """Return the loops of a DXF file in millimetres, with everything that was found on the way.

    Parameters
    ----------
    path
        The DXF file.
    units
        The unit of the file's numbers, over what the file says.
    join_tol_mm
        The widest gap between two ends that is closed.
    fit_tol_mm
        The distance within which arcs follow an ellipse or a spline.

    Raises
    ------
    FileRefused
        If the file cannot be read.
    DrawingRefused
        If it is no drawing, or one without units or with nothing to cut.
    """
    file = str(path)
    data = read_bytes(path)
    document = read_document(path, data)
    if units is None:
        stated = int(document.header.get("$INSUNITS", 0)) if b"$INSUNITS" in data else 0
        units = UNIT_BY_CODE.get(stated, "")
        if not units:
            raise DrawingRefused(
                error(
                    "no-units",
                    "the drawing does not say what unit its numbers are in",
                    remedy="say it with --units, such as --units mm, or set the drawing's insertion unit",
                    origin=Origin(file=file),
                )
            )
    mm_per_unit = find_mm_per_unit(units, file=file)
    limits = Limits(
        fit_tol=fit_tol_mm / mm_per_unit,
        flat_tol=FLAT_TOL_MM / mm_per_unit,
        max_coordinate=MAX_COORDINATE_MM / mm_per_unit,
    )
    collected = collect_entities(document, file=file, limits=limits)
    passed_over = collected.passed_over
    findings = list(collected.findings)
    pieces = clean_pieces(collected.pieces.as_pieces(mm_per_unit=mm_per_unit)).pieces
    ends = find_ends(pieces)
    joints = pair_ends(pieces, ends, join_tol_mm=join_tol_mm)
    nearest = find_nearest_free_mm(ends, find_free_ends(pieces, joints))
    pieces = close_gaps(pieces, ends, joints)
    chains = chain_pieces(pieces, joints)
    loops, _ = lay_loops(pieces, chains)
    open_chains, _ = lay_open_chains(pieces, chains, nearest)
    findings += [_find_open(file, chain) for chain in open_chains]
    if not loops:
        findings.append(
            error(
                "no-closed-loop",
                "the drawing holds no closed loop",
                remedy="draw the panel's outline as a closed loop",
                origin=Origin(file=file),
            )
        )
    if passed_over:
        listing = ", ".join(f"{count} {kind}" for kind, count in sorted(passed_over.items()))
        findings.append(note("passed-over", f"passed over: {listing}", origin=Origin(file=file)))
    return Drawing(
        path=path,
        units=units,
        mm_per_unit=mm_per_unit,
        loops=loops,
        open_chains=open_chains,
        findings=tuple(findings),
        passed_over=tuple(sorted(passed_over.items())),
    )


def refuse_faults(drawing: Drawing) -> None:
    """Raise the faults of a drawing that no program can be made from.

    Raises
    ------
    DrawingRefused
        If any finding is of severity error, with all of them.
    """
    faults = tuple(finding for finding in drawing.findings if finding.severity is Severity.ERROR)
    if faults:
        raise DrawingRefused(*faults)


def _find_open(file: str, chain: OpenChain) -> Finding:
    (x0, y0), (x1, y1) = chain.start_mm, chain.end_mm
    gap = float(np.hypot(x1 - x0, y1 - y0))
    return error(
        "open-chain",
        f"open: it runs from ({x0:.3f}, {y0:.3f}) to ({x1:.3f}, {y1:.3f}) mm, a gap of {gap:.3f} mm",
        remedy="join the two ends in the drawing",
        origin=Origin(file=file, layer=chain.layer, handle=chain.handle, x_mm=x0, y_mm=y0),
        size_mm=gap,
    )
