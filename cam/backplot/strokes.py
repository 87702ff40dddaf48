"""What each canned cycle does at a hole (NISTIR 6556 sections 3.5.16.2 to 3.5.16.10)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from cam.backplot.arcs import PLANE_AXES
from cam.backplot.moves import move, stand
from cam.backplot.run import Run
from cam.backplot.trace import Kind

PECK_CLEARANCE_MM = 0.254
"""How far above the last depth G83 goes back at rapid rate: 0.010 inch in the reference (section 3.5.16.4)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One cycle, resolved: heights along the plane's normal, in program coordinates, mm."""

    code: int
    line: int
    normal: int
    bottom: float
    r: float
    clear: float
    dwell_s: float
    peck: float
    feed: float
    side: tuple[float, float]
    middle: float


def go(
    run: Run,
    cycle: Cycle,
    point: list[float],
    *,
    kind: Kind,
    named: tuple[bool, bool, bool] = (True, True, True),
) -> None:
    """Go to a point, unless the tool is there."""
    state = run.state
    if state.position == point and all(state.known):
        return
    feed = cycle.feed if kind is Kind.LINE else 0.0
    move(run, line=cycle.line, kind=kind, target=point, named=named, feed_mm_per_min=feed, motion=cycle.code)


def _go_to_height(run: Run, cycle: Cycle, height: float, *, kind: Kind) -> None:
    point = list(run.state.position)
    point[cycle.normal] = height
    go(run, cycle, point, kind=kind)


def _dwell(run: Run, cycle: Cycle) -> None:
    stand(run, line=cycle.line, kind=Kind.DWELL, duration_s=cycle.dwell_s, motion=cycle.code)


def _turn(run: Run, cycle: Cycle, turning: int) -> None:
    run.state.turning = turning
    stand(run, line=cycle.line, kind=Kind.SPINDLE, motion=cycle.code)


def _drill(run: Run, cycle: Cycle, point: list[float]) -> None:
    """G81, and G82 with its dwell."""
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.LINE)
    if cycle.code == 820:
        _dwell(run, cycle)
    _go_to_height(run, cycle, cycle.clear, kind=Kind.RAPID)


def _peck(run: Run, cycle: Cycle, point: list[float]) -> None:
    """G83: in pecks, each out to the retract height and back to just above the last depth."""
    depth = cycle.r - cycle.peck
    while depth > cycle.bottom:
        _go_to_height(run, cycle, depth, kind=Kind.LINE)
        _go_to_height(run, cycle, cycle.clear, kind=Kind.RAPID)
        _go_to_height(run, cycle, depth + PECK_CLEARANCE_MM, kind=Kind.RAPID)
        depth -= cycle.peck
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.LINE)
    _go_to_height(run, cycle, cycle.clear, kind=Kind.RAPID)


def _tap(run: Run, cycle: Cycle, point: list[float]) -> None:
    """G84: feed in, reverse, feed out, turn on as before."""
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.LINE)
    _turn(run, cycle, -1)
    _go_to_height(run, cycle, cycle.clear, kind=Kind.LINE)
    _turn(run, cycle, 1)


def _bore_feed_out(run: Run, cycle: Cycle, point: list[float]) -> None:
    """G85, and G89 with its dwell."""
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.LINE)
    if cycle.code == 890:
        _dwell(run, cycle)
    _go_to_height(run, cycle, cycle.clear, kind=Kind.LINE)


def _bore_stop(run: Run, cycle: Cycle, point: list[float]) -> None:
    """G86, and G88 with a program stop in which the operator retracts by hand."""
    turning = run.state.turning
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.LINE)
    _dwell(run, cycle)
    _turn(run, cycle, 0)
    if cycle.code == 880:
        stand(run, line=cycle.line, kind=Kind.STOP, stop=0, motion=cycle.code)
    _go_to_height(run, cycle, cycle.clear, kind=Kind.RAPID)
    _turn(run, cycle, turning)


def _bore_back(run: Run, cycle: Cycle, point: list[float]) -> None:
    """G87: past the edge with the spindle stopped, then bore upwards from below."""
    turning = run.state.turning
    aside = list(point)
    for axis, by in zip(PLANE_AXES[run.state.plane][:2], cycle.side, strict=True):
        aside[axis] += by
    go(run, cycle, aside, kind=Kind.RAPID)
    _turn(run, cycle, 0)
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.RAPID)
    below = list(point)
    below[cycle.normal] = cycle.bottom
    go(run, cycle, below, kind=Kind.RAPID)
    _turn(run, cycle, turning)
    _go_to_height(run, cycle, cycle.middle, kind=Kind.LINE)
    _go_to_height(run, cycle, cycle.bottom, kind=Kind.LINE)
    _turn(run, cycle, 0)
    aside[cycle.normal] = cycle.bottom
    go(run, cycle, aside, kind=Kind.RAPID)
    _go_to_height(run, cycle, cycle.clear, kind=Kind.RAPID)
    above = list(point)
    above[cycle.normal] = cycle.clear
    go(run, cycle, above, kind=Kind.RAPID)
    _turn(run, cycle, turning)


STROKES: dict[int, Callable[[Run, Cycle, list[float]], None]] = {
    810: _drill,
    820: _drill,
    830: _peck,
    840: _tap,
    850: _bore_feed_out,
    860: _bore_stop,
    870: _bore_back,
    880: _bore_stop,
    890: _bore_feed_out,
}
"""By ten times the G code: what is done once the tool stands at R over the hole."""
