"""Where bridges stand and where a contour begins: on straights, away from corners."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, inf, tan

import numpy as np

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, find_nearest_at, find_point_at, lay_ruler
from cam.geometry.contour import Contour
from cam.plan.waste import Waste, find_anchored
from cam.plan.workingstep import Bridge, Lift
from cam.tables.job import Hold
from cam.tables.rows import Cutter

CORNER_CLEARANCE_MM = 0.5
"""What a bridge's lift keeps from the end of its straight, and from the next one."""
MAX_FLANK_DEG = 45.0
"""The steepest flank: a cutter that may plunge comes down to a slope all the same."""
ANCHOR_STEP_MM = 5.0
"""How far apart a wall is asked for the waste beside it."""
PHASES = 36
"""How many starting places are tried for a ring of evenly spaced bridges."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Part of a wall that may carry a bridge's middle or a start, as distances along it."""

    from_mm: float
    to_mm: float


def find_lift(hold: Hold, *, cutter: Cutter) -> Lift:
    """Return how the cutter passes over bridges.

    Notes
    -----
    Beside a straight wall the cutter's disc reaches one radius into the bridge from either side, so
    the centre stays up for the bridge's length and a diameter: what is left is nowhere shorter than
    ``bridge_length_mm``. Flanks are as steep as the cutter may ramp, but never steeper than
    `MAX_FLANK_DEG`.
    """
    return Lift(
        half_top_mm=hold.bridge_length_mm / 2.0 + cutter.radius_mm,
        top_mm=hold.bridge_height_mm,
        flank_rad=float(np.radians(min(cutter.max_ramp_deg, MAX_FLANK_DEG))),
    )


def find_foot_mm(hold: Hold, *, lift: Lift) -> float:
    """Return the length of a bridge at the bed, flanks included."""
    return hold.bridge_length_mm + 2.0 * lift.top_mm / tan(lift.flank_rad)


def find_reach_mm(lift: Lift, *, floor_mm: float) -> float:
    """Return how far along its path the cutter is off the floor on either side of a bridge's middle."""
    return lift.half_top_mm + (lift.top_mm - floor_mm) / tan(lift.flank_rad)


def find_stretches(ruler: Ruler, *, keep_mm: float, min_radius_mm: float = inf) -> tuple[Stretch, ...]:
    """Return the parts of a wall that stay away from corners and radii.

    Parameters
    ----------
    keep_mm
        Distance from either end of a straight that is kept free.
    min_radius_mm
        Arcs of at least this radius count as straights; none by default.

    Notes
    -----
    Straights and gentle arcs that follow one another without a corner are one stretch each, not
    joined: a joint between them is kept free as well.
    """
    stretches = []
    for i in range(len(ruler.segments)):
        if ruler.segments.is_arc[i] and ruler.segments.radius_mm[i] < min_radius_mm:
            continue
        start, end = float(ruler.at_mm[i]) + keep_mm, float(ruler.at_mm[i + 1]) - keep_mm
        if end >= start:
            stretches.append(Stretch(from_mm=start, to_mm=end))
    return tuple(stretches)


def lay_bridges(
    wall: Contour, *, hold: Hold, cutter: Cutter, floor_mm: float, waste: Waste, origin: Origin
) -> tuple[Bridge, ...]:
    """Return bridges along a wall, as evenly as its straights allow, wherever there is waste to hold on to.

    Notes
    -----
    The whole lift stays beside its straight: in a radius the cutter's path is shorter than the wall,
    and a flank there would leave more of the wall standing than the foot. Straights come first;
    where they cannot take the number, arcs of at least ten times the foot's length are used as well.
    Of `PHASES` even divisions the one whose places move least onto the stretches is taken, ties to
    the first, so that the result is always the same.

    Raises
    ------
    PlanRefused
        If the wall cannot take as many bridges as the job asks for.
    """
    ruler = lay_ruler(wall)
    lift = find_lift(hold, cutter=cutter)
    foot = find_foot_mm(hold, lift=lift)
    count = hold.count_bridges(ruler.length_mm)
    reach = find_reach_mm(lift, floor_mm=floor_mm)
    for min_radius in (inf, 10.0 * foot):
        stretches = find_stretches(ruler, keep_mm=reach + CORNER_CLEARANCE_MM, min_radius_mm=min_radius)
        stretches = _keep_anchored(stretches, ruler=ruler, waste=waste, length_mm=hold.bridge_length_mm)
        places = _find_even_places(ruler.length_mm, stretches, count=count, apart_mm=2.0 * reach + CORNER_CLEARANCE_MM)
        if places:
            points = [find_point_at(ruler, place) for place in places]
            return tuple(Bridge(x_mm=x, y_mm=y) for x, y in points)
    raise PlanRefused(
        error(
            "no-place-for-bridges",
            f"{count} bridges, each {2.0 * reach:.1f} mm long with its flanks, find no place on the straights of this "
            f"contour (length {ruler.length_mm:.0f} mm) that has waste beyond its kerf",
            remedy="shorten bridge_length_mm, lower min_bridges, hold by a skin, move panels apart (margin_mm, at_mm), "
            "or clear the slug by raising clear_slug_below_mm2",
            origin=origin,
        )
    )


def _keep_anchored(
    stretches: tuple[Stretch, ...], *, ruler: Ruler, waste: Waste, length_mm: float
) -> tuple[Stretch, ...]:
    """Return what is left of stretches where a bridge reaches waste that stays."""
    kept = []
    for stretch in stretches:
        # no farther apart than a bridge is long, so that nothing is missed between two of them
        step = min(ANCHOR_STEP_MM, length_mm)
        count = max(3, ceil((stretch.to_mm - stretch.from_mm) / step) + 1)
        places = np.linspace(stretch.from_mm, stretch.to_mm, count)
        anchored = find_anchored(waste, ruler=ruler, places_mm=places, length_mm=length_mm)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], anchored, [False]))))
        kept += [
            Stretch(from_mm=float(places[first]), to_mm=float(places[last - 1]))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        ]
    return tuple(kept)


def _find_even_places(
    length_mm: float, stretches: tuple[Stretch, ...], *, count: int, apart_mm: float
) -> tuple[float, ...]:
    """Return the even division that moves least, or nothing."""
    if not stretches:
        return ()
    best: tuple[float, ...] = ()
    least = inf
    for phase in range(PHASES):
        step = length_mm / count
        moved = 0.0
        places: list[float] = []
        for k in range(count):
            wanted = (phase / PHASES + k) * step
            options = [_nearest(stretch, wanted, length_mm=length_mm) for stretch in stretches]
            free = [
                (shift, place)
                for shift, place in options
                if all(_gap(place, other, length_mm=length_mm) >= apart_mm for other in places)
            ]
            if not free:
                break
            shift, place = min(free)
            moved += shift**2
            places.append(place)
        if len(places) == count and moved < least - 1e-9:
            best, least = tuple(sorted(places)), moved
    return best


def _nearest(stretch: Stretch, wanted_mm: float, *, length_mm: float) -> tuple[float, float]:
    """Return how far the nearest place of a stretch is from a wanted one, and that place."""
    place = min(
        (min(max(wanted_mm + lap, stretch.from_mm), stretch.to_mm) for lap in (-length_mm, 0.0, length_mm)),
        key=lambda candidate: _gap(candidate, wanted_mm, length_mm=length_mm),
    )
    return _gap(place, wanted_mm, length_mm=length_mm), place


def _gap(a_mm: float, b_mm: float, *, length_mm: float) -> float:
    """Return the distance between two places round a closed wall."""
    apart = abs(a_mm - b_mm) % length_mm
    return min(apart, length_mm - apart)


def find_start(
    wall: Contour, *, bridges: tuple[Bridge, ...], lift: Lift | None, floor_mm: float
) -> tuple[float, float]:
    """Return where the finishing pass begins: as far from corners, radii and bridges as it can be.

    Notes
    -----
    Straights are searched first, then arcs, the gentlest radius first; places are tried every
    millimetre or 1/200 of the stretch, whichever is longer.
    """
    ruler = lay_ruler(wall)
    taken = [find_nearest_at(ruler, (bridge.x_mm, bridge.y_mm)) for bridge in bridges]
    reach = find_reach_mm(lift, floor_mm=floor_mm) if lift else 0.0
    radii = sorted({float(radius) for radius in ruler.segments.radius_mm}, reverse=True)
    best, clear = 0.0, -inf
    for min_radius in radii:
        for stretch in find_stretches(ruler, keep_mm=0.0, min_radius_mm=min_radius):
            length = stretch.to_mm - stretch.from_mm
            for place in np.linspace(stretch.from_mm, stretch.to_mm, max(3, min(201, int(length) + 1))).tolist():
                room = min(
                    [place - stretch.from_mm, stretch.to_mm - place]
                    + [_gap(place, other, length_mm=ruler.length_mm) - reach for other in taken]
                )
                if room > clear + 1e-9:
                    best, clear = place, room
        if clear > 0.0:
            break
    return find_point_at(ruler, best)
