"""Arcs: centre and turn from what a G2 or G3 block gives (NISTIR 6556 section 3.5.3)."""

from __future__ import annotations

import math
from dataclasses import dataclass

INCH_TOL_RATIO = 2.54
"""Section 3.5.3.2 allows 0.002 mm in millimetres and 0.0002 inch in inches: 2.54 times as much."""

RADIUS_FORM_TOL = 1e-12
"""By what share half a chord may exceed the radius given by R; rounding of the computation only."""

SAME_POINT_MM = 1e-9
"""Ends no farther apart are one point: less than any text says, more than sums in G91 lose."""

FULL_TURN_RAD = 2.0 * math.pi

PLANE_AXES = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}
"""First, second and normal axis of G17, G18, G19; each a right-handed triple (section 3.5.3)."""

OFFSET_LETTERS = "IJK"


@dataclass(frozen=True, slots=True)
class PlaneArc:
    """An arc in its plane: centre, and turn counter-clockwise about the plane's normal."""

    centre: tuple[float, float]
    sweep_rad: float
    radius: float


class ArcFault(Exception):  # noqa: N818 - turned into a BlockFault by who knows the words
    """No arc; ``code`` is the finding's."""

    def __init__(self, code: str, message: str, remedy: str) -> None:
        super().__init__(code, message)
        self.code = code
        self.message = message
        self.remedy = remedy


def find_centre_arc(
    start: tuple[float, float],
    *,
    end: tuple[float, float],
    offset: tuple[float, float],
    clockwise: bool,
    arc_tol: float,
) -> PlaneArc:
    """Return the arc of the centre form; lengths in mm.

    Raises
    ------
    ArcFault
        If a radius is 0, or the two radii differ by more than ``arc_tol``.
    """
    centre = (start[0] + offset[0], start[1] + offset[1])
    first = math.sqrt(offset[0] * offset[0] + offset[1] * offset[1])
    to_end = (end[0] - centre[0], end[1] - centre[1])
    second = math.sqrt(to_end[0] * to_end[0] + to_end[1] * to_end[1])
    if first == 0.0 or second == 0.0:
        raise ArcFault(
            "arc-radius-zero",
            f"the centre of the arc is its {'start' if first == 0.0 else 'end'}",
            "correct the offsets I, J, K or the end point",
        )
    if abs(first - second) > arc_tol:
        raise ArcFault(
            "arc-radius-mismatch",
            f"the centre is {first:.4f} mm from the arc's start and {second:.4f} mm from its end, "
            f"{abs(first - second):.4f} mm apart; {arc_tol:.4f} mm are allowed",
            "correct the end point or the offsets; they are measured from the arc's start",
        )
    if find_distance(start, end) <= SAME_POINT_MM:
        return PlaneArc(centre, -FULL_TURN_RAD if clockwise else FULL_TURN_RAD, first)
    out = math.atan2(start[1] - centre[1], start[0] - centre[0])
    back = math.atan2(to_end[1], to_end[0])
    return PlaneArc(centre, find_sweep(out, back, clockwise=clockwise), first)


def find_distance(start: tuple[float, float], end: tuple[float, float]) -> float:
    """Return how far two points are apart, rounded as numpy's square root of a sum of squares is."""
    x, y = end[0] - start[0], end[1] - start[1]
    return math.sqrt(x * x + y * y)


def find_sweep(start_rad: float, end_rad: float, *, clockwise: bool) -> float:
    """Return the turn between two directions, more than nothing and at most a whole one.

    Equal directions are a whole turn (section 4.3.6.1).
    """
    turn = start_rad - end_rad if clockwise else end_rad - start_rad
    for _ in range(2):  # a second time where the first gives nothing by rounding
        if turn <= 0.0:
            turn += FULL_TURN_RAD
    return -turn if clockwise else turn


def find_radius_arc(
    start: tuple[float, float], *, end: tuple[float, float], radius: float, clockwise: bool
) -> PlaneArc:
    """Return the arc of the radius form; a negative radius turns more than half way (section 3.5.3.1).

    Raises
    ------
    ArcFault
        If start and end coincide, the radius is 0, or the end is out of reach.
    """
    chord = (end[0] - start[0], end[1] - start[1])
    half = 0.5 * find_distance(start, end)
    if 2.0 * half <= SAME_POINT_MM:
        raise ArcFault(
            "arc-closed-radius",
            "an arc with R that ends where it starts has no certain centre",
            "give a whole circle by its centre with I, J, K, or as two halves",
        )
    size = abs(radius)
    if half > size * (1.0 + RADIUS_FORM_TOL):
        raise ArcFault(
            "arc-radius-small",
            f"radius {size:.4f} mm does not reach from start to end, which are {2.0 * half:.4f} mm apart",
            "correct R or the end point, or give the arc by its centre with I, J, K",
        )
    away = math.sqrt(max(size * size - half * half, 0.0))
    # The centre is to the left of the chord for a short counter-clockwise arc.
    left = away if (radius > 0.0) is not clockwise else -away
    unit = (chord[0] / (2.0 * half), chord[1] / (2.0 * half))
    centre = (
        0.5 * (start[0] + end[0]) - left * unit[1],
        0.5 * (start[1] + end[1]) + left * unit[0],
    )
    short = 2.0 * math.asin(min(half / size, 1.0))
    turn = short if radius > 0.0 else FULL_TURN_RAD - short
    return PlaneArc(centre, -turn if clockwise else turn, size)


def crosses_quadrant(arc: PlaneArc, *, start: tuple[float, float], arc_tol: float) -> bool:
    """Return whether an arc passes from one quadrant about its centre to another, by more than a distance."""
    slack = arc_tol / arc.radius
    first = math.atan2(start[1] - arc.centre[1], start[0] - arc.centre[0])
    low, high = sorted((first, first + arc.sweep_rad))
    quarter = 0.5 * math.pi
    return math.ceil((high - slack) / quarter) - math.floor((low + slack) / quarter) > 1
