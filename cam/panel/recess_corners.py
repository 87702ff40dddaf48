"""The corner rule for recesses: what is cut down must be reached by a disc of the rule's radius.

Only the panel's own material counts: past its edges, and in its cut-outs, the disc has all the room it
wants, so that a rebate may be narrower than the disc.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, pi, tan

import numpy as np
import shapely

from cam.errors import PanelRefused
from cam.findings import Finding, Origin, error
from cam.geometry.contour import Contour, FloatArray, Region, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import contains_point, find_bounds_mm, find_distance_mm, is_counter_clockwise
from cam.geometry.offset.crossings import find_meetings
from cam.geometry.offset.raw import Pieces, offset_pieces
from cam.geometry.offset.source import Source, find_source
from cam.geometry.rounding import round_corners
from cam.geometry.rounding.measure import TANGENT_TOL_RAD
from cam.geometry.transform import reverse
from cam.panel.nesting import find_circle, make_round
from cam.panel.panel import Panel, Recess, Role, RoundedCorner

CHORD_TOL_MM = 0.002
TOUCH_MM = 0.001
"""A corner as near as this to the panel's edge lies on it."""
SLACK_MM = 0.01
"""How much a disc of chords may fall short of what it must reach; five chord tolerances."""
MIN_SHARE_MM2 = 0.002
"""What is left of a corner by chords is smaller than this."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Material:
    """A panel's material: its contours, and as polygons itself and what is not it."""

    region: Region
    polygon: shapely.Polygon

    def holds(self, point_mm: tuple[float, float]) -> bool:
        """Return whether a point lies in the material and not on its edge."""
        outer, *holes = self.region.contours
        return (
            contains_point(outer, point_mm)
            and not any(contains_point(hole, point_mm) for hole in holes)
            and all(find_distance_mm(contour, point_mm) > TOUCH_MM for contour in self.region.contours)
        )


def keep_recess_corners(panel: Panel, *, radius_mm: float) -> Panel:
    """Return a panel whose recesses keep the corner rule; grooves have the corners that their width gives them.

    Raises
    ------
    PanelRefused
        ``slot-too-narrow``, with the recess and the place, where the disc cannot go.
    """
    if not any(recess.role is Role.RECESS for recess in panel.recesses):
        return panel
    outer, *holes = (flatten(contour, chord_tol_mm=CHORD_TOL_MM) for contour in panel.region.contours)
    material = _Material(region=panel.region, polygon=shapely.Polygon(outer, holes))
    recesses: list[Recess] = []
    rounded: list[RoundedCorner] = []
    findings: list[Finding] = []
    for recess in panel.recesses:
        if recess.role is not Role.RECESS:
            recesses.append(recess)
            continue
        try:
            kept, corners = _keep(recess, material, radius_mm)
        except PanelRefused as refusal:
            findings += [_place(finding, panel, recess) for finding in refusal.findings]
            continue
        recesses.append(kept)
        rounded += corners
    if findings:
        raise PanelRefused(*findings)
    return replace(panel, recesses=tuple(recesses), rounded=panel.rounded + tuple(rounded))


def _place(finding: Finding, panel: Panel, recess: Recess) -> Finding:
    origin = replace(
        finding.origin,
        file=panel.drawing,
        panel=panel.name,
        feature=recess.label,
        layer=recess.layer,
        handle=recess.handle,
    )
    return replace(finding, origin=origin)


def _keep(recess: Recess, material: _Material, radius_mm: float) -> tuple[Recess, list[RoundedCorner]]:
    if not recess.region.holes and find_circle(recess.region.outer) is not None:
        # a full circle has no corner: below the rule's radius it is a round recess, not a tight one
        return replace(recess, region=Region(outer=make_round(recess.region.outer))), []
    changed: list[Contour] = []
    corners: list[RoundedCorner] = []
    for contour in recess.region.contours:
        standing = reverse(contour)  # with what stays standing on the left
        if _is_clear(contour, material):
            kept, where = _round_whole(standing, label=recess.label, radius_mm=radius_mm)
        else:
            kept, where = _round_within(standing, material, label=recess.label, radius_mm=radius_mm)
        changed.append(reverse(kept) if where else contour)
        corners += where
    region = Region(outer=changed[0], holes=tuple(changed[1:]))
    _check_reach(region, material, radius_mm)
    return replace(recess, region=region), corners


def _is_clear(contour: Contour, material: _Material) -> bool:
    """Return whether a contour runs wholly in the material, away from its edges."""
    ring = shapely.LinearRing(flatten(contour, chord_tol_mm=CHORD_TOL_MM))
    clear = float(shapely.distance(ring, material.polygon.boundary)) > 2.0 * CHORD_TOL_MM
    return clear and bool(shapely.contains(material.polygon, shapely.Point(ring.coords[0])))


def _round_whole(contour: Contour, *, label: str, radius_mm: float) -> tuple[Contour, list[RoundedCorner]]:
    """Return a contour in the material with every corner opened by the disc."""
    if is_counter_clockwise(contour):
        found = round_corners(Region(outer=contour), radius_mm=radius_mm)
    else:
        # the frame only gives the region its form: each contour is rounded by itself
        min_x, min_y, max_x, max_y = find_bounds_mm(contour)
        reach = 10.0 * radius_mm
        width, height = max_x - min_x + 2.0 * reach, max_y - min_y + 2.0 * reach
        frame = rectangle((min_x - reach, min_y - reach), width_mm=width, height_mm=height)
        found = round_corners(Region(outer=frame, holes=(contour,)), radius_mm=radius_mm)
    return found.region.contours[-1], [
        RoundedCorner(
            feature=label,
            x_mm=corner.x_mm,
            y_mm=corner.y_mm,
            radius_before_mm=corner.radius_before_mm,
            radius_mm=corner.radius_mm,
        )
        for corner in found.corners
    ]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Fillet:
    """An arc in a corner between segments ``before`` and ``after``, and the shares of them where it rests."""

    before: int
    after: int
    start_mm: FloatArray
    end_mm: FloatArray
    bulge: float
    start_share: float
    end_share: float


def _round_within(
    contour: Contour, material: _Material, *, label: str, radius_mm: float
) -> tuple[Contour, list[RoundedCorner]]:
    """Return a contour with those sharp corners rounded that lie in the material."""
    source = find_source((contour,))
    pieces = offset_pieces(source, distance_mm=radius_mm, side=1.0)
    sharp = [
        vertex
        for vertex in np.flatnonzero(source.turn_rad < -TANGENT_TOL_RAD).tolist()
        if material.holds((float(contour.points_mm[vertex, 0]), float(contour.points_mm[vertex, 1])))
    ]
    fillets = [_find_fillet(vertex, source, pieces, contour, radius_mm) for vertex in sharp]
    if not fillets:
        return contour, []
    corners = [
        RoundedCorner(
            feature=label,
            x_mm=float(contour.points_mm[vertex, 0]),
            y_mm=float(contour.points_mm[vertex, 1]),
            radius_before_mm=0.0,
            radius_mm=radius_mm,
        )
        for vertex in sharp
    ]
    return _lay_fillets(contour, fillets, source, radius_mm), corners


def _find_fillet(vertex: int, source: Source, pieces: Pieces, contour: Contour, radius_mm: float) -> _Fillet:
    before, after = int(source.previous[vertex]), vertex
    place = {maker: number for number, maker in enumerate(pieces.maker.tolist())}
    if before in place and after in place:
        _, _, points = find_meetings(pieces, np.array([place[before]]), np.array([place[after]]))
        for centre in sorted(points, key=lambda point: float(np.hypot(*(point - source.segments.start_mm[vertex])))):
            start, start_share = _find_foot(before, centre, source)
            end, end_share = _find_foot(after, centre, source)
            rests = all(abs(np.hypot(*(foot - centre)) - radius_mm) < 1e-7 for foot in (start, end))
            if rests and 0.0 < start_share < 1.0 and 0.0 < end_share < 1.0:
                (x0, y0), (x1, y1) = start - centre, end - centre
                sweep = atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1)
                if sweep < 0.0:
                    return _Fillet(
                        before=before,
                        after=after,
                        start_mm=start,
                        end_mm=end,
                        bulge=tan(sweep / 4.0),
                        start_share=start_share,
                        end_share=end_share,
                    )
    raise PanelRefused(_refuse_corner(contour.points_mm[vertex], radius_mm))


def _find_foot(segment: int, centre: FloatArray, source: Source) -> tuple[FloatArray, float]:
    """Return where a disc about a centre rests on a segment's carrier, and at what share of the segment."""
    segments = source.segments
    start, end = segments.start_mm[segment], segments.end_mm[segment]
    if not segments.is_arc[segment]:
        chord = end - start
        share = float((centre - start) @ chord / (chord @ chord))
        return start + share * chord, share
    middle, radius = segments.centre_mm[segment], float(segments.radius_mm[segment])
    way = centre - middle
    foot = middle + way * (radius / float(np.hypot(*way)))
    (x0, y0), (x1, y1) = start - middle, foot - middle
    sweep = float(segments.sweep_rad[segment])
    turn = atan2(x0 * y1 - y0 * x1, x0 * x1 + y0 * y1) * (1.0 if sweep > 0.0 else -1.0)
    return foot, (turn if turn > -1e-9 else turn + 2.0 * pi) / abs(sweep)


def _lay_fillets(contour: Contour, fillets: list[_Fillet], source: Source, radius_mm: float) -> Contour:
    into = {fillet.after: fillet for fillet in fillets}
    out_of = {fillet.before: fillet for fillet in fillets}
    rows: list[tuple[float, float, float]] = []
    for segment, (*start, bulge) in enumerate(contour.vertices.tolist()):
        low = into[segment].end_share if segment in into else 0.0
        high = out_of[segment].start_share if segment in out_of else 1.0
        if high - low <= 1e-9:
            raise PanelRefused(_refuse_corner(contour.points_mm[segment], radius_mm))
        if segment in into:
            fillet = into[segment]
            rows.append((*(fillet.start_mm + source.origin_mm).tolist(), fillet.bulge))
        first = (into[segment].end_mm + source.origin_mm).tolist() if segment in into else start
        cut = bulge and (low > 0.0 or high < 1.0)
        rows.append((*first, tan(float(source.segments.sweep_rad[segment]) * (high - low) / 4.0) if cut else bulge))
    return Contour(np.array(rows))


def _refuse_corner(point_mm: FloatArray, radius_mm: float) -> Finding:
    return error(
        "slot-too-narrow",
        f"no arc of {radius_mm:g} mm, the corner radius, goes into this corner of the recess",
        remedy=f"leave room for a disc of {2.0 * radius_mm:g} mm there, or lower the corner radius in the job",
        origin=Origin(x_mm=float(point_mm[0]), y_mm=float(point_mm[1])),
    )


def _check_reach(region: Region, material: _Material, radius_mm: float) -> None:
    """Refuse a recess of which a disc of the rule's radius, free to leave the panel, cannot reach all."""
    outer, *holes = (flatten(contour, chord_tol_mm=CHORD_TOL_MM) for contour in region.contours)
    recess = shapely.Polygon(outer, holes)
    room = shapely.box(*shapely.union(recess, material.polygon).bounds).buffer(4.0 * radius_mm)
    # where a recess ends on the panel's edge the two meet to rounding only; no disc would pass such a crack
    away = shapely.difference(room, material.polygon).buffer(TOUCH_MM, join_style="mitre")
    free = shapely.union(recess, away)
    disc = radius_mm - SLACK_MM / 2.0
    reached = free.buffer(-disc, quad_segs=64).buffer(disc + SLACK_MM, quad_segs=64)
    missed = shapely.difference(shapely.intersection(recess, material.polygon), reached)
    parts = [part for part in shapely.get_parts(missed) if part.area > MIN_SHARE_MM2]
    if parts:
        at = max(parts, key=lambda part: float(part.area)).representative_point()
        raise PanelRefused(
            error(
                "slot-too-narrow",
                f"a disc of {radius_mm:g} mm radius, the corner radius, does not reach this part of the recess",
                remedy=f"make it at least {2.0 * radius_mm:g} mm wide and its arcs at least {radius_mm:g} mm in "
                "radius, let it reach past the panel's edge, or lower the corner radius in the job",
                origin=Origin(x_mm=at.x, y_mm=at.y),
            )
        )
