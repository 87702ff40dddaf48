"""The marks that feeding leaves on a finished wall, and the grit that takes them out."""

from __future__ import annotations

from dataclasses import dataclass

from cam.tables.chip_load import find_chip_load

POLISH_BELOW_MM = 0.0003
"""Marks no higher than this are polished without sanding (shop rule; a routed edge can be: plastics workshop notes)."""
SCRATCH_SHARE = 0.1
"""A grain leaves a scratch about a tenth of its size deep (common practice, no source)."""
# median grain sizes of the FEPA P grades, mm (from memory), of the wet series that sheet makers print: 180 or 240 for
# router marks, then 320, 400, 600, 1000
GRAIN_MM = {180: 0.082, 240: 0.0585, 320: 0.0462, 400: 0.035, 600: 0.0258, 1000: 0.0183}


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeMarks:
    """The predicted height of the marks: if every flute cuts alike, and if one stands out and alone leaves them.

    ``first_grit`` is the first of the edge schedule, None where the edge goes straight to the buff.
    """

    even_mm: float
    uneven_mm: float
    first_grit: int | None
    reason: str


def find_mark_height_mm(*, advance_mm: float, radius_mm: float) -> float:
    """Return how high the ridge between two marks stands on a straight wall.

    Notes
    -----
    h = f^2 / (8 R), the sagitta of the cutter's circle over the advance f from mark to mark: the feed per
    tooth if all flutes cut alike, the feed per turn if one alone makes the wall (milling-theory textbooks,
    from memory).

    Examples
    --------
    >>> round(find_mark_height_mm(advance_mm=0.2, radius_mm=3.0), 6)
    0.001667
    """
    return advance_mm**2 / (8.0 * radius_mm)


def predict_marks(*, feed_mm_per_min: float, rpm: float, flutes: int, radius_mm: float) -> EdgeMarks:
    """Return the marks of a finishing pass and the first grit that takes them out.

    Notes
    -----
    The first grit is the finest whose own scratches are no shallower than the higher of the two marks: a coarser one
    would cut deeper than what it is to remove. It holds for a sharp cutter and a wall without chatter; what the
    eye and the finger find goes before it.
    """
    tooth_mm = find_chip_load(feed_mm_per_min=feed_mm_per_min, rpm=rpm, flutes=flutes)
    even = find_mark_height_mm(advance_mm=tooth_mm, radius_mm=radius_mm)
    uneven = find_mark_height_mm(advance_mm=tooth_mm * flutes, radius_mm=radius_mm)
    if uneven <= POLISH_BELOW_MM:
        reason = f"marks of {uneven * 1000.0:.2f} um at most are polished without sanding"
        return EdgeMarks(even_mm=even, uneven_mm=uneven, first_grit=None, reason=reason)
    fine = [grit for grit, grain in GRAIN_MM.items() if SCRATCH_SHARE * grain >= uneven]
    grit = max(fine, default=min(GRAIN_MM))
    depth = SCRATCH_SHARE * GRAIN_MM[grit]
    reason = (
        f"marks of {uneven * 1000.0:.2f} um if one flute stands out; P{grit} leaves scratches of about "
        f"{depth * 1000.0:.1f} um, " + ("the finest that takes them out" if fine else "and has longer to work")
    )
    return EdgeMarks(even_mm=even, uneven_mm=uneven, first_grit=grit, reason=reason)
