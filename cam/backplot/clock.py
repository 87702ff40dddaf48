"""The time that a trace takes on a machine: acceleration, corners, arcs, waiting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.backplot.paths import Paths, find_paths, find_plane_axes
from cam.backplot.trace import Kind, PathMode, Trace
from cam.geometry.contour import BoolArray, FloatArray
from cam.tables.rows import Controller, Machine

# two directions closer than this are one: the last decimal of the words of a short move turns
# its direction by about 2e-4
TANGENT_TOL_RAD = 1e-3
# an axis whose share of a change of direction is below this does not limit it
AXIS_SHARE = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timing:
    """When and how fast the moves of a trace run; arrays have one row a move.

    Attributes
    ----------
    entry_mm_per_s, peak_mm_per_s, exit_mm_per_s
        (n,) speed along the path at the start, at its greatest, and at the end.
    acceleration_mm_per_s2
        (n,) the acceleration along the path with which the speed changes.
    length_mm, duration_s
        (n,) length of the path and time taken.
    cycle_s
        The whole program; the sum of the next five.
    cutting_s, rapid_s
        Feed moves and rapid moves.
    dwell_s, spindle_s, tool_change_s
        Waiting: programmed dwells beyond the spindle's start, the spindle's start, tool changes.
    cutting_mm, rapid_mm
        Lengths of feed moves and rapid moves.
    """

    entry_mm_per_s: FloatArray
    peak_mm_per_s: FloatArray
    exit_mm_per_s: FloatArray
    acceleration_mm_per_s2: FloatArray
    length_mm: FloatArray
    duration_s: FloatArray
    cycle_s: float
    cutting_s: float
    rapid_s: float
    dwell_s: float
    spindle_s: float
    tool_change_s: float
    cutting_mm: float
    rapid_mm: float


def time_trace(
    trace: Trace, *, machine: Machine, look_ahead_blocks: int | None = None, blend_tol_mm: float | None = None
) -> Timing:
    """Return the time that each move of a trace takes on a machine.

    Parameters
    ----------
    look_ahead_blocks
        How many moves the controller knows ahead: it can always stop within them. None for as
        many as the program has.
    blend_tol_mm
        How far from the corner the controller passes in continuous mode; None for the machine's
        junction deviation.

    Notes
    -----
    Along each move the speed rises and falls at constant acceleration (trapezoid or triangle).
    Limits: the feed, the machine's feed, each axis's rapid and acceleration, ``v = sqrt(a r)`` on
    arcs, one move per block time. At a corner in continuous mode the junction deviation d, or the
    blending tolerance in its place, allows ``v = sqrt(a d sin(t/2) / (1 - sin(t/2)))`` with t the angle
    between the moves: the circle that touches both and passes d from their corner, ridden at its
    centripetal limit. In exact-path mode only corners within 0.001 rad of tangent are run through; in
    exact-stop mode none. Of the axes that take part in an arc or a corner the slowest counts, so the
    time errs long. Whatever is not a move stops the motion.

    The spindle takes its spin-up time to start; a dwell that follows before the next move runs at
    the same time.
    """
    paths = find_paths(trace)
    cap, acceleration = _find_limits(trace, paths=paths, machine=machine)
    deviation = machine.junction_deviation_mm if blend_tol_mm is None else blend_tol_mm
    joints = _find_joint_squares(trace, paths=paths, cap_mm_per_s=cap, machine=machine, deviation_mm=deviation)
    reach = 2.0 * acceleration * paths.length_mm
    if look_ahead_blocks is not None:
        ahead = np.concatenate(([0.0], np.cumsum(reach)))
        beyond = np.minimum(np.arange(len(joints)) + look_ahead_blocks, len(joints) - 1)
        joints = np.minimum(joints, ahead[beyond] - ahead)
    squares = _look_ahead(joints, reach_mm2_per_s2=reach)
    entry, exit_ = np.sqrt(squares[:-1]), np.sqrt(squares[1:])
    peak = np.minimum(cap, np.sqrt((squares[:-1] + squares[1:] + reach) / 2.0))
    moving = paths.moving
    a, v = np.where(moving, acceleration, 1.0), np.where(moving, peak, 1.0)
    cruise = np.maximum(0.0, paths.length_mm - (v**2 - squares[:-1] + v**2 - squares[1:]) / (2.0 * a))
    travel = np.where(moving, (v - entry) / a + (v - exit_) / a + cruise / v, 0.0)
    waiting = _find_waiting_s(trace, moving=moving, machine=machine)
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    rapid = trace.kind == Kind.RAPID
    spent = {kind: float(waiting[trace.kind == kind].sum()) for kind in (Kind.DWELL, Kind.SPINDLE, Kind.TOOL_CHANGE)}
    cutting_s, rapid_s = float(travel[feeding].sum()), float(travel[rapid].sum())
    return Timing(
        entry_mm_per_s=_seal(np.where(moving, entry, 0.0)),
        peak_mm_per_s=_seal(np.where(moving, peak, 0.0)),
        exit_mm_per_s=_seal(np.where(moving, exit_, 0.0)),
        acceleration_mm_per_s2=_seal(np.where(moving, acceleration, 0.0)),
        length_mm=_seal(paths.length_mm),
        duration_s=_seal(travel + waiting),
        cycle_s=cutting_s + rapid_s + sum(spent.values()),
        cutting_s=cutting_s,
        rapid_s=rapid_s,
        dwell_s=spent[Kind.DWELL],
        spindle_s=spent[Kind.SPINDLE],
        tool_change_s=spent[Kind.TOOL_CHANGE],
        cutting_mm=float(paths.length_mm[feeding].sum()),
        rapid_mm=float(paths.length_mm[rapid].sum()),
    )


def time_program(trace: Trace, *, machine: Machine, controller: Controller) -> Timing:
    """Return the time of a trace on a machine, under its controller's look-ahead and blending."""
    facts = controller.facts
    return time_trace(
        trace,
        machine=machine,
        look_ahead_blocks=facts.look_ahead_blocks or None,
        blend_tol_mm=facts.blend_tol_mm or None,
    )


def _seal(values: FloatArray) -> FloatArray:
    sealed = np.array(values, dtype=np.float64)
    sealed.setflags(write=False)
    return sealed


def _find_limits(trace: Trace, *, paths: Paths, machine: Machine) -> tuple[FloatArray, FloatArray]:
    """Return the greatest speed (mm/s) and acceleration (mm/s2) along each move."""
    fastest = np.asarray(machine.rapid_mm_per_min) / 60.0
    strongest = np.asarray(machine.acceleration_mm_per_s2)
    share = np.abs(paths.first_direction)
    cap, acceleration = _limit_by_axis(fastest, share), _limit_by_axis(strongest, share)
    arc = np.flatnonzero(paths.moving & (trace.kind == Kind.ARC))
    if len(arc):
        # an arc's direction turns: the share of its two in-plane axes is that of both together
        axes = find_plane_axes(trace)[arc]
        rise = share[arc, axes[:, 2]]
        level = np.sqrt(np.maximum(0.0, 1.0 - rise**2))
        for limits, into in ((fastest, cap), (strongest, acceleration)):
            in_plane = np.minimum(limits[axes[:, 0]], limits[axes[:, 1]])
            both = np.column_stack((in_plane, limits[axes[:, 2]]))
            into[arc] = _limit_by_axis(both, np.column_stack((level, rise)))
        in_plane = np.minimum(strongest[axes[:, 0]], strongest[axes[:, 1]])
        cap[arc] = np.minimum(cap[arc], np.sqrt(in_plane * paths.radius_mm[arc]) / np.maximum(level, 1e-12))
    feeding = trace.kind != Kind.RAPID
    feed = np.minimum(trace.feed_mm_per_min, machine.max_feed_mm_per_min) / 60.0
    cap = np.where(feeding, np.minimum(cap, feed), cap)
    if machine.block_time_s > 0.0:
        cap = np.minimum(cap, paths.length_mm / machine.block_time_s)
    stuck = np.flatnonzero(paths.moving & ~(cap > 0.0))
    if len(stuck):
        raise ValueError(f"the move of line {trace.line[stuck[0]]} has no speed: a trace's feed moves have a feed")
    return np.where(paths.moving, cap, 0.0), np.where(paths.moving, acceleration, 0.0)


def _limit_by_axis(limits: FloatArray, share: FloatArray) -> FloatArray:
    """Return the greatest vector length whose every component keeps its limit."""
    ratio = np.full(share.shape, np.inf)
    np.divide(np.broadcast_to(limits, share.shape), share, out=ratio, where=share > 1e-12)
    return np.asarray(ratio.min(axis=1))


def _find_joint_squares(
    trace: Trace, *, paths: Paths, cap_mm_per_s: FloatArray, machine: Machine, deviation_mm: float
) -> FloatArray:
    """Return the square of the greatest speed before the first, between and after the last move; n + 1."""
    squares = np.zeros(len(trace) + 1)
    if len(trace) < 2:
        return squares
    before, after = paths.last_direction[:-1], paths.first_direction[1:]
    change = after - before
    turn_square = (change**2).sum(axis=1)
    taking_part = np.abs(change) > AXIS_SHARE * np.sqrt(turn_square)[:, None]
    strongest = np.where(taking_part, np.asarray(machine.acceleration_mm_per_s2), np.inf).min(axis=1)
    # with u, w the directions: sin(t/2) = |u + w| / 2 and 1 - sin^2(t/2) = |u - w|^2 / 4, which
    # keeps its digits where the moves are nearly tangent
    sine = np.sqrt(((after + before) ** 2).sum(axis=1)) / 2.0
    shortfall = turn_square / 4.0 / (1.0 + sine)
    turning = turn_square > 0.0
    blended = np.full(len(change), np.inf)
    np.divide(np.where(turning, strongest, 0.0) * deviation_mm * sine, shortfall, out=blended, where=turning)
    mode = trace.path_mode[:-1]
    exact_path = np.where(turn_square <= TANGENT_TOL_RAD**2, np.inf, 0.0)
    allowed = np.select([mode == PathMode.EXACT_STOP, mode == PathMode.EXACT_PATH], [0.0, exact_path], blended)
    slower = np.minimum(cap_mm_per_s[:-1], cap_mm_per_s[1:])
    squares[1:-1] = np.where(paths.moving[:-1] & paths.moving[1:], np.minimum(allowed, slower**2), 0.0)
    return squares


def _look_ahead(joints_mm2_per_s2: FloatArray, *, reach_mm2_per_s2: FloatArray) -> FloatArray:
    """Return the squares of the speeds between moves that can be braked and accelerated to."""
    squares = joints_mm2_per_s2.tolist()
    reach = reach_mm2_per_s2.tolist()
    for i in range(len(reach) - 1, -1, -1):
        highest = squares[i + 1] + reach[i]
        squares[i] = min(squares[i], highest)
    for i, gain in enumerate(reach):
        highest = squares[i] + gain
        squares[i + 1] = min(squares[i + 1], highest)
    return np.asarray(squares)


def _find_waiting_s(trace: Trace, *, moving: BoolArray, machine: Machine) -> FloatArray:
    """Return the time that each row spends without moving."""
    waiting = np.zeros(len(trace))
    turning, starting_s = 0.0, 0.0
    rows = np.flatnonzero(~moving | (np.diff(trace.spindle_rpm, prepend=0.0) != 0.0))
    last = -1
    for i in rows.tolist():
        if moving[last + 1 : i].any():
            starting_s = 0.0
        last = i
        rpm = float(trace.spindle_rpm[i])
        if trace.kind[i] == Kind.SPINDLE:
            waiting[i] = starting_s = find_spin_up_s(turning, to_rpm=rpm, machine=machine)
        elif trace.kind[i] == Kind.DWELL:
            waiting[i] = max(0.0, float(trace.duration_s[i]) - starting_s)
            starting_s = max(0.0, starting_s - float(trace.duration_s[i]))
        elif trace.kind[i] == Kind.TOOL_CHANGE:
            waiting[i] = machine.tool_change_s
        turning = rpm
    return waiting


def find_spin_up_s(from_rpm: float, *, to_rpm: float, machine: Machine) -> float:
    """Return how long the spindle takes to a higher speed; slowing down is not waited for.

    Examples
    --------
    A start takes the machine's spin-up time, a rise of a quarter a quarter of it.

    >>> from types import SimpleNamespace
    >>> find_spin_up_s(0.0, to_rpm=18000.0, machine=SimpleNamespace(spin_up_s=4.0))
    4.0
    >>> find_spin_up_s(13500.0, to_rpm=18000.0, machine=SimpleNamespace(spin_up_s=4.0))
    1.0
    >>> find_spin_up_s(18000.0, to_rpm=0.0, machine=SimpleNamespace(spin_up_s=4.0))
    0.0
    """
    if from_rpm * to_rpm < 0.0:
        from_rpm = 0.0
    gain = abs(to_rpm) - abs(from_rpm)
    return machine.spin_up_s * gain / abs(to_rpm) if gain > 0.0 else 0.0
