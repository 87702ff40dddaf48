"""Pieces joined and mended as asked; and the layers that lie in a panel's upper face, each joined by itself."""

from __future__ import annotations

from dataclasses import dataclass

from cam.drawing.chain import TooManyEnds
from cam.drawing.chords import fit_joined, offer_arcs
from cam.drawing.drawing import Loop, OpenChain
from cam.drawing.faults import find_faults
from cam.drawing.joined import Joined, join_pieces
from cam.drawing.layers import FacePieces, LayerUse
from cam.drawing.loops import find_nearest_ends, lay_loops, lay_open_chains
from cam.drawing.notes import note_joints
from cam.drawing.pieces import Pieces
from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, error


@dataclass(frozen=True, slots=True, kw_only=True)
class Mending:
    """How far the drawing may be departed from: in joining, in fitting curves, in fitting chords."""

    join_tol_mm: float
    fit_tol_mm: float
    fit_arcs_mm: float | None


def join_and_fit(pieces: Pieces, *, file: str, mending: Mending) -> tuple[Joined, list[Finding]]:
    """Return joined pieces, chords fitted where that was asked for, and what is to be said of chords.

    Raises
    ------
    DrawingRefused
        If ends crowd so that they cannot be told apart.
    """
    try:
        joined = join_pieces(pieces, file=file, join_tol_mm=mending.join_tol_mm)
    except TooManyEnds as fault:
        remedy = "delete what is no part of a panel, or join less far with --join-tol-mm"
        origin = Origin(file=file, x_mm=float(fault.at_mm[0]), y_mm=float(fault.at_mm[1]))
        raise DrawingRefused(error("too-tangled", str(fault), remedy=remedy, origin=origin)) from fault
    if mending.fit_arcs_mm is None:
        return joined, offer_arcs(joined)
    return fit_joined(joined, tol_mm=mending.fit_arcs_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Face:
    """What one recess or groove layer holds."""

    loops: tuple[Loop, ...]
    open_chains: tuple[OpenChain, ...]
    centre_lines: tuple[OpenChain, ...]
    findings: tuple[Finding, ...]


NO_FAULTS_OF_GROOVES = ("open-chain", "t-junction", "crossing-loops")


def read_face(face: FacePieces, *, file: str, mm_per_unit: float, mending: Mending) -> Face:
    """Return the loops and centre lines of a layer that lies in the upper face, with the faults that count there."""
    joined, fit_notes = join_and_fit(face.pieces, file=file, mending=mending)
    nearest = find_nearest_ends(joined)
    faults = find_faults(joined, nearest, join_tol_mm=mending.join_tol_mm)
    chains = lay_open_chains(joined, nearest)
    may_stay_open = face.use is LayerUse.GROOVE
    if may_stay_open:
        faults = [fault for fault in faults if fault.code not in NO_FAULTS_OF_GROOVES]
    return Face(
        loops=lay_loops(joined),
        open_chains=() if may_stay_open else chains,
        centre_lines=chains if may_stay_open else (),
        findings=(
            *faults,
            *fit_notes,
            *note_joints(joined, mm_per_unit=mm_per_unit, join_tol_mm=mending.join_tol_mm),
        ),
    )
