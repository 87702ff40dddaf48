"""Drilling data: feed per turn by diameter, and the window of spindle speeds from surface speeds.

Both the plan, which chooses a feed, and the judge, which checks one, read the table here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import pi, radians, tan

from cam.errors import TableRefused
from cam.findings import NOWHERE, Finding, Origin, error
from cam.tables.rows import Cutter, CutterKind, DrillFeed, Drilling, Material

_SAME_MM = 1e-9
SAME_DIAMETER_MM = 0.05
"""How far a drill's diameter may differ from the hole's (shop rule: less than a drill's own oversize)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillWindow:
    """What a drill may do in a material: feed per turn, spindle speeds, depth of a peck.

    ``min_rpm`` and ``max_rpm`` follow from the surface speeds and the drill's own highest speed;
    ``start_rpm`` is the first choice.
    """

    low_mm: float
    start_mm: float
    high_mm: float
    min_rpm: float
    start_rpm: float
    max_rpm: float
    peck_mm: float
    source: str


def find_point_length_mm(cutter: Cutter) -> float:
    """Return how far a pointed cutter's tip reaches below its full diameter.

    Notes
    -----
    r / tan(p / 2), p the included angle of the point.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> round(find_point_length_mm(SimpleNamespace(radius_mm=3.0, point_angle_deg=90.0)), 6)
    3.0
    """
    return cutter.radius_mm / tan(radians(cutter.point_angle_deg) / 2.0)


def find_rpm(*, speed_m_per_min: float, diameter_mm: float) -> float:
    """Return the spindle speed that gives a surface speed: 1000 v / (pi d).

    Examples
    --------
    >>> round(find_rpm(speed_m_per_min=60.0, diameter_mm=10.0))
    1910
    """
    return 1000.0 * speed_m_per_min / (pi * diameter_mm)


def find_drill_window(*, cutter: Cutter, material: Material, origin: Origin = NOWHERE) -> DrillWindow:
    """Return what a drill may do in a material.

    Raises
    ------
    TableRefused
        ``no-drill-data``, if the cutter is no drill, or the material has no drilling data around its
        diameter.
    """
    drilling = material.drilling
    if drilling is None or cutter.kind is not CutterKind.DRILL:
        raise TableRefused(_no_data(cutter, material, origin))
    feed = _interpolate(drilling, diameter_mm=cutter.diameter_mm)
    if feed is None:
        raise TableRefused(_no_data(cutter, material, origin))
    low, start, high = (
        find_rpm(speed_m_per_min=speed, diameter_mm=cutter.diameter_mm)
        for speed in (drilling.min_speed_m_per_min, drilling.start_speed_m_per_min, drilling.max_speed_m_per_min)
    )
    fastest = min(high, cutter.max_rpm)
    return DrillWindow(
        low_mm=feed.low_mm,
        start_mm=feed.start_mm,
        high_mm=feed.high_mm,
        min_rpm=low,
        start_rpm=min(start, fastest),
        max_rpm=fastest,
        peck_mm=drilling.peck_diameters * cutter.diameter_mm,
        source=feed.source,
    )


def _interpolate(drilling: Drilling, *, diameter_mm: float) -> DrillFeed | None:
    """Return the feed for a diameter, made from the two rows around it if need be; None outside the table."""
    rows = sorted(drilling.feeds, key=lambda row: row.diameter_mm)
    for row in rows:
        if abs(row.diameter_mm - diameter_mm) < _SAME_MM:
            return row
    for before, after in pairwise(rows):
        if before.diameter_mm < diameter_mm < after.diameter_mm:
            share = (diameter_mm - before.diameter_mm) / (after.diameter_mm - before.diameter_mm)
            return DrillFeed(
                diameter_mm=diameter_mm,
                low_mm=before.low_mm + share * (after.low_mm - before.low_mm),
                start_mm=before.start_mm + share * (after.start_mm - before.start_mm),
                high_mm=before.high_mm + share * (after.high_mm - before.high_mm),
                source=f"between {before.diameter_mm:g} mm ({before.source}) and {after.diameter_mm:g} mm "
                f"({after.source})",
            )
    return None


def _no_data(cutter: Cutter, material: Material, origin: Origin) -> Finding:
    feeds = material.drilling.feeds if material.drilling else ()
    reach = (
        f"from {min(row.diameter_mm for row in feeds):g} to {max(row.diameter_mm for row in feeds):g} mm"
        if feeds
        else "for none"
    )
    what = "is no drill" if cutter.kind is not CutterKind.DRILL else f"({cutter.diameter_mm:g} mm) has no drilling data"
    return error(
        "no-drill-data",
        f"{cutter.name} {what} in {material.name}: the table has feeds for drills {reach}",
        remedy="choose another drill, or give the material rows of your own with their source",
        origin=origin,
    )
