"""Circular and elliptic arcs in any frame to rows of vertices."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, cos, degrees, pi, radians, sin, tan

import numpy as np

from cam.drawing.frame import SAME_SCALE, Frame
from cam.drawing.pieces import Row
from cam.geometry.arcfit import fit_curve
from cam.geometry.contour import FloatArray

QUARTERS = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))
MAX_SWEEP_DEG = 270.0  # a longer arc becomes two: its chord shrinks to nothing as it closes
MAX_BULGE = tan(radians(MAX_SWEEP_DEG) / 4.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conic:
    """The arc ``centre + axis_u cos t + axis_v sin t`` for t from ``start_rad`` over ``sweep_rad``.

    ``centre``, ``axis_u`` and ``axis_v`` are (3,). A sweep of 2 pi is a closed curve; the sweep is
    positive.
    """

    centre: FloatArray
    axis_u: FloatArray
    axis_v: FloatArray
    start_rad: float = 0.0
    sweep_rad: float = 2.0 * pi

    @property
    def is_closed(self) -> bool:
        """Whether it runs all the way round."""
        return abs(self.sweep_rad - 2.0 * pi) <= 1e-9


def place_conic(conic: Conic, frame: Frame) -> Conic:
    """Return the conic as it lies in the drawing; any affine frame makes a conic of a conic."""
    axes = frame.turn(np.array([conic.axis_u, conic.axis_v]))
    return Conic(
        centre=frame.place(conic.centre[None])[0],
        axis_u=axes[0],
        axis_v=axes[1],
        start_rad=conic.start_rad,
        sweep_rad=conic.sweep_rad,
    )


def lay_conic(conic: Conic, *, tol: float) -> list[Row]:
    """Return the vertices of a placed conic seen from above; a closed one has no last row.

    A circle stays exact. An ellipse becomes arcs within ``tol``, in drawing units.

    Raises
    ------
    ValueError
        If the curve is flattened to a line.
    """
    u, v = complex(*conic.axis_u[:2]), complex(*conic.axis_v[:2])
    area = (u.conjugate() * v).imag
    if abs(area) <= 1e-9 * max(abs(u), abs(v)) ** 2:
        raise ValueError("the curve is flattened to a line")
    is_circle = (
        abs(abs(u) - abs(v)) <= SAME_SCALE * abs(u) and abs((u.conjugate() * v).real) <= SAME_SCALE * abs(u) ** 2
    )
    if is_circle:
        return _lay_circular(conic, u, 1.0 if area > 0.0 else -1.0)
    axes = (u.real, u.imag, v.real, v.imag)
    path = _fit_ellipse(axes, start_rad=conic.start_rad, sweep_rad=conic.sweep_rad, tol=tol)
    x, y = float(conic.centre[0]), float(conic.centre[1])
    rows: list[Row] = [(x + dx, y + dy, bulge) for dx, dy, bulge in path]
    return rows[:-1] if conic.is_closed else rows


@lru_cache(maxsize=256)
def _fit_ellipse(
    axes: tuple[float, float, float, float], *, start_rad: float, sweep_rad: float, tol: float
) -> tuple[Row, ...]:
    """Return arcs along an ellipse about the origin; remembered, because blocks repeat them by the hundred."""
    axis_u, axis_v = np.array(axes[:2]), np.array(axes[2:])

    def run(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        c, s = np.cos(t)[:, None], np.sin(t)[:, None]
        return c * axis_u + s * axis_v, c * axis_v - s * axis_u

    path = fit_curve(run, breaks=np.array([start_rad, start_rad + sweep_rad]), tol_mm=tol)
    return tuple((float(x), float(y), float(bulge)) for x, y, bulge in path)


def _lay_circular(conic: Conic, u: complex, turn: float) -> list[Row]:
    centre = complex(*conic.centre[:2])
    start_deg, sweep_deg = degrees(conic.start_rad), degrees(conic.sweep_rad)
    parts = 2 if conic.is_closed or sweep_deg > MAX_SWEEP_DEG else 1
    bulge = turn * (1.0 if conic.is_closed else tan(conic.sweep_rad / parts / 4.0))
    rows = []
    for part in range(parts + 1):
        c, s = find_direction(start_deg + sweep_deg * part / parts)
        point = centre + u * complex(c, turn * s)
        rows.append((point.real, point.imag, bulge if part < parts else 0.0))
    return rows[:-1] if conic.is_closed else rows


def lay_arc(x: float, y: float, radius: float, start_deg: float, end_deg: float) -> list[Row]:
    """Return the open path of a level arc, counter-clockwise; one longer than three quarters becomes two.

    Examples
    --------
    >>> lay_arc(1.0, 2.0, 5.0, 0.0, 180.0)
    [(6.0, 2.0, 0.99...), (-4.0, 2.0, 0.0)]
    """
    sweep_deg = find_sweep(start_deg, end_deg, turn=360.0)
    parts = ceil(sweep_deg / MAX_SWEEP_DEG)
    bulge = tan(radians(sweep_deg / parts) / 4.0)
    rows = []
    for part in range(parts + 1):
        c, s = find_direction(start_deg + sweep_deg * part / parts if part < parts else end_deg)
        rows.append((x + radius * c, y + radius * s, bulge if part < parts else 0.0))
    return rows


def find_sweep(start: float, end: float, *, turn: float) -> float:
    """Return how far an arc runs from start to end, more than 0 and at most a full turn.

    Angles a full turn apart but for rounding are a full turn, not nothing.

    Examples
    --------
    >>> find_sweep(350.0, 10.0, turn=360.0)
    20.0
    >>> find_sweep(0.0, 360.0000000001, turn=360.0)
    360.0
    """
    sweep = (end - start) % turn
    near_turn = min(sweep, turn - sweep) <= 1e-11 * turn
    return turn if near_turn and (end == start or abs(end - start) > turn / 2.0) else sweep or turn


def find_direction(angle_deg: float) -> tuple[float, float]:
    """Return cosine and sine of an angle, exact at quarter turns.

    Examples
    --------
    >>> find_direction(270.0)
    (0.0, -1.0)
    """
    quarter, rest = divmod(angle_deg, 90.0)
    if rest == 0.0:
        return QUARTERS[int(quarter) % 4]
    angle = radians(angle_deg)
    return cos(angle), sin(angle)


def split_wide_arcs(rows: list[Row], *, closed: bool) -> list[Row]:
    """Return the rows with every arc of more than three quarters of a circle cut in two."""
    laid: list[Row] = []
    for i, (x, y, bulge) in enumerate(rows):
        is_used = closed or i < len(rows) - 1
        if abs(bulge) <= MAX_BULGE or not is_used:
            laid.append((x, y, bulge))
            continue
        x1, y1, _ = rows[(i + 1) % len(rows)]
        half = tan(2.0 * np.arctan(bulge) / 4.0)
        # the arc's middle lies bulge half chords to the right of the chord's middle
        middle = ((x + x1) / 2.0 + bulge / 2.0 * (y1 - y), (y + y1) / 2.0 - bulge / 2.0 * (x1 - x))
        laid.extend([(x, y, half), (*middle, half)])
    return laid


def find_conic(start: Row, end: Row) -> Conic:
    """Return the level arc of a bulge, its height 0."""
    x, y, bulge = start
    chord_x, chord_y = end[0] - x, end[1] - y
    centre = np.array(
        [
            (x + end[0]) / 2.0 - chord_y * (1.0 - bulge * bulge) / (4.0 * bulge),
            (y + end[1]) / 2.0 + chord_x * (1.0 - bulge * bulge) / (4.0 * bulge),
            0.0,
        ]
    )
    axis_u = np.array([x, y, 0.0]) - centre
    turn = 1.0 if bulge > 0.0 else -1.0
    axis_v = turn * np.array([-axis_u[1], axis_u[0], 0.0])
    return Conic(centre=centre, axis_u=axis_u, axis_v=axis_v, sweep_rad=4.0 * float(np.arctan(abs(bulge))))
