"""Where bridges stand: on straights, away from corners, on edges that nobody will see if there are any."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import asin, ceil, inf, radians, tan

import numpy as np

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, find_point_at, lay_ruler
from cam.geometry.contour import BoolArray, Contour, FloatArray
from cam.panel.panel import Finish
from cam.plan.stretches import (
    Stretch,
    find_chains,
    find_gap_mm,
    find_nearest_place,
    find_path_radii_mm,
    find_stretches,
)
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
MAX_GAP_SHARE = 1.4
"""The widest gap between two bridges in spacings, along wall with waste beside it (common practice, no source)."""
MAX_BEND_MM = 0.3
"""On a curve a bridge is straight enough if its neck, measured along the path, is longer by no more than this."""
TANGENT_RAD = radians(1.0)
"""A joint that turns by less is none: the wall runs on."""
CHORD_KINK_RAD = radians(12.0)
"""A curve drawn as chords turns by no more at each joint; a sharper joint is a corner."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Footing:
    """Bridges along a wall, and what they stand on in words."""

    bridges: tuple[Bridge, ...]
    ground: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """Parts of a wall where bridges may stand, how far apart at least, and what they are in words."""

    words: str
    stretches: tuple[Stretch, ...]
    apart_mm: float


def find_lift(hold: Hold, *, cutter: Cutter) -> Lift:
    """Return how the cutter passes over bridges.

    Notes
    -----
    The cutter's disc reaches one radius into the bridge from either side, so the places where it is
    up are the bridge's length and a diameter apart: what is left is nowhere shorter than
    ``bridge_length_mm``. Flanks are as steep as the cutter may ramp, but never steeper than
    `MAX_FLANK_DEG`.
    """
    return Lift(
        half_top_mm=hold.bridge_length_mm / 2.0 + cutter.radius_mm,
        top_mm=hold.bridge_height_mm,
        flank_rad=radians(min(cutter.max_ramp_deg, MAX_FLANK_DEG)),
    )


def find_reach_mm(lift: Lift, *, floor_mm: float, path_radius_mm: float = inf) -> float:
    """Return how far along its path the cutter is off the floor on either side of a bridge's middle.

    Notes
    -----
    On a path of radius p the chord of length 2 h spans an arc of ``2 p asin(h / p)``.
    """
    half = lift.half_top_mm
    along = half if path_radius_mm == inf else path_radius_mm * asin(min(1.0, half / path_radius_mm))
    return along + (lift.top_mm - floor_mm) / tan(lift.flank_rad)


def find_gentle(path_radii_mm: FloatArray, *, lift: Lift, cutter: Cutter) -> BoolArray:
    """Return on which arcs a bridge is as good as on a straight, by the radius of the cutter's path, (n,).

    Notes
    -----
    Between two discs of radius c whose centres are 2 h apart on an arc of radius p, what is left of
    the arc measures ``p (2 asin(h / p) - 4 asin(c / 2 p))``; between them, straight across, ``2 (h - c)``.
    """
    half, reach = lift.half_top_mm, cutter.radius_mm
    gentle = path_radii_mm >= 2.0 * half
    p = np.where(gentle & np.isfinite(path_radii_mm), path_radii_mm, 1e9)
    neck = p * (2.0 * np.arcsin(half / p) - 4.0 * np.arcsin(reach / (2.0 * p)))
    return np.asarray(gentle & (neck - 2.0 * (half - reach) <= MAX_BEND_MM))


def lay_bridges(
    wall: Contour,
    *,
    hold: Hold,
    cutter: Cutter,
    floor_mm: float,
    waste: Waste,
    finishes: tuple[Finish, ...],
    origin: Origin,
) -> Footing:
    """Return bridges along a wall, as evenly as it allows, wherever there is waste to hold on to.

    Parameters
    ----------
    wall
        Counter-clockwise.
    finishes
        The class of each segment of the wall.

    Notes
    -----
    The whole lift stays beside its ground. Straights come first, those that will not be seen before
    all others; then curves so gentle that a bridge on them is as good as straight; last curves drawn
    as chords. Of `PHASES` even divisions the one whose places move least onto the ground is taken,
    ties to the first, so that the result is always the same. Where the places then lie too far apart
    more bridges than asked are tried, up to twice as many.

    Raises
    ------
    PlanRefused
        If the wall cannot take as many bridges as the job asks for, or not evenly enough.
    """
    ruler = lay_ruler(wall)
    lift = find_lift(hold, cutter=cutter)
    asked = hold.count_bridges(ruler.length_mm)
    counts = sorted({asked, asked + 1, asked + 2, ceil(1.5 * asked), 2 * asked})
    way = _find_held_way(ruler, waste=waste)
    widest = inf
    for ground in _find_grounds(ruler, lift=lift, cutter=cutter, floor_mm=floor_mm, waste=waste, finishes=finishes):
        stretches = _keep_anchored(ground.stretches, ruler=ruler, waste=waste, length_mm=hold.bridge_length_mm)
        for count in counts:
            places = _find_even_places(
                stretches, way=way, length_mm=ruler.length_mm, count=count, apart_mm=ground.apart_mm
            )
            if not places:
                continue
            gap = _find_widest_gap_mm(places, way=way, length_mm=ruler.length_mm)
            if gap <= MAX_GAP_SHARE * hold.bridge_spacing_mm:
                points = [find_point_at(ruler, place) for place in places]
                bridges = tuple(Bridge(x_mm=x, y_mm=y) for x, y in points)
                return Footing(bridges=bridges, ground=ground.words)
            widest = min(widest, gap)
    reach = find_reach_mm(lift, floor_mm=floor_mm)
    uneven = f"; at best {widest:.0f} mm of wall would stay without one" if widest < inf else ""
    raise PlanRefused(
        error(
            "no-place-for-bridges",
            f"{asked} bridges, each {2.0 * reach:.1f} mm long with its flanks, find no place on the straights and "
            f"gentle curves of this contour (length {ruler.length_mm:.0f} mm) that have waste beyond its kerf{uneven}",
            remedy="shorten bridge_length_mm, lower min_bridges, hold by a skin, move panels apart (margin_mm, at_mm), "
            "or clear the slug by raising clear_slug_below_mm2",
            origin=origin,
        )
    )


def _find_grounds(
    ruler: Ruler, *, lift: Lift, cutter: Cutter, floor_mm: float, waste: Waste, finishes: tuple[Finish, ...]
) -> Iterator[_Ground]:
    """Yield where bridges may stand, the best ground first."""
    segments = ruler.segments
    shown = np.array([finish is Finish.SHOWN for finish in finishes], dtype=np.bool_)
    reach = find_reach_mm(lift, floor_mm=floor_mm)
    keep, apart = reach + CORNER_CLEARANCE_MM, 2.0 * reach + CORNER_CLEARANCE_MM
    mixed = bool(shown.any() and not shown.all())
    if mixed:
        unseen = find_stretches(ruler, keep_mm=keep, chosen=~shown)
        yield _Ground(words="on straights that will not be seen", stretches=unseen, apart_mm=apart)
        seen = tuple(replace(each, shown=True) for each in find_stretches(ruler, keep_mm=keep, chosen=shown))
        yield _Ground(words="on straights, shown ones among them", stretches=(*unseen, *seen), apart_mm=apart)
    else:
        yield _Ground(words="on straights", stretches=find_stretches(ruler, keep_mm=keep), apart_mm=apart)
    # the finishing pass goes nearer to the wall than the roughing pass; the tighter path of both counts
    near, far = cutter.radius_mm, waste.kerf_mm - cutter.radius_mm
    paths = [find_path_radii_mm(segments, reach_mm=each, outside=waste.outside) for each in (near, far)]
    tightest = np.minimum(*paths)
    gentle = find_gentle(tightest, lift=lift, cutter=cutter)
    if not gentle.any():
        return
    shares = [
        find_reach_mm(lift, floor_mm=floor_mm, path_radius_mm=float(p)) * (1.0 if r == inf else float(r / p))
        for r, p in zip(segments.radius_mm[gentle], tightest[gentle], strict=True)
    ]
    keep, apart = max(shares) + CORNER_CLEARANCE_MM, 2.0 * max(shares) + CORNER_CLEARANCE_MM
    for kink, words in ((TANGENT_RAD, "gentle curves"), (CHORD_KINK_RAD, "curves drawn as chords")):
        for usable, which in ((gentle & ~shown, " that will not be seen"),) * mixed + ((gentle, ""),):
            stretches = find_chains(ruler, usable=usable, max_kink_rad=kink, keep_mm=keep)
            told = f"on {words}{which}, for want of straights that take them"
            yield _Ground(words=told, stretches=stretches, apart_mm=apart)


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
            replace(stretch, from_mm=float(places[first]), to_mm=float(places[last - 1]))
            for first, last in zip(edges[::2], edges[1::2], strict=True)
        ]
    return tuple(kept)


def _find_held_way(ruler: Ruler, *, waste: Waste) -> FloatArray:
    """Return how much wall with waste beside it lies before each of evenly spaced places, (m + 1,)."""
    count = max(8, ceil(ruler.length_mm / ANCHOR_STEP_MM))
    step = ruler.length_mm / count
    middles: FloatArray = (np.arange(count, dtype=np.float64) + 0.5) * step
    anchored = find_anchored(waste, ruler=ruler, places_mm=middles, length_mm=CORNER_CLEARANCE_MM)
    return np.concatenate(([0.0], np.cumsum(anchored * step)))


def _find_widest_gap_mm(places_mm: tuple[float, ...], *, way: FloatArray, length_mm: float) -> float:
    """Return the most wall with waste beside it that lies between two neighbouring places."""
    at = np.linspace(0.0, length_mm, len(way))
    passed = np.interp(np.sort(np.mod(places_mm, length_mm)), at, way)
    return float(np.diff(np.append(passed, passed[0] + way[-1])).max())


def _find_even_places(
    stretches: tuple[Stretch, ...], *, way: FloatArray, length_mm: float, count: int, apart_mm: float
) -> tuple[float, ...]:
    """Return the even division of the held way that moves least, or nothing.

    A shown edge counts as far as a quarter of a gap.
    """
    if not stretches or way[-1] <= 0.0:
        return ()
    best: tuple[float, ...] = ()
    least = inf
    at = np.linspace(0.0, length_mm, len(way))
    step = length_mm / count
    for phase in range(PHASES):
        shares = (phase / PHASES + np.arange(count)) / count
        moved = 0.0
        places: list[float] = []
        for wanted in np.interp(shares * way[-1], way, at).tolist():
            options = sorted(
                (shift + step / 4.0 * stretch.shown, place)
                for stretch in stretches
                for shift, place in [find_nearest_place(stretch, wanted, length_mm=length_mm)]
            )
            free = (
                (shift, place)
                for shift, place in options
                if all(find_gap_mm(place, other, length_mm=length_mm) >= apart_mm for other in places)
            )
            shift, place = next(free, (inf, 0.0))
            moved += shift**2
            if moved >= least - 1e-9:
                # no place is free, or another phase moves less already
                break
            places.append(place)
        if len(places) == count:
            best, least = tuple(sorted(place % length_mm for place in places)), moved
    return best
