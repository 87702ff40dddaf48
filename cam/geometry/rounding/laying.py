"""The contour that fillets leave: what they do not reach stays bit for bit, and one circle is one arc."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, ceil, cos, hypot, pi, sin, tan

import numpy as np

from cam.geometry.contour import Contour, FloatArray
from cam.geometry.offset.joining import Loop
from cam.geometry.offset.source import Source
from cam.geometry.rounding.corners import CornersUncertain, find_lost
from cam.geometry.rounding.fillets import SAME_MM, Fillet

END_MM = 1e-8
"""The same beside a segment that keeps its end: a neighbour that moves by less lies where it lay."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Element:
    """A segment of the result from (x, y): the source's, or a fillet about a centre."""

    x_mm: float
    y_mm: float
    bulge: float
    segment: int | None = None
    fillet: Fillet | None = None


def lay_contour(contour: Contour, *, loop: Loop, fillets: list[Fillet], source: Source) -> Contour:
    """Return a contour with fillets in place of its corners; segments they do not reach stay bit for bit.

    Raises
    ------
    CornersUncertain
        If a fillet turns the wrong way, or two still overlap on a segment.
    """
    count = len(source)
    into = {fillet.corner.part_after: fillet for fillet in fillets}
    out_of = {fillet.corner.part_before: fillet for fillet in fillets}
    elements: list[_Element] = []
    lengths = source.segments.length_mm
    before = int(loop.maker[-1])
    for part, maker in enumerate(loop.maker.tolist()):
        fillet = into.get(part)
        if fillet is not None:
            elements.append(_lay_fillet(contour, fillet, source))
        elif not (before < count and maker in (source.following[before], source.following[before] + count)):
            # too short to have made a part of the loop, but no corner: it stays
            elements += [_keep_segment(contour, k) for k in find_lost(source, before, maker).tolist()]
        before = maker
        if maker < count:
            element = _lay_segment(
                contour,
                segment=maker,
                into=fillet,
                out_of=out_of.get(part),
                source=source,
                length_mm=float(lengths[maker]),
            )
            if element is not None:
                elements.append(element)
    elements = _join_fillets(elements, source)
    numbers = [i for i, element in enumerate(elements) if element.segment is not None]
    first = min(numbers, key=lambda i: elements[i].segment or 0, default=0)
    elements = elements[first:] + elements[:first]
    return Contour(np.array([(element.x_mm, element.y_mm, element.bulge) for element in elements]))


def _lay_fillet(contour: Contour, fillet: Fillet, source: Source) -> _Element:
    if not -pi < fillet.sweep_rad < 0.0:
        raise CornersUncertain(*fillet.corner.deepest_mm.tolist())
    x, y = fillet.start_mm + source.origin_mm
    if fillet.corner.before >= len(source):
        x, y = contour.points_mm[fillet.corner.before - len(source)]
    return _Element(x_mm=float(x), y_mm=float(y), bulge=tan(fillet.sweep_rad / 4.0), fillet=fillet)


def _keep_segment(contour: Contour, segment: int) -> _Element:
    x, y, bulge = (float(value) for value in contour.vertices[segment])
    return _Element(x_mm=x, y_mm=y, bulge=bulge, segment=segment)


def _lay_segment(
    contour: Contour,
    *,
    segment: int,
    into: Fillet | None,
    out_of: Fillet | None,
    source: Source,
    length_mm: float,
) -> _Element | None:
    if into is None and out_of is None:
        return _keep_segment(contour, segment)
    x, y, bulge = (float(value) for value in contour.vertices[segment])
    low = into.end_share if into is not None else 0.0
    high = out_of.start_share if out_of is not None else 1.0
    left = (high - low) * length_mm
    if left < -2.0 * SAME_MM:
        raise CornersUncertain(*(out_of or into).corner.deepest_mm.tolist())  # type: ignore[union-attr]
    if left <= (END_MM if into is None or out_of is None else SAME_MM):
        return None
    if into is not None and low > 0.0:
        x, y = (float(value) for value in into.end_mm + source.origin_mm)
    if bulge and (low > 0.0 or high < 1.0):
        bulge = tan(float(source.segments.sweep_rad[segment]) * (high - low) / 4.0)
    return _Element(x_mm=x, y_mm=y, bulge=bulge, segment=segment)


def _join_fillets(elements: list[_Element], source: Source) -> list[_Element]:
    """Return the elements with fillets of one circle that follow each other as the fewest arcs of up to half a turn."""
    count = len(elements)
    goes_on = [_is_same_circle(elements[i - 1].fillet, elements[i].fillet) for i in range(count)]
    if not any(goes_on):
        return elements
    if all(goes_on):
        return _lay_whole_circle(elements, source)
    first = goes_on.index(False)
    joined: list[_Element] = []
    group: list[_Element] = []
    for step in range(count + 1):
        i = (first + step) % count
        if group and (step == count or not goes_on[i]):
            joined.extend(_lay_as_one(group, elements[i], source))
            group = []
        group.append(elements[i])
    return joined


def _is_same_circle(one: Fillet | None, other: Fillet | None) -> bool:
    if one is None or other is None or one is other:
        return False
    apart = hypot(*(one.centre_mm - other.centre_mm))
    return apart <= 2.0 * SAME_MM and abs(one.radius_mm - other.radius_mm) <= SAME_MM


def _lay_as_one(group: list[_Element], following: _Element, source: Source) -> list[_Element]:
    if len(group) == 1:
        return group
    fillets = [element.fillet for element in group if element.fillet is not None]
    centre = np.mean([fillet.centre_mm for fillet in fillets], axis=0)
    origin = source.origin_mm
    start = np.array([group[0].x_mm, group[0].y_mm]) - origin - centre
    end = np.array([following.x_mm, following.y_mm]) - origin - centre
    total = atan2(start[0] * end[1] - start[1] * end[0], start @ end)
    about = sum(fillet.sweep_rad for fillet in fillets)
    total += 2.0 * pi * round((about - total) / (2.0 * pi))
    pieces = ceil(-total / pi - 1e-6)
    radius = hypot(*start)
    angle = atan2(start[1], start[0])
    laid = []
    for piece in range(pieces):
        x, y = group[0].x_mm, group[0].y_mm
        if piece:
            at = angle + total * piece / pieces
            x, y = (float(v) for v in centre + origin + radius * np.array([cos(at), sin(at)]))
        laid.append(_Element(x_mm=x, y_mm=y, bulge=tan(total / pieces / 4.0), fillet=fillets[0]))
    return laid


def _lay_whole_circle(elements: list[_Element], source: Source) -> list[_Element]:
    """Return two half arcs about one centre."""
    fillets = [element.fillet for element in elements if element.fillet is not None]
    centre: FloatArray = np.mean([fillet.centre_mm for fillet in fillets], axis=0) + source.origin_mm
    first = elements[0]
    x, y = 2.0 * centre - (first.x_mm, first.y_mm)
    return [replace(first, bulge=-1.0), replace(first, x_mm=float(x), y_mm=float(y), bulge=-1.0)]
