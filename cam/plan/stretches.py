"""Parts of a wall where something may stand: straights, gentle curves, and chains of both."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from cam.geometry.along import Ruler
from cam.geometry.contour import BoolArray, FloatArray, Segments


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Part of a wall that may carry a bridge's middle or a start, as distances along it.

    ``to_mm`` may lie beyond the wall's length where the stretch runs over its first point. ``shown``
    tells whether the edge there will be seen.
    """

    from_mm: float
    to_mm: float
    shown: bool = False


def find_stretches(
    ruler: Ruler, *, keep_mm: float, min_radius_mm: float = inf, chosen: BoolArray | None = None
) -> tuple[Stretch, ...]:
    """Return the parts of a wall that stay away from corners and radii.

    Parameters
    ----------
    keep_mm
        Distance from either end of a straight that is kept free.
    min_radius_mm
        Arcs of at least this radius count as straights; none by default.
    chosen
        (n,) which segments may be taken; all by default.

    Notes
    -----
    Straights and gentle arcs that follow one another without a corner are one stretch each, not
    joined: a joint between them is kept free as well.
    """
    stretches = []
    for i in range(len(ruler.segments)):
        if ruler.segments.is_arc[i] and ruler.segments.radius_mm[i] < min_radius_mm:
            continue
        if chosen is not None and not chosen[i]:
            continue
        start, end = float(ruler.at_mm[i]) + keep_mm, float(ruler.at_mm[i + 1]) - keep_mm
        if end >= start:
            stretches.append(Stretch(from_mm=start, to_mm=end))
    return tuple(stretches)


def find_chains(ruler: Ruler, *, usable: BoolArray, max_kink_rad: float, keep_mm: float) -> tuple[Stretch, ...]:
    """Return runs of usable segments that follow one another without a corner, each as one stretch.

    Parameters
    ----------
    usable
        (n,) which segments may be taken.
    max_kink_rad
        A joint that turns by more is a corner.
    keep_mm
        Distance from either end of a chain that is kept free; a chain that closes has no end.
    """
    count = len(ruler.segments)
    goes_on = np.abs(find_turns_rad(ruler.segments)) <= max_kink_rad
    joined = usable & np.roll(usable, 1) & goes_on
    if joined.all():
        return (Stretch(from_mm=0.0, to_mm=ruler.length_mm),)
    stretches = []
    for first in np.flatnonzero(usable & ~joined).tolist():
        last = first
        while joined[(last + 1) % count]:
            last += 1
        laps, end = divmod(last + 1, count)
        start_mm = float(ruler.at_mm[first]) + keep_mm
        end_mm = float(ruler.at_mm[end]) + laps * ruler.length_mm - keep_mm
        if end_mm >= start_mm:
            stretches.append(Stretch(from_mm=start_mm, to_mm=end_mm))
    return tuple(stretches)


def find_turns_rad(segments: Segments) -> FloatArray:
    """Return by how much the way turns at the start of each segment, (n,), positive to the left."""
    spoke = segments.end_mm - segments.centre_mm
    first = segments.start_mm - segments.centre_mm
    side = np.where(segments.sweep_rad > 0.0, 0.5, -0.5) * np.pi
    chord = segments.end_mm - segments.start_mm
    along = np.arctan2(chord[:, 1], chord[:, 0])
    arc = segments.is_arc
    leaving = np.where(arc, np.arctan2(first[:, 1], first[:, 0]) + side, along)
    arriving = np.where(arc, np.arctan2(spoke[:, 1], spoke[:, 0]) + side, along)
    return np.asarray(np.mod(leaving - np.roll(arriving, 1) + np.pi, 2.0 * np.pi) - np.pi)


def find_path_radii_mm(segments: Segments, *, reach_mm: float, outside: bool) -> FloatArray:
    """Return the radius of the tool-centre path beside each segment of a counter-clockwise wall, (n,).

    It is inf beside a straight, and negative or zero where the cutter does not pass.
    """
    outer = (segments.sweep_rad > 0.0) == outside
    return np.asarray(segments.radius_mm + np.where(outer, reach_mm, -reach_mm))


def find_gap_mm(a_mm: float, b_mm: float, *, length_mm: float) -> float:
    """Return the distance between two places round a closed wall."""
    apart = abs(a_mm - b_mm) % length_mm
    return min(apart, length_mm - apart)


def find_nearest_place(stretch: Stretch, wanted_mm: float, *, length_mm: float) -> tuple[float, float]:
    """Return how far the nearest place of a stretch is from a wanted one, and that place."""
    first, last = stretch.from_mm, stretch.to_mm
    nearest, place = inf, first
    for lap in (-length_mm, 0.0, length_mm):
        candidate = min(max(wanted_mm + lap, first), last)
        gap = find_gap_mm(candidate, wanted_mm, length_mm=length_mm)
        if gap < nearest:
            nearest, place = gap, candidate
            if gap == 0.0:
                break
    return nearest, place
