"""Volumes that pointed cutters sweep, added up over heights, against handbook formulas of cone, cylinder and prism."""

from itertools import pairwise
from math import pi, radians, tan

import pytest

from cam.backplot.sweep import sweep_trace
from cam.tables.rows import CutterKind

CHORD_TOL_MM = 0.0002


def measure_volumes(trace, cutter, *, heights):
    """Return volumes within and beyond by Simpson's rule: exact, for between the heights areas are quadratic."""
    doubled = [h for low, high in pairwise(heights) for h in (low, (low + high) / 2.0)]
    doubled.append(heights[-1])
    sweep = sweep_trace(trace, cutters={cutter.tool: cutter}, heights_mm=doubled, top_mm=max(doubled))
    totals = []
    for side in (sweep.within, sweep.beyond):
        areas = [region.area for region in side]
        totals.append(
            sum(
                (heights[i + 1] - heights[i]) / 6.0 * (areas[2 * i] + 4.0 * areas[2 * i + 1] + areas[2 * i + 2])
                for i in range(len(heights) - 1)
            )
        )
    return totals


@pytest.mark.parametrize("angle_deg", [60.0, 90.0, 118.0])
@pytest.mark.parametrize("diameter_mm", [3.0, 8.0])
def test_a_drilled_hole(write_trace, make_cutter, angle_deg, diameter_mm):
    cutter = make_cutter(kind=CutterKind.DRILL, diameter_mm=diameter_mm, point_angle_deg=angle_deg)
    radius, top = diameter_mm / 2.0, 12.0
    point = radius / tan(radians(angle_deg / 2.0))
    writer = write_trace(at=(0.0, 0.0, 15.0)).line(z=4.0).rapid(z=15.0).rapid(z=4.5).line(z=0.0).rapid(z=15.0)
    volume = pi * radius**2 * (point / 3.0 + (top - point))
    within, beyond = measure_volumes(writer.trace(), cutter, heights=[0.0, point, top])
    surface = 2.0 * pi * radius * top
    assert within <= volume + 1e-9 <= beyond + 2e-9
    assert volume - within <= 4.0 * CHORD_TOL_MM * surface and beyond - volume <= 4.0 * CHORD_TOL_MM * surface


@pytest.mark.parametrize("angle_deg", [60.0, 90.0])
def test_a_straight_groove(write_trace, make_cutter, angle_deg):
    # a triangular prism and a cone, half of it at either end
    cutter = make_cutter(kind=CutterKind.VEE, diameter_mm=12.0, point_angle_deg=angle_deg)
    depth, length = 3.0, 50.0
    slope = tan(radians(angle_deg / 2.0))
    writer = write_trace(at=(0.0, 0.0, 8.0)).line(z=1.0).line(x=length).rapid(z=8.0)
    volume = depth**2 * slope * length + pi * (depth * slope) ** 2 * depth / 3.0
    within, beyond = measure_volumes(writer.trace(), cutter, heights=[1.0, 1.0 + depth])
    surface = 2.0 * (length + 2.0 * pi * depth) * depth
    assert within <= volume + 1e-9 <= beyond + 2e-9
    assert volume - within <= 4.0 * CHORD_TOL_MM * surface and beyond - volume <= 4.0 * CHORD_TOL_MM * surface


def test_a_round_groove(write_trace, make_cutter):
    # Pappus: the triangle's area along the way of its middle
    cutter = make_cutter(kind=CutterKind.VEE, diameter_mm=12.0, point_angle_deg=90.0)
    writer = write_trace(at=(20.0, 0.0, 1.0)).arc(20.0, 0.0, centre=(0.0, 0.0)).rapid(z=8.0)
    volume = 3.0 * 3.0 * 2.0 * pi * 20.0
    within, beyond = measure_volumes(writer.trace(), cutter, heights=[1.0, 4.0])
    surface = 2.0 * 3.0 * 2.0 * pi * 20.0 * 2.0
    assert within <= volume <= beyond
    assert volume - within <= 4.0 * CHORD_TOL_MM * surface and beyond - volume <= 4.0 * CHORD_TOL_MM * surface


def test_level_and_sloping_moves_agree(write_trace, make_cutter):
    # a slope of a millionth of a millimetre takes the other road through the sweep
    cutter = make_cutter(kind=CutterKind.VEE, diameter_mm=12.0, point_angle_deg=90.0)
    areas = []
    for end in (1.0, 1.000001):
        writer = write_trace(at=(0.0, 0.0, 1.0)).line(x=30.0, z=end).arc(40.0, 10.0, centre=(30.0, 10.0))
        sweep = sweep_trace(writer.trace(), cutters={1: cutter}, heights_mm=[2.5], top_mm=4.0)
        areas.append((sweep.within[0].area, sweep.beyond[0].area))
    assert areas[0] == pytest.approx(areas[1], abs=0.15)
    assert areas[0][0] <= areas[1][1] and areas[1][0] <= areas[0][1]
