"""Sheets for the order of cutting: holes alone, and panels with cut-outs; the same every time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

SHEETS = 30
SHEET_MM = (3050.0, 2030.0)
MARGIN_MM = 20.0
MIN_APART_MM = 12.0


def count_holes() -> tuple[int, ...]:
    """Return how many holes each sheet has: 20 to 1,000, evenly in their logarithm."""
    return tuple(int(count) for count in np.rint(np.geomspace(20, 1000, SHEETS)))


def make_holes(number: int) -> npt.NDArray[np.float64]:
    """Return the middles (n, 2) of one sheet's holes, strewn evenly, none within a hole of another."""
    count = count_holes()[number]
    rng = np.random.default_rng([8, number])
    low, high = np.array([MARGIN_MM, MARGIN_MM]), np.array(SHEET_MM) - MARGIN_MM
    holes = np.empty((0, 2))
    while len(holes) < count:
        hole = np.round(rng.uniform(low, high), 2)
        if not len(holes) or np.hypot(*(holes - hole).T).min() >= MIN_APART_MM:
            holes = np.vstack([holes, hole])
    return holes
