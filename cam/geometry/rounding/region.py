"""The corner rule: every re-entrant corner of a region opened with a disc of the rule's radius."""

from __future__ import annotations

from dataclasses import dataclass

from cam.errors import PanelRefused
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import find_size_mm
from cam.geometry.offset.joining import Loop
from cam.geometry.offset.region import find_offset_loops
from cam.geometry.offset.source import Source, find_source
from cam.geometry.rounding.corners import Corner, find_corners, is_only_a_corner
from cam.geometry.rounding.fillets import find_fillets, lay_contour

HAIR_MM = 5e-4
"""How much smaller the searching disc is than the rule's: what is below the rule by this passes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerChange:
    """A corner that was rounded: where it stood, and its radius before (0.0 for sharp) and after."""

    contour: int
    x_mm: float
    y_mm: float
    radius_before_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoundedRegion:
    """A region that keeps the corner rule, and the list of what was changed for it."""

    region: Region
    corners: tuple[CornerChange, ...]


def round_corners(region: Region, *, radius_mm: float) -> RoundedRegion:
    """Return a region whose re-entrant corners have at least a radius, and what changed.

    The waste round and in the region is opened with a disc: where the disc cannot reach, material
    stays. Only corners and arcs tighter than the radius change; other segments keep every bit.

    Parameters
    ----------
    region
        The material that stays.
    radius_mm
        The positive radius of the disc.

    Raises
    ------
    PanelRefused
        ``slot-too-narrow``, where a slot, notch or cut-out would be filled, not just rounded.

    Examples
    --------
    >>> from cam.geometry.contour import polygon
    >>> step = polygon([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)])
    >>> rounded = round_corners(Region(outer=step), radius_mm=5.0)
    >>> [(corner.x_mm, corner.y_mm) for corner in rounded.corners]
    [(10.0, 10.0)]
    """
    if not radius_mm > 0.0:
        raise ValueError("corners are rounded with a positive radius")
    contours: list[Contour] = []
    changes: list[CornerChange] = []
    findings: list[Finding] = []
    for number, contour in enumerate(region.contours):
        rounded, changed, refused = _round_contour(contour, number=number, radius_mm=radius_mm)
        contours.append(rounded)
        changes.extend(changed)
        findings.extend(refused)
    if findings:
        raise PanelRefused(*findings)
    return RoundedRegion(region=Region(outer=contours[0], holes=tuple(contours[1:])), corners=tuple(changes))


def _round_contour(
    contour: Contour, *, number: int, radius_mm: float
) -> tuple[Contour, list[CornerChange], list[Finding]]:
    source = find_source((contour,))
    reach = radius_mm - min(HAIR_MM, 1e-3 * radius_mm)
    loops = find_offset_loops(source, distance_mm=reach)
    if not loops:
        return contour, [], [_refuse_hole(contour, radius_mm)]
    corners = [corner for loop in loops for corner in find_corners(loop, source=source, reach_mm=reach)]
    filled = [c for c in corners if not is_only_a_corner(c, source=source, radius_mm=radius_mm)]
    if len(loops) > 1 and not filled:
        filled = corners[:1]
    if filled:
        return contour, [], [_refuse_slot(corner, source, contour, radius_mm) for corner in filled]
    if not corners:
        return contour, [], []
    fillets = find_fillets(corners, source=source, radius_mm=radius_mm, reach_mm=reach)
    rounded = lay_contour(contour, loop=loops[0], fillets=fillets, source=source)
    changed = [
        CornerChange(
            contour=number,
            x_mm=float(corner.deepest_mm[0] + source.origin_mm[0]),
            y_mm=float(corner.deepest_mm[1] + source.origin_mm[1]),
            radius_before_mm=corner.radius_before_mm,
            radius_mm=radius_mm,
        )
        for corner in corners
    ]
    return rounded, changed, []


def _refuse_hole(contour: Contour, radius_mm: float) -> Finding:
    width, height = find_size_mm(contour)
    x, y = contour.points_mm.mean(axis=0)
    return error(
        "slot-too-narrow",
        f"the cut-out of {width:.2f} x {height:.2f} mm takes no disc of {radius_mm:g} mm radius",
        remedy=f"make it at least {2.0 * radius_mm:g} mm wide, or lower the corner radius in the job",
        origin=Origin(x_mm=float(x), y_mm=float(y)),
        size_mm=min(width, height),
    )


def _refuse_slot(corner: Corner, source: Source, contour: Contour, radius_mm: float) -> Finding:
    x, y = corner.deepest_mm + source.origin_mm
    width = _find_width_mm(contour, radius_mm)
    return error(
        "slot-too-narrow",
        f"a slot or notch about {width:.2f} mm wide is narrower than {2.0 * radius_mm:g} mm, twice the corner radius",
        remedy=f"make it at least {2.0 * radius_mm:g} mm wide, or lower the corner radius in the job",
        origin=Origin(x_mm=float(x), y_mm=float(y)),
        size_mm=width,
    )


def _find_width_mm(contour: Contour, radius_mm: float) -> float:
    """Return twice the radius of the largest disc that rounds a contour and fills nothing."""
    source = find_source((contour,))
    low, high = 0.0, radius_mm
    for _ in range(12):
        trial = (low + high) / 2.0
        loops: list[Loop] = find_offset_loops(source, distance_mm=trial)
        fits = len(loops) == 1 and all(
            is_only_a_corner(corner, source=source, radius_mm=trial)
            for corner in find_corners(loops[0], source=source, reach_mm=trial)
        )
        low, high = (trial, high) if fits else (low, trial)
    return 2.0 * low
