"""Where a program that was stopped can go on: a point already cut, and a way down to it that touches nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.backplot.dialect import CYCLES
from cam.backplot.portions import find_portions, take_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.backplot.trace import Kind, Trace
from cam.errors import ProgramRefused
from cam.findings import Origin, error
from cam.geometry.contour import FloatArray
from cam.tables.rows import Cutter

BACK_MM = 10.0
"""How far before the stop the cutter comes in: what it went over last may be torn."""
ASIDE_MM = (0.3, 0.2, 0.1)
"""How far from the path the cutter comes down, towards what is already cut, the first that has room."""
RUN_IN = 40.0
"""The cutter then closes with the path over so many times that distance: too flat to leave a mark."""
CHORD_TOL_MM = 0.0002
NEAR_MM = 60.0
"""Moves farther away than this have removed nothing there: more than the thickest cutter and the run in."""
MOVING = (Kind.RAPID, Kind.LINE, Kind.ARC)
SPARE_MM = 0.002
"""How much smaller than the cutter the disc is taken that must be clear: the path's own certainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartPoint:
    """Where to go on, in the trace's coordinates.

    Attributes
    ----------
    move
        The row of the trace that is done first, whole.
    line
        Its line in the program.
    at_mm
        Where it starts.
    down_mm
        Where the cutter comes down, beside the path or on it; its height is that of ``at_mm``.
    travel_mm
        The height at which the program travels.
    reason
        Why it goes on there, in words.
    """

    move: int
    line: int
    at_mm: tuple[float, float, float]
    down_mm: tuple[float, float]
    travel_mm: float
    reason: str


def find_restart_point(trace: Trace, *, line: int, cutters: Mapping[int, Cutter], file: str) -> RestartPoint:
    """Return where a program that stopped in a line goes on.

    Parameters
    ----------
    line
        The line that was being carried out; those before it are done.

    Raises
    ------
    ProgramRefused
        ``restart-impossible``, if there is nothing left to cut, no known cutter, or the program works in a mode that a
        new program cannot take up.

    Notes
    -----
    The cutter goes back `BACK_MM` along the path since it last went down, to the start of a whole move or into a long
    straight whose place it has already cut to that depth: a disc of its radius there must be clear of material, by the
    sweep of what is done. It comes down beside the path where a disc as large has room, which is on the waste side, for
    on the other there is the wall.
    A line within a cycle goes back to the cycle's beginning, where all of its words stand: holes that are done are gone
    down again.
    """
    point = _find_point(trace, line=line, cutters=cutters, file=file)
    first = point.move
    if trace.motion[first] not in CYCLES:
        return point
    while first > 0 and trace.motion[first - 1] == trace.motion[first] and trace.kind[first - 1] in MOVING:
        first -= 1
    why = "the cutter was travelling there" if first == point.move else "the cycle's words stand there"
    return _at_travel(trace, move=first, travel_mm=point.travel_mm, reason=why)


def _find_point(trace: Trace, *, line: int, cutters: Mapping[int, Cutter], file: str) -> RestartPoint:
    moving = np.flatnonzero((trace.kind == Kind.RAPID) | (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC))
    left = moving[trace.line[moving] >= line]
    feeding = left[trace.kind[left] != Kind.RAPID]
    if not len(feeding):
        raise _refuse(file, line, "nothing is left to cut from this line on", "name the line in which it stopped")
    stop = int(left[0])
    travel = _find_travel_mm(trace, file=file, line=line)
    _refuse_modes(trace, move=stop, file=file, line=line)
    if trace.kind[stop] == Kind.RAPID or not _is_cutting(trace, stop):
        return _at_travel(trace, move=stop, travel_mm=travel, reason="the cutter was travelling there")
    chain = _find_chain(trace, stop)
    cutter = cutters.get(int(trace.tool[stop]))
    if cutter is None:
        tool = int(trace.tool[stop])
        if tool == 0:
            raise _refuse(file, line, "nothing says which cutter is in the spindle", "name it with --cutter")
        raise _refuse(file, line, f"T{tool} is no cutter of the table", "add its row to the shop's own tables")
    for move in _order_candidates(trace, chain=chain, stop=stop):
        at, behind = _find_meeting(trace, move=move, stop=stop)
        clear = _find_clear_region(trace, before=move + 1 if move < stop else move, at_mm=at, cutters=cutters)
        found = _find_way_down(at, behind_mm=behind, clear=clear, radius_mm=cutter.radius_mm)
        if found is not None:
            down, aside = found
            ahead = np.vstack((at[None, :2], trace.end_mm[move:stop, :2]))
            back = float(np.hypot(*np.diff(ahead, axis=0).T).sum())
            where = f"{aside:.2f} mm beside the path, on the side already cut" if aside > 0.0 else "in its own kerf"
            return RestartPoint(
                move=move,
                line=int(trace.line[move]),
                at_mm=(float(at[0]), float(at[1]), float(at[2])),
                down_mm=(float(down[0]), float(down[1])),
                travel_mm=travel,
                reason=f"{back:.1f} mm of path before line {line}; the cutter comes down {where}",
            )
    first = chain[0]
    return _at_travel(
        trace,
        move=first - 1 if first > 0 and trace.kind[first - 1] == Kind.RAPID else first,
        travel_mm=travel,
        reason="no place on the way is clear: it goes back to where the cutter last came down",
    )


def _refuse(file: str, line: int, why: str, remedy: str) -> ProgramRefused:
    return ProgramRefused(error("restart-impossible", why, remedy=remedy, origin=Origin(file=file, line=line)))


def _find_travel_mm(trace: Trace, *, file: str, line: int) -> float:
    """Return the height of the rapids that travel across."""
    across = (trace.kind == Kind.RAPID) & (np.abs(trace.end_mm - trace.start_mm)[:, :2].max(axis=1) > 0.0)
    known = across & trace.start_known
    if not known.any():
        raise _refuse(file, line, "the program never travels at a height of its own", "restart it by hand")
    return float(trace.end_mm[known, 2].max())


def _is_cutting(trace: Trace, move: int) -> bool:
    return bool(trace.motion[move] < 800 or trace.kind[move] != Kind.RAPID)


def _at_travel(trace: Trace, *, move: int, travel_mm: float, reason: str) -> RestartPoint:
    """Return a restart above the start of a move, at the height of travel.

    A program in steps counts from where the move starts: it comes down to there, where the cutter has been.
    """
    x, y, z = (float(v) for v in trace.start_mm[move])
    if trace.distance_mode[move] != 91:
        z = travel_mm
    return RestartPoint(
        move=move,
        line=int(trace.line[move]),
        at_mm=(x, y, z),
        down_mm=(x, y),
        travel_mm=travel_mm,
        reason=reason,
    )


def _find_chain(trace: Trace, stop: int) -> list[int]:
    """Return the feed moves since the last rapid, up to and with the one that was stopped."""
    chain = [stop]
    while chain[-1] > 0 and trace.kind[chain[-1] - 1] in (Kind.LINE, Kind.ARC):
        chain.append(chain[-1] - 1)
    return chain[::-1]


def _order_candidates(trace: Trace, *, chain: list[int], stop: int) -> list[int]:
    """Return the moves of a chain that may be gone on with: `BACK_MM` before the stop, then farther, then nearer."""
    length = np.hypot(*(trace.end_mm - trace.start_mm)[chain, :2].T)
    before = np.concatenate(([0.0], np.cumsum(length[:-1])))
    back = before[-1] - before
    whole = [move for move in chain if trace.motion[move] < 800 and trace.line[move] != trace.line[move - 1]]
    far = {move: float(distance) for move, distance in zip(chain, back, strict=True)}
    # a long straight that ends close before the stop is met on its way
    enough = [move for move in whole if far[move] >= BACK_MM]
    near = [move for move in whole if far[move] < BACK_MM and move != stop]
    # the nearest that is far enough, then ever farther back, then what is nearer after all
    return sorted(enough, key=lambda move: far[move])[:12] + sorted(near, key=lambda move: -far[move])


def _find_meeting(trace: Trace, *, move: int, stop: int) -> tuple[FloatArray, FloatArray]:
    """Return where the old path is met, (3,), and a point of the path behind it, (2,).

    A long straight that is done is met `BACK_MM` before its end, unless the program works in steps.
    """
    start, end = trace.start_mm[move], trace.end_mm[move]
    length = float(np.hypot(*(end - start)[:2]))
    if move < stop and trace.kind[move] == Kind.LINE and trace.distance_mode[move] == 90 and length > 2.0 * BACK_MM:
        return start + (end - start) * (1.0 - BACK_MM / length), start[:2]
    return start, trace.start_mm[move - 1, :2] if move > 0 else start[:2]


def _find_clear_region(trace: Trace, *, before: int, at_mm: FloatArray, cutters: Mapping[int, Cutter]) -> BaseGeometry:
    """Return what is certainly removed near a point, at its height, by everything before a move."""
    portions = find_portions(trace, zero_height_mm=0.0, chord_tol_mm=CHORD_TOL_MM)
    reach = NEAR_MM + np.where(portions.sweep_rad != 0.0, 2.0 * np.nan_to_num(portions.radius_mm), 0.0)
    low = np.minimum(portions.start_mm, portions.end_mm)[:, :2] - reach[:, None]
    high = np.maximum(portions.start_mm, portions.end_mm)[:, :2] + reach[:, None]
    near = ((low <= at_mm[:2]) & (at_mm[:2] <= high)).all(axis=1)
    return sweep_portions(
        take_portions(portions, near & (portions.move < before)),
        cutters=cutters,
        height_mm=float(at_mm[2]),
        side=Side.WITHIN,
        chord_tol_mm=CHORD_TOL_MM,
    )


def _find_way_down(
    at_mm: FloatArray, *, behind_mm: FloatArray, clear: BaseGeometry, radius_mm: float
) -> tuple[FloatArray, float] | None:
    """Return where the cutter comes down and how far beside the path that is, 0 on it; None where nothing is clear."""
    at = at_mm[:2]
    along = at - behind_mm
    size = float(np.hypot(*along))
    disc = radius_mm - SPARE_MM
    if size > 0.0:
        along = along / size
        for aside in ASIDE_MM:
            for side in (1.0, -1.0):
                down = at - RUN_IN * aside * along + side * aside * np.array([-along[1], along[0]])
                if clear.covers(shapely.LineString([down, at]).buffer(disc, quad_segs=32)):
                    return np.asarray(down), aside
    return (np.array(at), 0.0) if clear.covers(shapely.Point(at).buffer(disc, quad_segs=32)) else None


def _refuse_modes(trace: Trace, *, move: int, file: str, line: int) -> None:
    if trace.feed_mode[move] == 93:
        raise _refuse(file, line, "the program works in inverse time (G93)", "restart it from a line in G94")
    if trace.plane[move] != 17:
        raise _refuse(file, line, "the program works outside the XY plane", "restart it from a line in G17")
