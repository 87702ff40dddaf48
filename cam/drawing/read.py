"""Reading a drawing: the file, its unit, its pieces, the loops they close, the faults they have."""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np

from cam.drawing.clean import clean_pieces
from cam.drawing.collect import Collected, collect_entities
from cam.drawing.document import read_bytes, read_document
from cam.drawing.drawing import Drawing, Loop
from cam.drawing.face import Mending, join_and_fit, read_face
from cam.drawing.faults import find_faults
from cam.drawing.joined import Joined
from cam.drawing.layers import UseOf, part_pieces, use_as_contour
from cam.drawing.limits import Limits
from cam.drawing.loops import find_nearest_ends, lay_loops, lay_open_chains
from cam.drawing.notes import note_cleaned, note_collected, note_joints
from cam.drawing.open_ends import find_hidden_ends
from cam.drawing.pieces import Pieces
from cam.drawing.units import (
    MM_PER_UNIT,
    NOTHING_KNOWN,
    Extent,
    SizeEvidence,
    find_mm_per_unit,
    read_stated_units,
    weigh_units,
)
from cam.errors import DrawingRefused
from cam.findings import Finding, Origin, Severity, error
from cam.geometry.measure import find_size_mm

MAX_COORDINATE_MM = 1e7
FLAT_TOL_MM = 0.01


def read_drawing(
    path: Path,
    *,
    units: str | None = None,
    join_tol_mm: float = 0.01,
    fit_tol_mm: float = 0.005,
    fit_arcs_mm: float | None = None,
    hatches: bool = False,
    use_of: UseOf = use_as_contour,
    evidence: SizeEvidence = NOTHING_KNOWN,
) -> Drawing:
    """Return the loops of a DXF file in millimetres, with everything that was found on the way.

    Parameters
    ----------
    path
        The DXF file.
    units
        The unit of the file's numbers, over what the file says; a key of
        :data:`cam.drawing.units.MM_PER_UNIT`.
    join_tol_mm
        The widest gap between two ends that is closed.
    fit_tol_mm
        The distance within which arcs follow an ellipse or a spline.
    fit_arcs_mm
        The distance within which runs of chords become arcs; None leaves them as they are.
    hatches
        Whether the boundaries of hatches are contours; otherwise hatches are passed over, counted.
    use_of
        Called with a layer's name: how what is drawn on it is joined and checked.
    evidence
        What the job knows of the panel's size, for or against the unit that the file states.

    Returns
    -------
    Drawing
        Faults are findings of severity error; :func:`refuse_faults` raises them.

    Raises
    ------
    FileRefused
        If the file cannot be read.
    DrawingRefused
        If it is no drawing, is damaged, does not say its unit or says a doubtful one, holds
        numbers beyond ``MAX_COORDINATE_MM`` or nothing that draws a contour.
    """
    with _collector_paused():
        return _read_drawing(
            path,
            units=units,
            mending=Mending(join_tol_mm=join_tol_mm, fit_tol_mm=fit_tol_mm, fit_arcs_mm=fit_arcs_mm),
            hatches=hatches,
            use_of=use_of,
            evidence=evidence,
        )


@contextmanager
def _collector_paused() -> Iterator[None]:
    """Keep Python from searching the document's millions of objects for garbage again and again."""
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()


def _read_drawing(
    path: Path, *, units: str | None, mending: Mending, hatches: bool, use_of: UseOf, evidence: SizeEvidence
) -> Drawing:
    file = str(path)
    data = read_bytes(path)
    document, findings = read_document(path, data)
    stated = read_stated_units(document, data)
    # a unit that no panel is drawn in is read as mm until it is weighed, which refuses it
    named = units or (stated.unit if stated.unit in MM_PER_UNIT else None) or "mm"
    mm_per_unit = find_mm_per_unit(named, file=file)
    limits = Limits(
        mm_per_unit=mm_per_unit,
        fit_tol=mending.fit_tol_mm / mm_per_unit,
        flat_tol=FLAT_TOL_MM / mm_per_unit,
        max_coordinate=MAX_COORDINATE_MM / mm_per_unit,
    )
    collected = collect_entities(document, file=file, limits=limits, use_of=use_of, hatches=hatches)
    drawn = collected.pieces.as_pieces(mm_per_unit=mm_per_unit)
    _refuse_unusable(collected, drawn, file, doubted=None if units or mm_per_unit <= 1.0 else named)
    cleaned = clean_pieces(drawn)
    parted = part_pieces(cleaned.pieces, use_of=use_of)
    joined, fit_notes = join_and_fit(parted.contours, file=file, mending=mending)
    loops = lay_loops(joined)
    nearest = find_nearest_ends(joined)
    width_mm, height_mm = _find_size_mm(loops, joined)
    findings += weigh_units(
        stated,
        chosen=units,
        extent=Extent(
            size=(width_mm / mm_per_unit, height_mm / mm_per_unit), reach=_find_reach_mm(joined) / mm_per_unit
        ),
        evidence=evidence,
        file=file,
    )
    findings += collected.findings
    hidden_pieces = collected.hidden_pieces.as_pieces(mm_per_unit=mm_per_unit)
    hidden = find_hidden_ends(joined, hidden_pieces, join_tol_mm=mending.join_tol_mm)
    findings += find_faults(joined, nearest, join_tol_mm=mending.join_tol_mm, hidden=hidden)
    if not loops:
        findings.append(_no_closed_loop(file))
    on_face = tuple(read_face(face, file=file, mm_per_unit=mm_per_unit, mending=mending) for face in parted.face)
    findings += [finding for face in on_face for finding in face.findings]
    findings += fit_notes
    findings += note_joints(joined, mm_per_unit=mm_per_unit, join_tol_mm=mending.join_tol_mm)
    findings += note_cleaned(cleaned, file=file)
    touching = Counter(source.layer for source in hidden.values())
    findings += note_collected(document, collected, file=file, mm_per_unit=mm_per_unit, touching=touching)
    return Drawing(
        path=path,
        units=named,
        mm_per_unit=mm_per_unit,
        loops=loops + tuple(loop for face in on_face for loop in face.loops),
        open_chains=lay_open_chains(joined, nearest) + tuple(chain for face in on_face for chain in face.open_chains),
        centre_lines=tuple(chain for face in on_face for chain in face.centre_lines),
        texts=tuple(collected.texts),
        findings=tuple(findings),
        passed_over=tuple(sorted(collected.passed_over.items())),
        layers=tuple(dict.fromkeys([source.layer for source in drawn.sources] + [at for at, _ in collected.ignored])),
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


def _refuse_unusable(collected: Collected, drawn: Pieces, file: str, *, doubted: str | None) -> None:
    """Raise that a drawing holds numbers no drawing has, or nothing to look at.

    ``doubted`` is the file's own unit where a smaller one might make the numbers possible.
    """
    too_large = [finding for finding in collected.findings if finding.code == "coordinates-too-large"]
    reach = np.abs(drawn.vertices[:, :2])
    far = np.flatnonzero(~(reach <= MAX_COORDINATE_MM).all(axis=1))
    if len(far):
        source = drawn.sources[int(np.searchsorted(drawn.first, far[0], side="right")) - 1]
        x, y = drawn.vertices[far[0], :2]
        message = f"{source.kind} at ({x:g}, {y:g}) mm lies beyond {MAX_COORDINATE_MM:g} mm, where no drawing is"
        remedy = "move the drawing to its origin, or draw the entity again"
        too_large.append(error("coordinates-too-large", message, remedy=remedy, origin=source.find_origin(file)))
    if too_large:
        unit = f"; or say the unit with --units, if it is not {doubted}, as the file says" if doubted else ""
        raise DrawingRefused(*(replace(finding, remedy=finding.remedy + unit) for finding in too_large))
    if not len(drawn) and not collected.findings:
        message = "the drawing holds nothing that draws a contour"
        if collected.passed_over or collected.hidden or collected.invisible or collected.ignored:
            kinds = Counter(collected.passed_over) + collected.invisible
            for (_, kind), count in [*collected.hidden.items(), *collected.ignored.items()]:
                kinds[kind] += count
            message += f"; it holds only {', '.join(f'{count} {kind}' for kind, count in sorted(kinds.items()))}"
            message += ", hidden ones included" if collected.hidden or collected.invisible else ""
            message += ", ignored ones included" if collected.ignored else ""
        remedy = "draw the panel's outline in model space, on a layer that is on"
        raise DrawingRefused(error("nothing-drawn", message, remedy=remedy, origin=Origin(file=file)))


def _find_reach_mm(joined: Joined) -> float:
    """Return the longer side of everything drawn, by its vertices."""
    return float(np.ptp(joined.chains.vertices[:, :2], axis=0).max()) if len(joined.chains) else 0.0


def _find_size_mm(loops: tuple[Loop, ...], joined: Joined) -> tuple[float, float]:
    """Return width and height of the largest loop; where nothing closes, everything counts as square."""
    chains = joined.chains
    if not loops:
        return _find_reach_mm(joined), _find_reach_mm(joined)
    first, points = chains.first[:-1], chains.vertices[:, :2]
    reach = np.maximum.reduceat(points, first, axis=0) - np.minimum.reduceat(points, first, axis=0)
    return find_size_mm(loops[int(reach[chains.closed].max(axis=1).argmax())].contour)


def _no_closed_loop(file: str) -> Finding:
    return error(
        "no-closed-loop",
        "the drawing holds no closed loop",
        remedy="draw the panel's outline as a closed contour; see the open ones",
        origin=Origin(file=file),
    )
