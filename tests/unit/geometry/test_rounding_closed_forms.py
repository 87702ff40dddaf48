"""The corner rule's rounding against closed forms."""

from __future__ import annotations

from math import inf, pi

import numpy as np
import pytest

from cam.errors import PanelRefused
from cam.geometry.contour import Region, circle, polygon, rectangle
from cam.geometry.measure import measure_region_area_mm2
from cam.geometry.rounding import find_min_reentrant_radius_mm, round_corners
from cam.geometry.transform import reverse

PLATE = rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0)


def test_square_cut_out_gains_four_fillets() -> None:
    region = Region(outer=PLATE, holes=(reverse(rectangle((50.0, 50.0), width_mm=80.0, height_mm=60.0)),))
    rounded = round_corners(region, radius_mm=5.0)
    gain = measure_region_area_mm2(rounded.region) - measure_region_area_mm2(region)
    assert gain == pytest.approx((4.0 - pi) * 25.0, abs=1e-8)
    assert {(c.x_mm, c.y_mm) for c in rounded.corners} == {(50.0, 50.0), (130.0, 50.0), (130.0, 110.0), (50.0, 110.0)}
    assert all(c.radius_before_mm == 0.0 and c.radius_mm == 5.0 for c in rounded.corners)
    assert find_min_reentrant_radius_mm(region) == 0.0
    assert find_min_reentrant_radius_mm(rounded.region) == pytest.approx(5.0, abs=1e-9)
    assert len(rounded.region.holes[0]) == 8


def test_convex_corners_and_far_elements_stay_to_the_bit() -> None:
    step = polygon([(0, 0), (300, 0), (300, 80), (120, 80), (120, 200), (0, 200)])
    region = Region(outer=step, holes=(reverse(circle((60.0, 60.0), radius_mm=20.0)),))
    rounded = round_corners(region, radius_mm=6.0)
    assert len(rounded.corners) == 1
    before = {tuple(row) for row in step.points_mm.tolist()}
    after = {tuple(row) for row in rounded.region.outer.points_mm.tolist()}
    assert before - after == {(120.0, 80.0)}
    assert np.array_equal(rounded.region.holes[0].vertices, region.holes[0].vertices)
    assert measure_region_area_mm2(rounded.region) - measure_region_area_mm2(region) == pytest.approx(
        (1.0 - pi / 4.0) * 36.0, abs=1e-8
    )


def test_a_region_that_keeps_the_rule_is_returned_as_it_is() -> None:
    region = Region(outer=PLATE, holes=(reverse(circle((60.0, 60.0), radius_mm=20.0)),))
    rounded = round_corners(region, radius_mm=20.0)
    assert rounded.corners == ()
    assert np.array_equal(rounded.region.outer.vertices, PLATE.vertices)
    assert find_min_reentrant_radius_mm(Region(outer=PLATE)) == inf


@pytest.mark.parametrize("width", [9.9, 5.0, 0.5])
def test_a_slot_narrower_than_twice_the_radius_is_refused(width: float) -> None:
    region = Region(outer=PLATE, holes=(reverse(rectangle((50.0, 50.0), width_mm=80.0, height_mm=width)),))
    with pytest.raises(PanelRefused) as caught:
        round_corners(region, radius_mm=5.0)
    assert caught.value.findings[0].code == "slot-too-narrow"
    assert caught.value.findings[0].origin.x_mm is not None


def test_a_narrow_notch_is_refused_and_a_wide_one_is_not() -> None:
    def notch(width: float) -> Region:
        return Region(
            outer=polygon(
                [(0, 0), (300, 0), (300, 200), (100 + width, 200), (100 + width, 150), (100, 150), (100, 200), (0, 200)]
            )
        )

    with pytest.raises(PanelRefused):
        round_corners(notch(9.0), radius_mm=5.0)
    assert len(round_corners(notch(11.0), radius_mm=5.0).corners) == 2
