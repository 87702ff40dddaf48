"""What a trace shows from above: tool-centre paths by motion and height, kerf by cutter, kept bridges.

Only the trace is asked: whether a move is a rapid, goes down, comes up or stays level, and at which
height. What the generator meant by it is not known here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import ceil, hypot, pi

import numpy as np

from cam.backplot.trace import Kind, Trace
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.report.svg import PathData

# heights closer than this are one level: ten times the last decimal that programs are written with
_LEVEL_MM = 0.01
_MAX_LEVELS = 6
_MAX_BRIDGE_MM = 80.0
_SAME_BRIDGE_MM = 5.0


class Motion(StrEnum):
    """What a move does, as far as the text says."""

    RAPID = "rapid"
    ABOVE = "above"
    DOWN = "down"
    UP = "up"
    LEVEL = "level"
    THROUGH = "through"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """Moves (rows of the trace) of one motion, with their heights above the bed."""

    motion: Motion
    rows: IntArray
    min_z_mm: float
    max_z_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Kerf:
    """Moves (rows of the trace) in which one cutter (its T number) cuts, through the sheet or not.

    ``depth_mm`` is how far the tip goes below the sheet's highest top.
    """

    tool: int
    through: bool
    rows: IntArray
    depth_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """A place where the cutter lifts from full depth and comes back down without leaving the sheet."""

    x_mm: float
    y_mm: float
    height_mm: float


def find_strokes(trace: Trace, *, bed_z_mm: float, top_z_mm: float) -> tuple[Stroke, ...]:
    """Return the tool-centre paths, grouped: level cuts from high to low, full depth last of the cuts.

    Parameters
    ----------
    trace
        The moves.
    bed_z_mm, top_z_mm
        Heights of the bed and of the sheet's highest face in the trace's frame.

    Notes
    -----
    More than six heights of level cuts are gathered into six bands of equal height.
    """
    motion = _find_motions(trace, bed_z_mm=bed_z_mm, top_z_mm=top_z_mm)
    above_bed = np.minimum(trace.start_mm[:, 2], trace.end_mm[:, 2]) - bed_z_mm
    groups: list[tuple[Motion, BoolArray]] = [(Motion.RAPID, motion == _CODE[Motion.RAPID])]
    groups.append((Motion.ABOVE, motion == _CODE[Motion.ABOVE]))
    level = motion == _CODE[Motion.LEVEL]
    groups.extend((Motion.LEVEL, level & band) for band in _find_bands(above_bed, level))
    groups.extend((each, motion == _CODE[each]) for each in (Motion.THROUGH, Motion.UP, Motion.DOWN))
    return tuple(
        Stroke(
            motion=each,
            rows=np.flatnonzero(chosen),
            min_z_mm=float(above_bed[chosen].min()),
            max_z_mm=float(above_bed[chosen].max()),
        )
        for each, chosen in groups
        if chosen.any()
    )


def find_kerfs(trace: Trace, *, bed_z_mm: float, top_z_mm: float) -> tuple[Kerf, ...]:
    """Return the moves that each cutter cuts in: first those that leave material under them."""
    motion = _find_motions(trace, bed_z_mm=bed_z_mm, top_z_mm=top_z_mm)
    through = motion == _CODE[Motion.THROUGH]
    partly = np.isin(motion, [_CODE[each] for each in (Motion.DOWN, Motion.UP, Motion.LEVEL)])
    kerfs = []
    for deep, chosen in ((False, partly), (True, through)):
        for tool in np.unique(trace.tool[chosen]):
            rows = np.flatnonzero(chosen & (trace.tool == tool))
            lowest = float(np.minimum(trace.start_mm[rows, 2], trace.end_mm[rows, 2]).min())
            kerfs.append(Kerf(tool=int(tool), through=deep, rows=rows, depth_mm=top_z_mm - lowest))
    return tuple(kerfs)


def find_bridges(trace: Trace, *, bed_z_mm: float, top_z_mm: float) -> tuple[Bridge, ...]:
    """Return where the cutter lifts from full depth and returns to it within 80 mm; passes merged."""
    motion = _find_motions(trace, bed_z_mm=bed_z_mm, top_z_mm=top_z_mm)
    cutting = np.isin(motion, [_CODE[each] for each in (Motion.DOWN, Motion.UP, Motion.LEVEL)])
    through = np.flatnonzero(motion == _CODE[Motion.THROUGH])
    found: list[Bridge] = []
    for before, after in pairwise(through):
        between = slice(before + 1, after)
        if after == before + 1 or not cutting[between].all():
            continue
        if np.hypot(*(trace.end_mm[between, :2] - trace.start_mm[between, :2]).T).sum() > _MAX_BRIDGE_MM:
            continue
        (x, y), height = (trace.end_mm[before] + trace.start_mm[after])[:2] / 2.0, trace.end_mm[between, 2].max()
        if all(hypot(each.x_mm - x, each.y_mm - y) > _SAME_BRIDGE_MM for each in found):
            found.append(Bridge(x_mm=float(x), y_mm=float(y), height_mm=float(height - bed_z_mm)))
    return tuple(found)


_CODE = {motion: code for code, motion in enumerate(Motion)}


def _find_motions(trace: Trace, *, bed_z_mm: float, top_z_mm: float) -> FloatArray:
    """Return (n,) codes of :class:`Motion`; -1 where nothing moves."""
    start, end = trace.start_mm[:, 2], trace.end_mm[:, 2]
    low, high = np.minimum(start, end), np.maximum(start, end)
    code = np.full(len(trace), -1.0)
    feed = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    code[trace.kind == Kind.RAPID] = _CODE[Motion.RAPID]
    code[feed & (end == start)] = _CODE[Motion.LEVEL]
    code[feed & (end < start)] = _CODE[Motion.DOWN]
    code[feed & (end > start)] = _CODE[Motion.UP]
    code[feed & (low >= top_z_mm)] = _CODE[Motion.ABOVE]
    code[feed & (high <= bed_z_mm)] = _CODE[Motion.THROUGH]
    return code


def _find_bands(above_bed_mm: FloatArray, level: BoolArray) -> Iterator[BoolArray]:
    """Yield which moves belong to each height, from high to low."""
    heights = np.unique(np.round(above_bed_mm[level] / _LEVEL_MM)) * _LEVEL_MM
    if len(heights) <= _MAX_LEVELS:
        for height in heights[::-1]:
            yield np.abs(above_bed_mm - height) <= _LEVEL_MM / 2.0 * (1.0 + 1e-6)
        return
    edges = np.linspace(heights[0] - _LEVEL_MM, heights[-1] + _LEVEL_MM, _MAX_LEVELS + 1)
    for low, high in reversed(list(pairwise(edges))):
        yield (above_bed_mm > low) & (above_bed_mm <= high)


def find_boxes_mm(trace: Trace) -> FloatArray:
    """Return boxes round the moves seen from above, shape (n, 4): ``min_x, min_y, max_x, max_y``.

    An arc's box is that of its whole circle.
    """
    start, end = trace.start_mm[:, :2], trace.end_mm[:, :2]
    low, high = np.minimum(start, end), np.maximum(start, end)
    arc = trace.kind == Kind.ARC
    reach = np.sqrt(((trace.start_mm[arc] - trace.centre_mm[arc]) ** 2).sum(axis=1))[:, None]
    low[arc] = np.minimum(low[arc], trace.centre_mm[arc, :2] - reach)
    high[arc] = np.maximum(high[arc], trace.centre_mm[arc, :2] + reach)
    return np.hstack((low, high))


def trace_moves(trace: Trace, *, rows: IntArray) -> str:
    """Return path data of some moves seen from above."""
    path = PathData()
    starts, ends, centres = trace.start_mm[rows].tolist(), trace.end_mm[rows].tolist(), trace.centre_mm[rows].tolist()
    for at, i in enumerate(rows.tolist()):
        start, end = (starts[at][0], starts[at][1]), (ends[at][0], ends[at][1])
        sweep_rad = float(trace.sweep_rad[i])
        if trace.kind[i] != Kind.ARC:
            path.line(start, end)
        elif trace.plane[i] == 17:
            path.arc(start, end, centre_mm=(centres[at][0], centres[at][1]), sweep_rad=sweep_rad)
        else:
            points = _project_upright_arc(trace, i)
            for one, other in pairwise([*points, end]):
                path.line(one, other)
    return str(path)


def _project_upright_arc(trace: Trace, i: int) -> list[tuple[float, float]]:
    """Return points, seen from above, on an arc of the XZ or YZ plane, without its end.

    From above such an arc lies on a straight line, which it may overshoot at both ends.
    """
    first, second, normal = (2, 0, 1) if trace.plane[i] == 18 else (1, 2, 0)
    sweep_rad, centre = float(trace.sweep_rad[i]), trace.centre_mm[i]
    offset = trace.start_mm[i] - centre
    share = np.linspace(0.0, 1.0, ceil(abs(sweep_rad) / (pi / 16.0)) + 1)[:-1]
    cosine, sine = np.cos(sweep_rad * share), np.sin(sweep_rad * share)
    points = np.empty((len(share), 3))
    points[:, first] = centre[first] + offset[first] * cosine - offset[second] * sine
    points[:, second] = centre[second] + offset[first] * sine + offset[second] * cosine
    points[:, normal] = trace.start_mm[i, normal] + (trace.end_mm[i, normal] - trace.start_mm[i, normal]) * share
    return [(float(x), float(y)) for x, y in points[:, :2]]
