"""Straight moves: from a block's words to rows of the trace (NISTIR 6556 sections 3.5.1, 3.5.2)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from cam.backplot.arcs import PLANE_AXES, PlaneArc
from cam.backplot.columns import NOWHERE_MM, record
from cam.backplot.dialect import AXES
from cam.backplot.faults import BlockFault
from cam.backplot.run import Run, warn_once
from cam.backplot.state import State, settle_shift
from cam.backplot.trace import Kind
from cam.backplot.words import Block, Word

ALL_AXES = (True, True, True)
_LEAST_RATE = 0.1
"""mm/min of a G93 move of no length, which no rate can make last (from memory of the reference)."""


def target_of(run: Run, block: Block, *, machine: bool = False) -> tuple[list[float], tuple[bool, bool, bool]]:
    """Return where a block's axis words lead, in program coordinates, and which axes it names.

    ``machine`` says that the words are machine coordinates (G53).
    """
    state = run.state
    target = list(state.position)
    words, factor = block.words, state.factor
    for axis, letter in enumerate(AXES):
        word = words.get(letter)
        if word is None:
            continue
        if machine:
            length = state.length_mm if axis == 2 else 0.0
            target[axis] = word.value * factor - (state.work[axis] + state.g92[axis] + length)
        elif state.incremental:
            target[axis] += word.value * factor
            if not state.known[axis]:
                warn_unknown(run, block, word)
        else:
            target[axis] = word.value * factor
        if abs(target[axis]) > run.dialect.max_coordinate_mm:
            raise block.fault_at(
                word,
                "controller-limit",
                f"{target[axis]:.4g} mm is beyond {run.dialect.max_coordinate_mm:g} mm, the controller's largest",
                remedy="correct the coordinate",
            )
    return target, ("X" in words, "Y" in words, "Z" in words)


def warn_unknown(run: Run, block: Block, word: Word) -> None:
    """Say once that a move depends on where the machine stood before the program."""
    warn_once(
        run,
        "unknown-position",
        "this depends on where the machine stands before the program; 0 is taken",
        remedy="command X, Y and Z with G0 in absolute coordinates first",
        block=block,
        word=word,
    )


def feed_of(run: Run, block: Block, *, length_mm: float, word: Word) -> float:
    """Return the feed of a move in mm/min; refuse a move without feed (sections 3.5.2, 3.5.3, 3.5.19)."""
    state = run.state
    if state.inverse_time:
        given = block.words.get("F")
        if given is None or given.value == 0.0:
            raise block.fault_at(
                word,
                "inverse-feed-missing",
                "in inverse time mode every feed move needs an F word above 0",
                remedy="give F in every block, or go back to G94",
            )
        rate = max(length_mm * given.value, _LEAST_RATE)
        state.feed = rate / state.factor
        if rate > run.dialect.max_feed_mm_per_min:
            raise feed_limit(run, block, word=given, feed_mm_per_min=rate)
        return rate
    if state.feed == 0.0:
        raise block.fault_at(
            word, "no-feed", "a feed move with feed 0; no F word is in force", remedy="give F before or in this block"
        )
    return state.feed * state.factor


def feed_limit(run: Run, block: Block, *, word: Word, feed_mm_per_min: float) -> BlockFault:
    """Return the fault of a feed above the controller's largest."""
    return block.fault_at(
        word,
        "controller-limit",
        f"feed {feed_mm_per_min:.6g} mm/min is above the controller's largest, {run.dialect.max_feed_mm_per_min:g}",
        remedy="lower the feed",
    )


def move(
    run: Run,
    *,
    line: int,
    kind: Kind,
    target: Sequence[float],
    named: Sequence[bool] = ALL_AXES,
    feed_mm_per_min: float = 0.0,
    motion: int | None = None,
    arc: PlaneArc | None = None,
) -> None:
    """Record a move to a point in program coordinates and go there."""
    state = run.state
    if state.frame is None:
        state.frame = list(state.work)
        settle_shift(state)
    shift, position, known = state.shift, state.position, state.known
    start = [(position[axis] if known[axis] or not named[axis] else target[axis]) + shift[axis] for axis in range(3)]
    record(
        run.columns,
        state,
        kind=kind,
        line=line,
        start_mm=start,
        end_mm=(target[0] + shift[0], target[1] + shift[1], target[2] + shift[2]),
        centre_mm=NOWHERE_MM if arc is None else _centre_mm(state, arc),
        sweep_rad=0.0 if arc is None else arc.sweep_rad,
        feed_mm_per_min=feed_mm_per_min,
        motion=motion,
    )
    state.position = list(target)
    state.known = [known[axis] or named[axis] for axis in range(3)]


def stand(
    run: Run, *, line: int, kind: Kind, duration_s: float = 0.0, stop: int = -1, motion: int | None = None
) -> None:
    """Record a row in which nothing moves."""
    position, shift = run.state.position, run.state.shift
    here = (position[0] + shift[0], position[1] + shift[1], position[2] + shift[2])
    record(
        run.columns,
        run.state,
        kind=kind,
        line=line,
        start_mm=here,
        end_mm=here,
        duration_s=duration_s,
        stop=stop,
        motion=motion,
    )


def move_straight(run: Run, block: Block, *, rapid: bool, machine: bool) -> None:
    """Carry out G0 or G1, in machine coordinates where the block has G53."""
    word = block.groups["motion"][1]
    target, named = target_of(run, block, machine=machine)
    if rapid:
        move(run, line=block.line, kind=Kind.RAPID, target=target, named=named, motion=0)
        return
    if not all(run.state.known):
        warn_unknown(run, block, word)
    try:
        feed = feed_of(run, block, length_mm=math.dist(run.state.position, target), word=word)
        move(run, line=block.line, kind=Kind.LINE, target=target, named=named, feed_mm_per_min=feed, motion=10)
    finally:
        arrive(run.state, target, named)


def arrive(state: State, target: list[float], named: tuple[bool, bool, bool]) -> None:
    """Take over the end point, also of a block that made no row."""
    state.position = target
    state.known = [known or name for known, name in zip(state.known, named, strict=True)]


def _centre_mm(state: State, arc: PlaneArc) -> tuple[float, float, float]:
    first, second, _ = PLANE_AXES[state.plane]
    centre = list(state.position)
    centre[first], centre[second] = arc.centre
    shift = state.shift
    return centre[0] + shift[0], centre[1] + shift[1], centre[2] + shift[2]
