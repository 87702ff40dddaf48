"""Hatches to the boundaries that they fill, each path closed in the hatch's own plane."""

from __future__ import annotations

from math import tau

from ezdxf.entities.arc import Arc
from ezdxf.entities.boundary_paths import (
    AbstractEdge,
    ArcEdge,
    EdgePath,
    EllipseEdge,
    LineEdge,
    PolylinePath,
    SplineEdge,
)
from ezdxf.entities.circle import Circle
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.ellipse import Ellipse
from ezdxf.entities.line import Line
from ezdxf.entities.polygon import DXFPolygon
from ezdxf.entities.spline import Spline
from ezdxf.math import Vec3

from cam.drawing.entities import Drawn, draw_entity, draw_run, find_frame
from cam.drawing.frame import Frame
from cam.drawing.limits import EntityFault, Limits

TEXT_BOX = 8  # boundary path flag of the DXF reference: the room left round a text
HATCH_KINDS = ("HATCH", "MPOLYGON")


def draw_hatch(entity: DXFPolygon, frame: Frame, limits: Limits) -> list[Drawn]:
    """Return what the boundary of a hatch draws in a frame.

    A polyline path is one closed piece. The edges of an edge path are a piece each, joined later
    like any loose pieces. Boxes round texts are left out.

    Raises
    ------
    EntityFault
        If a value is impossible, too large or not level, or an edge is of no known type.
    """
    height = Vec3(entity.dxf.get("elevation", (0.0, 0.0, 0.0))).z
    placed = find_frame(entity, frame)
    drawn: list[Drawn] = []
    for path in entity.paths:
        if path.path_type_flags & TEXT_BOX:
            continue
        if isinstance(path, PolylinePath):
            rows = [(float(x), float(y), float(bulge)) for x, y, bulge in path.vertices]
            drawn.append(draw_run(rows, [height] * len(rows), True, placed, limits))
        elif isinstance(path, EdgePath):
            drawn.extend(_draw_edge(edge, height, placed, limits) for edge in path.edges)
    return drawn


def _draw_edge(edge: AbstractEdge, height: float, frame: Frame, limits: Limits) -> Drawn:
    laid = draw_entity(_lay_edge(edge, height), frame, limits)
    assert laid is not None
    return laid


def _lay_edge(edge: AbstractEdge, height: float) -> DXFGraphic:
    """Return an edge as the entity that draws the same in the hatch's plane."""
    if isinstance(edge, LineEdge):
        ends = {"start": Vec3(*edge.start, height), "end": Vec3(*edge.end, height)}
        return Line.new(dxfattribs=ends)
    if isinstance(edge, ArcEdge):
        circle = {"center": Vec3(*edge.center, height), "radius": edge.radius}
        if _goes_round(edge):
            return Circle.new(dxfattribs=circle)
        return Arc.new(dxfattribs={**circle, "start_angle": edge.start_angle, "end_angle": edge.end_angle})
    if isinstance(edge, EllipseEdge):
        whole = _goes_round(edge)
        ellipse = {
            "center": Vec3(*edge.center, height),
            "major_axis": Vec3(*edge.major_axis, 0.0),
            "ratio": edge.ratio,
            "start_param": 0.0 if whole else edge.start_param,
            "end_param": tau if whole else edge.end_param,
        }
        return Ellipse.new(dxfattribs=ellipse)
    if isinstance(edge, SplineEdge):
        return _lay_spline(edge, height)
    raise EntityFault("broken-entity", "an edge of its boundary is of no known type", "draw its outline")


def _lay_spline(edge: SplineEdge, height: float) -> Spline:
    spline = Spline.new(dxfattribs={"degree": edge.degree})
    if edge.control_points:
        spline.control_points = [(point.x, point.y, height) for point in edge.control_points]
        spline.knots = edge.knot_values
        spline.weights = edge.weights
        return spline
    spline.fit_points = [(point.x, point.y, height) for point in edge.fit_points]
    for name, tangent in (("start_tangent", edge.start_tangent), ("end_tangent", edge.end_tangent)):
        if tangent is not None:
            spline.dxf.set(name, Vec3(*tangent, 0.0))
    return spline


def _goes_round(edge: ArcEdge | EllipseEdge) -> bool:
    return abs(edge.end_angle - edge.start_angle) >= 360.0 - 1e-9
