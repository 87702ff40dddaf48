"""Tangent arcs onto a wall and off it, on the waste side."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, cos, sin

from cam.geometry.along import Ruler, find_heading_at, find_point_at
from cam.motion.moves import Move, Purpose, arc
from cam.plan.workingstep import Workingstep

LEAD_RADII = 2.0
"""Radius of a lead in cutter radii: at least one (common practice, no source), two for a flat approach."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """A tangent arc between a finishing path, at ``near_mm``, and the middle of the roughed slot, at ``far_mm``."""

    near_mm: tuple[float, float]
    far_mm: tuple[float, float]
    centre_mm: tuple[float, float]
    sweep_rad: float


def find_lead(ruler: Ruler, *, at_mm: float, step: Workingstep, waste_left: bool, arriving: bool) -> Lead:
    """Return the lead that arrives at, or leaves from, a place on a finishing path.

    Notes
    -----
    An arc of radius R tangent to the path rises by the allowance a within the angle
    ``acos(1 - a / R)``: its far end then lies on the roughing path beside a straight, and so the
    lead cuts nothing but the allowance.
    """
    radius = LEAD_RADII * step.cutter.radius_mm
    side = 1.0 if waste_left else -1.0
    sweep = side * acos(max(-1.0, 1.0 - step.allowance_mm / radius))
    x, y = find_point_at(ruler, at_mm)
    heading = find_heading_at(ruler, at_mm)
    centre = (x - side * radius * sin(heading), y + side * radius * cos(heading))
    far = _turn_point((x, y), about=centre, angle_rad=-sweep if arriving else sweep)
    return Lead(near_mm=(x, y), far_mm=far, centre_mm=centre, sweep_rad=sweep)


def lead_in(lead: Lead, *, z_mm: float, feed_mm_per_min: float) -> Move:
    """Return the arc from the far end onto the path."""
    return arc(
        (*lead.near_mm, z_mm),
        centre_mm=lead.centre_mm,
        sweep_rad=lead.sweep_rad,
        feed_mm_per_min=feed_mm_per_min,
        purpose=Purpose.LEAD,
    )


def lead_out(lead: Lead, *, z_mm: float, feed_mm_per_min: float) -> Move:
    """Return the arc off the path to the far end."""
    return arc(
        (*lead.far_mm, z_mm),
        centre_mm=lead.centre_mm,
        sweep_rad=lead.sweep_rad,
        feed_mm_per_min=feed_mm_per_min,
        purpose=Purpose.LEAD,
    )


def _turn_point(point: tuple[float, float], *, about: tuple[float, float], angle_rad: float) -> tuple[float, float]:
    dx, dy = point[0] - about[0], point[1] - about[1]
    c, s = cos(angle_rad), sin(angle_rad)
    return about[0] + c * dx - s * dy, about[1] + s * dx + c * dy
