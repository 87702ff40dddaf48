"""Tangent arcs onto a wall and off it, on the waste side."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, cos, hypot, sin

import numpy as np

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, find_heading_at, find_point_at
from cam.geometry.contour import IntArray, Segments, find_segments
from cam.geometry.measure import find_distances_mm
from cam.motion.moves import Move, Purpose, arc
from cam.plan.workingstep import Obstacle, Workingstep

LEAD_RADII = (2.0, 1.0, 0.5, 0.25)
"""Radius of a lead in cutter radii, the first that finds room: two for a flat approach, one is common practice."""
WALL_TOL_MM = 1e-5
"""How much nearer than the cutter's radius a lead may come to the wall: the offset's own certainty."""
SAMPLES = 32
"""A lead is a few millimetres long: between places a fraction of that apart its distance changes evenly."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """A tangent arc between a finishing path, at ``near_mm``, and the middle of the roughed slot, at ``far_mm``.

    ``at_mm`` is the place of ``near_mm`` along the path.
    """

    at_mm: float
    near_mm: tuple[float, float]
    far_mm: tuple[float, float]
    centre_mm: tuple[float, float]
    sweep_rad: float


def find_lead(
    ruler: Ruler, *, places_mm: tuple[float, ...], step: Workingstep, waste_left: bool, arriving: bool
) -> Lead:
    """Return the lead that arrives at, or leaves from, the first of some places where it finds room.

    Parameters
    ----------
    places_mm
        Distances along the finishing path, the preferred one first; each is tried with every radius.

    Raises
    ------
    PlanRefused
        ``no-room-for-lead``, if every arc would reach into the wall or touch something else that is kept.

    Notes
    -----
    An arc of radius R tangent to the path rises by the allowance a within the angle
    ``acos(1 - a / R)``: its far end then lies on the roughing path beside a straight, and so the
    lead cuts nothing but the allowance. Beside a corner or in a tight curve a flat arc would cut
    into the wall; then a tighter one is taken.
    """
    for at_mm in places_mm:
        for radii in LEAD_RADII:
            lead = _lay_lead(
                ruler,
                at_mm=at_mm,
                radius_mm=radii * step.cutter.radius_mm,
                allowance_mm=step.allowance_mm,
                waste_left=waste_left,
                arriving=arriving,
            )
            if find_in_the_way(lead, step=step, arriving=arriving) is None:
                return lead
    x, y = find_point_at(ruler, places_mm[0])
    in_the_way = find_in_the_way(lead, step=step, arriving=arriving)
    raise PlanRefused(
        error(
            "no-room-for-lead",
            f"no tangent arc brings cutter {step.cutter.name} onto this contour without touching {in_the_way}",
            remedy="choose a smaller cutter, widen the contour in the drawing, or move what is in the way",
            origin=Origin(panel=step.panel, feature=step.feature, x_mm=x, y_mm=y),
        )
    )


def _lay_lead(
    ruler: Ruler, *, at_mm: float, radius_mm: float, allowance_mm: float, waste_left: bool, arriving: bool
) -> Lead:
    side = 1.0 if waste_left else -1.0
    sweep = side * acos(max(-1.0, 1.0 - allowance_mm / radius_mm))
    x, y = find_point_at(ruler, at_mm)
    heading = find_heading_at(ruler, at_mm)
    centre = (x - side * radius_mm * sin(heading), y + side * radius_mm * cos(heading))
    far = _turn_point((x, y), about=centre, angle_rad=-sweep if arriving else sweep)
    return Lead(at_mm=at_mm, near_mm=(x, y), far_mm=far, centre_mm=centre, sweep_rad=sweep)


def find_in_the_way(lead: Lead, *, step: Workingstep, arriving: bool) -> str | None:
    """Return what the cutter would touch along a lead besides waste, or None: wall, other kept walls, keep-outs."""
    radius = hypot(lead.near_mm[0] - lead.centre_mm[0], lead.near_mm[1] - lead.centre_mm[1])
    length = abs(lead.sweep_rad) * radius
    turn = (-lead.sweep_rad if arriving else lead.sweep_rad) / SAMPLES
    kept = (Obstacle(name="its wall", contour=step.wall, keep_mm=step.cutter.radius_mm), *step.obstacles)
    segments, owner = _join_segments(kept)
    keep = np.array([obstacle.keep_mm for obstacle in kept])[owner]
    # nothing of a lead is farther from its near end than it is long
    near = np.flatnonzero(find_distances_mm(segments, lead.near_mm) < keep + length)
    places = np.array([_turn_point(lead.near_mm, about=lead.centre_mm, angle_rad=i * turn) for i in range(SAMPLES + 1)])
    asked = np.repeat(near, len(places))
    apart = find_distances_mm(_take_segments(segments, asked), np.tile(places, (len(near), 1)))
    touched = asked[apart < keep[asked] - WALL_TOL_MM]
    return kept[int(owner[touched].min())].name if len(touched) else None


def _join_segments(obstacles: tuple[Obstacle, ...]) -> tuple[Segments, IntArray]:
    """Return the segments of all obstacles' contours, and the number of the obstacle of each."""
    contours = [obstacle.contour.vertices for obstacle in obstacles]
    # each contour closed by its first vertex; what joins it to the next one is none of them
    closed = [np.concatenate((vertices, vertices[:1])) for vertices in contours]
    owner = np.repeat(np.arange(len(closed)), [len(vertices) for vertices in closed])
    segments = find_segments(np.concatenate(closed), closed=False)
    within = np.flatnonzero(owner[1:] == owner[:-1])
    return _take_segments(segments, within), owner[within]


def _take_segments(segments: Segments, rows: IntArray) -> Segments:
    return Segments(
        start_mm=segments.start_mm[rows],
        end_mm=segments.end_mm[rows],
        centre_mm=segments.centre_mm[rows],
        radius_mm=segments.radius_mm[rows],
        sweep_rad=segments.sweep_rad[rows],
    )


def find_lead_feed(lead: Lead, *, feed_mm_per_min: float, reach_mm: float) -> float:
    """Return the feed of the centre round a lead that holds the feed at the wall, its outer side.

    Notes
    -----
    On an arc of radius R the outer edge of a cutter of radius r travels ``(R + r) / R`` times as fast
    as its centre.
    """
    radius = hypot(lead.near_mm[0] - lead.centre_mm[0], lead.near_mm[1] - lead.centre_mm[1])
    return feed_mm_per_min * radius / (radius + reach_mm)


def lead_in(lead: Lead, *, z_mm: float, feed_mm_per_min: float, reach_mm: float) -> Move:
    """Return the arc from the far end onto the path; ``reach_mm`` is the cutter's radius."""
    return arc(
        (*lead.near_mm, z_mm),
        centre_mm=lead.centre_mm,
        sweep_rad=lead.sweep_rad,
        feed_mm_per_min=find_lead_feed(lead, feed_mm_per_min=feed_mm_per_min, reach_mm=reach_mm),
        purpose=Purpose.LEAD,
    )


def lead_out(lead: Lead, *, z_mm: float, feed_mm_per_min: float, reach_mm: float) -> Move:
    """Return the arc off the path to the far end; ``reach_mm`` is the cutter's radius."""
    return arc(
        (*lead.far_mm, z_mm),
        centre_mm=lead.centre_mm,
        sweep_rad=lead.sweep_rad,
        feed_mm_per_min=find_lead_feed(lead, feed_mm_per_min=feed_mm_per_min, reach_mm=reach_mm),
        purpose=Purpose.LEAD,
    )


def _turn_point(point: tuple[float, float], *, about: tuple[float, float], angle_rad: float) -> tuple[float, float]:
    dx, dy = point[0] - about[0], point[1] - about[1]
    c, s = cos(angle_rad), sin(angle_rad)
    return about[0] + c * dx - s * dy, about[1] + s * dx + c * dy
