"""Which cutter a recess takes: the shape that a cutter leaves of it, and the widest that leaves all."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.contour import Region
from cam.geometry.flatten import flatten
from cam.tables.rows import Cutter, CutterKind, Machine

CHORD_TOL_MM = 0.002
UNREACHED_MM = 0.02
"""A cutter leaves a shape whole if nothing that it does not reach is thicker than this."""
ROUGH_SHARE = 0.6
"""Roughing may leave so much of the allowance beyond it in corners."""
SAME_WIDTH_MM = 0.02
"""A groove of the cutter's own diameter, the last digit of either apart, is cut along its centre line."""
SEARCH_MM = 0.01


def lay_polygon(region: Region) -> BaseGeometry:
    """Return a region as a polygon of chords."""
    outer, *holes = (flatten(contour, chord_tol_mm=CHORD_TOL_MM) for contour in region.contours)
    return shapely.Polygon(outer, holes).buffer(0.0)


def is_reached(shape: BaseGeometry, *, of: BaseGeometry, by_mm: float, spare_mm: float = UNREACHED_MM) -> bool:
    """Return whether a disc within a shape reaches all of it that lies in a panel, but what is thin.

    Parameters
    ----------
    of
        The panel.
    by_mm
        The disc's radius.
    spare_mm
        What is thinner than this counts as reached.
    """
    opened = shape.buffer(-by_mm, quad_segs=32).buffer(by_mm, quad_segs=32)
    return bool(shape.difference(opened.buffer(spare_mm)).intersection(of).area < 1e-9)


def find_reaching_mm(shape: BaseGeometry, *, of: BaseGeometry) -> float:
    """Return the radius of the largest disc that reaches all of a shape in a panel, a little too small."""
    low, high = 0.0, 200.0
    while high - low > SEARCH_MM:
        middle = (low + high) / 2.0
        low, high = (middle, high) if is_reached(shape, of=of, by_mm=middle) else (low, middle)
    return low


def choose_recess_cutter(
    region: Region,
    *,
    panel: BaseGeometry,
    width_mm: float | None,
    cutters: Sequence[Cutter],
    first: Sequence[Cutter],
    allowance_mm: float,
    depth_mm: float,
    thickness_mm: float,
    machine: Machine,
    origin: Origin,
) -> tuple[Cutter, str]:
    """Return the cutter of a recess or a groove, and why it is that one.

    Parameters
    ----------
    region, panel
        What is to be cut, open into the waste where it reaches the outline; and the panel, all of which must be
        reached.
    width_mm
        A groove's width; None for a recess.
    cutters
        Those that the job may use, the preferred one first.
    first
        Those that other features take already: they are asked first, so that no change is added.

    Raises
    ------
    PlanRefused
        ``recess-too-narrow``, naming the diameter that would do.
    """
    fit = [
        cutter
        for cutter in cutters
        if cutter.kind is CutterKind.FLAT
        and cutter.edge_length_mm >= depth_mm
        and cutter.shank_mm <= machine.max_collet_mm
        and cutter.max_ramp_deg > 0.0
    ]
    for cutter in fit:
        if width_mm is not None and abs(cutter.diameter_mm - width_mm) <= SAME_WIDTH_MM:
            return cutter, f"cutter {cutter.name}: as wide as the groove, one way along its centre line"
    shape = lay_polygon(region)
    for cutter in sorted(fit, key=lambda each: _rank(each, first=first, thickness_mm=thickness_mm)):
        if _clears(shape, panel=panel, cutter=cutter, allowance_mm=allowance_mm):
            why = "it cuts other features already" if cutter in first else "the largest that fits, for the thickness"
            return cutter, f"cutter {cutter.name}: {why}"
    widest = 2.0 * min(find_reaching_mm(each, of=panel) for each in (shape, shape.buffer(-allowance_mm)))
    raise PlanRefused(
        error(
            "recess-too-narrow",
            f"no cutter reaches all of this and leaves {allowance_mm:g} mm for the finishing pass: it takes one of at "
            f"most {widest:.2f} mm that cuts {depth_mm:.2f} mm deep",
            remedy="name a smaller cutter in the job, widen the recess, or make a groove as wide as a cutter",
            origin=origin,
            size_mm=widest,
        )
    )


def _rank(cutter: Cutter, *, first: Sequence[Cutter], thickness_mm: float) -> tuple[bool, bool, float, int]:
    large = cutter.diameter_mm > 1.5 * thickness_mm + 1e-9
    return cutter not in first, large, cutter.diameter_mm if large else -cutter.diameter_mm, cutter.tool


def _clears(shape: BaseGeometry, *, panel: BaseGeometry, cutter: Cutter, allowance_mm: float) -> bool:
    """Return whether a cutter finishes all of a shape, and roughs all but what the finishing pass may take."""
    roughed = shape.buffer(-allowance_mm)
    return is_reached(shape, of=panel, by_mm=cutter.radius_mm) and is_reached(
        roughed, of=panel, by_mm=cutter.radius_mm, spare_mm=ROUGH_SHARE * allowance_mm
    )
