"""One entity of a document to the vertices that it draws."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np
from ezdxf.entities.arc import Arc
from ezdxf.entities.circle import Circle
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.polyline import Polyline
from ezdxf.entities.spline import Spline
from ezdxf.math import Vec3

from cam.drawing.conic import (
    Conic,
    find_conic,
    find_sweep,
    lay_arc,
    lay_conic,
    place_conic,
    split_wide_arcs,
)
from cam.drawing.frame import Frame, lay_ocs_frame
from cam.drawing.limits import EntityFault, Limits, check_array, check_flat, check_size, not_flat
from cam.drawing.pieces import Row
from cam.drawing.spline import BSpline, find_periodic_rates, lay_bspline, lay_closed_cubic
from cam.geometry.contour import FloatArray

SPLINE_FRAME_POINT = 16  # VERTEX flag of the DXF reference: a control point, not on the curve


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """What an entity draws: rows of a piece, whether it closes, and its height in the drawing."""

    rows: list[Row]
    closed: bool
    height: float


def draw_entity(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn | None:
    """Return what an entity draws in a frame, or None if its type draws no contour.

    Raises
    ------
    EntityFault
        If its values are missing, impossible, too large or not level.
    """
    draw = DRAWERS.get(entity.dxftype())
    if draw is None:
        return None
    return draw(entity, frame, limits)


def _draw_line(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn:
    start, end = _need(entity, "start"), _need(entity, "end")
    similar = frame.similarity
    if frame.is_identity:
        z0, z1, rows = start.z, end.z, [(start.x, start.y, 0.0), (end.x, end.y, 0.0)]
    elif similar is not None:
        check_size(limits, start.x, start.y, start.z, end.x, end.y, end.z)
        a, b = similar.place(start.x, start.y), similar.place(end.x, end.y)
        lift, base = frame.matrix[2, 2], frame.matrix[3, 2]
        z0, z1, rows = (
            start.z * lift + base,
            end.z * lift + base,
            [(a.real, a.imag, 0.0), (b.real, b.imag, 0.0)],
        )
    else:
        return draw_run([(start.x, start.y, 0.0), (end.x, end.y, 0.0)], [start.z, end.z], False, frame, limits)
    if not abs(z1 - z0) <= limits.flat_tol:
        raise not_flat(abs(z1 - z0))
    return Drawn(rows=rows, closed=False, height=z0)


def _draw_arc(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn:
    centre, radius = _read_circle(entity, limits)
    start_deg, end_deg = _need(entity, "start_angle"), _need(entity, "end_angle")
    check_size(limits, start_deg, end_deg)
    frame = find_frame(entity, frame)
    similar = frame.similarity
    if similar is None:
        sweep_deg = find_sweep(start_deg, end_deg, turn=360.0)
        conic = _level_circle(centre, radius, start_rad=np.radians(start_deg), sweep_rad=np.radians(sweep_deg))
        return _draw_conic(conic, frame, limits)
    rows = lay_arc(centre.x, centre.y, radius, start_deg, end_deg)
    return _draw_similar(rows, centre.z, closed=False, frame=frame)


def _draw_circle(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn:
    centre, radius = _read_circle(entity, limits)
    frame = find_frame(entity, frame)
    if frame.similarity is None:
        return _draw_conic(_level_circle(centre, radius), frame, limits)
    rows = [(centre.x + radius, centre.y, 1.0), (centre.x - radius, centre.y, 1.0)]
    return _draw_similar(rows, centre.z, closed=True, frame=frame)


def _draw_lwpolyline(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn:
    assert isinstance(entity, LWPolyline)
    rows = [(x, y, bulge) for x, y, bulge in entity.get_points("xyb")]
    height = float(entity.dxf.get("elevation", 0.0))
    return draw_run(rows, [height] * len(rows), bool(entity.closed), find_frame(entity, frame), limits)


def _draw_polyline(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn | None:
    assert isinstance(entity, Polyline)
    if entity.is_polygon_mesh or entity.is_poly_face_mesh:
        return None
    vertices = [vertex.dxf for vertex in entity.vertices if not vertex.dxf.flags & SPLINE_FRAME_POINT]
    points = [vertex.location for vertex in vertices if vertex.hasattr("location")]
    if len(points) < len(vertices):
        raise EntityFault("broken-entity", "a vertex has no place", "draw it again")
    if entity.is_3d_polyline:
        rows = [(point.x, point.y, 0.0) for point in points]
        return draw_run(rows, [point.z for point in points], bool(entity.is_closed), frame, limits)
    rows = [(point.x, point.y, vertex.bulge) for point, vertex in zip(points, vertices, strict=True)]
    height = Vec3(entity.dxf.get("elevation", (0.0, 0.0, 0.0))).z
    return draw_run(rows, [height] * len(rows), bool(entity.is_closed), find_frame(entity, frame), limits)


def _draw_ellipse(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn:
    centre, major, ratio = _need(entity, "center"), _need(entity, "major_axis"), _need(entity, "ratio")
    start, end = float(entity.dxf.start_param), float(entity.dxf.end_param)
    check_size(limits, *centre, *major, ratio, start, end)
    normal = Vec3(entity.dxf.extrusion)
    minor = normal.normalize().cross(major) * ratio if normal.magnitude > 0.0 else Vec3()
    conic = Conic(
        centre=np.array(centre.xyz),
        axis_u=np.array(major.xyz),
        axis_v=np.array(minor.xyz),
        start_rad=start,
        sweep_rad=find_sweep(start, end, turn=2.0 * pi),
    )
    return _draw_conic(conic, frame, limits)


def _draw_spline(entity: DXFGraphic, frame: Frame, limits: Limits) -> Drawn:
    assert isinstance(entity, Spline)
    given = entity.control_points if len(entity.control_points) else entity.fit_points
    points = np.array([Vec3(point).xyz for point in given], dtype=np.float64).reshape(-1, 3)
    if len(points) < 2:
        raise EntityFault("broken-entity", "a spline of fewer than two points", "draw it again")
    check_array(limits, points)
    try:
        if len(entity.control_points):
            spline = BSpline(
                points=points,
                weights=np.array(entity.weights if len(entity.weights) else np.ones(len(points))),
                knots=np.array(entity.knots, dtype=np.float64),
                degree=int(entity.dxf.degree),
            )
        elif entity.closed and (points[0] != points[-1]).any():
            return _draw_closed_fit(points, frame, limits)
        else:
            tool = entity.construction_tool()
            spline = BSpline(
                points=np.array([point.xyz for point in tool.control_points]),
                weights=np.ones(len(tool.control_points)),
                knots=np.array(tool.knots()),
                degree=tool.degree,
            )
            check_array(limits, spline.points)
        placed = frame.place(spline.points)
        height = check_flat(limits, placed)
        spline = BSpline(points=placed, weights=spline.weights, knots=spline.knots, degree=spline.degree)
        return Drawn(rows=lay_bspline(spline, tol=limits.fit_tol), closed=False, height=height)
    except EntityFault:
        raise
    except (ValueError, ZeroDivisionError, np.linalg.LinAlgError) as fault:
        raise EntityFault("broken-entity", f"a spline that gives no curve: {fault}", "draw it again") from fault


def _draw_closed_fit(points: FloatArray, frame: Frame, limits: Limits) -> Drawn:
    knots, rates = find_periodic_rates(points)
    placed = frame.place(points)
    height = check_flat(limits, placed)
    rows = lay_closed_cubic(placed, rates=frame.turn(rates), knots=knots, tol=limits.fit_tol)
    return Drawn(rows=rows, closed=True, height=height)


DRAWERS: dict[str, Callable[[DXFGraphic, Frame, Limits], Drawn | None]] = {
    "LINE": _draw_line,
    "ARC": _draw_arc,
    "CIRCLE": _draw_circle,
    "LWPOLYLINE": _draw_lwpolyline,
    "POLYLINE": _draw_polyline,
    "ELLIPSE": _draw_ellipse,
    "SPLINE": _draw_spline,
}


def draw_run(rows: list[Row], heights: list[float], closed: bool, frame: Frame, limits: Limits) -> Drawn:
    """Return a run of straight segments and bulges as it lies in the drawing.

    Raises
    ------
    EntityFault
        If it has fewer than two vertices, or values that are too large or not level.
    """
    if len(rows) < 2:
        raise EntityFault("broken-entity", "a polyline of fewer than two vertices", "delete it or draw it again")
    check_array(limits, np.array(rows))
    check_size(limits, *heights)
    rows = split_wide_arcs(rows, closed=closed)
    if frame.similarity is not None:
        span = (max(heights) - min(heights)) * abs(float(frame.matrix[2, 2]))
        if span > limits.flat_tol:
            raise not_flat(span)
        return _draw_similar(rows, heights[0], closed=closed, frame=frame)
    # vertices that split_wide_arcs put in lie level with the others: only level runs have bulges
    heights = heights if len(heights) == len(rows) else [heights[0]] * len(rows)
    placed = frame.place(np.array([(x, y, z) for (x, y, _), z in zip(rows, heights, strict=True)]))
    height = check_flat(limits, placed)
    laid: list[Row] = []
    count = len(rows) if closed else len(rows) - 1
    for i in range(count):
        end = rows[(i + 1) % len(rows)]
        if rows[i][2] == 0.0 or rows[i][:2] == end[:2]:
            laid.append((float(placed[i, 0]), float(placed[i, 1]), 0.0))
            continue
        conic = place_conic(_lift(find_conic(rows[i], end), heights[i]), frame)
        path = _lay(conic, limits)
        laid.extend([(float(placed[i, 0]), float(placed[i, 1]), path[0][2]), *path[1:-1]])
    if not closed:
        laid.append((float(placed[-1, 0]), float(placed[-1, 1]), 0.0))
    return Drawn(rows=laid, closed=closed, height=height)


def _draw_similar(rows: list[Row], z: float, *, closed: bool, frame: Frame) -> Drawn:
    """Return rows moved by a frame that keeps circles; their bulges turn over where it mirrors."""
    if frame.is_identity:
        return Drawn(rows=rows, closed=closed, height=z)
    similar = frame.similarity
    assert similar is not None
    turn = -1.0 if similar.mirrored else 1.0
    points = [similar.place(x, y) for x, y, _ in rows]
    moved = [(point.real, point.imag, turn * row[2]) for point, row in zip(points, rows, strict=True)]
    return Drawn(rows=moved, closed=closed, height=z * float(frame.matrix[2, 2]) + float(frame.matrix[3, 2]))


def _draw_conic(conic: Conic, frame: Frame, limits: Limits) -> Drawn:
    placed = place_conic(conic, frame)
    reach = np.array([placed.axis_u, -placed.axis_u, placed.axis_v, -placed.axis_v])
    height = check_flat(limits, placed.centre + reach)
    return Drawn(rows=_lay(placed, limits), closed=placed.is_closed, height=height)


def _lay(conic: Conic, limits: Limits) -> list[Row]:
    try:
        return lay_conic(conic, tol=limits.fit_tol)
    except ValueError as fault:
        raise EntityFault("broken-entity", str(fault), "draw it again, level with the drawing") from fault


def _lift(conic: Conic, z: float) -> Conic:
    return Conic(
        centre=conic.centre + np.array([0.0, 0.0, z]),
        axis_u=conic.axis_u,
        axis_v=conic.axis_v,
        start_rad=conic.start_rad,
        sweep_rad=conic.sweep_rad,
    )


def _level_circle(centre: Vec3, radius: float, *, start_rad: float = 0.0, sweep_rad: float = 2.0 * pi) -> Conic:
    return Conic(
        centre=np.array(centre.xyz),
        axis_u=np.array([radius, 0.0, 0.0]),
        axis_v=np.array([0.0, radius, 0.0]),
        start_rad=start_rad,
        sweep_rad=sweep_rad,
    )


def _read_circle(entity: DXFGraphic, limits: Limits) -> tuple[Vec3, float]:
    assert isinstance(entity, Circle | Arc)
    centre, radius = _need(entity, "center"), _need(entity, "radius")
    check_size(limits, centre.x, centre.y, centre.z, radius)
    if radius < 0.0:
        raise EntityFault("broken-entity", f"its radius is {radius:g}", "draw it again")
    return centre, radius


def find_frame(entity: DXFGraphic, frame: Frame) -> Frame:
    """Return the frame of an entity's object coordinate system.

    Raises
    ------
    EntityFault
        If its extrusion has no direction.
    """
    extrusion = entity.dxf.get("extrusion")
    if extrusion is None or (extrusion.x == 0.0 and extrusion.y == 0.0 and extrusion.z > 0.0):
        return frame
    if not 0.0 < extrusion.magnitude < 1e100:
        raise EntityFault("broken-entity", "its plane has no direction", "draw it again")
    return lay_ocs_frame(extrusion, inside=frame)


def _need(entity: DXFGraphic, name: str) -> Any:
    """Return a value that an entity cannot do without; ezdxf would hand out a default."""
    value = entity.dxf.get(name)
    if value is None:
        raise EntityFault("broken-entity", f"it has no {name.replace('_', ' ')}", "export the drawing again")
    return value
