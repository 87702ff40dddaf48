"""Sheets for the order of cutting: holes alone, and panels with cut-outs; the same every time.

Settings of the search are tried on the series `TRIAL`; tables are made of the series `HELD_OUT`, on which
nothing was ever chosen.
"""

from __future__ import annotations

from math import pi, tan

import numpy as np
import numpy.typing as npt

from cam.geometry.contour import Contour, Region, circle, rectangle
from cam.geometry.measure import is_counter_clockwise
from cam.geometry.transform import reverse
from cam.panel.panel import Feature, Finish, Panel, Role
from cam.plan.means import Means
from cam.sheet.layout import Layout, Placement
from cam.tables.job import Heights, Hold
from cam.tables.read import find_controller, find_cutter, find_machine, find_material, read_tables

SHEETS = 30
TRIAL, HELD_OUT = 0, 20
SHEET_MM = (3050.0, 2030.0)
MARGIN_MM = 20.0
MIN_APART_MM = 12.0
GAP_MM = 20.0
SOCKETS_MM = ((74.0, 74.0), (134.0, 74.0))
THICKNESS_MM = 4.0


def count_holes() -> tuple[int, ...]:
    """Return how many holes each sheet has: 20 to 1,000, evenly in their logarithm."""
    return tuple(int(count) for count in np.rint(np.geomspace(20, 1000, SHEETS)))


def make_holes(number: int, *, series: int = HELD_OUT) -> npt.NDArray[np.float64]:
    """Return the middles (n, 2) of one sheet's holes, strewn evenly, none within a hole of another."""
    count = count_holes()[number]
    rng = np.random.default_rng([series + 8, number])
    low, high = np.array([MARGIN_MM, MARGIN_MM]), np.array(SHEET_MM) - MARGIN_MM
    holes = np.empty((0, 2))
    while len(holes) < count:
        hole = np.round(rng.uniform(low, high), 2)
        if not len(holes) or np.hypot(*(holes - hole).T).min() >= MIN_APART_MM:
            holes = np.vstack([holes, hole])
    return holes


def make_panels(number: int, *, series: int = HELD_OUT) -> Layout:
    """Return one sheet in rows of panels of many sizes, with socket cut-outs, hatches and pipe holes."""
    rng = np.random.default_rng([series + 9, number])
    largest = float(rng.choice([400.0, 700.0, 1100.0]))
    placements: list[Placement] = []
    y = MARGIN_MM
    while y + 150.0 <= SHEET_MM[1] - MARGIN_MM:
        row = min(float(np.round(rng.uniform(150.0, 0.7 * largest))), SHEET_MM[1] - MARGIN_MM - y)
        x = MARGIN_MM
        while x + 200.0 <= SHEET_MM[0] - MARGIN_MM:
            width = min(float(np.round(rng.uniform(200.0, largest))), SHEET_MM[0] - MARGIN_MM - x)
            panel = _make_panel(f"panel-{len(placements) + 1}", width_mm=width, height_mm=row, rng=rng)
            placements.append(Placement(panel=panel, by_mm=(x, y)))
            x += width + GAP_MM
        y += row + GAP_MM
    return Layout(
        sheet="generated",
        material="cast-acrylic",
        width_mm=SHEET_MM[0],
        height_mm=SHEET_MM[1],
        thickness_mm=THICKNESS_MM,
        min_top_mm=THICKNESS_MM,
        max_top_mm=THICKNESS_MM,
        placements=tuple(placements),
    )


def _make_panel(name: str, *, width_mm: float, height_mm: float, rng: np.random.Generator) -> Panel:
    """Return a panel with a cut-out or a hole in some cells of a grid of 170 mm, each anywhere in its cell."""
    holes: list[Contour] = []
    features = [_name_feature(0, Role.OUTLINE, None)]
    for left in np.arange(15.0, width_mm - 165.0, 170.0):
        for low in np.arange(15.0, height_mm - 115.0, 170.0):
            if rng.random() < 0.4:
                continue
            if rng.random() < 0.5:
                diameter = float(rng.choice([20.0, 40.0, 110.0]))
                middle = (left + rng.uniform(60.0, 90.0), low + rng.uniform(55.0, 65.0))
                hole, role, bore = circle(middle, radius_mm=diameter / 2.0), Role.HOLE, diameter
            else:
                size = SOCKETS_MM[int(rng.integers(2))]
                corner = (left + rng.uniform(0.0, 150.0 - size[0]), low + rng.uniform(0.0, 40.0))
                hole, role, bore = _round_rectangle(corner, size_mm=size, radius_mm=5.0), Role.CUTOUT, None
            holes.append(reverse(hole) if is_counter_clockwise(hole) else hole)
            features.append(_name_feature(len(holes), role, bore))
    outer = rectangle((0.0, 0.0), width_mm=width_mm, height_mm=height_mm)
    return Panel(
        name=name,
        thickness_mm=THICKNESS_MM,
        region=Region(outer=outer, holes=tuple(holes)),
        features=tuple(features),
    )


def _name_feature(index: int, role: Role, diameter_mm: float | None) -> Feature:
    finish = Finish.SHOWN if role is Role.OUTLINE else Finish.HIDDEN
    return Feature(index=index, role=role, label=f"{role} {index}", finish=finish, diameter_mm=diameter_mm)


def _round_rectangle(corner_mm: tuple[float, float], *, size_mm: tuple[float, float], radius_mm: float) -> Contour:
    (x, y), (w, h), r, bulge = corner_mm, size_mm, radius_mm, tan(pi / 8.0)
    rows = [
        [x + r, y, 0.0],
        [x + w - r, y, bulge],
        [x + w, y + r, 0.0],
        [x + w, y + h - r, bulge],
        [x + w - r, y + h, 0.0],
        [x + r, y + h, bulge],
        [x, y + h - r, 0.0],
        [x, y + r, bulge],
    ]
    return Contour(np.array(rows))


def find_means(hold: Hold) -> Means:
    """Return one 6 mm cutter on a machine that takes the sheet."""
    tables = read_tables()
    return Means(
        cutters=(find_cutter(tables, name="o1-6-up"),),
        cutters_named=True,
        material=find_material(tables, name="cast-acrylic"),
        machine=find_machine(tables, name="industrial"),
        hold=hold,
        heights=Heights(),
        limits=find_controller(tables, name="ngc").limits,
    )
