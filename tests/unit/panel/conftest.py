"""Drawings made of contours on named layers, for the tests of the panel stage."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import ezdxf
import pytest

from cam.drawing.drawing import Drawing, Loop
from cam.drawing.read import read_drawing
from cam.panel.find_panels import find_panels
from cam.panel.layers import find_uses
from cam.tables.job import PanelEntry


@pytest.fixture
def draw():
    """Return a function that makes a drawing of pairs of layer and contour, without a file."""

    def do(*drawn, **changes):
        loops = tuple(
            Loop(contour=contour, layer=layer, handle=f"{i:X}", handles=(f"{i:X}",))
            for i, (layer, contour) in enumerate(drawn)
        )
        return Drawing(path=Path("plate.dxf"), units="mm", mm_per_unit=1.0, loops=loops, **changes)

    return do


@pytest.fixture
def find(draw):
    """Return a function that finds the panels of pairs of layer and contour."""

    def do(*drawn, radius_mm=5.0, rules=(), chamfer=None, **entry):
        drawing = draw(*drawn)
        return find_panels(
            drawing,
            entry=PanelEntry(drawing=drawing.path, **entry),
            thickness_mm=6.0,
            corner_radius_mm=radius_mm,
            rules=rules,
            chamfer=chamfer,
        )

    return do


class Sheet:
    """A model space that things are drawn in by layer."""

    def __init__(self):
        self.document = ezdxf.new(units=4)
        self.space = self.document.modelspace()

    def rectangle(self, layer, x, y, width, height):
        points = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.space.add_lwpolyline(points, close=True, dxfattribs={"layer": layer})

    def line(self, layer, *points):
        for start, end in pairwise(points):
            self.space.add_line(start, end, dxfattribs={"layer": layer})

    def circle(self, layer, x, y, radius):
        self.space.add_circle((x, y), radius, dxfattribs={"layer": layer})

    def text(self, layer, x, y, text, height=10.0):
        self.space.add_text(text, height=height, dxfattribs={"layer": layer, "insert": (x, y)})


@pytest.fixture
def read_sheet(tmp_path):
    """Return a function that writes what a function draws on a sheet, and reads it by the layers' meanings."""

    def do(drawing, *, rules=(), name="panel.dxf"):
        sheet = Sheet()
        drawing(sheet)
        path = tmp_path / name
        sheet.document.saveas(path)
        return read_drawing(path, use_of=find_uses(rules))

    return do


@pytest.fixture
def find_drawn(read_sheet):
    """Return a function that finds the panels of what a function draws on a sheet."""

    def do(drawing, *, rules=(), radius_mm=5.0, chamfer=None, **entry):
        read = read_sheet(drawing, rules=rules)
        return find_panels(
            read,
            entry=PanelEntry(drawing=read.path, **entry),
            thickness_mm=6.0,
            corner_radius_mm=radius_mm,
            rules=rules,
            chamfer=chamfer,
        )

    return do
