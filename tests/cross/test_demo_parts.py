"""The demo parts: what their drawings hold, and their panels against closed forms."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from math import pi
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from numpy.polynomial import Polynomial

from cam.drawing.read import read_drawing, refuse_faults
from cam.errors import PanelRefused
from cam.geometry.contour import find_segments
from cam.geometry.measure import find_size_mm, measure_area_mm2, measure_region_area_mm2
from cam.panel.find_panels import find_panels
from cam.panel.layers import find_uses
from cam.panel.panel import Panel, Role
from cam.tables.places import find_data_folder
from cam.tables.read import read_tables
from cam.tables.read_job import find_job_rows, read_job

PARTS = find_data_folder("parts")
NAMES = sorted(path.name for path in PARTS.iterdir())
# What a square corner loses when a disc of radius 1 rounds it.
CORNER = 1.0 - pi / 4.0
THICKNESS_MM = {"mirror-panel": 6.0}


def make_panel(name: str, *, units: str = "mm", join_tol_mm: float = 0.01) -> Panel:
    job = read_job(PARTS / name / "job.toml")
    (entry,) = job.panels
    entry = replace(entry, units=units)
    drawing = read_drawing(entry.drawing, units=entry.units, join_tol_mm=join_tol_mm, use_of=find_uses(job.layers))
    refuse_faults(drawing)
    thickness_mm = find_job_rows(job, tables=read_tables()).sheet.thickness_mm
    (panel,) = find_panels(
        drawing, entry=entry, thickness_mm=thickness_mm, corner_radius_mm=job.corners.radius_mm, rules=job.layers
    )
    return panel


def net_area_mm2(panel: Panel) -> float:
    """Area of the outline less its holes, whatever their sense."""
    outer, *holes = (abs(measure_area_mm2(contour)) for contour in panel.region.contours)
    return outer - sum(holes)


def test_there_are_four_parts_each_with_all_its_files() -> None:
    assert NAMES == ["canteen-wall", "hatch-strip", "mirror-panel", "shelf-back"]
    for name in NAMES:
        files = {path.name for path in (PARTS / name).iterdir()}
        assert {"README.md", "job.toml", "panel.dxf"} <= files


@pytest.mark.parametrize("name", NAMES)
def test_drawings_are_plain_r2010_in_millimetres(name: str) -> None:
    data = (PARTS / name / "panel.dxf").read_bytes()
    assert data.isascii()
    document = ezdxf.readfile(PARTS / name / "panel.dxf")
    assert (document.dxfversion, document.header["$INSUNITS"]) == ("AC1024", 4)
    assert not document.audit().errors


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        (
            "canteen-wall",
            {"LINE": 6, "ARC": 2, "LWPOLYLINE": 3, "CIRCLE": 1, "TEXT": 2, "MTEXT": 1, "DIMENSION": 1, "POINT": 1},
        ),
        ("hatch-strip", {"LINE": 2, "ELLIPSE": 1, "SPLINE": 1, "CIRCLE": 2, "TEXT": 1}),
        ("mirror-panel", {"LWPOLYLINE": 4, "CIRCLE": 1, "TEXT": 1}),
        ("shelf-back", {"LWPOLYLINE": 1, "INSERT": 1, "TEXT": 1, "DIMENSION": 1}),
    ],
)
def test_what_the_drawings_hold(name: str, kinds: dict[str, int]) -> None:
    space = ezdxf.readfile(PARTS / name / "panel.dxf").modelspace()
    assert Counter(entity.dxftype() for entity in space) == kinds


@pytest.mark.parametrize("name", NAMES)
def test_every_job_keeps_what_it_expects(name: str) -> None:
    job = read_job(PARTS / name / "job.toml")
    rows = find_job_rows(job, tables=read_tables())
    (entry,) = job.panels
    panel = make_panel(name)
    assert entry.expect_size_mm is not None
    assert find_size_mm(panel.region.outer) == pytest.approx(entry.expect_size_mm, abs=0.01)
    assert entry.expect_cutouts == len(panel.features) - 1
    assert rows.sheet.thickness_mm == panel.thickness_mm == THICKNESS_MM.get(name, 4.0)
    at = entry.at_mm or (job.margin_mm, job.margin_mm)
    assert at[0] + entry.expect_size_mm[0] <= rows.sheet.width_mm - job.margin_mm
    assert at[1] + entry.expect_size_mm[1] <= rows.sheet.height_mm - job.margin_mm
    assert rows.sheet.width_mm <= rows.machine.travel_mm[0]
    assert rows.sheet.height_mm <= rows.machine.travel_mm[1]


@pytest.mark.parametrize("name", NAMES)
def test_a_drawing_read_in_the_wrong_unit_is_refused(name: str) -> None:
    with pytest.raises(PanelRefused) as caught:
        make_panel(name, units="in", join_tol_mm=1.0)  # the wall's gap grows with the unit
    assert caught.value.findings[0].code == "unexpected-size"


def test_the_wall_against_its_closed_form() -> None:
    panel = make_panel("canteen-wall")
    assert len(panel.rounded) == 11
    assert {change.radius_mm for change in panel.rounded} == {5.0}
    outline = 1860 * 760 - 680 * 200 - 600 * 120 - CORNER * (300**2 + 25**2) + 3 * CORNER * 5**2
    inside = 2 * (134 * 74 - 4 * CORNER * 5**2) + pi * 21**2
    assert net_area_mm2(panel) == pytest.approx(outline - inside, abs=0.01 * 0.5 * 335)  # the gap, along its line
    assert [(feature.role, feature.diameter_mm) for feature in panel.features] == [
        (Role.OUTLINE, None),
        (Role.CUTOUT, None),
        (Role.CUTOUT, None),
        (Role.HOLE, 42.0),
    ]
    radii = find_segments(panel.region.outer.vertices).radius_mm
    assert sorted(radii[np.isfinite(radii)]) == pytest.approx([5.0, 5.0, 5.0, 25.0, 300.0], abs=0.01)


def test_the_strip_against_its_closed_form() -> None:
    panel = make_panel("hatch-strip")
    assert panel.rounded == ()
    # The bow is one cubic of Bernstein form: the area left of it is the integral of x dy.
    t = Polynomial([0.0, 1.0])
    basis = [(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3]
    x = sum((b * v for b, v in zip(basis, (0, 24, 24, 0), strict=True)), Polynomial([0.0]))
    y = sum((b * v for b, v in zip(basis, (0, 20, 70, 90), strict=True)), Polynomial([0.0]))
    integral = (x * y.deriv()).integ()
    bow = integral(1.0) - integral(0.0)
    area = 460 * 90 + pi * 60 * 45 / 2.0 - bow - 2 * pi * 4**2
    length_of_curves = pi * 75 + 100  # more than the half ellipse and the bow are long
    assert net_area_mm2(panel) == pytest.approx(area, abs=0.005 * length_of_curves)
    assert len(panel.region.outer) <= 40
    segments = find_segments(panel.region.outer.vertices)
    hollow = segments.radius_mm[segments.sweep_rad < 0.0]
    assert hollow.min() > 25.0


def test_the_shelf_against_its_closed_form() -> None:
    panel = make_panel("shelf-back")
    assert len(panel.rounded) == 4
    assert {change.feature for change in panel.rounded} == {"cut-out 1"}
    corners = sorted((round(change.x_mm, 6), round(change.y_mm, 6)) for change in panel.rounded)
    assert corners == [(70.0, 100.0), (70.0, 174.0), (144.0, 100.0), (144.0, 174.0)]
    area = 420 * 260 - (44 * 38 + pi * 22**2 / 2.0) - (74**2 - 4 * CORNER * 5**2)
    assert net_area_mm2(panel) == pytest.approx(area, abs=1e-6)


def test_the_mirror_panel_against_its_closed_form() -> None:
    panel = make_panel("mirror-panel")
    recesses = {recess.role: [] for recess in panel.recesses}
    for recess in panel.recesses:
        recesses[recess.role].append((recess.depth_mm, measure_region_area_mm2(recess.region), recess))
    (_, rebate, _), (_, mirror, _) = sorted(recesses[Role.RECESS], key=lambda each: -each[0])
    ((depth, groove, of_groove),) = recesses[Role.GROOVE]
    assert mirror == pytest.approx(200 * 130 - 4 * CORNER * 5**2 - pi * 15**2, abs=1e-6)
    # two corners of the rebate lie in the panel; those outside it may be left as they are
    assert 240 * 22 - 4 * CORNER * 5**2 - 1e-6 <= rebate <= 240 * 22 - 2 * CORNER * 5**2 + 1e-6
    length = 203 + 240 + 155 + pi * 20
    assert (depth, of_groove.width_mm) == (3.5, 6.0)
    assert groove == pytest.approx(6 * length + pi * 3**2, abs=1e-6)


def test_the_gap_in_the_wall_is_what_its_readme_says(tmp_path: Path) -> None:
    drawing = PARTS / "canteen-wall" / "panel.dxf"
    assert read_drawing(drawing, join_tol_mm=0.01).open_chains == ()
    assert len(read_drawing(drawing, join_tol_mm=0.005).open_chains) == 1
