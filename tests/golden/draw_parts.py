"""Draw the demo parts again: ``python tests/golden/draw_parts.py FOLDER`` writes FOLDER/NAME/panel.dxf.

The drawings in parts/ are what counts, and tests measure them; this says how they were made. The
pieces are loose, reversed and out of order on purpose.
"""

from __future__ import annotations

import sys
from math import pi
from pathlib import Path

import ezdxf
from ezdxf import bbox, units
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Modelspace

# Half a step below the join distance of 0.01 mm that a job has by default.
GAP_MM = 0.006


def main() -> None:
    """Write all drawings into the folder named on the command line."""
    folder = Path(sys.argv[1])
    parts = (
        ("canteen-wall", draw_wall),
        ("hatch-strip", draw_strip),
        ("mirror-panel", draw_mirror),
        ("shelf-back", draw_shelf),
    )
    for name, draw in parts:
        document = begin()
        draw(document.modelspace())
        box = bbox.extents(document.modelspace())
        document.modelspace().reset_extents(box.extmin, box.extmax)
        (folder / name).mkdir(parents=True, exist_ok=True)
        document.saveas(folder / name / "panel.dxf")


def begin() -> Drawing:
    """Return an empty R2010 drawing in millimetres, with nothing in it that changes from run to run."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new("R2010", units=units.MM)
    for layer, colour in (("PANEL", 7), ("CUTOUTS", 1), ("NOTES", 8)):
        document.layers.add(layer, color=colour)
    return document


def write_text(space: Modelspace, text: str, *, at: tuple[float, float], height: float = 20.0) -> None:
    """Add a line of text on the layer of notes."""
    space.add_text(text, height=height, dxfattribs={"layer": "NOTES"}).set_placement(at, align=TextEntityAlignment.LEFT)


def write_size(
    space: Modelspace, p1: tuple[float, float], p2: tuple[float, float], *, base: tuple[float, float]
) -> None:
    """Add a horizontal dimension, drawn out, whose lines must not be taken for edges."""
    space.add_linear_dim(
        base=base, p1=p1, p2=p2, override={"dimtxt": 15.0, "dimasz": 12.0}, dxfattribs={"layer": "NOTES"}
    ).render()


def draw_wall(space: Modelspace) -> None:
    """Draw the L-stepped back wall: 1860 x 760 mm."""
    panel, cut = {"layer": "PANEL"}, {"layer": "CUTOUTS"}
    space.add_circle((1640.0, 120.0), 21.0, dxfattribs=cut)
    # The upper left corner: loose, one piece drawn backwards, one gap that only joining closes.
    space.add_line((0.0, 400.0), (0.0, 735.0 - GAP_MM), dxfattribs=panel)
    space.add_arc((25.0, 735.0), 25.0, 90.0, 180.0, dxfattribs=panel)
    space.add_line((380.0, 760.0), (25.0, 760.0), dxfattribs=panel)
    space.add_lwpolyline([(1250, 180), (1384, 180), (1384, 254), (1250, 254)], close=True, dxfattribs=cut)
    # Round the hood and down the step, drawn against the sense of the rest.
    space.add_lwpolyline(
        [(380, 760), (380, 640), (980, 640), (980, 760), (1180, 760), (1180, 560), (1560, 560)], dxfattribs=panel
    )
    space.add_arc((1560.0, 260.0), 300.0, 0.0, 90.0, dxfattribs=panel)
    # Four lines for the other double outlet.
    for start, end in (
        ((250, 180), (384, 180)),
        ((384, 254), (384, 180)),
        ((250, 254), (250, 180)),
        ((250, 254), (384, 254)),
    ):
        space.add_line(start, end, dxfattribs=cut)
    space.add_lwpolyline([(0, 400), (0, 0), (1860, 0), (1860, 260)], dxfattribs=panel)
    write_text(space, "CANTEEN BACK WALL, 4 MM", at=(420.0, 420.0))
    write_text(space, "HOOD", at=(650.0, 690.0))
    space.add_mtext("Sockets: double, cover plates 146 x 86", dxfattribs={"layer": "NOTES", "insert": (420.0, 380.0)})
    write_size(space, (0.0, 0.0), (1860.0, 0.0), base=(0.0, -60.0))
    space.add_point((1640.0, 120.0), dxfattribs={"layer": "NOTES"})


def draw_strip(space: Modelspace) -> None:
    """Draw the cover strip: 520 x 90 mm, one end half an ellipse, the other a spline, two holes."""
    panel = {"layer": "PANEL"}
    space.add_line((0.0, 0.0), (460.0, 0.0), dxfattribs=panel)
    space.add_ellipse(
        (460.0, 45.0), major_axis=(60.0, 0.0), ratio=0.75, start_param=-pi / 2.0, end_param=pi / 2.0, dxfattribs=panel
    )
    space.add_line((0.0, 90.0), (460.0, 90.0), dxfattribs=panel)
    bow = space.add_spline(degree=3, dxfattribs=panel)
    bow.control_points = [(0.0, 90.0), (24.0, 70.0), (24.0, 20.0), (0.0, 0.0)]
    bow.knots = [0.0] * 4 + [1.0] * 4
    for x in (60.0, 420.0):
        space.add_circle((x, 45.0), 4.0, dxfattribs={"layer": "CUTOUTS"})
    write_text(space, "HATCH STRIP", at=(180.0, 38.0), height=14.0)


def draw_shelf(space: Modelspace) -> None:
    """Draw the shelf back: 420 x 260 mm, a U-shaped notch, a single outlet from a turned block."""
    space.add_lwpolyline(
        [
            (0, 0, 0),
            (420, 0, 0),
            (420, 260, 0),
            (322, 260, 0),
            (322, 222, -1.0),
            (278, 222, 0),
            (278, 260, 0),
            (0, 260, 0),
        ],
        format="xyb",
        close=True,
        dxfattribs={"layer": "PANEL"},
    )
    assert space.doc is not None
    outlet = space.doc.blocks.new("SINGLE-OUTLET")
    outlet.add_polyline2d([(0, 0), (74, 0), (74, 74), (0, 74)], close=True)
    space.add_blockref("SINGLE-OUTLET", (144.0, 100.0), dxfattribs={"layer": "CUTOUTS", "rotation": 90.0})
    write_text(space, "SHELF BACK", at=(170.0, 40.0), height=14.0)
    write_size(space, (278.0, 260.0), (322.0, 260.0), base=(0.0, 285.0))


def draw_mirror(space: Modelspace) -> None:
    """Draw the panel round a mirror: 360 x 240 mm, a recess with a boss, a lamp groove, a rebate for a shelf."""
    assert space.doc is not None
    for layer, colour in (("MIRROR", 3), ("LAMP", 30), ("RECESS-3", 5)):
        space.doc.layers.add(layer, color=colour)
    draw_box(space, (0.0, 0.0), (360.0, 240.0), layer="PANEL")
    draw_box(space, (80.0, 60.0), (280.0, 190.0), layer="MIRROR")
    space.add_circle((180.0, 125.0), 15.0, dxfattribs={"layer": "MIRROR"})
    quarter = -(2.0**0.5 - 1.0)
    space.add_lwpolyline(
        [(40, -8, 0), (40, 195, quarter), (60, 215, 0), (300, 215, quarter), (320, 195, 0), (320, 40, 0)],
        format="xyb",
        dxfattribs={"layer": "LAMP"},
    )
    draw_box(space, (60.0, -6.0), (300.0, 16.0), layer="RECESS-3")
    write_text(space, "MIRROR PANEL", at=(130.0, 255.0), height=12.0)


def draw_box(space: Modelspace, low: tuple[float, float], high: tuple[float, float], *, layer: str) -> None:
    """Add a rectangle, its corners square."""
    (x0, y0), (x1, y1) = low, high
    points = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})


if __name__ == "__main__":
    main()
