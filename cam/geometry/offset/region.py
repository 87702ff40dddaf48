"""The offset of a region: topology, exact pieces and the check of both."""

from __future__ import annotations

import numpy as np

from cam.errors import PanelRefused
from cam.findings import Origin, error
from cam.geometry.contour import Contour, FloatArray, Region
from cam.geometry.measure import contains_point, measure_area_mm2
from cam.geometry.offset.certificate import check_loops, check_makers
from cam.geometry.offset.chain import ChainUnsure
from cam.geometry.offset.clearance import SourceTree, plant_tree
from cam.geometry.offset.crossings import find_crossings
from cam.geometry.offset.joining import Loop, join_parts
from cam.geometry.offset.layers import find_layered_loops
from cam.geometry.offset.raw import TOUCH_MM, offset_pieces
from cam.geometry.offset.skin import Skin, lay_skin
from cam.geometry.offset.source import Source, find_source
from cam.geometry.offset.trace import LoopsOpen, cut_at_crossings, keep_distant, trace_loops
from cam.geometry.offset.trim import find_live_intervals

SHIFTS_MM = (0.0, 3e-7, -3e-7, 7e-7, -7e-7)
"""Where an exact coincidence leaves the topology open, the distance is moved by less than the check allows."""

MAX_MEASURED = 1000
"""Segments of a result up to which each is measured against the whole source, and not only by probes."""


def offset_region(region: Region, *, distance_mm: float) -> tuple[Region, ...]:
    """Return the exact offset of a region, grown by a positive distance, shrunk by a negative one.

    Every straight segment of the result is parallel to a source segment, every arc concentric
    with a source arc or about a source vertex. Corners that open are rounded. What splits gives
    several regions, what vanishes none.

    Parameters
    ----------
    region
        A counter-clockwise outer contour and clockwise holes that neither cross nor touch.
    distance_mm
        The distance, positive or negative.

    Raises
    ------
    ValueError
        If the distance is not finite, or a contour runs the wrong way round.
    PanelRefused
        ``offset-not-certain``, if the result does not pass its own check.

    Examples
    --------
    >>> from cam.geometry.contour import rectangle
    >>> square = Region(outer=rectangle((0.0, 0.0), width_mm=10.0, height_mm=10.0))
    >>> [len(grown.outer) for grown in offset_region(square, distance_mm=1.0)]
    [8]
    >>> offset_region(square, distance_mm=-5.0)
    ()
    """
    if not np.isfinite(distance_mm):
        raise ValueError("an offset takes a finite distance")
    if distance_mm == 0.0:
        return (region,)
    for number, contour in enumerate(region.contours):
        if (measure_area_mm2(contour) > 0.0) != (number == 0):
            raise ValueError("a region takes a counter-clockwise outer contour and clockwise holes")
    source = find_source(region.contours)
    loops = find_offset_loops(source, distance_mm=distance_mm)
    return _find_regions([_as_contour(loop, source.origin_mm) for loop in loops], distance_mm=distance_mm)


def find_offset_loops(source: Source, *, distance_mm: float) -> list[Loop]:
    """Return the checked loops of an offset, near the source's origin, each with its makers.

    Raises
    ------
    PanelRefused
        ``offset-not-certain``, if no attempt passes the check.
    """
    skin, side = lay_skin(source), float(np.sign(distance_mm))
    quick = _try_layers(source, skin, distance_mm=abs(distance_mm), side=side)
    if quick is not None:
        return quick
    tree = plant_tree(source)
    reason = ""
    for shift in SHIFTS_MM:
        try:
            loops = find_distant_loops(source, skin=skin, tree=tree, distance_mm=abs(distance_mm) + shift, side=side)
        except LoopsOpen:
            reason = "its pieces do not close"
            continue
        reason = check_loops(loops, source=source, tree=tree, distance_mm=distance_mm)
        if not reason:
            return loops
    raise _refuse(source.segments.start_mm[0] + source.origin_mm, distance_mm, reason)


def _refuse(at_mm: FloatArray, distance_mm: float, reason: str) -> PanelRefused:
    return PanelRefused(
        error(
            "offset-not-certain",
            f"the offset by {distance_mm:g} mm of the contour is not certain: {reason}",
            remedy="look for segments that cross, touch or lie on each other, or change the distance a little",
            origin=Origin(x_mm=float(at_mm[0]), y_mm=float(at_mm[1])),
        )
    )


def _try_layers(source: Source, skin: Skin, *, distance_mm: float, side: float) -> list[Loop] | None:
    """Return the loops by the quick road, None if it is not certain of them."""
    try:
        found = find_layered_loops(source, skin=skin, distance_mm=distance_mm, side=side)
    except ChainUnsure:
        return None
    loops = [loop for loop in found if not _is_sliver(loop)]
    reason = check_makers(loops, source=source, distance_mm=distance_mm)
    if not reason and sum(len(loop.vertices) for loop in loops) <= MAX_MEASURED:
        reason = check_loops(loops, source=source, tree=plant_tree(source), distance_mm=distance_mm)
    return None if reason else loops


def find_distant_loops(source: Source, *, skin: Skin, tree: SourceTree, distance_mm: float, side: float) -> list[Loop]:
    """Return the loops of an offset by measuring every part of the pieces, unchecked.

    Raises
    ------
    LoopsOpen
        If the parts that keep the distance do not close.
    """
    if distance_mm <= 0.0:
        raise LoopsOpen
    pieces = offset_pieces(source, distance_mm=distance_mm, side=side)
    intervals = find_live_intervals(pieces, skin)
    if not len(intervals):
        return []
    parts = cut_at_crossings(pieces, find_crossings(pieces, intervals))
    parts, margin = keep_distant(parts, pieces=pieces, skin=skin, tree=tree, intervals=intervals)
    traced = trace_loops(parts, margin, pieces=pieces)
    loops = [join_parts(parts.take(np.array(loop)), pieces=pieces) for loop in traced]
    return [loop for loop in loops if loop is not None and not _is_sliver(loop)]


def _is_sliver(loop: Loop) -> bool:
    """Return whether a loop is nowhere wider than what counts as touching."""
    contour = Contour(loop.vertices)
    return abs(measure_area_mm2(contour)) <= TOUCH_MM * loop.length_mm


def _as_contour(loop: Loop, origin_mm: FloatArray) -> Contour:
    return Contour(loop.vertices + np.array([origin_mm[0], origin_mm[1], 0.0]))


def _find_regions(contours: list[Contour], *, distance_mm: float) -> tuple[Region, ...]:
    """Return regions from outer contours and holes, each hole in the smallest outer contour round it."""
    areas = [measure_area_mm2(contour) for contour in contours]
    order = sorted((area, number) for number, area in enumerate(areas) if area > 0.0)
    outers = [contours[number] for _, number in order]
    holes: list[list[Contour]] = [[] for _ in outers]
    for hole, area in zip(contours, areas, strict=True):
        if area > 0.0:
            continue
        x, y = hole.points_mm[0]
        owner = next((i for i, outer in enumerate(outers) if contains_point(outer, (float(x), float(y)))), None)
        if owner is None:
            raise _refuse(hole.points_mm[0], distance_mm, "a hole of it lies in no outer contour")
        holes[owner].append(hole)
    return tuple(Region(outer=outer, holes=tuple(inside)) for outer, inside in zip(outers, holes, strict=True))
