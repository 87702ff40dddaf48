"""Loops of a drawing to panels: roles, names, direction of travel, the corner rule, what the job expects."""

from math import pi
from pathlib import Path

import numpy as np
import pytest

from cam.drawing.drawing import Drawing, Loop
from cam.errors import PanelRefused
from cam.geometry.contour import circle, find_segments, polygon, rectangle
from cam.geometry.measure import is_counter_clockwise, measure_area_mm2, measure_region_area_mm2
from cam.geometry.transform import reverse
from cam.panel.find_panels import find_panels
from cam.panel.panel import Finish, Role
from cam.tables.job import PanelEntry

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


def box(x, y, w, h):
    return rectangle((x, y), width_mm=w, height_mm=h)


def find(*contours, radius_mm=5.0, **entry):
    loops = tuple(
        Loop(contour=contour, layer=f"layer-{i}", handle=f"{i:X}", handles=(f"{i:X}",))
        for i, contour in enumerate(contours)
    )
    drawing = Drawing(path=Path("plate.dxf"), units="mm", mm_per_unit=1.0, loops=loops)
    return find_panels(
        drawing,
        entry=PanelEntry(drawing=drawing.path, **entry),
        thickness_mm=4.0,
        corner_radius_mm=radius_mm,
    )


def test_features_are_named_from_left_to_right_and_point_to_their_entities():
    (panel,) = find(box(200, 50, 50, 40), circle((60, 60), radius_mm=3), PLATE, box(100, 50, 50, 40))
    assert [(f.label, f.role, f.handle, f.layer) for f in panel.features] == [
        ("outline", Role.OUTLINE, "2", "layer-2"),
        ("hole 1", Role.HOLE, "1", "layer-1"),
        ("cut-out 1", Role.CUTOUT, "3", "layer-3"),
        ("cut-out 2", Role.CUTOUT, "0", "layer-0"),
    ]
    assert [f.index for f in panel.features] == [0, 1, 2, 3]
    assert panel.features[0].finish is Finish.SHOWN
    assert (panel.name, panel.thickness_mm) == ("plate", 4.0)


@pytest.mark.parametrize("turned", [False, True])
def test_material_lies_on_the_left(turned):
    loops = [PLATE, box(50, 50, 60, 60), circle((200, 100), radius_mm=20)]
    (panel,) = find(*(reverse(loop) if turned else loop for loop in loops))
    assert is_counter_clockwise(panel.region.outer)
    assert not any(is_counter_clockwise(hole) for hole in panel.region.holes)


def test_square_corners_of_cut_outs_and_notches_get_the_rule_s_radius():
    notch = polygon([(0, 0), (300, 0), (300, 200), (200, 200), (200, 150), (150, 150), (150, 200), (0, 200)])
    (panel,) = find(notch, box(50, 50, 60, 60), radius_mm=6.0)
    assert {(c.feature, c.x_mm, c.y_mm) for c in panel.rounded} == {
        ("outline", 200.0, 150.0), ("outline", 150.0, 150.0),
        ("cut-out 1", 50.0, 50.0), ("cut-out 1", 110.0, 50.0), ("cut-out 1", 50.0, 110.0), ("cut-out 1", 110.0, 110.0),
    }  # fmt: skip
    assert {(c.radius_before_mm, c.radius_mm) for c in panel.rounded} == {(0.0, 6.0)}
    for contour in panel.region.contours:
        segments = find_segments(contour.vertices)
        assert (segments.radius_mm[segments.sweep_rad < 0.0] >= 6.0 - 1e-9).all()
    # a square corner holds (1 - pi / 4) r^2 more material when it is rounded
    gained = 6 * (1 - pi / 4) * 36.0
    assert measure_region_area_mm2(panel.region) == pytest.approx(300 * 200 - 50 * 50 - 60 * 60 + gained)


def test_a_hole_smaller_than_the_rule_stays_a_hole():
    (panel,) = find(PLATE, circle((50, 50), radius_mm=2.5), box(100, 50, 40, 40))
    assert panel.features[1].diameter_mm == 5.0
    assert measure_area_mm2(panel.region.holes[0]) == pytest.approx(-pi * 2.5**2)
    assert {c.feature for c in panel.rounded} == {"cut-out 1"}


def test_a_slot_that_cannot_take_the_rule_is_refused_with_its_place():
    with pytest.raises(PanelRefused) as caught:
        find(PLATE, box(50, 50, 60, 8.0))
    finding = caught.value.findings[0]
    assert finding.code == "slot-too-narrow"
    assert (finding.origin.file, finding.origin.panel) == ("plate.dxf", "plate")
    assert 49.0 < finding.origin.x_mm < 111.0 and 49.0 < finding.origin.y_mm < 59.0


def test_islands_are_panels_of_their_own_largest_first():
    panels = find(box(60, 60, 50, 50), PLATE, box(40, 40, 100, 100), box(400, 0, 350, 250), name="set")
    assert [(panel.name, len(panel.features)) for panel in panels] == [("set-1", 1), ("set-2", 2), ("set-3", 1)]
    areas = [measure_area_mm2(panel.region.outer) for panel in panels]
    assert areas == [350 * 250, 300 * 200, 50 * 50]


def test_expectations_guard_against_a_wrong_drawing():
    assert find(PLATE, box(50, 50, 60, 60), expect_size_mm=(300.4, 199.6), expect_cutouts=1)
    for expected, code in (
        ({"expect_size_mm": (300.6, 200.0)}, "unexpected-size"),
        ({"expect_size_mm": (200.0, 300.0)}, "unexpected-size"),
        ({"expect_cutouts": 2}, "unexpected-cutouts"),
        ({"expect_cutouts": 0}, "unexpected-cutouts"),
    ):
        with pytest.raises(PanelRefused) as caught:
            find(PLATE, box(50, 50, 60, 60), **expected)
        (finding,) = caught.value.findings
        assert finding.code == code
        assert finding.origin.file == "plate.dxf" and finding.origin.panel == "plate"
        assert next(iter(expected)) in finding.remedy


def test_the_rule_leaves_smooth_contours_alone():
    q = 2**0.5 - 1
    smooth = np.array([[5, 0, 0], [55, 0, q], [60, 5, 0], [60, 35, q], [55, 40, 0], [5, 40, q], [0, 35, 0], [0, 5, q]])
    cut = polygon([(0, 0), (1, 0), (0, 1)]).__class__(smooth + np.array([50.0, 50.0, 0.0]))
    (panel,) = find(PLATE, cut)
    assert panel.rounded == ()
    assert measure_area_mm2(panel.region.holes[0]) == pytest.approx(-measure_area_mm2(cut))
