"""Finish classes of edges: carried from the segments as drawn to those that the corner rule left."""

from __future__ import annotations

import numpy as np

from cam.geometry.contour import Contour, find_segments
from cam.geometry.measure import find_distances_mm
from cam.panel.panel import Finish

SAME_MM = 1e-6
RANK = {Finish.SHOWN: 0, Finish.BUTTED: 1, Finish.TRIMMED: 2, Finish.HIDDEN: 3}
"""How much an edge asks for: where two classes have the same claim, the one that asks for more is taken."""


def find_chief_finish(finishes: tuple[Finish, ...]) -> Finish:
    """Return the class among some that asks for the most.

    Examples
    --------
    >>> find_chief_finish((Finish.HIDDEN, Finish.SHOWN, Finish.TRIMMED))
    <Finish.SHOWN: 'shown'>
    """
    return min(finishes, key=RANK.__getitem__)


def carry_finishes(contour: Contour, *, drawn: Contour, finishes: tuple[Finish, ...]) -> tuple[Finish, ...]:
    """Return a class for each segment of a contour from those of the segments as drawn.

    Notes
    -----
    A segment takes the class of the drawn segment nearest to its middle: that on which it lies, or,
    for a fillet, one of the two that it joins; of two that are equally near the one that asks for
    more.
    """
    if len(set(finishes)) == 1:
        return (finishes[0],) * len(contour)
    ends = np.roll(drawn.vertices, -1, axis=0)
    known = {
        (*row.tolist(), *end[:2].tolist()): finish
        for row, end, finish in zip(drawn.vertices, ends, finishes, strict=True)
    }
    segments = find_segments(drawn.vertices)
    carried = []
    for number, (row, end) in enumerate(zip(contour.vertices, np.roll(contour.vertices, -1, axis=0), strict=True)):
        finish = known.get((*row.tolist(), *end[:2].tolist()))
        if finish is None:
            away = find_distances_mm(segments, _find_middle(contour, number))
            near = np.flatnonzero(away <= away.min() + SAME_MM)
            finish = find_chief_finish(tuple(finishes[i] for i in near.tolist()))
        carried.append(finish)
    return tuple(carried)


def _find_middle(contour: Contour, segment: int) -> tuple[float, float]:
    start, end = contour.vertices[segment], contour.vertices[(segment + 1) % len(contour)]
    (x, y), bulge = (start[:2] + end[:2]) / 2.0, float(start[2])
    dx, dy = end[:2] - start[:2]
    # the middle of an arc lies half its bulge of the chord to the right of travel
    return float(x + bulge * dy / 2.0), float(y - bulge * dx / 2.0)


def wind_finishes(finishes: tuple[Finish, ...], *, turned: bool) -> tuple[Finish, ...]:
    """Return the classes of a contour's segments, in the order of the contour run the other way if it was turned."""
    return finishes[::-1] if turned else finishes
