"""What was done to a drawing on the way, and what of it was not used: said, never silent."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import numpy as np
from ezdxf.document import Drawing as Document

from cam.drawing.capped import cap_findings
from cam.drawing.chain import find_close_pairs, may_close
from cam.drawing.clean import SAME_MM, Cleaned
from cam.drawing.collect import Collected
from cam.drawing.entities import DRAWERS
from cam.drawing.joined import Joined, say_point
from cam.drawing.open_ends import MAX_JOIN_MM
from cam.drawing.pieces import PieceList
from cam.findings import Finding, Origin, note, warning

MAY_DRAW = (*DRAWERS, "INSERT")
HEIGHT_TOL_MM = 0.01


def note_collected(
    document: Document, collected: Collected, *, file: str, mm_per_unit: float, touching: Counter[str]
) -> list[Finding]:
    """Return what was hidden, passed over, or drawn at another height.

    ``touching`` counts, by hidden layer, the open ends of contours that something on it goes on from.
    """
    return [
        *cap_findings(_note_hidden(collected, file, touching)),
        *cap_findings(_note_ignored(collected, file)),
        *_note_invisible(collected, file),
        *_note_paper_space(document, file),
        *_note_heights(collected, file, mm_per_unit),
        *_note_unknown(collected, file),
        *_note_passed_over(collected, file),
        *_note_curves(collected.pieces, file),
    ]


def _say_counts(counts: Counter[str]) -> str:
    return ", ".join(f"{count} {kind}" for kind, count in sorted(counts.items()))


def _note_hidden(collected: Collected, file: str, touching: Counter[str]) -> Iterable[Finding]:
    layers: dict[str, Counter[str]] = {}
    for (layer, kind), count in collected.hidden.items():
        layers.setdefault(layer, Counter())[kind] += count
    for layer, counts in sorted(layers.items()):
        message = f"the layer is off or frozen: {_say_counts(counts)} passed over"
        origin = Origin(file=file, layer=layer)
        if touching[layer]:
            message = f"part of a contour is hidden: {touching[layer]} open ends go on there; {message}"
        if any(kind in MAY_DRAW for kind in counts):
            remedy = "switch the layer on and thaw it if it holds part of a panel"
            yield warning("hidden-layer", message, remedy=remedy, origin=origin)
        else:
            yield note("hidden-layer", message, origin=origin)


def _note_ignored(collected: Collected, file: str) -> Iterable[Finding]:
    layers: dict[str, Counter[str]] = {}
    for (layer, kind), count in collected.ignored.items():
        layers.setdefault(layer, Counter())[kind] += count
    for layer, counts in sorted(layers.items()):
        message = f"the layer is ignored, as its name or the job says: {_say_counts(counts)} passed over"
        yield note("ignored-layer", message, origin=Origin(file=file, layer=layer))


def _note_invisible(collected: Collected, file: str) -> Iterable[Finding]:
    if collected.invisible:
        message = f"entities that are set invisible were passed over: {_say_counts(collected.invisible)}"
        remedy = "make them visible if they are part of a panel"
        yield warning("invisible-entities", message, remedy=remedy, origin=Origin(file=file))


def _note_paper_space(document: Document, file: str) -> Iterable[Finding]:
    counts: Counter[str] = Counter()
    for layout in document.layouts:
        if layout.is_any_paperspace:
            counts.update(entity.dxftype() for entity in layout if entity.dxftype() != "VIEWPORT")
    if counts:
        message = f"the paper sheets of the drawing were passed over: {_say_counts(counts)}"
        yield note("paper-space", message, origin=Origin(file=file))


def _note_heights(collected: Collected, file: str, mm_per_unit: float) -> Iterable[Finding]:
    heights = np.array(collected.heights) * mm_per_unit
    if len(heights) and np.ptp(heights) > HEIGHT_TOL_MM:
        levels, which, counts = np.unique(np.rint(heights / HEIGHT_TOL_MM), return_inverse=True, return_counts=True)
        odd = int(np.flatnonzero(which != counts.argmax())[0]) if len(levels) > 1 else int(heights.argmax())
        message = (
            f"entities lie at different heights, from z {heights.min():g} to {heights.max():g} mm;"
            f" all are taken at one, such as this {collected.pieces.sources[odd].kind} at z {heights[odd]:g} mm"
        )
        remedy = "flatten the drawing if this was not meant"
        yield warning("several-heights", message, remedy=remedy, origin=collected.pieces.sources[odd].find_origin(file))


def _note_unknown(collected: Collected, file: str) -> Iterable[Finding]:
    if collected.unknown:
        message = f"entities of unknown types were passed over: {_say_counts(collected.unknown)}"
        remedy = "explode them to lines and arcs if they are part of a panel"
        yield warning("unknown-entities", message, remedy=remedy, origin=Origin(file=file))


def _note_passed_over(collected: Collected, file: str) -> Iterable[Finding]:
    if collected.passed_over:
        message = f"entities that are no contour were passed over: {_say_counts(collected.passed_over)}"
        yield note("passed-over", message, origin=Origin(file=file))


def _note_curves(pieces: PieceList, file: str) -> Iterable[Finding]:
    counts = Counter(source.kind for source in pieces.sources if source.kind in ("ELLIPSE", "SPLINE"))
    if counts:
        message = f"curves became arcs within the fit distance: {_say_counts(counts)}"
        yield note("curves-fitted", message, origin=Origin(file=file))


def note_cleaned(cleaned: Cleaned, *, file: str) -> list[Finding]:
    """Return what was dropped because it has no length or is drawn again."""
    findings: list[Finding] = []
    if cleaned.zero_length:
        count = len(cleaned.zero_length)
        message = f"{count} pieces no longer than {SAME_MM:g} mm were dropped, first in {cleaned.zero_length[0]}"
        findings.append(note("zero-length-dropped", message, origin=cleaned.zero_length[0].find_origin(file)))
    if cleaned.duplicates:
        # a whole loop may also be one panel too few, so it is the one that is shown
        loops = np.flatnonzero(cleaned.duplicates_closed).tolist()
        k = loops[0] if loops else 0
        message = f"{len(cleaned.duplicates)} pieces that stand exactly on an earlier one were dropped"
        message += f", {len(loops)} of them closed loops" if loops else ""
        message += f", first {cleaned.duplicates[k]}"
        remedy = "nothing, unless something else was meant to be there: what is drawn twice is cut once"
        origin = cleaned.duplicates[k].find_origin(file, cleaned.duplicates_mm[k])
        findings.append(warning("duplicate-dropped", message, remedy=remedy, origin=origin))
    return findings


def note_joints(joined: Joined, *, mm_per_unit: float, join_tol_mm: float) -> list[Finding]:
    """Return which gaps were closed, and what would close at ten times the distance.

    Gaps of the size of the last of six decimals are rounding; they are not listed.
    """
    rounding_mm = min(2e-6 * max(mm_per_unit, 1.0), 1e-3)
    return [
        *cap_findings(_note_gaps(joined, rounding_mm)),
        *_note_wider_gaps(joined, min(10.0 * join_tol_mm, MAX_JOIN_MM)),
        *cap_findings(_note_mixed_layers(joined)),
    ]


def _note_gaps(joined: Joined, rounding_mm: float) -> Iterable[Finding]:
    joints, points = joined.joints, joined.ends.points_mm
    for k in np.argsort(-joints.gap_mm, kind="stable").tolist():
        gap = float(joints.gap_mm[k])
        if gap <= rounding_mm:
            return
        i, j = int(joints.one[k]), int(joints.other[k])
        message = (
            f"a gap of {gap:.3g} mm to {joined.pieces.sources[j // 2]} was closed,"
            f" from {say_point(points[i])} to {say_point(points[j])} mm"
        )
        origin = joined.pieces.sources[i // 2].find_origin(joined.file, points[i])
        yield note("gap-closed", message, origin=origin, size_mm=gap)


def _note_wider_gaps(joined: Joined, within_mm: float) -> Iterable[Finding]:
    """Say how many free ends would find a partner at a wider join distance."""
    points = joined.ends.points_mm
    try:
        one, other, distance = find_close_pairs(points, joined.free, within_mm=within_mm)
    except ValueError:
        return
    closes = may_close(joined.pieces, one // 2, distance)
    taken: set[int] = set()
    would = []
    for k in np.argsort(distance, kind="stable").tolist():
        i, j = int(one[k]), int(other[k])
        if (i // 2 != j // 2 or closes[k]) and not {i, j} & taken:
            taken |= {i, j}
            would.append(k)
    if would:
        last = would[-1]
        message = (
            f"at a join distance of {within_mm:g} mm {len(would)} more gaps would close, the widest of"
            f" {distance[last]:.3g} mm from {say_point(points[one[last]])} to {say_point(points[other[last]])} mm"
        )
        remedy = f"mend the drawing, or let them be closed with --join-tol-mm {within_mm:g}"
        origin = joined.pieces.sources[int(one[last]) // 2].find_origin(joined.file, points[one[last]])
        yield note("wider-gaps", message, remedy=remedy, origin=origin, size_mm=float(distance[last]))


def _note_mixed_layers(joined: Joined) -> Iterable[Finding]:
    chains = joined.chains
    sources = joined.pieces.sources
    for i in np.flatnonzero(np.diff(chains.first_piece) > 1).tolist():
        order = chains.order[chains.first_piece[i] : chains.first_piece[i + 1]].tolist()
        layers = list(dict.fromkeys(sources[k].layer for k in order))
        if len(layers) > 1:
            message = f"the contour is drawn on several layers: {', '.join(layers)}"
            origin = sources[order[0]].find_origin(joined.file, chains.vertices[chains.first[i], :2])
            yield note(
                "mixed-layers",
                message,
                remedy="draw it on one layer, or name the layers for the finish of its edges",
                origin=origin,
            )
