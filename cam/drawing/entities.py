"""Entities of a document to pieces of contour."""

from __future__ import annotations

from collections.abc import Iterable
from math import cos, radians, sin, tan

from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.lwpolyline import LWPolyline

from cam.drawing.pieces import PieceList, Row, Source

QUARTERS = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))


def collect_pieces(entities: Iterable[DXFEntity], pieces: PieceList, passed_over: dict[str, int]) -> None:
    """Add the pieces of drawable entities; count the others."""
    for entity in entities:
        kind = entity.dxftype()
        dxf = entity.dxf
        source = Source(kind=kind, layer=dxf.layer, handle=dxf.handle)
        if kind == "LINE":
            start, end = dxf.start, dxf.end
            pieces.add([(start.x, start.y, 0.0), (end.x, end.y, 0.0)], closed=False, source=source)
        elif kind == "ARC":
            rows = lay_arc(dxf.center.x, dxf.center.y, dxf.radius, dxf.start_angle, dxf.end_angle)
            pieces.add(rows, closed=False, source=source)
        elif kind == "CIRCLE":
            x, y, r = dxf.center.x, dxf.center.y, dxf.radius
            pieces.add([(x + r, y, 1.0), (x - r, y, 1.0)], closed=True, source=source)
        elif isinstance(entity, LWPolyline):
            rows = [(float(x), float(y), float(b)) for x, y, b in entity.get_points("xyb")]
            pieces.add(rows, closed=entity.closed, source=source)
        else:
            passed_over[kind] = passed_over.get(kind, 0) + 1


def lay_arc(x: float, y: float, radius: float, start_deg: float, end_deg: float) -> list[Row]:
    """Return the open path of an arc; more than three quarters of a circle become two arcs."""
    sweep_deg = (end_deg - start_deg) % 360.0 or 360.0
    parts = 2 if sweep_deg > 270.0 else 1
    bulge = tan(radians(sweep_deg / parts) / 4.0)
    rows = []
    for part in range(parts + 1):
        c, s = find_direction(start_deg + sweep_deg * part / parts if part < parts else end_deg)
        rows.append((x + radius * c, y + radius * s, bulge if part < parts else 0.0))
    return rows


def find_direction(angle_deg: float) -> tuple[float, float]:
    """Return cosine and sine of an angle, exact at quarter turns.

    Examples
    --------
    >>> find_direction(270.0)
    (0.0, -1.0)
    """
    quarter, rest = divmod(angle_deg, 90.0)
    if rest == 0.0:
        return QUARTERS[int(quarter) % 4]
    angle = radians(angle_deg)
    return cos(angle), sin(angle)
