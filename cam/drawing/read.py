"""Reading a drawing: the file, its unit, its pieces, the loops they close."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from cam.drawing.chain import Chain, chain_pieces, lay_chain, pair_ends
from cam.drawing.document import read_bytes, read_document
from cam.drawing.drawing import Drawing, Loop, OpenChain
from cam.drawing.entities import collect_pieces
from cam.drawing.pieces import PieceList, Pieces
from cam.drawing.units import UNIT_BY_CODE, find_mm_per_unit
from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, Severity, error, note
from cam.geometry.contour import Contour, find_segments


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
    collected = PieceList()
    passed_over: dict[str, int] = {}
    collect_pieces(document.modelspace(), collected, passed_over)
    pieces = collected.as_pieces(mm_per_unit=mm_per_unit)
    joints = pair_ends(pieces, join_tol_mm=join_tol_mm)
    chains = chain_pieces(pieces, joints)
    loops = tuple(_lay_loop(pieces, chain) for chain in chains if chain.closed)
    open_chains = tuple(_lay_open_chain(pieces, chain) for chain in chains if not chain.closed)
    findings = [_find_open(file, chain) for chain in open_chains]
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


def _lay_loop(pieces: Pieces, chain: Chain) -> Loop:
    sources = [pieces.sources[i] for i in chain.pieces]
    return Loop(
        contour=Contour(lay_chain(pieces, chain)),
        layer=sources[0].layer,
        handle=sources[0].handle,
        handles=tuple(dict.fromkeys(source.handle for source in sources)),
        block_path=sources[0].block_path,
    )


def _lay_open_chain(pieces: Pieces, chain: Chain) -> OpenChain:
    vertices = lay_chain(pieces, chain)
    start, end = vertices[0, :2], vertices[-1, :2]
    return OpenChain(
        vertices=vertices,
        start_mm=(float(start[0]), float(start[1])),
        end_mm=(float(end[0]), float(end[1])),
        length_mm=float(find_segments(vertices, closed=False).length_mm.sum()),
        gap_mm=float(np.hypot(*(end - start))),
        layer=pieces.sources[chain.pieces[0]].layer,
        handle=pieces.sources[chain.pieces[0]].handle,
    )


def _find_open(file: str, chain: OpenChain) -> Finding:
    (x0, y0), (x1, y1) = chain.start_mm, chain.end_mm
    return error(
        "open-chain",
        f"open: it runs from ({x0:.3f}, {y0:.3f}) to ({x1:.3f}, {y1:.3f}) mm, a gap of {chain.gap_mm:.3f} mm",
        remedy="join the two ends in the drawing",
        origin=Origin(file=file, layer=chain.layer, handle=chain.handle, x_mm=x0, y_mm=y0),
        size_mm=chain.gap_mm,
    )
