"""Panels on a sheet: where the job says, or in rows; refused where they do not fit."""

from math import radians

import numpy as np
import pytest

from cam.errors import LayoutRefused
from cam.geometry.contour import circle, polygon, rectangle
from cam.geometry.measure import find_bounds_mm, is_counter_clockwise, measure_area_mm2
from cam.geometry.transform import turn
from cam.sheet.lay import Group, find_top_range_mm, lay_panels
from cam.sheet.layout import place_contour, place_point, place_region
from cam.tables.job import Face

ELL = polygon([(10, 20), (110, 20), (110, 60), (50, 60), (50, 120), (10, 120)])


@pytest.fixture
def place(build_panel, find_row):
    def do(*groups, margin_mm=15.0, measured_mm=(), sheet="cast-4-600x400"):
        row = find_row(sheet)
        built = tuple(
            Group(
                drawing=f"{i}.dxf",
                panels=tuple(build_panel(c, name=f"p{i}-{k}") for k, c in enumerate(g.get("contours", (ELL,)))),
                at_mm=g.get("at"),
                turn_deg=g.get("turn", 0.0),
                face=g.get("face", Face.UP),
            )
            for i, g in enumerate(groups)
        )
        return lay_panels(
            built, sheet=row, material=find_row(row.material), margin_mm=margin_mm, measured_thickness_mm=measured_mm
        )

    return do


def bounds(placement):
    return find_bounds_mm(place_contour(placement, placement.panel.region.outer))


@pytest.mark.parametrize("turned", [0.0, 90.0, 180.0, -90.0, 33.0])
@pytest.mark.parametrize("face", list(Face))
def test_the_lower_left_corner_is_where_the_job_says_after_turn_and_face(place, turned, face):
    (placement,) = place({"at": (50.0, 40.0), "turn": turned, "face": face}).placements
    placed = place_contour(placement, placement.panel.region.outer)
    assert bounds(placement)[:2] == pytest.approx((50.0, 40.0))
    assert is_counter_clockwise(placed)
    assert measure_area_mm2(placed) == pytest.approx(measure_area_mm2(ELL))


def test_face_down_mirrors_and_the_turn_follows(place):
    (placement,) = place({"at": (50.0, 40.0), "turn": 90.0, "face": Face.DOWN}).placements
    # mirrored in x, then turned a quarter: (x, y) -> (-y, -x), then moved
    dx, dy = placement.by_mm
    assert place_point(placement, (10.0, 120.0)) == pytest.approx((-120.0 + dx, -10.0 + dy))
    region = place_region(placement)
    assert is_counter_clockwise(region.outer)


def test_rows_fill_the_width_and_then_go_up(place):
    layout = place(*[{} for _ in range(6)])
    corners = [bounds(p)[:2] for p in layout.placements]
    assert np.array(corners) == pytest.approx(
        np.array([(15, 15), (130, 15), (245, 15), (360, 15), (475, 15), (15, 130)])
    )


def test_groups_keep_their_places_among_themselves(place):
    ring = circle((300.0, 50.0), radius_mm=20.0)
    layout = place({"contours": (ELL, ring), "at": (30.0, 30.0)})
    first, second = (bounds(p) for p in layout.placements)
    assert (second[0] - first[0], second[1] - first[1]) == pytest.approx((270.0, 10.0))
    assert {p.by_mm for p in layout.placements} == {layout.placements[0].by_mm}


@pytest.mark.parametrize(
    ("at", "short"),
    [((14.9, 15.0), 0.1), ((15.0, 14.0), 1.0), ((486.0, 15.0), 1.0), ((15.0, 300.0), 15.0), ((700.0, 15.0), 215.0)],
)
def test_a_panel_beyond_the_margins_is_refused_by_how_much(place, at, short):
    with pytest.raises(LayoutRefused) as caught:
        place({"at": at})
    (finding,) = caught.value.findings
    assert finding.code == "panel-off-sheet"
    assert finding.size_mm == pytest.approx(short)
    assert finding.origin.panel == "p0-0"
    assert "cast-4-600x400" in finding.message


def test_a_panel_larger_than_the_sheet_is_refused(place):
    with pytest.raises(LayoutRefused) as caught:
        place({"contours": (rectangle((0, 0), width_mm=800, height_mm=100),)})
    assert [finding.code for finding in caught.value.findings] == ["panel-off-sheet"]


def test_overlaps_are_refused_where_they_are(place):
    with pytest.raises(LayoutRefused) as caught:
        place({"at": (50.0, 50.0)}, {"at": (120.0, 40.0)})
    (finding,) = caught.value.findings
    assert finding.code == "panels-overlap"
    assert "p0-0" in finding.message and "p1-0" in finding.message
    assert 120.0 <= finding.origin.x_mm <= 150.0 and 50.0 <= finding.origin.y_mm <= 90.0


def test_one_panel_in_the_bay_of_another_is_no_overlap(place):
    small = rectangle((0, 0), width_mm=30, height_mm=30)
    assert len(place({"at": (50.0, 50.0)}, {"contours": (small,), "at": (110.0, 110.0)}).placements) == 2


def test_heights_of_the_top(find_row, place):
    material = find_row("cast-acrylic")
    # ISO 7823-1: +- (0.4 + 0.1 t) mm
    assert find_top_range_mm(thickness_mm=6.0, material=material, measured_mm=()) == pytest.approx((5.0, 7.0))
    assert find_top_range_mm(thickness_mm=6.0, material=material, measured_mm=(5.8, 6.1, 5.9)) == (5.8, 6.1)
    layout = place({}, measured_mm=(4.1,))
    assert (layout.min_top_mm, layout.max_top_mm) == (4.1, 4.1)


def test_turning_is_about_the_drawing_s_origin_then_moved(place):
    (placement,) = place({"at": (200.0, 100.0), "turn": 33.0}).placements
    want = turn(ELL, angle_rad=radians(33.0)).points_mm + np.array(placement.by_mm)
    assert place_contour(placement, placement.panel.region.outer).points_mm == pytest.approx(want)
