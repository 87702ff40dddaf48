"""Roughing and finishing round one wall: ramps, laps, bridges, tangent leads."""

from __future__ import annotations

from collections.abc import Iterator
from math import dist, hypot, pi, tan

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, find_nearest_at, find_point_at, lay_ruler, start_at
from cam.geometry.contour import Contour
from cam.geometry.transform import reverse
from cam.motion.follow import Bite, approach, follow, retract
from cam.motion.lead import Lead, find_lead, lead_in, lead_out
from cam.motion.moves import Move, Purpose, line
from cam.motion.profile import Profile, lift_over, ramp_in_passes
from cam.plan.starts import find_further_starts, find_starts
from cam.plan.workingstep import Operation, Workingstep
from cam.tables.rows import Direction

OVERLAPS_MM = (2.0, 1.0, 0.5)
"""How far a finishing pass goes on past its start before it leaves: the first at which it finds room to."""


def lay_roughing(path: Contour, *, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the roughing passes along a tool-centre path (counter-clockwise), entered by ramps."""
    ruler = lay_directed(path, step=step, direction=step.rough_direction, near_mm=step.start_mm)
    nominal = ramp_in_passes(
        air_mm=air_mm, pass_heights_mm=step.pass_heights_mm, lap_mm=ruler.length_mm, ramp_rad=step.ramp_rad
    )
    moves = approach(find_point_at(ruler, 0.0), air_mm=air_mm, rapid_mm=rapid_mm)
    moves += follow(
        ruler,
        profile=lift_over_bridges(nominal, ruler=ruler, step=step),
        nominal=nominal,
        cut=step.rough,
        reach_mm=step.cutter.radius_mm,
        waste_left=step.rough_direction is Direction.CLIMB,
        bite=Bite.SLOT,
        purpose=Purpose.ROUGH,
        groove_mm=step.groove_mm,
    )
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def lay_finishing(path: Contour, *, slot: Contour, step: Workingstep, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the finishing pass: down the roughed slot, a tangent arc in, one lap and overlap, an arc out.

    Parameters
    ----------
    path, slot
        Tool-centre paths (counter-clockwise) of the finishing pass, and of the roughing that
        cleared the way for it.

    Raises
    ------
    PlanRefused
        If no start along the wall has room for its leads.
    """
    ruler, begin, end = _find_leads(path, step=step)
    waste_left = step.finish_direction is Direction.CLIMB
    moves = _enter_slot(slot, to_mm=begin.far_mm, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    feed = step.finish.feed_mm_per_min
    if hypot(moves[-1].to_mm[0] - begin.far_mm[0], moves[-1].to_mm[1] - begin.far_mm[1]) > 1e-6:
        moves.append(line((*begin.far_mm, step.floor_mm), feed_mm_per_min=feed, purpose=Purpose.LEAD))
    moves.append(lead_in(begin, z_mm=step.floor_mm, feed_mm_per_min=feed, reach_mm=step.cutter.radius_mm))
    lap = Profile(at_mm=(0.0, ruler.length_mm + end.at_mm), z_mm=(step.floor_mm, step.floor_mm))
    moves += follow(
        ruler,
        profile=lift_over_bridges(lap, ruler=ruler, step=step),
        nominal=lap,
        cut=step.finish,
        reach_mm=step.cutter.radius_mm,
        waste_left=waste_left,
        bite=Bite.WALL,
        purpose=Purpose.FINISH,
    )
    moves.append(lead_out(end, z_mm=step.floor_mm, feed_mm_per_min=feed, reach_mm=step.cutter.radius_mm))
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _find_leads(path: Contour, *, step: Workingstep) -> tuple[Ruler, Lead, Lead]:
    """Return the path from the first start that has room, with the leads in and out."""
    waste_left = step.finish_direction is Direction.CLIMB
    refused: PlanRefused | None = None
    for start in _offer_starts(step):
        ruler = lay_directed(path, step=step, direction=step.finish_direction, near_mm=start)
        try:
            begin = find_lead(ruler, places_mm=(0.0,), step=step, waste_left=waste_left, arriving=True)
            end = find_lead(ruler, places_mm=OVERLAPS_MM, step=step, waste_left=waste_left, arriving=False)
            _refuse_leads_on_bridges(begin, end, ruler=ruler, step=step)
        except PlanRefused as refusal:
            refused = refused or refusal
            continue
        return ruler, begin, end
    raise refused or AssertionError("a contour has a start")


def _offer_starts(step: Workingstep) -> Iterator[tuple[float, float]]:
    """Yield where the finishing pass may begin: the planned place, and only if that will not do the others."""
    yield step.start_mm
    yield from (start for start in (*find_starts(step), *find_further_starts(step)) if start != step.start_mm)


def _refuse_leads_on_bridges(begin: Lead, end: Lead, *, ruler: Ruler, step: Workingstep) -> None:
    """Refuse leads that would cut a bridge or its flank: they run at the floor."""
    low, high = begin.at_mm - dist(begin.near_mm, begin.far_mm), end.at_mm + dist(end.near_mm, end.far_mm)
    level = Profile(at_mm=(low, high), z_mm=(step.floor_mm, step.floor_mm))
    if max(lift_over_bridges(level, ruler=ruler, step=step).z_mm) <= step.floor_mm:
        return
    x, y = begin.near_mm
    raise PlanRefused(
        error(
            "no-room-for-lead",
            f"the bridges leave less than {high - low:.1f} mm of wall between them for the finishing pass to begin and "
            "end on",
            remedy="ask for fewer bridges (bridge_spacing_mm, min_bridges) or shorter ones, or hold by a skin",
            origin=Origin(panel=step.panel, feature=step.feature, x_mm=x, y_mm=y),
        )
    )


def _enter_slot(
    slot: Contour, *, to_mm: tuple[float, float], step: Workingstep, air_mm: float, rapid_mm: float
) -> list[Move]:
    """Return the way down through a slot that roughing left, ending beside a lead's far end."""
    ruler = lay_directed(slot, step=step, direction=step.finish_direction, near_mm=to_mm)
    slope = step.lift.flank_rad if step.lift else step.ramp_rad
    run = (air_mm - step.floor_mm) / tan(slope)
    nominal = Profile(at_mm=(-run, 0.0), z_mm=(air_mm, step.floor_mm))
    moves = approach(find_point_at(ruler, -run), air_mm=air_mm, rapid_mm=rapid_mm)
    return moves + follow(
        ruler,
        profile=lift_over_bridges(nominal, ruler=ruler, step=step),
        nominal=nominal,
        cut=step.rough,
        reach_mm=step.cutter.radius_mm,
        waste_left=step.finish_direction is Direction.CLIMB,
        bite=Bite.SLOT,
        purpose=Purpose.ENTRY,
    )


def turns_counter_clockwise(operation: Operation, *, direction: Direction) -> bool:
    """Return which way round a wall the cutter goes.

    Notes
    -----
    A right-hand cutter seen from above climbs where the part lies to the right of its travel and the
    waste to its left: counter-clockwise inside a wall, clockwise outside one (common practice, no
    source).
    """
    return (direction is Direction.CLIMB) != (operation is Operation.OUTSIDE)


def lay_directed(path: Contour, *, step: Workingstep, direction: Direction, near_mm: tuple[float, float]) -> Ruler:
    """Return a path in a direction, started at its point nearest to another."""
    contour = path if turns_counter_clockwise(step.operation, direction=direction) else reverse(path)
    ruler = lay_ruler(contour)
    return lay_ruler(start_at(contour, at_mm=find_nearest_at(ruler, near_mm)))


def lift_over_bridges(profile: Profile, *, ruler: Ruler, step: Workingstep) -> Profile:
    """Return a profile along a tool-centre path raised over the step's bridges."""
    places = tuple(find_nearest_at(ruler, (bridge.x_mm, bridge.y_mm)) for bridge in step.bridges)
    half_tops = tuple(
        find_half_top_mm(ruler, at_mm=at, half_chord_mm=step.lift.half_top_mm) if step.lift else 0.0 for at in places
    )
    return lift_over(
        profile,
        bridges_mm=places,
        half_tops_mm=half_tops,
        lift=step.lift,
        lap_mm=ruler.length_mm,
        floor_mm=step.floor_mm,
    )


def find_half_top_mm(ruler: Ruler, *, at_mm: float, half_chord_mm: float) -> float:
    """Return how far along a path its points on either side of a place are a chord apart, straight across.

    Notes
    -----
    On a straight that is half the chord; on a curve more, on an arc of radius p ``p asin(h / p)``. Found by
    halving, to 1e-9 mm, between half the chord and the half circle over it.
    """
    low, high = half_chord_mm, min(half_chord_mm * pi / 2.0, ruler.length_mm / 2.0)
    if _find_chord_mm(ruler, at_mm=at_mm, half_mm=low) >= 2.0 * half_chord_mm - 1e-9:
        return low
    while high - low > 1e-9:
        middle = (low + high) / 2.0
        if _find_chord_mm(ruler, at_mm=at_mm, half_mm=middle) < 2.0 * half_chord_mm:
            low = middle
        else:
            high = middle
    return high


def _find_chord_mm(ruler: Ruler, *, at_mm: float, half_mm: float) -> float:
    return dist(find_point_at(ruler, at_mm - half_mm), find_point_at(ruler, at_mm + half_mm))
