"""The corner rule: every re-entrant corner of a region opened with a disc of the rule's radius."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from cam.errors import PanelRefused
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import find_size_mm, measure_area_mm2
from cam.geometry.offset.region import find_offset_loops
from cam.geometry.offset.source import Source, find_source
from cam.geometry.rounding.corners import Corner, CornersUncertain, check_progress, find_corners
from cam.geometry.rounding.fillets import find_fillets
from cam.geometry.rounding.laying import lay_contour
from cam.geometry.rounding.narrows import Narrow, find_hole_width, find_narrow, is_only_a_corner

HAIR_MM = 5e-4
"""How much smaller the searching disc is than the rule's: what is below the rule by this passes."""
HAIR_SHARES = (1.0, 0.62, 0.27)
"""Where an exact coincidence leaves one disc without a certain answer, a disc of another share of the hair has one."""
MAX_NAMED = 12
"""So many narrow places of one contour are measured and named; the others are counted."""


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
        ``slot-too-narrow``, where a slot, notch or cut-out would be filled, not just rounded, with
        its width, the width that it needs and the place; ``corner-not-certain`` and
        ``offset-not-certain``, where the contour is such that no certain answer is found.

    Examples
    --------
    >>> from cam.geometry.contour import polygon
    >>> step = polygon([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)])
    >>> rounded = round_corners(Region(outer=step), radius_mm=5.0)
    >>> [(corner.x_mm, corner.y_mm) for corner in rounded.corners]
    [(10.0, 10.0)]
    """
    if not 0.0 < radius_mm < np.inf:
        raise ValueError("corners are rounded with a positive radius")
    for number, contour in enumerate(region.contours):
        if (measure_area_mm2(contour) > 0.0) != (number == 0):
            raise ValueError("a region takes a counter-clockwise outer contour and clockwise holes")
    contours: list[Contour] = []
    changes: list[CornerChange] = []
    findings: list[Finding] = []
    for number, contour in enumerate(region.contours):
        rounded, changed, refused = _find_rounded(contour, number=number, radius_mm=radius_mm)
        contours.append(rounded)
        changes.extend(changed)
        findings.extend(refused)
    if findings:
        raise PanelRefused(*findings)
    return RoundedRegion(region=Region(outer=contours[0], holes=tuple(contours[1:])), corners=tuple(changes))


_Rounded = tuple[Contour, list[CornerChange], list[Finding]]


def _find_rounded(contour: Contour, *, number: int, radius_mm: float) -> _Rounded:
    """Return a contour rounded, what changed, and why not; the last reason where no disc gives a certain answer."""
    hair = min(HAIR_MM, 1e-3 * radius_mm)
    findings: list[Finding] = []
    source = find_source((contour,))
    for share in HAIR_SHARES:
        try:
            return _round_contour(
                contour, source=source, number=number, radius_mm=radius_mm, reach_mm=radius_mm - share * hair
            )
        except PanelRefused as refusal:
            findings = list(refusal.findings)
        except CornersUncertain as place:
            findings = [_refuse_uncertain(place, source, radius_mm)]
    return contour, [], findings


def _round_contour(contour: Contour, *, source: Source, number: int, radius_mm: float, reach_mm: float) -> _Rounded:
    loops = find_offset_loops(source, distance_mm=reach_mm)
    if not loops:
        return contour, [], [_refuse_hole(contour, source, radius_mm)]
    corners = [corner for loop in loops for corner in find_corners(loop, source=source, reach_mm=reach_mm)]
    filled = [c for c in corners if not is_only_a_corner(c, source=source, radius_mm=radius_mm)]
    if len(loops) > 1 and not filled:
        filled = corners[:1]
    if filled:
        return contour, [], _refuse_slots(filled, source, radius_mm=radius_mm, reach_mm=reach_mm)
    if not corners:
        return contour, [], []
    check_progress(loops[0], source=source)
    fillets = find_fillets(corners, source=source, radius_mm=radius_mm, reach_mm=reach_mm)
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


def _refuse_hole(contour: Contour, source: Source, radius_mm: float) -> Finding:
    width, height = find_size_mm(contour)
    narrow = find_hole_width(source, radius_mm=radius_mm)
    return _refuse_narrow(
        narrow,
        f"the cut-out of {width:.2f} x {height:.2f} mm takes no disc of {radius_mm:g} mm radius: "
        f"it is {narrow.width_mm:.3f} mm wide, and",
        radius_mm=radius_mm,
    )


def _refuse_slots(filled: list[Corner], source: Source, *, radius_mm: float, reach_mm: float) -> list[Finding]:
    findings = []
    for corner in filled[:MAX_NAMED]:
        narrow = find_narrow(corner, source=source, reach_mm=reach_mm)
        text = f"a slot, notch or pocket is {narrow.width_mm:.3f} mm wide, but"
        findings.append(_refuse_narrow(narrow, text, radius_mm=radius_mm))
    if len(filled) > MAX_NAMED:
        findings[-1] = replace(
            findings[-1],
            message=f"{findings[-1].message}; {len(filled) - MAX_NAMED} more places of this contour are too narrow",
        )
    return findings


def _refuse_narrow(narrow: Narrow, text: str, *, radius_mm: float) -> Finding:
    return error(
        "slot-too-narrow",
        f"{text} the corner radius of {radius_mm:g} mm needs {2.0 * radius_mm:g} mm",
        remedy=f"make it at least {2.0 * radius_mm:g} mm wide there, or lower the corner radius in the job",
        origin=Origin(x_mm=narrow.x_mm, y_mm=narrow.y_mm),
        size_mm=narrow.width_mm,
    )


def _refuse_uncertain(place: CornersUncertain, source: Source, radius_mm: float) -> Finding:
    x, y = np.array(place.args) + source.origin_mm
    return error(
        "corner-not-certain",
        f"a corner could not be rounded to {radius_mm:g} mm with certainty",
        remedy="look for segments that cross, touch or lie on each other there, or change the corner radius a little",
        origin=Origin(x_mm=float(x), y_mm=float(y)),
        size_mm=radius_mm,
    )
