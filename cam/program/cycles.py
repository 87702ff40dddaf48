"""Drilled holes as canned cycles, for controllers that have them."""

from __future__ import annotations

from collections.abc import Sequence

from cam.motion.drill_pass import GAP_MM
from cam.motion.lay_moves import StepMoves
from cam.motion.moves import Move, MoveKind, Purpose
from cam.plan.workingstep import Operation
from cam.program.blocks import FEED_DECIMALS, INCH_FEED_DECIMALS, Frame, State
from cam.program.numbers import format_number
from cam.program.style import INCH_MM, join_words
from cam.tables.rows import Controller


def takes_cycle(step: StepMoves, *, controller: Controller) -> bool:
    """Return whether a step is drilled and the controller is to be given cycles for it."""
    style, cycles = controller.format, controller.facts.canned_cycles
    wanted = style.drill_cycles and not style.incremental and {"G81", "G83"} <= set(cycles)
    return wanted and step.step.operation is Operation.DRILL


def emit_cycle(step: StepMoves, *, state: State, frame: Frame, controller: Controller) -> tuple[list[str], State]:
    """Return the blocks of a drilled hole: G83 for the pecks at full feed, a G81 for each slower one on the way out.

    Notes
    -----
    R is where the first way down begins. Q is the deepest peck of the plan: the cycle's own pecks, counted from R,
    are no deeper. The cutter stands over the hole at the height of travel, to which G98 brings it back: so the chips
    of every G81 come out before the next, as those of the plan's pecks do.
    """
    downs = _find_downs(step.moves)
    fastest = max(feed for _, _, feed in downs)
    fast = [down for down in downs if down[2] == fastest]
    slow = [down for down in downs if down[2] != fastest]
    x, y, _ = step.moves[0].to_mm
    top, bottom = fast[0][0], fast[-1][1]
    peck = max(start - end for start, end, _ in fast)
    blocks = [_write(("G98", "G83"), x, y, bottom, r=top, q=peck, feed=fastest, frame=frame, controller=controller)]
    for _, end, feed in slow:
        # the hole is open down to there: a rapid may enter it
        above = min(top, bottom + GAP_MM)
        blocks.append(_write(("G98", "G81"), x, y, end, r=above, q=None, feed=feed, frame=frame, controller=controller))
        bottom = end
    return [*blocks, "G80"], State(at=state.at, motion="G80", feed="")


def _find_downs(moves: Sequence[Move]) -> list[tuple[float, float, float]]:
    """Return the ways down at feed: height before, height after, feed."""
    downs = []
    height = moves[0].to_mm[2]
    for move in moves:
        if move.kind is MoveKind.LINE and move.purpose is Purpose.DRILL:
            downs.append((height, move.to_mm[2], move.feed_mm_per_min))
        height = move.to_mm[2]
    return downs


def _write(
    words: tuple[str, ...],
    x: float,
    y: float,
    z: float,
    *,
    r: float,
    q: float | None,
    feed: float,
    frame: Frame,
    controller: Controller,
) -> str:
    decimals = controller.facts.decimals
    to_x, to_y, to_z = frame.units((x, y, z), decimals=decimals)
    _, _, to_r = frame.units((x, y, r), decimals=decimals)
    feed_decimals = INCH_FEED_DECIMALS if frame.mm_per_unit == INCH_MM else FEED_DECIMALS
    said = [
        *words,
        *(f"{letter}{format_number(value, decimals=decimals)}" for letter, value in
          (("X", to_x), ("Y", to_y), ("Z", to_z), ("R", to_r))),
    ]  # fmt: skip
    if q is not None:
        said.append(f"Q{format_number(q / frame.mm_per_unit, decimals=decimals)}")
    said.append(f"F{format_number(feed / frame.mm_per_unit, decimals=feed_decimals)}")
    return join_words(said, controller=controller)
