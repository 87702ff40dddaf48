"""Smooth links from one ring to the next: two arcs, tangent to both."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, hypot, sin, sqrt

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.geometry.along import Ruler, find_heading_at, find_nearest_at, find_point_at
from cam.motion.moves import Move, Purpose, arc, line

Point = tuple[float, float]

LENGTHS = (6.0, 4.5, 3.5, 2.5, 1.8)
"""Lengths of a link in cutter radii, the first that finds room: the longer, the less it turns into the solid."""
MAX_TURN_RAD = 1.0
LEAST_SHARE = 0.85
"""A tighter bend than this share of the cutter's radius is none: its feed, lowered for the outer edge, would rub."""
STRAIGHT_RAD = 1e-6
ROOM_TOL_MM = 0.002


@dataclass(frozen=True, slots=True, kw_only=True)
class Bend:
    """One arc of a link, or a straight piece where ``centre_mm`` is None."""

    to_mm: Point
    centre_mm: Point | None
    sweep_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """The way onto a ring, and the place along it where it arrives."""

    bends: tuple[Bend, ...]
    at_mm: float


def find_link(
    ring: Ruler, *, from_mm: Point, heading_rad: float, radius_mm: float, within: BaseGeometry
) -> Link | None:
    """Return the link from a point and heading beside a ring onto it, or None where none has room."""
    nearest = find_nearest_at(ring, from_mm)
    for length in LENGTHS:
        at = nearest + min(length * radius_mm, 0.45 * ring.length_mm)
        bends = join_smoothly(from_mm, heading_rad, find_point_at(ring, at), to_heading_rad=find_heading_at(ring, at))
        if bends and _fits(from_mm, bends, within=within, least_mm=LEAST_SHARE * radius_mm):
            return Link(bends=bends, at_mm=at)
    return None


def join_smoothly(
    from_mm: Point, heading_rad: float, to_mm: Point, *, to_heading_rad: float
) -> tuple[Bend, ...] | None:
    """Return two arcs from one point and heading to another that meet with one tangent, or None.

    Notes
    -----
    Both tangents are taken equally long: ``v.v + 2 d v.(a + b) + 2 d^2 (a.b - 1) = 0`` with v from
    the end back to the start; the joint lies halfway between their ends.

    Examples
    --------
    >>> bends = join_smoothly((0.0, 0.0), 0.0, (4.0, 1.0), to_heading_rad=0.0)
    >>> [round(bend.sweep_rad, 3) for bend in bends], bends[0].to_mm
    ([0.49, -0.49], (2.0, 0.5))
    """
    a, b = np.array([cos(heading_rad), sin(heading_rad)]), np.array([cos(to_heading_rad), sin(to_heading_rad)])
    start, end = np.array(from_mm), np.array(to_mm)
    v = end - start
    square, along, turn = float(v @ v), float(v @ (a + b)), 1.0 - float(a @ b)
    if square == 0.0:
        return None
    if turn < 1e-12:
        if along <= 0.0:
            return None
        reach = square / (2.0 * along)
    else:
        reach = (-along + sqrt(along**2 + 2.0 * turn * square)) / (2.0 * turn)
    joint = (start + end + reach * (a - b)) / 2.0
    first = _bend((float(start[0]), float(start[1])), heading_rad, (float(joint[0]), float(joint[1])))
    second = _bend(first.to_mm, heading_rad + first.sweep_rad, to_mm)
    return first, second


def _bend(start: Point, heading_rad: float, end: Point) -> Bend:
    dx, dy = end[0] - start[0], end[1] - start[1]
    ahead = dx * cos(heading_rad) + dy * sin(heading_rad)
    left = dy * cos(heading_rad) - dx * sin(heading_rad)
    sweep = 2.0 * atan2(left, ahead)
    if abs(sweep) < STRAIGHT_RAD:
        return Bend(to_mm=end, centre_mm=None, sweep_rad=0.0)
    radius = (dx * dx + dy * dy) / (2.0 * left)
    centre = (start[0] - radius * sin(heading_rad), start[1] + radius * cos(heading_rad))
    return Bend(to_mm=end, centre_mm=centre, sweep_rad=sweep)


def _fits(start: Point, bends: tuple[Bend, ...], *, within: BaseGeometry, least_mm: float) -> bool:
    """Return whether a link turns gently and stays within a region."""
    if any(abs(bend.sweep_rad) > MAX_TURN_RAD for bend in bends):
        return False
    points, at = [start], start
    for bend in bends:
        if bend.centre_mm is not None and hypot(at[0] - bend.centre_mm[0], at[1] - bend.centre_mm[1]) < least_mm:
            return False
        points += _place_points(at, bend)
        at = bend.to_mm
    return bool((shapely.distance(shapely.points(np.array(points)), within) <= ROOM_TOL_MM).all())


def _place_points(start: Point, bend: Bend, *, count: int = 12) -> list[Point]:
    if bend.centre_mm is None:
        share = np.linspace(0.0, 1.0, count + 1)[1:]
        return [(start[0] + (bend.to_mm[0] - start[0]) * s, start[1] + (bend.to_mm[1] - start[1]) * s) for s in share]
    (x, y), radius = bend.centre_mm, hypot(start[0] - bend.centre_mm[0], start[1] - bend.centre_mm[1])
    first = atan2(start[1] - y, start[0] - x)
    turns = first + bend.sweep_rad * np.linspace(0.0, 1.0, count + 1)[1:]
    return [(x + radius * cos(turn), y + radius * sin(turn)) for turn in turns.tolist()]


def lay_bends(
    bends: tuple[Bend, ...],
    *,
    start_mm: Point,
    z_mm: float,
    feed_mm_per_min: float,
    reach_mm: float,
    material_right: bool,
) -> list[Move]:
    """Return the moves of a link; round a turn away from the material its outer edge, which cuts, holds the feed."""
    moves: list[Move] = []
    at = start_mm
    for bend in bends:
        to = (*bend.to_mm, z_mm)
        if bend.centre_mm is None:
            moves.append(line(to, feed_mm_per_min=feed_mm_per_min, purpose=Purpose.LINK))
        else:
            radius = hypot(at[0] - bend.centre_mm[0], at[1] - bend.centre_mm[1])
            outer = (bend.sweep_rad > 0.0) == material_right
            feed = feed_mm_per_min * (radius / (radius + reach_mm) if outer else 1.0)
            moves.append(
                arc(to, centre_mm=bend.centre_mm, sweep_rad=bend.sweep_rad, feed_mm_per_min=feed, purpose=Purpose.LINK)
            )
        at = bend.to_mm
    return moves
