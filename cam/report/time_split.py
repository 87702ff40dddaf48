"""Where the time of a program goes: cutting, entry, corners, rapids, spindle, tool change; and by panel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.backplot.clock import Timing
from cam.backplot.trace import Kind, Trace
from cam.geometry.contour import BoolArray, FloatArray
from cam.geometry.flatten import flatten
from cam.sheet.layout import Layout, place_region
from cam.tables.rows import Machine

CHORD_TOL_MM = 0.1
"""Moves belong to the nearest panel: that needs no finer polygons."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeSplit:
    """The parts of a cycle, s; they add up to ``cycle_s``.

    Attributes
    ----------
    cutting_s
        Level and rising feed moves, at the programmed feed.
    entry_s
        Feed moves that go down, whole.
    corners_s
        What speeding up, slowing down and going round costs the other feed moves.
    other_s
        Spindle, tool changes and dwells together: the sum of the next three.
    lower_bound_s
        Path length at the programmed feeds, rapids at full speed, no acceleration; waiting as it is.
    machine_bound_s
        The same with every feed move at the machine's own greatest feed.
    """

    cycle_s: float
    cutting_s: float
    entry_s: float
    corners_s: float
    rapid_s: float
    spindle_s: float
    tool_change_s: float
    dwell_s: float
    lower_bound_s: float
    machine_bound_s: float

    @property
    def other_s(self) -> float:
        """Waiting for the spindle, for tool changes and in dwells."""
        return self.spindle_s + self.tool_change_s + self.dwell_s


def split_time(trace: Trace, *, timing: Timing, machine: Machine) -> TimeSplit:
    """Return the parts of a program's time."""
    feeding = _find_feeding(trace)
    down = feeding & (trace.end_mm[:, 2] < trace.start_mm[:, 2] - 1e-9)
    level = feeding & ~down
    at_feed = _find_feed_s(trace, timing=timing, machine=machine)
    rapid = trace.kind == Kind.RAPID
    waiting = timing.spindle_s + timing.tool_change_s + timing.dwell_s
    cutting = float(at_feed[level].sum())
    rapids = float(_find_rapid_s(trace, machine=machine)[rapid].sum())
    fastest = machine.max_feed_mm_per_min / 60.0
    return TimeSplit(
        cycle_s=timing.cycle_s,
        cutting_s=cutting,
        entry_s=float(timing.duration_s[down].sum()),
        corners_s=float(timing.duration_s[level].sum()) - cutting,
        rapid_s=timing.rapid_s,
        spindle_s=timing.spindle_s,
        tool_change_s=timing.tool_change_s,
        dwell_s=timing.dwell_s,
        lower_bound_s=float(at_feed[feeding].sum()) + rapids + waiting,
        machine_bound_s=float(timing.length_mm[feeding].sum()) / fastest + rapids + waiting,
    )


def split_by_panel(trace: Trace, *, timing: Timing, layout: Layout) -> dict[str, float]:
    """Return the time, s, of the feed moves beside each panel: each move belongs to the panel nearest to its middle."""
    names = [placement.panel.name for placement in layout.placements]
    seconds = dict.fromkeys(names, 0.0)
    moves = np.flatnonzero(_find_feeding(trace))
    if not len(moves) or not names:
        return seconds
    polygons = [
        shapely.Polygon(flatten(place_region(placement).outer, chord_tol_mm=CHORD_TOL_MM))
        for placement in layout.placements
    ]
    middles = shapely.points((trace.start_mm[moves, :2] + trace.end_mm[moves, :2]) / 2.0)
    apart = np.array([shapely.distance(polygon, middles) for polygon in polygons])
    nearest = apart.argmin(axis=0)
    for i, name in enumerate(names):
        seconds[name] += float(timing.duration_s[moves[nearest == i]].sum())
    return seconds


def _find_feeding(trace: Trace) -> BoolArray:
    return np.asarray((trace.kind == Kind.LINE) | (trace.kind == Kind.ARC))


def _find_feed_s(trace: Trace, *, timing: Timing, machine: Machine) -> FloatArray:
    """Return the time of each feed move at its programmed feed, or at the machine's if that is less."""
    feed = np.minimum(trace.feed_mm_per_min, machine.max_feed_mm_per_min) / 60.0
    moving = _find_feeding(trace) & (feed > 0.0)
    return np.where(moving, timing.length_mm / np.where(moving, feed, 1.0), 0.0)


def _find_rapid_s(trace: Trace, *, machine: Machine) -> FloatArray:
    """Return the time of each rapid if every axis ran at its own full speed at once."""
    travel = np.nan_to_num(np.abs(trace.end_mm - trace.start_mm))
    return np.asarray((travel / (np.asarray(machine.rapid_mm_per_min) / 60.0)).max(axis=1))
