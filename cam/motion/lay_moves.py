"""Workingsteps to moves."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import measure_length_mm
from cam.geometry.offset import offset_region
from cam.motion.bore_pass import MIN_HELIX_SHARE, lay_bore
from cam.motion.chamfer_pass import lay_chamfer
from cam.motion.clear_pass import lay_clearing
from cam.motion.contour_pass import lay_finishing, lay_roughing
from cam.motion.drill_pass import lay_drill
from cam.motion.groove_pass import lay_groove
from cam.motion.last_pass import lay_last_pass
from cam.motion.moves import Move
from cam.motion.recess_pass import lay_recess
from cam.plan.workingstep import Operation, Plan, Workingstep


@dataclass(frozen=True, slots=True, kw_only=True)
class StepMoves:
    """The moves of one workingstep; they start and end at the plan's rapid height."""

    step: Workingstep
    moves: tuple[Move, ...]


def lay_moves(plan: Plan) -> tuple[StepMoves, ...]:
    """Return the tool-centre moves of each workingstep, in order.

    Raises
    ------
    PlanRefused
        If the cutter cannot reach all of a contour.
    """
    return tuple(
        StepMoves(step=step, moves=tuple(_lay_step(step, air_mm=plan.air_mm, rapid_mm=plan.rapid_mm)))
        for step in plan.workingsteps
    )


def _lay_step(step: Workingstep, *, air_mm: float, rapid_mm: float) -> list[Move]:
    if step.operation is Operation.CHAMFER:
        return lay_chamfer(step, air_mm=air_mm, rapid_mm=rapid_mm)
    if step.operation in (Operation.DRILL, Operation.PILOT):
        return lay_drill(step, air_mm=air_mm, rapid_mm=rapid_mm)
    if step.recess is not None:
        lay = lay_recess if step.recess.centre_line is None else lay_groove
        return lay(step, air_mm=air_mm, rapid_mm=rapid_mm)
    if step.operation is Operation.BORE:
        return lay_bore(step, air_mm=air_mm, rapid_mm=rapid_mm)
    path = find_centre_path(step, reach_mm=step.cutter.radius_mm)
    slot = find_centre_path(step, reach_mm=step.cutter.radius_mm + step.allowance_mm)
    _refuse_tight_lap(slot, step=step)
    if step.operation is Operation.CLEAR:
        moves = lay_clearing(Region(outer=slot), step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    else:
        moves = lay_roughing(slot, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    moves += lay_finishing(path, slot=slot, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    if step.last is not None:
        moves += lay_last_pass(path, last=step.last, step=step, air_mm=air_mm, rapid_mm=rapid_mm)
    return moves


def _refuse_tight_lap(slot: Contour, *, step: Workingstep) -> None:
    """Refuse a path so short that the way down would take hundreds of laps and the chips have no way out."""
    least_mm = 2.0 * pi * MIN_HELIX_SHARE * step.cutter.radius_mm
    length_mm = measure_length_mm(slot)
    if length_mm < least_mm:
        raise PlanRefused(
            error(
                "cutout-too-small",
                f"cutter {step.cutter.name} would go down on a lap of {length_mm:.2f} mm; it needs {least_mm:.2f} mm, "
                "as much as in the smallest hole that it bores",
                remedy="choose a smaller cutter, or widen the cut-out in the drawing",
                origin=Origin(panel=step.panel, feature=step.feature),
            )
        )


def find_centre_path(step: Workingstep, *, reach_mm: float) -> Contour:
    """Return the path of the cutter's centre at a distance from a step's wall, counter-clockwise.

    Raises
    ------
    PlanRefused
        If the cutter does not pass everywhere along the wall, so that the path falls into parts.
    """
    outside = step.operation is Operation.OUTSIDE
    regions = offset_region(Region(outer=step.wall), distance_mm=reach_mm if outside else -reach_mm)
    if len(regions) != 1 or regions[0].holes:
        parts = sum(len(region.contours) for region in regions)
        raise PlanRefused(
            error(
                "neck-too-narrow",
                f"cutter {step.cutter.name} at {reach_mm:.2f} mm from the wall does not pass everywhere along this "
                f"contour: its path falls into {parts} parts",
                remedy="choose a smaller cutter or a smaller allowance, or widen the neck in the drawing",
                origin=Origin(panel=step.panel, feature=step.feature),
            )
        )
    return regions[0].outer
