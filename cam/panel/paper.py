"""Sizes of drawing paper, trimmed or within its frame, at the scales that drawings are made at."""

from __future__ import annotations

PAPER_TOL_MM = 0.5
"""On paper. Sheets are drawn to the millimetre, in inches to the tenth; 0.5 mm is 0.24 % of the shortest side."""

ISO_SHEETS_MM = {"A0": (1189, 841), "A1": (841, 594), "A2": (594, 420), "A3": (420, 297), "A4": (297, 210)}
"""ISO 216."""
ISO_FRAMES_MM = {"A0": (1159, 821), "A1": (811, 574), "A2": (564, 400), "A3": (390, 277), "A4": (277, 180)}
"""ISO 5457: 20 mm within the sheet along the side that is bound, 10 mm along the others; A4 upright."""
ISO_SCALES = (1.0, 2.0, 2.5, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0)
"""ISO 5455, and 1:2.5 and 1:25 of common practice."""

ANSI_SHEETS_MM = {
    "A": (279.4, 215.9),
    "B": (431.8, 279.4),
    "C": (558.8, 431.8),
    "D": (863.6, 558.8),
    "E": (1117.6, 863.6),
}
"""ASME Y14.1: 11 x 8.5 in to 44 x 34 in."""
ANSI_SCALES = (1.0, 2.0, 4.0, 8.0, 10.0, 12.0, 24.0, 48.0)
"""Full size, half, quarter and eighth; 1 in, 1/2 in and 1/4 in to the foot."""


def find_paper(sides_mm: tuple[float, float]) -> str:
    """Return the sheet of paper that a rectangle has the size of, either way up; nothing where there is none.

    Examples
    --------
    >>> find_paper((297.0, 420.0)), find_paper((5790.0, 4110.0))
    ('an ISO A3 sheet', '')
    >>> find_paper((5640.0, 4000.0))
    'the frame of an ISO A2 sheet at 1:10'
    """
    long, short = max(sides_mm), min(sides_mm)
    kinds = (
        ("an ISO {} sheet", ISO_SHEETS_MM, ISO_SCALES),
        ("the frame of an ISO {} sheet", ISO_FRAMES_MM, ISO_SCALES),
        ("an ANSI {} sheet", ANSI_SHEETS_MM, ANSI_SCALES),
    )
    for words, sizes, scales in kinds:
        for scale in scales:
            for name, (length, width) in sizes.items():
                if max(abs(long - scale * length), abs(short - scale * width)) <= scale * PAPER_TOL_MM:
                    return words.format(name) + (f" at 1:{scale:g}" if scale > 1.0 else "")
    return ""
