"""Drawings in the styles of the real world: the right contours, by closed form, or the right message."""

from __future__ import annotations

import importlib.util
from math import pi, sin
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from cam.cli import main
from cam.drawing.layers import LayerUse
from cam.drawing.read import read_drawing
from cam.errors import DrawingRefused
from cam.findings import Severity
from cam.geometry.contour import find_segments
from cam.geometry.measure import find_bounds_mm, measure_area_mm2

HERE = Path(__file__).parent
FILES = sorted(path.name for path in HERE.glob("*.dxf"))


@pytest.fixture(scope="module")
def styles():
    spec = importlib.util.spec_from_file_location("draw_styles", HERE / "draw_styles.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def read(name, **how):
    return read_drawing(HERE / f"{name}.dxf", **how)


def codes(drawing, severity=None):
    return [f.code for f in drawing.findings if severity in (None, f.severity)]


def areas(drawing):
    return sorted((abs(measure_area_mm2(loop.contour)) for loop in drawing.loops), reverse=True)


def rounded_mm2(width, height, radius):
    return width * height - (4 - pi) * radius**2


def find_box(drawing, **near):
    """Return the bounds of the loop whose lower left corner is nearest to a point."""
    boxes = np.array([find_bounds_mm(loop.contour) for loop in drawing.loops])
    return boxes[np.hypot(*(boxes[:, :2] - near["corner"]).T).argmin()]


def test_every_file_has_its_row_and_is_what_the_script_draws(styles):
    table = (HERE / "README.md").read_text()
    assert len(FILES) >= 13
    for name in FILES:
        assert f"| {name} |" in table
        assert (HERE / name).read_text() == styles.STYLES[name.removesuffix(".dxf")]()
    assert set(FILES) == {f"{name}.dxf" for name in styles.STYLES}


@pytest.mark.parametrize("name", FILES)
def test_none_is_damaged(name):
    drawing = read(name.removesuffix(".dxf"), units="mm")
    assert not {"recovered-drawing", "broken-entity"} & set(codes(drawing))


@pytest.mark.parametrize(
    ("name", "words", "exit_code"),
    [
        ("loose-segments", (), 0), ("metre-units", (), 0), ("mirrored-blocks", (), 2),
        ("mirrored-blocks", ("--units", "mm"), 0), ("curve-fitting", ("--units", "mm"), 0), ("outlines-twice", (), 0),
        ("outline-traced", (), 1), ("dimensioned-sheet", (), 1), ("text-on-cut-layer", (), 0),
        ("inches-without-units", (), 2), ("inches-without-units", ("--units", "in"), 0), ("far-away", (), 0),
        ("chord-circles", (), 0), ("chord-circles", ("--fit-arcs-mm", "0.05"), 0), ("mirrored-by-extrusion", (), 0),
        ("hidden-layers", (), 1), ("loose-segments", ("--join-tol-mm", "0.003"), 1),
    ],
)  # fmt: skip
def test_inspect_ends_as_it_should(name, words, exit_code):
    result = CliRunner().invoke(main, ["inspect", str(HERE / f"{name}.dxf"), *words], catch_exceptions=False)
    assert result.exit_code == exit_code, result.output


def test_loose_segments():
    drawing = read("loose-segments")
    assert areas(drawing) == pytest.approx([rounded_mm2(900, 500, 12.5), rounded_mm2(240, 90, 6.25)], abs=1e-6)
    assert [len(loop.contour) for loop in drawing.loops] == [8, 8]
    assert {loop.layer for loop in drawing.loops} == {"PLATE", "OPENING"}
    (gap,) = drawing.findings
    assert (gap.code, gap.size_mm) == ("gap-closed", pytest.approx(0.004))
    for loop in drawing.loops:  # the arcs kept their radius, the line was moved
        arcs = find_segments(loop.contour.vertices)
        assert arcs.radius_mm[arcs.is_arc] == pytest.approx([12.5 if loop.layer == "PLATE" else 6.25] * 4, abs=1e-9)


def test_metre_units():
    drawing = read("metre-units")
    assert drawing.units == "m"
    assert areas(drawing) == pytest.approx([2100 * 1100 - 700 * 249.5, 600 * 450.2])
    assert drawing.passed_over == (("POINT", 1),)


def test_mirrored_blocks():
    """INSERT arithmetic of the DXF reference by hand: (p - base) scaled, turned, put at the insertion point."""
    drawing = read("mirrored-blocks", units="mm")
    assert codes(drawing, Severity.ERROR) == []
    assert areas(drawing) == pytest.approx([800 * 400, 2700, *[1800] * 3, *[16 * pi] * 6])
    for box in (90, 95, 150, 145), (250, 95, 310, 145), (355, 90, 405, 150), (690, 32.5, 750, 107.5):
        assert find_box(drawing, corner=box[:2]) == pytest.approx(box)
    # the foot of each L lies on the side that the mirror put it on: its corner at (60, 50) of the block is empty
    by_box = {find_bounds_mm(loop.contour)[0].__round__(): loop for loop in drawing.loops}
    for left, empty in ((90, (150, 145)), (250, (250, 145)), (355, (355, 150)), (690, (750, 32.5))):
        assert np.hypot(*(by_box[left].contour.points_mm - empty).T).min() > 15
    bores = sorted(
        tuple(find_segments(loop.contour.vertices).centre_mm[0].round(9))
        for loop in drawing.loops
        if len(loop.contour) == 2
    )
    assert bores == [(396 + 120 * column, 300 + 50 * row) for column in range(3) for row in range(2)]


def test_curve_fitting():
    drawing = read("curve-fitting", units="mm")
    assert areas(drawing) == pytest.approx([800 * 400, pi * 150**2, 20 * 60**2 * sin(2 * pi / 40)], rel=1e-6)
    assert codes(drawing) == ["chords-like-arcs"]  # the spline-fitted one, which is chords


def test_splines_of_thousands_of_control_points(styles, tmp_path):
    """A curve in polar form encloses half the integral of r^2: pi (300^2 + 20^2 / 2)."""
    path = tmp_path / "spline.dxf"
    path.write_text(styles.draw_spline_thousands(4000))
    drawing = read_drawing(path)
    assert codes(drawing) == ["curves-fitted"]
    (loop,) = drawing.loops
    assert areas(drawing) == pytest.approx([pi * (300**2 + 20**2 / 2)], rel=2e-5)
    assert len(loop.contour) < 400
    radius = np.hypot(*(loop.contour.points_mm - (500, 400)).T)
    turn = np.arctan2(*(loop.contour.points_mm - (500, 400)).T[::-1])
    assert np.abs(radius - (300 + 20 * np.cos(8 * turn))).max() < 0.006


def test_outlines_twice():
    drawing = read("outlines-twice")
    assert areas(drawing) == pytest.approx([600 * 150 - 150 * 30 / 2, 36 * pi, 36 * pi])
    assert codes(drawing) == ["duplicate-dropped"]
    assert "6 pieces" in drawing.findings[0].message
    assert "1 of them closed loops" in drawing.findings[0].message


def test_outline_traced():
    (fault,) = read("outline-traced").findings
    assert (fault.code, fault.severity, fault.origin.layer) == ("doubled-loop", Severity.ERROR, "TRACED")
    assert fault.size_mm == pytest.approx(0.03)
    assert "of layer STRIP" in fault.message


def test_a_dimensioned_sheet():
    drawing = read("dimensioned-sheet")
    faults = [f for f in drawing.findings if f.severity is Severity.ERROR]
    assert {"open-chain", "t-junction", "overlapping-pieces", "crossing-loops"} == {f.code for f in faults}
    opened = {f.origin.layer for f in faults if f.code == "open-chain"}
    assert opened == {"SHEET", "CENTRES", "SHADING"}  # nothing of the part itself is open
    assert all(f.origin.x_mm is not None and f.size_mm is not None and f.remedy for f in faults)
    remedies = {f.origin.layer: f.remedy for f in faults if f.code == "open-chain"}
    assert "if layer SHADING holds nothing of a panel, let the job ignore it" in remedies["SHADING"]
    assert "let the job ignore it" not in remedies["SHEET"]  # whose frame closes
    alone = read("dimensioned-sheet", use_of=lambda layer: LayerUse.CONTOUR if layer == "PART" else LayerUse.IGNORE)
    assert areas(alone) == pytest.approx([280 * 160, 400 * pi])
    assert codes(alone, Severity.ERROR) == []


def test_text_on_the_cut_layer():
    drawing = read("text-on-cut-layer")
    assert areas(drawing) == pytest.approx([240 * 80 - 20 * 20 / 2, 9 * pi, 9 * pi])
    assert [(text.text, text.layer, text.height_mm) for text in drawing.texts] == [
        ("PUMP ROOM", "CUT", 25), ("CUT", "CUT", 25),
    ]  # fmt: skip
    assert drawing.passed_over == (("TEXT", 2),)


def test_inches_without_units():
    with pytest.raises(DrawingRefused) as refusal:
        read("inches-without-units")
    (finding,) = refusal.value.findings
    assert finding.code == "no-units"
    assert "mm: 35.5 x 11.25 mm" in finding.message
    assert "in: 901.7 x 285.75 mm" in finding.message
    square_inch = 25.4**2
    wanted = [(24.0625 * 8.125 + 11.4375 * 11.25) * square_inch, *[pi * 0.1875**2 * square_inch] * 2]
    assert areas(read("inches-without-units", units="in")) == pytest.approx(wanted)


def test_far_away(styles, tmp_path):
    path = tmp_path / "near.dxf"
    path.write_text(styles.draw_part(by=(0.0, 0.0)))
    near, far = read_drawing(path), read("far-away")
    assert far.findings == near.findings == ()
    for one, other in zip(near.loops, far.loops, strict=True):
        assert np.abs(other.contour.vertices - (1e6, 2_345_678, 0) - one.contour.vertices).max() < 1e-9
    # outline: a rectangle of 544 x 256 less a quarter's corner, plus a wedge, less the cap of a bulge of 1/4
    sweep = 4 * np.arctan(0.25)
    cap = (272 * (1 + 0.25**2) / (4 * 0.25)) ** 2 * (sweep - sin(sweep)) / 2
    outline = 544 * 256 - (1 - pi / 4) * 32**2 + 272 * 32 / 2 - cap
    assert areas(far) == pytest.approx([outline, 100 * 86.123456 / 2, pi * 17.25**2], abs=1e-6)


def test_circles_exported_as_64_loose_chords():
    drawing = read("chord-circles")
    assert codes(drawing) == ["chords-like-arcs"]
    (offer,) = drawing.findings
    assert "192 straight pieces in 3 contours" in offer.message
    fitted = read("chord-circles", fit_arcs_mm=offer.size_mm)
    assert codes(fitted) == ["chords-fitted"] * 3
    assert areas(fitted) == pytest.approx([300 * 240, pi * 40**2, *[pi * 17.5**2] * 2], rel=1e-6)
    assert sorted(len(loop.contour) for loop in fitted.loops) == [2, 2, 2, 4]


def test_mirrored_by_extrusion():
    """Arbitrary axis algorithm of the DXF reference: for a normal of (0, 0, -1) x turns over and y stays."""
    drawing = read("mirrored-by-extrusion")
    assert drawing.findings == ()
    plate, bore, slot = drawing.loops
    assert find_bounds_mm(plate.contour) == pytest.approx((-400, 0, 0, 200))
    assert find_bounds_mm(bore.contour) == pytest.approx((-68, 42, -52, 58))
    assert find_bounds_mm(slot.contour) == pytest.approx((-320, 110, -180, 150))
    assert areas(drawing) == pytest.approx([400 * 200 - (1 - pi / 4) * 400, 100 * 40 + 400 * pi, 64 * pi])


def test_hidden_layers_that_hold_part_of_the_outline():
    drawing = read("hidden-layers")
    assert len(drawing.loops) == 1
    (fault,) = [f for f in drawing.findings if f.severity is Severity.ERROR]
    assert fault.code == "open-chain"
    assert "the layer PLATE-OLD is hidden" in fault.message
    assert "PLATE-OLD" in fault.remedy
    hidden = [f for f in drawing.findings if f.code == "hidden-layer"]
    assert [(f.severity, f.origin.layer) for f in hidden] == [
        (Severity.WARNING, "BORES"), (Severity.WARNING, "PLATE-OLD"),
    ]  # fmt: skip
    assert hidden[1].message.startswith("part of a contour is hidden: 2 open ends go on there")
