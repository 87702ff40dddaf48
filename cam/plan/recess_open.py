"""Rebates: where a recess reaches its panel's outline it is opened into the waste, so that no lip stays."""

from __future__ import annotations

from math import atan2, cos, pi, sin

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, cut_pieces, find_heading_at, find_nearest_at, find_point_at, lay_ruler
from cam.geometry.contour import Contour, Region
from cam.geometry.measure import find_distance_mm
from cam.geometry.offset import offset_region
from cam.plan.recess_room import lay_polygon

ON_MM = 0.002
"""A point of a recess so near to the outline lies on it."""
BEYOND_MM = 0.5
"""How far beyond the outline the cutter goes on past its own diameter (common practice, no source)."""
STEPS_MM = 0.25


def open_to_waste(region: Region, *, outline: Contour, reach_mm: float) -> Region:
    """Return the region to be cut: the recess, and where it lies on the outline or past it, the waste beside.

    Parameters
    ----------
    region
        The recess on the sheet; it may share the outline or reach past it.
    outline
        The panel's own, counter-clockwise.
    reach_mm
        How far out the region must go so that the cutter runs out: its diameter and the allowance.

    Notes
    -----
    A run of the recess's edge outside the panel is replaced by the outline grown by the reach; from its
    ends the walls go on straight, or square to the outline where that opens wider.
    """
    runs = find_outer_runs(region.outer, outline=outline)
    if not runs:
        return region
    grown = offset_region(Region(outer=outline), distance_mm=reach_mm + BEYOND_MM)[0].outer
    if runs == "all":
        return Region(outer=grown, holes=region.holes)
    return Region(outer=_replace_runs(region.outer, runs=runs, outline=outline, grown=grown), holes=region.holes)


def find_outer_runs(contour: Contour, *, outline: Contour) -> list[tuple[float, float]] | str:
    """Return the parts of a contour that lie on another or outside it, as distances along it; "all" if all does."""
    ruler = lay_ruler(contour)
    count = max(64, int(np.ceil(ruler.length_mm / STEPS_MM)))
    at = np.unique(np.concatenate((np.arange(count) / count * ruler.length_mm, ruler.at_mm[:-1])))
    points = np.asarray(shapely.points(np.array([find_point_at(ruler, float(place)) for place in at])))
    panel = lay_polygon(Region(outer=outline))
    out = ~shapely.contains(panel.buffer(-ON_MM), points)
    if out.all():
        return "all"
    n = len(at)
    runs = []
    for i in range(n):
        if out[i] and not out[i - 1]:
            j = i
            while out[(j + 1) % n]:
                j += 1
            start, end = float(at[i]), float(at[j % n]) + (ruler.length_mm if j >= n else 0.0)
            if end - start > 2.0 * STEPS_MM:
                runs.append(
                    (
                        _find_crossing(ruler, inside=float(at[i - 1]), outside=start, outline=outline, panel=panel),
                        _find_crossing(ruler, inside=float(at[(j + 1) % n]), outside=end, outline=outline, panel=panel),
                    )
                )
    return [(a, b if b > a else b + ruler.length_mm) for a, b in runs]


def _find_crossing(ruler: Ruler, *, inside: float, outside: float, outline: Contour, panel: BaseGeometry) -> float:
    """Return where between two places along a contour it comes on to the outline."""
    if inside > outside + ruler.length_mm / 2.0:
        inside -= ruler.length_mm
    if outside > inside + ruler.length_mm / 2.0:
        inside += ruler.length_mm
    low, high = inside, outside
    for _ in range(50):
        middle = (low + high) / 2.0
        point = find_point_at(ruler, middle)
        if find_distance_mm(outline, point) > 1e-7 and panel.contains(shapely.Point(point)):
            low = middle
        else:
            high = middle
    return high


def _replace_runs(
    contour: Contour, *, runs: list[tuple[float, float]] | str, outline: Contour, grown: Contour
) -> Contour:
    """Return a contour whose outer runs are taken out to the grown outline."""
    assert not isinstance(runs, str)
    ruler, border, far = lay_ruler(contour), lay_ruler(outline), lay_ruler(grown)
    rows: list[list[float]] = []
    for (_, leave), (enter, _) in zip(runs, [*runs[1:], runs[0]], strict=True):
        # from where the last run comes back in, along the recess's own wall, to where the next goes out
        come = leave % ruler.length_mm
        go = enter % ruler.length_mm
        go += ruler.length_mm if go <= come else 0.0
        rows += [
            [*piece.start_mm, np.tan(piece.sweep_rad / 4.0)] for piece in cut_pieces(ruler, from_mm=come, to_mm=go)
        ]
        rows.append([*find_point_at(ruler, go), 0.0])
        out = _go_out(ruler, at_mm=go - 1e-7, border=border, far=far, leaving=True)
        back_at = next(end for start, end in runs if abs(start - enter) < 1e-9)
        back = _go_out(ruler, at_mm=back_at + 1e-7, border=border, far=far, leaving=False)
        span = (back - out) % far.length_mm
        rows += [
            [*piece.start_mm, np.tan(piece.sweep_rad / 4.0)] for piece in cut_pieces(far, from_mm=out, to_mm=out + span)
        ]
        rows.append([*find_point_at(far, out + span), 0.0])
    vertices = np.array(rows)
    keep = np.hypot(*(vertices[:, :2] - np.roll(vertices[:, :2], -1, axis=0)).T) > 1e-9
    return Contour(vertices[keep])


def _go_out(ruler: Ruler, *, at_mm: float, border: Ruler, far: Ruler, leaving: bool) -> float:
    """Return where on the grown outline a wall goes on to: straight, or square to the outline if that is wider."""
    x, y = find_point_at(ruler, at_mm)
    heading = find_heading_at(ruler, at_mm) + (0.0 if leaving else pi)
    square = find_heading_at(border, find_nearest_at(border, (x, y))) - pi / 2.0
    lean = atan2(sin(heading - square), cos(heading - square))
    # material lies to the right of the way out, to the left of the way back seen outwards
    wider = lean < 0.0 if leaving else lean > 0.0
    way = heading if wider and abs(lean) < pi / 3.0 else square
    reach = 4.0 * find_distance_mm(far.contour, (x, y)) + 1.0
    line = shapely.LineString([(x, y), (x + reach * cos(way), y + reach * sin(way))])
    hit = shapely.intersection(line, lay_polygon(Region(outer=far.contour)).boundary)
    nearest = shapely.shortest_line(shapely.Point(x, y), hit).coords[1]
    return find_nearest_at(far, (float(nearest[0]), float(nearest[1])))


def refuse_meeting(region: Region, *, others: BaseGeometry, origin: Origin) -> None:
    """Refuse a region that reaches into another panel.

    Raises
    ------
    PlanRefused
        ``rebate-meets-panel``.
    """
    met = lay_polygon(region).intersection(others)
    if met.area > 1e-6:
        point = met.representative_point()
        raise PlanRefused(
            error(
                "rebate-meets-panel",
                "the recess is open to the outline, and another panel stands where the cutter runs out",
                remedy="move the panels farther apart with at_mm or margin_mm, or choose a smaller cutter",
                origin=Origin(
                    file=origin.file,
                    panel=origin.panel,
                    feature=origin.feature,
                    x_mm=float(point.x),
                    y_mm=float(point.y),
                ),
            )
        )
