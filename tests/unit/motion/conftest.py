"""How the tests of motion look at moves: points along them, and what the cutter's disc sweeps."""

from __future__ import annotations

from itertools import pairwise
from math import acos, ceil, hypot

import numpy as np
import pytest
import shapely

from cam.geometry.flatten import flatten
from cam.motion.moves import MoveKind

CHORD_MM = 1e-4


def flatten_move(start_mm, move) -> np.ndarray:
    """Return points along a move, (m, 3), its arc as chords within `CHORD_MM`."""
    start, end = np.asarray(start_mm, dtype=float), np.asarray(move.to_mm, dtype=float)
    if move.kind is not MoveKind.ARC:
        return np.array([start, end])
    cx, cy = move.centre_mm
    radius = hypot(start[0] - cx, start[1] - cy)
    assert radius == pytest.approx(hypot(end[0] - cx, end[1] - cy), abs=1e-6)
    count = max(2, ceil(abs(move.sweep_rad) / (2 * acos(max(0.0, 1 - CHORD_MM / max(radius, 2e-4))))))
    share = np.linspace(0.0, 1.0, count + 1)
    angle = np.arctan2(start[1] - cy, start[0] - cx) + move.sweep_rad * share
    points = np.column_stack(
        (cx + radius * np.cos(angle), cy + radius * np.sin(angle), start[2] + (end[2] - start[2]) * share)
    )
    assert points[-1] == pytest.approx(end, abs=1e-6), "an arc's sweep ends at its end point"
    return points


@pytest.fixture(scope="session")
def walk():
    """Return a function that gives (move, points) for each move after the first."""

    def do(moves):
        return [(move, flatten_move(before.to_mm, move)) for before, move in pairwise(moves)]

    return do


@pytest.fixture(scope="session")
def sweep(walk):
    """Return a function that gives the union of the discs of moves at or below a height, as a polygon."""

    def do(moves, *, radius_mm, z_mm):
        lines = [
            shapely.LineString(points[:, :2]) if np.ptp(points[:, :2], axis=0).any() else shapely.Point(points[0, :2])
            for move, points in walk(moves)
            if move.kind is not MoveKind.RAPID and points[:, 2].max() <= z_mm + 1e-9
        ]
        return shapely.unary_union(
            [shapely.buffer(shapely.simplify(line, 5e-4), radius_mm, quad_segs=64) for line in lines]
        )

    return do


@pytest.fixture(scope="session")
def as_polygon():
    """Return a function that gives a contour as a polygon within 0.0001 mm."""
    return lambda contour: shapely.Polygon(flatten(contour, chord_tol_mm=CHORD_MM))


@pytest.fixture(scope="session")
def find_headings():
    """Return a function that gives the directions of travel at a move's start and end, as unit vectors in XY."""

    def do(start_mm, move):
        (x0, y0, *_), (x1, y1, *_) = start_mm, move.to_mm
        if move.kind is MoveKind.ARC:
            cx, cy = move.centre_mm
            turn = 1.0 if move.sweep_rad > 0 else -1.0
            radius = hypot(x0 - cx, y0 - cy)
            return (
                np.array([-(y0 - cy), x0 - cx]) * turn / radius,
                np.array([-(y1 - cy), x1 - cx]) * turn / radius,
            )
        along = np.array([x1 - x0, y1 - y0])
        along /= np.hypot(*along)
        return along, along

    return do
