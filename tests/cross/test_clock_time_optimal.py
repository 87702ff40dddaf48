"""The clock against a time-optimal path parameterisation of the same path under the same limits.

The reference is the library toppra (reachability analysis of time-optimal path parameterisation). The two models
coincide where no arc is ridden at its centripetal limit: there the clock keeps the arc's slower axis for the
whole arc, the reference only where that axis turns. So the arcs here are wide for their feed, and what is
compared is accelerating, cruising, braking and going round; corners are stopped at, as the program says.
"""

from __future__ import annotations

from itertools import pairwise
from math import atan2, cos, hypot, pi, sin

import numpy as np
import pytest

from cam.backplot.clock import time_trace
from cam.backplot.trace import Kind, PathMode

pytest.importorskip("toppra", reason="toppra is in the extra 'crosscheck'")

import toppra as ta
from toppra.algorithm import TOPPRA
from toppra.constraint import JointAccelerationConstraint, JointVelocityConstraint
from toppra.interpolator import AbstractGeometricPath

ta.setup_logging("ERROR")

WITHIN = 0.01
GRID_PER_MOVE = 160


class TracePath(AbstractGeometricPath):
    """Lines and level arcs by arc length, exact with both derivatives; the length itself is a fourth coordinate.

    The fourth coordinate lets the feed be a limit of its own beside those of the axes.
    """

    def __init__(self, moves) -> None:
        self.moves = moves
        self.ends = np.concatenate(([0.0], np.cumsum([move[0] for move in moves])))

    @property
    def dof(self) -> int:
        return 4

    @property
    def path_interval(self):
        return np.array([0.0, self.ends[-1]])

    @property
    def waypoints(self):
        return None

    def __call__(self, paths, order: int = 0):
        values = np.array([self._at(s, order) for s in np.atleast_1d(paths)])
        return values if np.ndim(paths) else values[0]

    def _at(self, s: float, order: int) -> np.ndarray:
        k = min(int(np.searchsorted(self.ends, s, side="right")) - 1, len(self.moves) - 1)
        _, start, along, arc = self.moves[k]
        t = s - self.ends[k]
        if arc is None:
            point, first, second = start + t * along, along, np.zeros(3)
        else:
            centre, radius, from_rad, turn = arc
            angle = from_rad + turn * t / radius
            out = np.array([cos(angle), sin(angle), 0.0])
            point = np.array([*centre, start[2]]) + radius * out
            first = turn * np.array([-sin(angle), cos(angle), 0.0])
            second = -out / radius
        last = (s, 1.0, 0.0)[order]
        return np.append((point, first, second)[order], last)


def find_least_time(moves, *, feed_mm_per_s, machine) -> float:
    path = TracePath(moves)
    # finest at the ends of moves, where the speed changes over a small part of a long one
    shares = (1.0 - np.cos(np.linspace(0.0, pi, GRID_PER_MOVE))) / 2.0
    grid = np.unique(np.concatenate([a + (b - a) * shares for a, b in pairwise(path.ends.tolist())]))
    fast = [*(axis / 60.0 for axis in machine.rapid_mm_per_min), feed_mm_per_s]
    strong = [*machine.acceleration_mm_per_s2, 1e6]
    algorithm = TOPPRA(
        [
            JointVelocityConstraint(np.array([[-v, v] for v in fast])),
            JointAccelerationConstraint(np.array([[-a, a] for a in strong])),
        ],
        path,
        gridpoints=grid,
        parametrizer="ParametrizeConstAccel",
    )
    return float(algorithm.compute_trajectory(0.0, 0.0).duration)


def lay_line(start, end):
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    length = float(np.linalg.norm(end - start))
    return length, start, (end - start) / length, None


@pytest.mark.parametrize("seed", range(20))
def test_cornered_paths_that_stop_at_every_corner(seed, write_trace, make_machine) -> None:
    random = np.random.default_rng(seed)
    machine = make_machine(
        acceleration_mm_per_s2=tuple(random.uniform(150.0, 2000.0, size=3).tolist()),
        rapid_mm_per_min=tuple(random.uniform(3000.0, 15000.0, size=3).tolist()),
    )
    feed = float(random.uniform(600.0, 8000.0))
    writer = write_trace(mode=PathMode.EXACT_STOP, feed=feed, at=(0.0, 0.0, 0.0))
    at, least = np.zeros(3), 0.0
    for _ in range(4):
        to = at + random.uniform(-1.0, 1.0, size=3) * random.choice([3.0, 40.0, 400.0]) * (1.0, 1.0, 0.2)
        writer.line(x=to[0], y=to[1], z=to[2])
        least += find_least_time([lay_line(at, to)], feed_mm_per_s=feed / 60.0, machine=machine)
        at = to
    timing = time_trace(writer.trace(), machine=machine)
    assert timing.cycle_s == pytest.approx(least, rel=WITHIN)


@pytest.mark.parametrize("seed", range(20))
def test_smooth_paths_of_lines_and_wide_arcs(seed, write_trace, make_machine) -> None:
    random = np.random.default_rng(1000 + seed)
    acceleration = float(random.uniform(200.0, 1500.0))
    machine = make_machine(acceleration_mm_per_s2=(acceleration, acceleration, acceleration))
    feed = float(random.uniform(1000.0, 6000.0))
    speed = feed / 60.0
    # straight enough at both ends to reach the feed before the first arc and to stop after the last
    run_up = speed**2 / (2.0 * acceleration) + float(random.uniform(1.0, 60.0))
    writer = write_trace(mode=PathMode.EXACT_PATH, feed=feed, at=(0.0, 0.0, 0.0))
    at, heading, moves = np.zeros(3), float(random.uniform(0.0, 2.0 * pi)), []

    def go(length: float) -> np.ndarray:
        to = at + length * np.array([cos(heading), sin(heading), 0.0])
        moves.append(lay_line(at, to))
        writer.line(x=to[0], y=to[1])
        return to

    at = go(2.0 * run_up)
    for _ in range(int(random.integers(1, 5))):
        turn = 1.0 if random.random() < 0.5 else -1.0
        radius = float(random.uniform(1.5, 6.0)) * speed**2 / acceleration
        sweep = float(random.uniform(0.3, 2.5))
        centre = at[:2] + turn * radius * np.array([-sin(heading), cos(heading)])
        from_rad = atan2(at[1] - centre[1], at[0] - centre[0])
        moves.append((radius * sweep, at, None, (centre, radius, from_rad, turn)))
        end = centre + radius * np.array([cos(from_rad + turn * sweep), sin(from_rad + turn * sweep)])
        writer.arc(end[0], end[1], centre=tuple(centre), clockwise=turn < 0)
        at, heading = np.array([*end, 0.0]), heading + turn * sweep
        at = go(float(random.uniform(1.0, 50.0)))
    at = go(2.0 * run_up)
    timing = time_trace(writer.trace(), machine=machine)
    assert timing.peak_mm_per_s.max() == pytest.approx(speed, rel=1e-9)
    least = find_least_time(moves, feed_mm_per_s=speed, machine=machine)
    assert timing.cycle_s == pytest.approx(least, rel=WITHIN)
    assert hypot(*(at[:2] - writer.trace().end_mm[-1][:2])) < 1e-9
    assert (writer.trace().kind == Kind.ARC).any()
