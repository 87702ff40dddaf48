"""Where the axis of the vee cutter runs along edges, where it stops, and how it leaves."""

from __future__ import annotations

from math import atan2, cos, pi, sin, tan

import numpy as np
import shapely

from cam.errors import PlanRefused
from cam.findings import Origin, error
from cam.geometry.along import Ruler, cut_pieces, find_heading_at, find_nearest_at, find_point_at, lay_ruler, start_at
from cam.geometry.contour import Contour, FloatArray, Region, find_segments
from cam.geometry.flatten import flatten_vertices
from cam.geometry.offset import offset_region
from cam.geometry.transform import reverse
from cam.plan.chamfer_edges import CHORD_TOL_MM, EdgeRun, Ground, find_touch
from cam.plan.chamfer_form import ChamferForm
from cam.plan.workingstep import ChamferRun, TangentArc

ON_PATH_MM = 1e-4
"""An edge's end lies on the axis' path, moved out by the tip's distance; farther off, a narrow place cut it away."""
STEP_MM = 0.05
"""In such steps the place is sought where the cone no longer reaches past the end of an edge."""
BEYOND_MM = 1.0
"""How far past the end of an edge the cone goes where nothing is in its way, beyond its own radius."""
LEAD_RADII = (2.0, 1.0, 0.5)
"""Radius of the arc out, in radii of the cone at the top, the first that finds room."""
LEAD_TURN_RAD = pi / 3.0
OVERLAP_MM = 2.0
"""How far a path that goes all round goes on past its start."""


def lay_chamfer_run(
    run: EdgeRun, *, outside: bool, clockwise: bool, form: ChamferForm, ground: Ground, origin: Origin
) -> ChamferRun:
    """Return the path along a run of edges, with its ends.

    Parameters
    ----------
    outside
        Whether the waste is outside the wall.
    clockwise
        Which way round the cutter goes.

    Raises
    ------
    PlanRefused
        ``chamfer-no-room`` or ``chamfer-edge-short``.

    Notes
    -----
    An axis that keeps its distance from the whole wall cuts nothing but the chamfer: whatever of the
    panel its disc reaches lies beyond the wall by no more than the rest of its radius. So it is only at
    the ends of a run, and beside other walls, that it has to be looked at. Past an end it goes straight
    on where the cone then cuts nothing else, as at a square corner; elsewhere it stops inside the edge,
    where the cone just reaches the end, and the chamfer runs out in the cone's round.
    """
    offset = offset_region(Region(outer=run.wall), distance_mm=form.aside_mm if outside else -form.aside_mm)
    if len(offset) != 1 or offset[0].holes:
        raise _refuse_room(origin, tuple(float(v) for v in run.wall.points_mm[0]))
    ruler = lay_ruler(offset[0].outer)
    laid = (
        _lay_round(ruler, outside=outside, clockwise=clockwise, form=form, ground=ground)
        if run.whole
        else _lay_along(run, ruler=ruler, outside=outside, clockwise=clockwise, form=form, ground=ground, origin=origin)
    )
    touched = find_touch(ground, _as_line(laid.vertices, closed=laid.closed))
    if touched is not None:
        raise _refuse_room(origin, (touched.x, touched.y))
    return laid


def _lay_round(ruler: Ruler, *, outside: bool, clockwise: bool, form: ChamferForm, ground: Ground) -> ChamferRun:
    """Return the path all round, from the middle of its longest piece, with an arc out if it finds room."""
    longest = int(np.argmax(ruler.segments.length_mm))
    begin = float(ruler.at_mm[longest] + ruler.at_mm[longest + 1]) / 2.0
    contour = start_at(ruler.contour, at_mm=begin)
    contour = reverse(contour) if clockwise else contour
    # counter-clockwise the waste lies to the right outside a wall, to the left inside it
    turn = 1.0 if outside == clockwise else -1.0
    own = lay_ruler(contour)
    leave = _find_leave(own, at_mm=OVERLAP_MM, turn=turn, form=form, ground=ground)
    return ChamferRun(vertices=contour.vertices, closed=True, overlap_mm=OVERLAP_MM, leave=leave)


def _find_leave(ruler: Ruler, *, at_mm: float, turn: float, form: ChamferForm, ground: Ground) -> TangentArc | None:
    x, y = find_point_at(ruler, at_mm)
    heading = find_heading_at(ruler, at_mm)
    for radii in LEAD_RADII:
        radius = radii * form.reach_mm
        centre = (x - turn * radius * sin(heading), y + turn * radius * cos(heading))
        start = atan2(y - centre[1], x - centre[0])
        angles = start + turn * np.linspace(0.0, LEAD_TURN_RAD, 33)
        points = np.column_stack((centre[0] + radius * np.cos(angles), centre[1] + radius * np.sin(angles)))
        if find_touch(ground, shapely.LineString(points)) is None:
            return TangentArc(
                to_mm=(float(points[-1, 0]), float(points[-1, 1])), centre_mm=centre, sweep_rad=turn * LEAD_TURN_RAD
            )
    return None


def _lay_along(
    run: EdgeRun,
    *,
    ruler: Ruler,
    outside: bool,
    clockwise: bool,
    form: ChamferForm,
    ground: Ground,
    origin: Origin,
) -> ChamferRun:
    side = form.aside_mm if outside else -form.aside_mm
    begin = _find_end(run.wall, run.first, at_end=False, side_mm=side)
    end = _find_end(run.wall, run.last, at_end=True, side_mm=side)
    places = []
    for point in (begin, end):
        at = find_nearest_at(ruler, point)
        x, y = find_point_at(ruler, at)
        if abs(x - point[0]) + abs(y - point[1]) > ON_PATH_MM:
            raise _refuse_room(origin, point)
        places.append(at)
    from_mm, to_mm = places
    to_mm += ruler.length_mm if to_mm <= from_mm + 1e-9 else 0.0
    first = _find_stop(ruler, at_mm=from_mm, sense=-1.0, form=form, ground=ground)
    last = _find_stop(ruler, at_mm=to_mm, sense=1.0, form=form, ground=ground)
    inner_from, inner_to = from_mm + max(0.0, -first), to_mm - max(0.0, -last)
    if inner_to - inner_from < STEP_MM:
        raise PlanRefused(
            error(
                "chamfer-edge-short",
                f"an edge {to_mm - from_mm:.2f} mm long is too short for a chamfer: it would run out at both ends "
                "before it is full",
                remedy="give the neighbouring edges the same class, or make the chamfer narrower",
                origin=_at(origin, find_point_at(ruler, (from_mm + to_mm) / 2.0)),
            )
        )
    vertices = [
        [*piece.start_mm, tan(piece.sweep_rad / 4.0)] for piece in cut_pieces(ruler, from_mm=inner_from, to_mm=inner_to)
    ]
    vertices.append([*find_point_at(ruler, inner_to), 0.0])
    if first > 0.0:
        vertices.insert(0, [*_step_on(ruler, at_mm=from_mm, sense=-1.0, by_mm=first), 0.0])
    if last > 0.0:
        vertices.append([*_step_on(ruler, at_mm=to_mm, sense=1.0, by_mm=last), 0.0])
    path = np.array(vertices)
    return ChamferRun(vertices=_turn_round(path) if clockwise else path, closed=False)


def _find_end(wall: Contour, segment: int, *, at_end: bool, side_mm: float) -> tuple[float, float]:
    """Return the point beside an end of a segment, square to it, to the right of travel where the side is positive."""
    segments = find_segments(wall.vertices)
    point = segments.end_mm[segment] if at_end else segments.start_mm[segment]
    chord = segments.end_mm[segment] - segments.start_mm[segment]
    half = float(segments.sweep_rad[segment]) / 2.0
    heading = atan2(float(chord[1]), float(chord[0])) + (half if at_end else -half)
    return float(point[0]) + side_mm * sin(heading), float(point[1]) - side_mm * cos(heading)


def _find_stop(ruler: Ruler, *, at_mm: float, sense: float, form: ChamferForm, ground: Ground) -> float:
    """Return how far past an end the axis goes on, positive, or before it stops, negative."""
    on = form.reach_mm + BEYOND_MM
    straight = shapely.LineString(
        [find_point_at(ruler, at_mm - sense * 1e-6), _step_on(ruler, at_mm=at_mm, sense=sense, by_mm=on)]
    )
    if find_touch(ground, straight) is None:
        return on
    back, most = 0.0, 4.0 * form.reach_mm
    while back < most:
        if find_touch(ground, shapely.Point(find_point_at(ruler, at_mm - sense * back))) is None:
            return -max(back, STEP_MM)
        back += STEP_MM
    return -most


def _step_on(ruler: Ruler, *, at_mm: float, sense: float, by_mm: float) -> tuple[float, float]:
    """Return the point straight on from a place, along its tangent on the side that one comes from."""
    x, y = find_point_at(ruler, at_mm)
    heading = find_heading_at(ruler, at_mm - sense * 1e-6)
    return x + sense * by_mm * cos(heading), y + sense * by_mm * sin(heading)


def _turn_round(path: FloatArray) -> FloatArray:
    """Return an open path run the other way."""
    return np.column_stack((path[::-1, :2], np.append(-path[-2::-1, 2], 0.0)))


def _as_line(vertices: FloatArray, *, closed: bool) -> shapely.LineString:
    points, _ = flatten_vertices(vertices, chord_tol_mm=CHORD_TOL_MM, closed=closed)
    return shapely.LinearRing(points) if closed else shapely.LineString(points)


def _at(origin: Origin, point_mm: tuple[float, float]) -> Origin:
    return Origin(file=origin.file, panel=origin.panel, feature=origin.feature, x_mm=point_mm[0], y_mm=point_mm[1])


def _refuse_room(origin: Origin, point_mm: tuple[float, ...]) -> PlanRefused:
    return PlanRefused(
        error(
            "chamfer-no-room",
            "the vee cutter does not get along this edge without cutting into another edge, another panel or past the "
            "sheet",
            remedy="make the chamfer narrower, widen the opening, move the panels apart, or chamfer fewer classes",
            origin=_at(origin, (point_mm[0], point_mm[1])),
        )
    )
