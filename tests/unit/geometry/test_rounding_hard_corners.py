"""Corner rounding by closed forms where it is hard: fillets that meet, arcs, near corners, lips, widths, refusals."""

from __future__ import annotations

import time
from math import atan2, cos, hypot, pi, radians, sin, sqrt, tan

import numpy as np
import pytest

from cam.errors import PanelRefused
from cam.geometry.contour import Contour, Region, circle, find_segments, polygon, rectangle
from cam.geometry.measure import find_bounds_mm, is_counter_clockwise, measure_area_mm2
from cam.geometry.rounding import find_min_reentrant_radius_mm, region, round_corners
from cam.geometry.rounding.corners import CornersUncertain
from cam.geometry.transform import move, reverse, turn
from cam.panel.nesting import find_diameter_mm

PLATE = rectangle((-200.0, -200.0), width_mm=400.0, height_mm=400.0)
FAR = (1e6, -1e6)


def cut(hole: Contour) -> Region:
    return Region(outer=PLATE, holes=(reverse(hole) if is_counter_clockwise(hole) else hole,))


def round_hole(hole: Contour, radius_mm: float) -> Contour:
    return round_corners(cut(hole), radius_mm=radius_mm).region.holes[0]


def find_fillets(contour: Contour, radius_mm: float) -> list[tuple[float, float, float]]:
    """Centre and turn in degrees of the arcs of a radius."""
    segments = find_segments(contour.vertices)
    hit = np.flatnonzero(segments.is_arc & (np.abs(segments.radius_mm - radius_mm) < 1e-7))
    return [
        (float(segments.centre_mm[i, 0]), float(segments.centre_mm[i, 1]), float(np.degrees(-segments.sweep_rad[i])))
        for i in hit
    ]


def refuse(panel: Region, radius_mm: float):
    with pytest.raises(PanelRefused) as caught:
        round_corners(panel, radius_mm=radius_mm)
    return caught.value.findings


# fillets of one circle


@pytest.mark.parametrize("at", [(0.0, 0.0), FAR])
@pytest.mark.parametrize("angle_deg", [0.0, 33.0])
def test_a_slot_of_exactly_twice_the_radius_gets_half_round_ends_of_one_arc(at, angle_deg) -> None:
    slot = move(turn(rectangle((0, 0), width_mm=40.0, height_mm=10.0), angle_rad=radians(angle_deg)), by_mm=at)
    plate = move(PLATE, by_mm=at)
    rounded = round_corners(Region(outer=plate, holes=(reverse(slot),)), radius_mm=5.0)
    hole = rounded.region.holes[0]
    assert len(hole) == 4
    assert sorted(find_segments(hole.vertices).radius_mm)[:2] == pytest.approx([5.0, 5.0], abs=1e-8)
    assert -measure_area_mm2(hole) == pytest.approx(300.0 + 25.0 * pi, abs=2e-7)
    assert len(rounded.corners) == 4


def test_a_square_of_twice_the_radius_becomes_a_circle() -> None:
    hole = round_hole(rectangle((7, 9), width_mm=10.0, height_mm=10.0), 5.0)
    assert len(hole) == 2
    assert find_diameter_mm(hole) == pytest.approx(10.0, abs=1e-9)
    assert find_bounds_mm(hole) == pytest.approx((7.0, 9.0, 17.0, 19.0))


@pytest.mark.parametrize("under_mm", [2e-7, 9e-7, 1e-5, 3e-4, 9e-4])
def test_a_slot_a_hair_too_narrow_has_ends_of_its_own_half_width(under_mm) -> None:
    """The rule passes widths down to 0.001 mm less than twice the radius; nothing finer than a hair remains there."""
    hole = round_hole(rectangle((0, 0), width_mm=40.0, height_mm=10.0 - under_mm), 5.0)
    assert len(hole) == 4
    radii = find_segments(hole.vertices).radius_mm
    assert radii[np.isfinite(radii)] == pytest.approx([5.0 - under_mm / 2.0] * 2, abs=2e-7)


def test_three_fillets_of_one_circle_are_one_arc() -> None:
    """A corner whose two chamfers and two sides all touch one disc: sides at 0, 30, 60 and 90 degrees."""
    r = 5.0
    points = [(r + 30, 0.0), (r + 30, r + 30), (0.0, r + 30)]
    # tangents to the circle about (r, r) from the side x = 0 round to the side y = 0
    for first, second in ((180, 210), (210, 240), (240, 270)):
        middle, reach = radians((first + second) / 2), r / cos(radians((second - first) / 2))
        points.append((r + reach * cos(middle), r + reach * sin(middle)))
    hole = round_hole(polygon(points), r)
    fillets = [fillet for fillet in find_fillets(hole, r) if hypot(fillet[0] - r, fillet[1] - r) < 1.0]
    assert fillets == [pytest.approx((r, r, 90.0), abs=1e-6)]


# corners nearer than the radius


def lay_chamfered(a: float) -> Contour:
    """A cut-out whose corner at the origin is cut off from (a, 0) to (0, a)."""
    return polygon([(a, 0), (60, 0), (60, 60), (0, 60), (0, a)])


@pytest.mark.parametrize("a", [0.01, 1.0, 2.9])
def test_a_chamfer_that_the_disc_does_not_touch_goes_whole(a) -> None:
    """The disc about (5, 5) is sqrt(2) 5 - a / sqrt(2) from the chamfer: 5 mm or more up to a = 10 - 5 sqrt(2)."""
    hole = round_hole(lay_chamfered(a), 5.0)
    assert (5.0, 5.0, 90.0) in [pytest.approx(fillet, abs=1e-6) for fillet in find_fillets(hole, 5.0)]
    assert len(hole) == 8


def test_a_chamfer_that_the_disc_touches_keeps_its_middle() -> None:
    hole = round_hole(lay_chamfered(4.0), 5.0)
    trim = 5.0 * tan(pi / 8)  # a corner of 45 degrees
    lengths = find_segments(hole.vertices).length_mm
    assert np.abs(lengths - (4.0 * sqrt(2.0) - 2.0 * trim)).min() < 1e-9
    assert sorted(round(t, 6) for _, _, t in find_fillets(hole, 5.0)) == [45.0, 45.0, 90.0, 90.0, 90.0]


def test_a_chamfer_that_the_disc_just_touches_leaves_one_arc() -> None:
    hole = round_hole(lay_chamfered(10.0 - 5.0 * sqrt(2.0)), 5.0)
    assert [round(t, 5) for _, _, t in find_fillets(hole, 5.0)] == [90.0] * 4


@pytest.mark.parametrize("at", [(0.0, 0.0), FAR])
def test_a_step_lower_than_the_radius_is_rounded_from_its_lip(at) -> None:
    """The disc on the lower floor leans on the lip at (0, h): its centre is sqrt(r^2 - (r - h)^2) beyond."""
    r, h = 5.0, 2.0
    floor = [(0, h), (0, 0), (60, 0), (60, -50), (-60, -50), (-60, h)]
    outline = move(polygon(floor[::-1]), by_mm=at)
    rounded = round_corners(Region(outer=outline), radius_mm=r)
    beyond = sqrt(r**2 - (r - h) ** 2)
    ((x, y, degrees),) = find_fillets(rounded.region.outer, r)
    assert (x - at[0], y - at[1]) == pytest.approx((beyond, r), abs=1e-8)
    assert degrees == pytest.approx(np.degrees(atan2(beyond, r - h)), abs=1e-6)
    lip = np.array([at[0], at[1] + h])
    assert (rounded.region.outer.points_mm == lip).all(axis=1).any()
    assert [(c.x_mm - at[0], c.y_mm - at[1]) for c in rounded.corners] == [(0.0, 0.0)]


def test_steps_each_lower_than_the_radius_are_rounded_from_lip_to_lip() -> None:
    """A flight of steps 1 mm high and 6 mm deep under a disc of 5 mm: every corner is one fillet, every lip stays."""
    points = [(-10, -20), (40, -20), (40, 0)]
    for k in range(1, 5):
        points += [(40 - 6 * k, k - 1), (40 - 6 * k, k)]
    points += [(-10, 4)]
    rounded = round_corners(Region(outer=polygon(points)), radius_mm=5.0)
    assert len(find_fillets(rounded.region.outer, 5.0)) == 4
    kept = {tuple(row) for row in rounded.region.outer.points_mm.tolist()}
    assert {(40.0 - 6 * k, float(k)) for k in range(1, 5)} <= kept


# arcs


def test_a_corner_between_a_line_and_an_arc_round_it() -> None:
    """A half disc of 20 mm: the fillet stands 5 mm from the diameter and 15 mm from the centre."""
    hole = round_hole(Contour(np.array([[-20, 0, 0], [20, 0, 1]], dtype=float)), 5.0)
    x = sqrt(15.0**2 - 5.0**2)
    centres = sorted((cx, cy) for cx, cy, _ in find_fillets(hole, 5.0))
    assert centres == [pytest.approx((-x, 5.0), abs=1e-9), pytest.approx((x, 5.0), abs=1e-9)]
    arcs = find_segments(hole.vertices)
    assert (np.abs(arcs.radius_mm - 20.0) < 1e-9).sum() == 1
    assert find_min_reentrant_radius_mm(cut(hole)) == pytest.approx(5.0, abs=1e-9)


def test_a_corner_between_two_arcs() -> None:
    """A lens of two arcs of 20 mm about (-10, 0) and (10, 0): each fillet is 15 mm from both centres."""
    y = sqrt(20.0**2 - 10.0**2)
    bulge = tan(atan2(y, 10.0) / 2.0)
    hole = round_hole(Contour(np.array([[0, -y, bulge], [0, y, bulge]])), 5.0)
    centre = sqrt(15.0**2 - 10.0**2)
    assert sorted(cy for _, cy, _ in find_fillets(hole, 5.0)) == pytest.approx([-centre, centre], abs=1e-9)
    assert len(hole) == 4


def test_a_corner_between_a_line_and_an_arc_that_bulges_into_the_waste() -> None:
    """A half-round boss of 10 mm on an edge: the fillets stand 5 mm from the edge and 15 mm from its centre."""
    outline = Contour(np.array([[-60, -50, 0], [60, -50, 0], [60, 0, 0], [10, 0, 1], [-10, 0, 0], [-60, 0, 0]]))
    rounded = round_corners(Region(outer=outline), radius_mm=5.0).region.outer
    x = sqrt(15.0**2 - 5.0**2)
    assert sorted(cx for cx, _, _ in find_fillets(rounded, 5.0)) == pytest.approx([-x, x], abs=1e-9)


@pytest.mark.parametrize("small", [0.5, 3.0, 4.9])
def test_a_fillet_below_the_rule_is_replaced_by_one_of_the_rule(small) -> None:
    b = tan(pi / 8)
    rows = [(small, 0, 0), (60, 0, 0), (60, 60, 0), (0, 60, 0), (0, small, b)]
    rounded = round_corners(cut(Contour(np.array(rows, dtype=float))), radius_mm=5.0)
    sharp = round_hole(rectangle((0, 0), width_mm=60.0, height_mm=60.0), 5.0)
    assert measure_area_mm2(rounded.region.holes[0]) == pytest.approx(measure_area_mm2(sharp), abs=1e-7)
    assert min(c.radius_before_mm for c in rounded.corners if c.radius_before_mm) == pytest.approx(small)


def test_a_fillet_of_the_rule_or_more_keeps_every_bit() -> None:
    b = tan(pi / 8)
    rows = [(5, 0, 0), (60, 0, 0), (60, 60, 0), (8, 60, b), (0, 52, 0), (0, 5, b)]
    hole = reverse(Contour(np.array(rows, dtype=float)))
    rounded = round_corners(Region(outer=PLATE, holes=(hole,)), radius_mm=5.0)
    assert len(rounded.corners) == 2
    before = {row.tobytes() for row in hole.vertices[hole.bulges != 0.0]}
    assert before <= {row.tobytes() for row in rounded.region.holes[0].vertices}


@pytest.mark.parametrize("angle_deg", [10.0, 60.0, 179.0])
def test_a_sharp_corner_of_any_angle(angle_deg) -> None:
    """The fillet's centre lies r / sin(half the angle) from the tip."""
    half = radians(angle_deg) / 2.0
    x, y = 100.0 * cos(half), 100.0 * sin(half)
    hole = round_hole(polygon([(0, 0), (x, -y), (150, 0) if angle_deg < 170 else (60, 0), (x, y)]), 5.0)
    assert 5.0 / sin(half) == pytest.approx(min(cx for cx, _, _ in find_fillets(hole, 5.0)), abs=1e-6)


# refusals: how wide, how wide it must be, where


def check(finding, *, width: float, needed: float, tol: float = 2e-4) -> None:
    assert finding.code == "slot-too-narrow"
    assert finding.size_mm == pytest.approx(width, abs=tol)
    assert f"{needed:g} mm" in finding.message
    assert f"{needed:g} mm wide" in finding.remedy
    assert f"{finding.size_mm:.3f} mm wide" in finding.message


def test_a_notch_says_its_width_and_its_middle() -> None:
    outline = polygon([(0, 0), (300, 0), (300, 200), (109, 200), (109, 150), (100, 150), (100, 200), (0, 200)])
    (finding,) = refuse(Region(outer=outline), 5.0)
    check(finding, width=9.0, needed=10.0)
    assert finding.origin.x_mm == pytest.approx(104.5, abs=1e-3)
    assert 150.0 < finding.origin.y_mm < 205.0


def test_a_pocket_behind_a_neck_says_the_neck() -> None:
    """Two cells of 40 mm joined by a neck 6 mm wide and 10 mm long."""
    hole = polygon(
        [
            (0, 0),
            (40, 0),
            (40, 17),
            (50, 17),
            (50, 0),
            (90, 0),
            (90, 40),
            (50, 40),
            (50, 23),
            (40, 23),
            (40, 40),
            (0, 40),
        ]
    )
    for finding in refuse(cut(hole), 5.0):
        check(finding, width=6.0, needed=10.0)
        assert 39.0 < finding.origin.x_mm < 51.0
        assert finding.origin.y_mm == pytest.approx(20.0, abs=1e-3)


def test_a_round_pocket_says_its_mouth() -> None:
    """A round room of 12 mm radius that opens on an edge by a mouth of 8 mm between two lips."""
    edge = sqrt(12.0**2 - 4.0**2)
    wide = 2.0 * (pi - atan2(4.0, edge))
    rows = [(-50, -50, 0), (50, -50, 0), (50, edge, 0), (4, edge, -tan(wide / 4.0)), (-4, edge, 0), (-50, edge, 0)]
    findings = refuse(Region(outer=Contour(np.array(rows, dtype=float))), 5.0)
    check(findings[0], width=8.0, needed=10.0)
    assert (findings[0].origin.x_mm, findings[0].origin.y_mm) == pytest.approx((0.0, edge), abs=0.05)


def test_a_relief_cut_in_a_corner_says_its_own_mouth() -> None:
    """A round relief of 3 mm radius about a corner: between its two lips the mouth is sqrt(2) 3 mm wide."""
    rows = [(3, 0, 0), (60, 0, 0), (60, 60, 0), (0, 60, 0), (0, 3, tan(radians(270) / 4))]
    (finding,) = refuse(cut(Contour(np.array(rows, dtype=float))), 5.0)
    check(finding, width=3.0 * sqrt(2.0), needed=10.0)
    assert (finding.origin.x_mm, finding.origin.y_mm) == pytest.approx((1.5, 1.5), abs=0.1)


def test_a_cut_out_that_takes_no_disc_says_its_largest() -> None:
    """An equilateral triangle of 12 mm holds a disc of 12 / (2 sqrt(3)) mm radius in its middle."""
    (finding,) = refuse(cut(polygon([(0, 0), (12, 0), (6, 6 * sqrt(3))])), 5.0)
    check(finding, width=12.0 / sqrt(3.0), needed=10.0)
    assert (finding.origin.x_mm, finding.origin.y_mm) == pytest.approx((6.0, 2 * sqrt(3)), abs=1e-3)
    assert "12.00 x 10.39 mm" in finding.message


def test_a_slot_just_too_narrow_is_said_to_be() -> None:
    (finding,) = refuse(cut(rectangle((0, 0), width_mm=40.0, height_mm=9.998)), 5.0)
    check(finding, width=9.998, needed=10.0)


def test_two_slots_are_named_each_with_its_own_width() -> None:
    outline = [(0, 0), (300, 0), (300, 100)]
    for x, width in ((250, 4), (150, 9), (50, 12)):
        outline += [(x + width, 100), (x + width, 60), (x, 60), (x, 100)]
    findings = refuse(Region(outer=polygon([*outline, (0, 100)])), 5.0)
    assert sorted(round(finding.size_mm, 3) for finding in findings) == [4.0, 9.0]
    assert all(abs(f.origin.x_mm - {4: 252, 9: 154.5}[round(f.size_mm)]) < 0.01 for f in findings)


def test_of_many_slots_the_first_are_named_and_the_others_counted() -> None:
    outline = [(0, 0), (300, 0), (300, 100)]
    for k in range(19, -1, -1):
        x = 10 + 14 * k
        outline += [(x + 4, 100), (x + 4, 60), (x, 60), (x, 100)]
    findings = refuse(Region(outer=polygon([*outline, (0, 100)])), 5.0)
    assert len(findings) == region.MAX_NAMED
    assert f"{20 - region.MAX_NAMED} more places" in findings[-1].message


def test_a_hook_that_closes_a_pocket_is_refused() -> None:
    """A room of 50 mm whose mouth is 7 mm wide: not a corner, though two of its joints turn outward."""
    room = polygon(
        [
            (0, 0),
            (80, 0),
            (80, 60),
            (37, 60),
            (37, 52),
            (65, 52),
            (65, 15),
            (15, 15),
            (15, 52),
            (30, 52),
            (30, 60),
            (0, 60),
        ]
    )
    findings = refuse(Region(outer=room), 5.0)
    check(findings[0], width=7.0, needed=10.0)
    assert findings[0].origin.x_mm == pytest.approx(33.5, abs=1e-3)


def test_a_corner_that_cannot_be_rounded_for_certain_is_refused_with_its_place(monkeypatch) -> None:
    def fail(*_args, **_more):
        raise CornersUncertain(10.0, 20.0)

    monkeypatch.setattr(region, "find_fillets", fail)
    (finding,) = refuse(cut(rectangle((10, 20), width_mm=40.0, height_mm=40.0)), 5.0)
    assert finding.code == "corner-not-certain"
    assert (finding.origin.x_mm, finding.origin.y_mm) == (10.0, 20.0)
    assert finding.remedy


@pytest.mark.parametrize("radius", [0.0, -1.0, np.inf, np.nan])
def test_no_radius_is_no_question(radius) -> None:
    with pytest.raises(ValueError, match="positive"):
        round_corners(Region(outer=PLATE), radius_mm=radius)


def test_a_region_wound_the_wrong_way_is_no_question() -> None:
    with pytest.raises(ValueError, match="counter-clockwise"):
        round_corners(Region(outer=PLATE, holes=(circle((0, 0), radius_mm=20.0),)), radius_mm=5.0)


# many


def test_a_large_contour_is_rounded_in_little_time() -> None:
    count = 2000
    angle = np.arange(2 * count) * pi / count
    size = np.where(np.arange(2 * count) % 2, 5000.0, 4990.0)
    star = polygon(np.column_stack((size * np.cos(angle), size * np.sin(angle))))
    start = time.process_time()
    rounded = round_corners(Region(outer=star), radius_mm=1.0)
    assert time.process_time() - start < 5.0
    assert len(rounded.corners) == count
    assert find_min_reentrant_radius_mm(rounded.region) == pytest.approx(1.0, abs=1e-6)
