"""Holes drilled in pecks: down, out to clear the chips, back to just above the last depth, and on."""

from __future__ import annotations

from cam.geometry.measure import find_bounds_mm
from cam.motion.follow import approach, retract
from cam.motion.moves import Move, Purpose, line, rapid
from cam.plan.workingstep import Workingstep

GAP_MM = 0.5
"""How far above the last depth the rapid back into the hole ends: what a chip may have left there."""
EXIT_MM = 0.5
"""From this height of the tip above the bed down the drill is breaking through, and fed slower."""


def lay_drill(step: Workingstep, *, air_mm: float, rapid_mm: float) -> list[Move]:
    """Return the moves of a drilled hole, straight down its middle; written out, without a cycle."""
    min_x, min_y, max_x, max_y = find_bounds_mm(step.wall)
    spot = ((min_x + max_x) / 2.0, (min_y + max_y) / 2.0)
    moves = approach(spot, air_mm=air_mm, rapid_mm=rapid_mm)
    height = air_mm
    for bottom in step.pass_heights_mm:
        if height + GAP_MM < air_mm:
            moves.append(rapid((*spot, air_mm), purpose=Purpose.LINK))
            moves.append(rapid((*spot, height + GAP_MM), purpose=Purpose.APPROACH))
        moves += _feed_down(step, spot=spot, from_mm=moves[-1].to_mm[2], to_mm=bottom)
        height = bottom
    moves.append(retract(moves, rapid_mm=rapid_mm))
    return moves


def _feed_down(step: Workingstep, *, spot: tuple[float, float], from_mm: float, to_mm: float) -> list[Move]:
    """Return the way down to a height, slower from where the tip nears the bed."""
    moves = []
    if from_mm > EXIT_MM:
        fast = max(to_mm, EXIT_MM)
        moves.append(line((*spot, fast), feed_mm_per_min=step.rough.feed_mm_per_min, purpose=Purpose.DRILL))
    if to_mm < EXIT_MM:
        moves.append(line((*spot, to_mm), feed_mm_per_min=step.finish.feed_mm_per_min, purpose=Purpose.DRILL))
    return moves
