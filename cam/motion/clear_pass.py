"""Clearing from the deepest place outwards: a helix or a ramp, rings at the stepover, arcs into the corners."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, cos, hypot, pi, sin, tan

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, find_heading_at, find_nearest_at, find_point_at, find_segment_at
from cam.geometry.contour import Region
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.moves import Move, MoveKind, Purpose, arc, line
from cam.motion.profile import Profile
from cam.motion.recess_cuts import Cut, CutKind, as_line, find_cuts, find_slot_parts
from cam.motion.recess_levels import grow_levels
from cam.motion.recess_link import Bend, find_link, lay_bends
from cam.plan.workingstep import Workingstep
from cam.tables.rows import Direction

CORE_SHARE = 0.9
"""The helix's radius is at most this share of the cutter's, so that no core stays in the middle."""
MIN_HELIX_SHARE = 0.3
"""A narrower helix would turn hundreds of times: the cutter goes down along the slit itself."""
MIN_LAP_SHARE = 1.0
"""The shortest lap on which it does so, in cutter radii: on less the chips have no way out."""
STAY_DOWN_DIAMETERS = 3.0
"""On a longer way to the next cut the cutter travels above the sheet."""
LATER_STARTS = (0.0, 1.0, 2.0, 4.0, 6.0)
"""How much farther round the last ring a link may leave it, in cutter radii, if it finds no room at once."""
SAME_MM = 1e-6
SLOT_MM = 0.05
"""So near to the line of a slot a place lies in the slot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Height:
    """A pass: from the height that was reached before down to the floor of this one."""

    step: Workingstep
    from_mm: float
    floor_mm: float
    air_mm: float
    rapid_mm: float


def lay_clearing(region: Region, *, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves that clear a region of tool centres, at each pass height.

    Parameters
    ----------
    region
        Where the cutter's centre may go while roughing: its contours are the last rings.

    Raises
    ------
    PlanRefused
        ``recess-too-small``, if the cutter finds no way down.

    Notes
    -----
    See :func:`cam.motion.recess_levels.grow_levels` for the rings, and why nothing is left between them.
    """
    levels = grow_levels(
        region,
        radius_mm=step.cutter.radius_mm,
        stepover_mm=step.stepover_mm,
        helix_mm=CORE_SHARE * step.cutter.radius_mm,
    )
    cuts = find_cuts(
        levels,
        radius_mm=step.cutter.radius_mm,
        stepover_mm=step.stepover_mm,
        against=step.rough_direction is not Direction.CLIMB,
    )
    order = order_cuts(cuts)
    moves: list[Move] = []
    reached = air_mm
    for floor in step.pass_heights_mm:
        height = Height(step=step, from_mm=reached, floor_mm=floor, air_mm=air_mm, rapid_mm=rapid_mm)
        moves += _clear_at(order, height=height)
        reached = floor
    return moves


def order_cuts(cuts: Sequence[Sequence[Cut]]) -> list[Cut]:
    """Return the cuts in order: ring after ring outwards as far as they follow, all of a level before its runs."""
    ordered: list[Cut] = []
    level = 0
    while level < len(cuts):
        batch = [cuts[level]]
        while _are_rings(cuts[level]) and level + 1 < len(cuts) and _are_rings(cuts[level + 1]):
            level += 1
            batch.append(cuts[level])
        ordered += _order_rings(batch) if len(batch) > 1 else _order_nearest(cuts[level], after=ordered)
        level += 1
    return ordered


def _are_rings(cuts: Sequence[Cut]) -> bool:
    return bool(cuts) and all(cut.kind is CutKind.RING for cut in cuts)


def _order_rings(batch: list[Sequence[Cut]]) -> list[Cut]:
    """Return rings in chains, each from the innermost outwards along one front."""
    left = [list(cuts) for cuts in batch]
    ordered: list[Cut] = []
    while any(left):
        level = next(i for i, cuts in enumerate(left) if cuts)
        cut: Cut | None = left[level].pop(0)
        while cut is not None:
            ordered.append(cut)
            level += 1
            if level == len(left) or not left[level]:
                break
            around = [(_find_gap_mm(cut, other), i) for i, other in enumerate(left[level])]
            gap, index = min(around)
            cut = left[level].pop(index) if gap < 0.05 + 1.2 * _find_gap_to_before(left[level][index]) else None
    return ordered


def _find_gap_mm(one: Cut, other: Cut) -> float:
    return float(shapely.distance(as_line(one), as_line(other)))


def _find_gap_to_before(cut: Cut) -> float:
    return float(shapely.distance(as_line(cut), cut.before))


def _order_nearest(cuts: Sequence[Cut], *, after: list[Cut]) -> list[Cut]:
    """Return the cuts of one level, the nearest to where the last one ended first."""
    left, ordered = list(cuts), []
    here = find_point_at(after[-1].ruler, after[-1].to_mm) if after else None
    while left:
        index = 0
        if here is not None:
            starts = [find_point_at(cut.ruler, cut.from_mm) for cut in left]
            index = int(np.argmin([hypot(x - here[0], y - here[1]) for x, y in starts]))
        ordered.append(left.pop(index))
        here = find_point_at(ordered[-1].ruler, ordered[-1].to_mm)
    return ordered


def _clear_at(order: list[Cut], *, height: Height) -> list[Move]:
    moves: list[Move] = []
    last: tuple[Ruler, float] | None = None
    ways: list[BaseGeometry] = []
    done: list[BaseGeometry] = []
    for cut in order:
        if cut.kind is CutKind.HELIX:
            moves += _lay_helix_cut(cut, moves=moves, height=height)
            last = None
        elif cut.kind is CutKind.OPENING:
            at, way = _lay_opening(cut, moves=moves, done=done, height=height)
            moves += way
            last = (cut.ruler, at)
        elif cut.kind is CutKind.RING:
            at, way = _lay_ring_in_slot(cut, moves=moves, ways=ways, height=height) or _lay_ring(
                cut, moves=moves, last=last, height=height
            )
            moves += way
            last = (cut.ruler, at)
        else:
            moves += _go_to(find_point_at(cut.ruler, cut.from_mm), moves=moves, cut=cut, height=height)
            moves += _follow(cut, from_mm=cut.from_mm, to_mm=cut.to_mm, height=height)
            last = None
        if cut.kind in (CutKind.LINE, CutKind.OPENING):
            done.append(as_line(cut))
        if cut.kind is CutKind.LINE:
            ways.append(done[-1])
    if moves:
        moves.append(retract(moves, rapid_mm=height.rapid_mm))
    return moves


def _lay_ring_in_slot(
    cut: Cut, *, moves: list[Move], ways: list[BaseGeometry], height: Height
) -> tuple[float, list[Move]] | None:
    """Return where a ring's lap begins, and the moves, if it meets a slot: onto it along the slot, nothing to cut."""
    ring = shapely.LinearRing(as_line(cut).coords)
    near = [way for way in ways if way.distance(ring) < SLOT_MM]
    if not near or not moves:
        return None
    here = shapely.Point(moves[-1].to_mm[:2])
    found = []
    for way in near:
        onto = _find_start(shapely.shortest_line(way, ring))
        at = find_nearest_at(cut.ruler, onto)
        radius = height.step.cutter.radius_mm
        around = [find_segment_at(cut.ruler, at + share * radius) for share in (-1.0, -0.5, 0.0, 0.5, 1.0)]
        if cut.ruler.segments.radius_mm[around].min() < 2.0 * radius:
            # in a tight corner the outer edge, whose feed rules, would have nothing to cut yet
            continue
        cleared = way.intersection(cut.before)
        if cleared.is_empty:
            continue
        beside = _find_start(shapely.shortest_line(cleared, shapely.Point(find_point_at(cut.ruler, at))))
        start = (here.x, here.y) if way.distance(here) < SLOT_MM else beside
        if way.buffer(SLOT_MM).covers(shapely.LineString([start, find_point_at(cut.ruler, at)])):
            found.append((here.distance(shapely.Point(start)), at, start))
    if not found:
        return None
    _, at, start = min(found)
    way_there = _go_to(start, moves=moves, cut=cut, height=height)
    feed = height.step.rough.feed_mm_per_min
    way_there.append(line((*find_point_at(cut.ruler, at), height.floor_mm), feed_mm_per_min=feed, purpose=Purpose.LINK))
    return at, way_there + _follow(cut, from_mm=at, to_mm=at + cut.ruler.length_mm, height=height)


def _find_start(line: BaseGeometry) -> tuple[float, float]:
    x, y = line.coords[0]
    return float(x), float(y)


def _lay_ring(
    cut: Cut, *, moves: list[Move], last: tuple[Ruler, float] | None, height: Height
) -> tuple[float, list[Move]]:
    """Return where a ring's lap begins and ends, and the moves: from the last ring beside it, or over the top."""
    radius = height.step.cutter.radius_mm
    if last is not None and _lies_beside(cut, point=moves[-1].to_mm[:2], radius_mm=radius):
        ruler, at = last
        for later in LATER_STARTS:
            leave = at + later * radius
            point = find_point_at(ruler, leave)
            link = find_link(
                cut.ruler,
                from_mm=point,
                heading_rad=find_heading_at(ruler, leave),
                radius_mm=radius,
                within=cut.within,
            )
            if link is not None and _lies_beside(cut, point=point, radius_mm=radius):
                way = _follow_on(ruler, from_mm=at, to_mm=leave, height=height) if later else []
                return _enter_ring(cut, way=way, start=point, bends=link.bends, at_mm=link.at_mm, height=height)
    return _lay_ring_afresh(cut, moves=moves, height=height)


def _lies_beside(cut: Cut, *, point: tuple[float, float], radius_mm: float) -> bool:
    """Return whether a ring passes within a cutter's radius of a place that has been cut."""
    x, y = find_point_at(cut.ruler, find_nearest_at(cut.ruler, point))
    return hypot(x - point[0], y - point[1]) <= radius_mm and cut.before.distance(shapely.Point(point)) < 0.01


def _lay_ring_afresh(cut: Cut, *, moves: list[Move], height: Height) -> tuple[float, list[Move]]:
    """Return where a ring's lap begins, and the moves: down in what is cleared beside it, and onto it."""
    radius = height.step.cutter.radius_mm
    straight: tuple[float, tuple[float, float]] | None = None
    for at in _find_ring_starts(cut, moves=moves):
        point = find_point_at(cut.ruler, at)
        x, y = _find_start(shapely.shortest_line(cut.before, shapely.Point(point)))
        straight = straight or (at, (x, y))
        link = find_link(
            cut.ruler,
            from_mm=(x, y),
            heading_rad=find_heading_at(cut.ruler, at),
            radius_mm=radius,
            within=cut.within,
        )
        if link is not None:
            way = _go_to((x, y), moves=moves, cut=cut, height=height)
            return _enter_ring(cut, way=way, start=(x, y), bends=link.bends, at_mm=link.at_mm, height=height)
    assert straight is not None
    at, beside = straight
    way = _go_to(beside, moves=moves, cut=cut, height=height)
    feed = height.step.rough.feed_mm_per_min
    way.append(line((*find_point_at(cut.ruler, at), height.floor_mm), feed_mm_per_min=feed, purpose=Purpose.LINK))
    return at, way + _follow(cut, from_mm=at, to_mm=at + cut.ruler.length_mm, height=height)


def _find_ring_starts(cut: Cut, *, moves: list[Move]) -> list[float]:
    """Return places to begin a ring: the nearest one, then the middles of its segments, the longest first."""
    lengths = np.diff(cut.ruler.at_mm)
    middles = (cut.ruler.at_mm[:-1] + cut.ruler.at_mm[1:]) / 2.0
    longest = [float(middles[i]) for i in np.argsort(-lengths, kind="stable")[:8]]
    return [find_nearest_at(cut.ruler, moves[-1].to_mm[:2]), *longest] if moves else longest


def _enter_ring(
    cut: Cut,
    *,
    way: list[Move],
    start: tuple[float, float],
    bends: tuple[Bend, ...],
    at_mm: float,
    height: Height,
) -> tuple[float, list[Move]]:
    moves = [
        *way,
        *lay_bends(
            bends,
            start_mm=start,
            z_mm=height.floor_mm,
            feed_mm_per_min=height.step.rough.feed_mm_per_min,
            reach_mm=height.step.cutter.radius_mm,
            material_right=height.step.rough_direction is Direction.CLIMB,
        ),
    ]
    return at_mm, moves + _follow(cut, from_mm=at_mm, to_mm=at_mm + cut.ruler.length_mm, height=height)


def _follow(cut: Cut, *, from_mm: float, to_mm: float, height: Height) -> list[Move]:
    """Return the moves along a cut, as slot where it is one."""
    moves: list[Move] = []
    for start, end, slot in find_slot_parts(cut, from_mm=from_mm, to_mm=to_mm):
        level = Profile(at_mm=(start, end), z_mm=(height.floor_mm, height.floor_mm))
        purpose = Purpose.SLOT if slot else Purpose.ROUGH
        # beside what is cleared the wall's side alone bites: the outer edge of an arc round it runs free
        bite = Bite.UP_TO_SLOT if slot else Bite.WALL
        moves += _follow_profile(cut.ruler, profile=level, purpose=purpose, bite=bite, height=height)
    return moves


def _follow_on(ruler: Ruler, *, from_mm: float, to_mm: float, height: Height) -> list[Move]:
    level = Profile(at_mm=(from_mm, to_mm), z_mm=(height.floor_mm, height.floor_mm))
    return _follow_profile(ruler, profile=level, purpose=Purpose.LINK, height=height)


def _follow_profile(
    ruler: Ruler, *, profile: Profile, purpose: Purpose, height: Height, bite: Bite = Bite.SLOT
) -> list[Move]:
    step = height.step
    return follow(
        ruler,
        profile=profile,
        nominal=profile,
        cut=step.rough,
        reach_mm=step.cutter.radius_mm,
        waste_left=step.rough_direction is Direction.CLIMB,
        bite=bite,
        purpose=purpose,
        groove_mm=step.groove_mm,
    )


def _go_to(point: tuple[float, float], *, moves: list[Move], cut: Cut, height: Height) -> list[Move]:
    """Return the way to a place that has been cut: at the floor where it is near and clear, else above the sheet."""
    floor, step = height.floor_mm, height.step
    if moves and moves[-1].kind is not MoveKind.RAPID:
        here = moves[-1].to_mm
        apart = hypot(point[0] - here[0], point[1] - here[1])
        if apart < SAME_MM:
            return []
        clear = cut.before.buffer(SAME_MM).covers(shapely.LineString([here[:2], point]))
        if clear and apart <= STAY_DOWN_DIAMETERS * step.cutter.diameter_mm:
            return [line((*point, floor), feed_mm_per_min=step.rough.feed_mm_per_min, purpose=Purpose.LINK)]
    way = [retract(moves, rapid_mm=height.rapid_mm)] if moves and moves[-1].kind is not MoveKind.RAPID else []
    way += approach(point, air_mm=height.air_mm, rapid_mm=height.rapid_mm)
    way.append(line((*point, floor), feed_mm_per_min=step.rough.plunge_mm_per_min, purpose=Purpose.ENTRY))
    return way


def _lay_helix_cut(cut: Cut, *, moves: list[Move], height: Height) -> list[Move]:
    middle = as_line(cut).envelope.centroid
    return _lay_helix((float(middle.x), float(middle.y)), radius_mm=cut.room_mm, moves=moves, height=height)


def _lay_opening(cut: Cut, *, moves: list[Move], done: list[BaseGeometry], height: Height) -> tuple[float, list[Move]]:
    """Return the way into the solid: a helix and a slot, or laps that ramp down where there is no room.

    With it comes where along the contour it ends.
    """
    radius = height.step.cutter.radius_mm
    cleared = shapely.union_all([cut.before, *done])
    begin = _find_solid_start(cut, cleared=cleared)
    start = find_point_at(cut.ruler, begin)
    helix = min(CORE_SHARE * radius, cut.room_mm)
    # a helix that meets what is cleared already cuts in places with its inner side alone
    solid = cleared.is_empty or cleared.distance(shapely.Point(start)) >= helix + 2.0 * radius
    if helix >= MIN_HELIX_SHARE * radius and (solid or cut.ruler.length_mm < MIN_LAP_SHARE * radius):
        way = _lay_helix(start, radius_mm=helix, moves=moves, height=height, solid=solid)
        feed = height.step.rough.feed_mm_per_min
        way.append(line((*start, height.floor_mm), feed_mm_per_min=feed, purpose=Purpose.LINK))
        # begun elsewhere than at the end of a slit, all of it is run
        end = begin + (cut.to_mm if begin == 0.0 else cut.ruler.length_mm)
        return end, way + _follow(cut, from_mm=begin, to_mm=end, height=height)
    if cut.ruler.length_mm < MIN_LAP_SHARE * radius:
        raise PlanRefused(
            error(
                "recess-too-small",
                f"cutter {height.step.cutter.name} would go down on a lap of {cut.ruler.length_mm:.2f} mm; it needs "
                f"{MIN_LAP_SHARE * radius:.2f} mm",
                remedy="choose a smaller cutter, or widen the recess in the drawing",
                origin=Origin(panel=height.step.panel, feature=height.step.feature, x_mm=start[0], y_mm=start[1]),
            )
        )
    way = _come_down(start, moves=moves, height=height)
    run = (height.from_mm - height.floor_mm) / tan(height.step.ramp_rad)
    profile = Profile(
        at_mm=(begin, begin + run, begin + run + cut.ruler.length_mm),
        z_mm=(height.from_mm, height.floor_mm, height.floor_mm),
    )
    end = begin + run + cut.ruler.length_mm
    return end, way + _follow_profile(cut.ruler, profile=profile, purpose=Purpose.SLOT, height=height)


def _find_solid_start(cut: Cut, *, cleared: BaseGeometry) -> float:
    """Return where an opening begins: the place farthest from what is cleared already."""
    if cleared.is_empty:
        return 0.0
    at = np.linspace(0.0, cut.ruler.length_mm, 65)[:-1]
    points = np.asarray(shapely.points(np.array([find_point_at(cut.ruler, float(place)) for place in at])))
    return float(at[int(np.argmax(shapely.distance(points, cut.before)))])


def _come_down(point: tuple[float, float], *, moves: list[Move], height: Height) -> list[Move]:
    """Return the way to the height that was reached before, above a place that is still solid."""
    way = [retract(moves, rapid_mm=height.rapid_mm)] if moves and moves[-1].kind is not MoveKind.RAPID else []
    way += approach(point, air_mm=height.air_mm, rapid_mm=height.rapid_mm)
    if height.from_mm < height.air_mm:
        plunge = height.step.rough.plunge_mm_per_min
        way.append(line((*point, height.from_mm), feed_mm_per_min=plunge, purpose=Purpose.ENTRY))
    return way


def _lay_helix(
    centre: tuple[float, float], *, radius_mm: float, moves: list[Move], height: Height, solid: bool = True
) -> list[Move]:
    """Return whole turns down at no more than the ramp angle, and one level turn at the bottom.

    Notes
    -----
    In the solid the outer side holds the feed. Elsewhere the inner side may bite alone: there the level
    turn is fed no slower than the table's lowest chip at the centre asks for.
    """
    step = height.step
    turn = 1.0 if step.rough_direction is Direction.CLIMB else -1.0
    drop = height.from_mm - height.floor_mm
    turns = max(1, ceil(drop / (2.0 * pi * radius_mm * tan(step.ramp_rad)) - 1e-9))
    way = _come_down((centre[0] + radius_mm, centre[1]), moves=moves, height=height)
    factor = radius_mm / (radius_mm + step.cutter.radius_mm)
    level_feed = step.rough.feed_mm_per_min * factor
    if not solid:
        level_feed = max(level_feed, step.rough.feed_mm_per_min * step.rough.chip_low_mm / step.rough.chip_load_mm)
    for half in range(1, 2 * turns + 3):
        falling = half <= 2 * turns
        at = half * pi * turn
        z = height.floor_mm if half >= 2 * turns else height.from_mm - drop * half / (2 * turns)
        feed = step.rough.ramp_feed_mm_per_min * factor if falling else level_feed
        way.append(
            arc(
                (centre[0] + radius_mm * cos(at), centre[1] + radius_mm * sin(at), z),
                centre_mm=centre,
                sweep_rad=turn * pi,
                feed_mm_per_min=feed,
                purpose=Purpose.ENTRY if falling else Purpose.SLOT,
            )
        )
    return way
