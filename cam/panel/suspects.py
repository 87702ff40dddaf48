"""Loops that are hardly meant to be cut: drawing frames and lettering, asked about instead."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from cam.drawing.drawing import Drawing, Loop
from cam.findings import Finding, Origin, Severity, error, note
from cam.geometry.contour import FloatArray
from cam.geometry.measure import find_bounds_mm
from cam.panel.frames import Frame, find_frame
from cam.panel.lettering import Glyphs, find_lettering
from cam.panel.nesting import find_boxes_mm
from cam.panel.rectangles import Box, lay_nesting
from cam.tables.job import Suspects

NEAR_MM = 1.0
MAX_HANDLES = 8
ABSORBED = ("open-chain", "t-junction", "crossing-loops", "overlapping-pieces", "self-crossing")


class SuspectKind(StrEnum):
    """What loops look like."""

    FRAME = "frame"
    LETTERING = "lettering"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Suspect:
    """Loops that look like no part of a panel, by number, and what is to be said of them.

    ``block_mm`` is where the faults lie that the lines of a title block bring with them. Those in any of the
    ``kept_mm``, the boxes of the other loops, (n, 4), are not among them, nor those of the ``open_handles``, the
    other open chains: they may be a panel's.
    """

    kind: SuspectKind
    loops: tuple[int, ...]
    finding: Finding
    block_mm: Box | None = None
    kept_mm: FloatArray = field(default_factory=lambda: np.zeros((0, 4)))
    open_handles: frozenset[str] = frozenset()

    @property
    def is_asked(self) -> bool:
        """Whether it is asked about, rather than cut as was confirmed."""
        return self.finding.severity is Severity.ERROR


def find_suspects(
    drawing: Drawing,
    *,
    parents: tuple[int | None, ...],
    on_face: frozenset[int],
    stated: frozenset[int],
    answer: Suspects,
) -> tuple[Suspect, ...]:
    """Return the loops of a drawing that look like a frame or like lettering.

    Parameters
    ----------
    drawing
        The drawing.
    parents
        The loop round each loop; None where there is none.
    on_face
        Numbers of the loops of recesses and grooves, which are left alone.
    stated
        Numbers of the loops whose layer says that they are outlines, which are no frames.
    answer
        What the job says to do with suspects: asked about, they are errors; to be cut, notes.
    """
    through = [i for i in range(len(drawing.loops)) if i not in on_face]
    number = {i: k for k, i in enumerate(through)}
    written = find_lettering(
        tuple(drawing.loops[i] for i in through),
        parents=tuple(_renumber(parents[i], number) for i in through),
    )
    texts = [(glyphs, tuple(through[k] for k in glyphs.loops)) for glyphs in written]
    apart = frozenset(i for _, loops in texts for i in loops) | on_face
    nesting = lay_nesting(drawing, parents=parents, apart=apart, stated=stated)
    frames = [
        (frame, i)
        for i in nesting.children.get(None, [])
        if i not in stated
        for frame in [find_frame(drawing, outer=i, nesting=nesting)]
        if frame is not None
    ]
    suspected = {i for _, loops in texts for i in loops} | {i for frame, _ in frames for i in frame.loops}
    kept = tuple(loop for i, loop in enumerate(drawing.loops) if i not in suspected)
    return (
        *(_say_lettering(drawing, glyphs, loops, kept, answer) for glyphs, loops in texts),
        *(_say_frame(drawing, frame, outer, kept, answer) for frame, outer in frames),
    )


def _renumber(parent: int | None, number: dict[int, int]) -> int | None:
    return None if parent is None else number.get(parent)


def _say_frame(drawing: Drawing, frame: Frame, outer: int, kept: tuple[Loop, ...], answer: Suspects) -> Suspect:
    box = find_bounds_mm(drawing.loops[outer].contour)
    many = len(frame.loops)
    parts = f"{many} loop{'s' if many > 1 else ''}"
    if frame.chains:
        parts += f" and {len(frame.chains)} open chain{'s' if len(frame.chains) > 1 else ''}"
    held = f"{frame.panels} loop{'s' if frame.panels > 1 else ''}"
    message = (
        f"{parts} {'looks' if many == 1 and not frame.chains else 'look'} like a drawing frame: a rectangle of "
        f"{box[2] - box[0]:.1f} x {box[3] - box[1]:.1f} mm round {held}, and {frame.reason} "
        f"({_say_handles(drawing, frame.loops, frame.chains)})"
    )
    finding = _ask(
        "suspect-frame", message, drawing=drawing, loops=frame.loops, first=outer, box=box, kept=kept, answer=answer
    )
    own = set(frame.chains)
    return Suspect(
        kind=SuspectKind.FRAME,
        loops=frame.loops,
        finding=finding,
        block_mm=frame.block_mm,
        kept_mm=find_boxes_mm(tuple(loop.contour for loop in kept)),
        open_handles=frozenset(chain.handle for i, chain in enumerate(drawing.open_chains) if i not in own),
    )


def _say_lettering(
    drawing: Drawing, glyphs: Glyphs, loops: tuple[int, ...], kept: tuple[Loop, ...], answer: Suspects
) -> Suspect:
    box = glyphs.bounds_mm
    message = (
        f"{len(loops)} loops look like the outlines of lettering: {glyphs.count} shapes, most unlike each other, about "
        f"{glyphs.height_mm:.1f} mm high in a row or rows of {box[2] - box[0]:.1f} x {box[3] - box[1]:.1f} mm "
        f"({_say_handles(drawing, loops, ())})"
    )
    finding = _ask(
        "suspect-lettering", message, drawing=drawing, loops=loops, first=loops[0], box=box, kept=kept, answer=answer
    )
    return Suspect(kind=SuspectKind.LETTERING, loops=loops, finding=finding)


def _say_handles(drawing: Drawing, loops: tuple[int, ...], chains: tuple[int, ...]) -> str:
    handles = [drawing.loops[i].handle for i in loops] + [drawing.open_chains[i].handle for i in chains]
    handles = list(dict.fromkeys(handles))
    more = f" and {len(handles) - MAX_HANDLES} more" if len(handles) > MAX_HANDLES else ""
    return f"handle{'s' if len(handles) > 1 else ''} {', '.join(handles[:MAX_HANDLES])}{more}"


def _ask(
    code: str,
    message: str,
    *,
    drawing: Drawing,
    loops: tuple[int, ...],
    first: int,
    box: Box,
    kept: tuple[Loop, ...],
    answer: Suspects,
) -> Finding:
    origin = Origin(
        file=str(drawing.path),
        layer=drawing.loops[first].layer,
        handle=drawing.loops[first].handle,
        block_path=drawing.loops[first].block_path or None,
        x_mm=box[0],
        y_mm=box[1],
    )
    if answer is Suspects.CUT:
        return note(code, f"{message}; they are cut, as the job or the command says", origin=origin)
    layers = {drawing.loops[i].layer for i in loops}
    if len(layers) == 1 and not layers & {loop.layer for loop in kept}:
        (layer,) = layers
        how = f'give the job [[layer]] with match = "{layer}" and means = "ignore", or rename the layer to IGNORE'
    else:
        how = "put them on a layer named IGNORE"
    remedy = f'{how}; if they are to be cut, say so: suspects = "cut" in [[panel]], or --cut-suspects'
    return error(code, message, remedy=remedy, origin=origin)


def drop_absorbed(findings: tuple[Finding, ...], *, suspects: tuple[Suspect, ...]) -> tuple[Finding, ...]:
    """Return findings without the faults that the lines of a frame bring with them.

    They go when the frame goes; where it stays they are said.
    """
    frames = [suspect for suspect in suspects if suspect.kind is SuspectKind.FRAME and suspect.is_asked]
    return tuple(
        finding
        for finding in findings
        if finding.code not in ABSORBED or not any(_belongs(finding, frame) for frame in frames)
    )


def _belongs(finding: Finding, frame: Suspect) -> bool:
    x, y = finding.origin.x_mm, finding.origin.y_mm
    if x is None or y is None or frame.block_mm is None or not _is_near(frame.block_mm, x, y):
        return False
    low, high = frame.kept_mm[:, :2] - NEAR_MM, frame.kept_mm[:, 2:] + NEAR_MM
    is_kept = bool(((low <= (x, y)) & (high >= (x, y))).all(axis=1).any())
    return finding.origin.handle not in frame.open_handles and not is_kept


def _is_near(box: Box, x: float, y: float) -> bool:
    return box[0] - NEAR_MM <= x <= box[2] + NEAR_MM and box[1] - NEAR_MM <= y <= box[3] + NEAR_MM
