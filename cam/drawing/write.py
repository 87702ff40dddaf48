"""Drawings written: closed contours as polylines with bulges, in millimetres, that say so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ezdxf import units
from ezdxf.filemanagement import new

from cam.geometry.contour import Contour


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One closed contour and the layer that it goes on."""

    contour: Contour
    layer: str = "0"


def write_drawing(drawn: Sequence[Drawn], *, path: Path) -> None:
    """Write contours as a DXF file, R2010, in millimetres.

    Notes
    -----
    A vertex's bulge is the tangent of a quarter of the arc's turn (DXF reference, LWPOLYLINE code 42): that of a
    contour's own vertices.
    """
    document = new("R2010", units=units.MM)
    document.header["$MEASUREMENT"] = 1
    space = document.modelspace()
    for each in drawn:
        if each.layer not in document.layers:
            document.layers.add(each.layer)
        space.add_lwpolyline(each.contour.vertices.tolist(), format="xyb", close=True, dxfattribs={"layer": each.layer})
    document.saveas(path)
