"""Curves to samples: points and tangents so close that nothing of the curve hides between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray

Curve = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""Parameters (k,) to points (k, 2) and derivatives (k, 2); at a kink the derivative of the right side."""

MAX_STEP_RAD = 0.25  # turn between two samples
MAX_SAMPLES = 2_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """Samples of a curve between two kinks: ``points_mm`` (n, 2), unit ``tangents`` (n, 2)."""

    points_mm: FloatArray
    tangents: FloatArray


def sample_curve(curve: Curve, *, breaks: FloatArray, chord_tol_mm: float) -> list[Run]:
    """Return samples of a curve, so close that it strays no farther than a distance from their chords.

    Notes
    -----
    Each span is cut into eight, then halved until the curve at a quarter, half and three quarters
    of each interval keeps the distance and the tangent turns by at most ``MAX_STEP_RAD``. Where
    the tangent still jumps over an interval shorter than ``chord_tol_mm`` the curve has a kink and
    a new run begins.
    """
    breaks = np.unique(breaks)
    parameters = np.concatenate([np.linspace(a, b, 9)[:-1] for a, b in pairwise(breaks)])
    parameters = np.append(parameters, breaks[-1])
    open_ = np.ones(len(parameters) - 1, dtype=np.bool_)
    while open_.any():
        at = np.flatnonzero(open_)
        coarse = _needs_halving(curve, parameters[at], parameters[at + 1], chord_tol_mm)
        halved = at[coarse]
        if len(parameters) + len(halved) > MAX_SAMPLES:
            raise ValueError(f"the curve needs more than {MAX_SAMPLES} samples")
        middle = (parameters[halved] + parameters[halved + 1]) / 2.0
        open_ = np.zeros(len(open_), dtype=np.bool_)
        open_[halved] = True
        parameters = np.insert(parameters, halved + 1, middle)
        open_ = np.insert(open_, halved + 1, True)
    return _split_at_kinks(curve, parameters, chord_tol_mm)


def _needs_halving(curve: Curve, low: FloatArray, high: FloatArray, chord_tol_mm: float) -> BoolArray:
    shares = np.array([0.0, 0.25, 0.5, 0.75, 1.0 - 1e-9])
    t = low[:, None] + (high - low)[:, None] * shares
    flat, derivative = curve(t.reshape(-1))
    if not (np.isfinite(flat).all() and np.isfinite(derivative).all()):
        raise ValueError("the curve is not finite")
    points = flat.reshape(len(low), 5, 2)
    chord = points[:, 4] - points[:, 0]
    size = np.hypot(*chord.T)
    inner = points[:, 1:4] - points[:, :1]
    safe = np.where(size > 0.0, size, 1.0)
    unit = chord / safe[:, None]
    away = np.abs(inner[:, :, 0] * unit[:, None, 1] - inner[:, :, 1] * unit[:, None, 0])
    forward = (inner * unit[:, None, :]).sum(axis=2)
    beyond = np.maximum(np.maximum(-forward, forward - size[:, None]), 0.0)
    stray = np.where(size > 0.0, (away + beyond).max(axis=1), np.hypot(inner[:, :, 0], inner[:, :, 1]).max(axis=1))
    directions = derivative.reshape(len(low), 5, 2)
    cross = directions[:, :-1, 0] * directions[:, 1:, 1] - directions[:, :-1, 1] * directions[:, 1:, 0]
    dot = (directions[:, :-1] * directions[:, 1:]).sum(axis=2)
    turn = np.abs(np.arctan2(cross, dot)).sum(axis=1)
    extent = np.maximum(size, np.hypot(inner[:, :, 0], inner[:, :, 1]).max(axis=1))
    resolvable = (high - low) > 8.0 * np.spacing(np.maximum(np.abs(low), np.abs(high)))
    return np.asarray(((stray > chord_tol_mm) | ((turn > MAX_STEP_RAD) & (extent > chord_tol_mm))) & resolvable)


def _split_at_kinks(curve: Curve, parameters: FloatArray, chord_tol_mm: float) -> list[Run]:
    """Return the runs between kinks, their tangents taken from inside each run."""
    points = curve(parameters)[0]
    keep = np.concatenate(([True], np.hypot(*np.diff(points, axis=0).T) > 0.0))
    last = parameters[-1]
    points, parameters = points[keep], parameters[keep]
    if len(points) < 2:
        raise ValueError("the curve has no length")
    parameters[-1] = last
    before = curve(parameters - np.concatenate(([0.0], np.diff(parameters) * 1e-9)))[1]
    after = curve(parameters)[1]
    arriving, leaving = _unit(before, points, forward=False), _unit(after, points, forward=True)
    cross = arriving[:, 0] * leaving[:, 1] - arriving[:, 1] * leaving[:, 0]
    kinked = np.abs(np.arctan2(cross, (arriving * leaving).sum(axis=1))) > 1e-6
    short = np.hypot(*np.diff(points, axis=0).T) <= chord_tol_mm
    jump = np.abs(np.arctan2(*_cross_and_dot(leaving[:-1], arriving[1:]))) > MAX_STEP_RAD
    kinked[:-1] |= short & jump
    kinked[1:] |= short & jump
    edges = [0, *[i for i in np.flatnonzero(kinked).tolist() if 0 < i < len(points) - 1], len(points) - 1]
    runs = []
    for a, b in pairwise(edges):
        tangents = leaving[a : b + 1].copy()
        tangents[-1] = arriving[b]
        runs.append(Run(points_mm=points[a : b + 1], tangents=tangents))
    return runs


def _cross_and_dot(one: FloatArray, other: FloatArray) -> tuple[FloatArray, FloatArray]:
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1)


def _unit(derivative: FloatArray, points: FloatArray, *, forward: bool) -> FloatArray:
    """Return unit tangents; where the derivative vanishes, the direction of the chord beside it."""
    chord = np.diff(points, axis=0)
    beside = np.concatenate((chord, chord[-1:])) if forward else np.concatenate((chord[:1], chord))
    size = np.hypot(*derivative.T)
    typical = float(np.median(size))
    vanishing = ~(size > 1e-9 * typical)
    direction = np.where(vanishing[:, None], beside, derivative)
    return np.asarray(direction / np.hypot(*direction.T)[:, None])
