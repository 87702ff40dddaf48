"""A workingstep's choices in words, for the plan explained."""

from __future__ import annotations

from math import degrees

from cam.plan.workingstep import WITHOUT_FINISHING, Operation, Workingstep


def say_entry(step: Workingstep) -> str:
    """Return how the cutter comes into the material and onto the wall."""
    angle = f"{degrees(step.ramp_rad):.3g} degrees"
    if step.operation in (Operation.DRILL, Operation.PILOT):
        return "straight down, a drill"
    if step.operation is Operation.BORE:
        return f"helix of at most {angle}, half circles onto the wall and off it"
    onto = "tangent arcs onto the wall and off it"
    if step.operation in (Operation.INSIDE, Operation.OUTSIDE):
        return f"ramp of {angle} along the contour, {onto}"
    if step.operation is Operation.CLEAR:
        return f"helix or ramp of at most {angle} where there is most room, {onto}"
    if step.operation is Operation.RECESS:
        return f"helix or ramp of at most {angle} where there is most room"
    return f"ramp of {angle} along the {'centre line' if step.operation is Operation.GROOVE else 'edge'}"


def count_passes(step: Workingstep) -> int:
    """Return how many passes a step takes: at each height, one for the wall, and the last one through a skin."""
    heights = len(step.pass_heights_mm)
    finishing = step.operation not in WITHOUT_FINISHING
    return heights + finishing + (step.last is not None)
