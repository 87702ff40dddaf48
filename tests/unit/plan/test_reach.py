"""Runs along contours, by hand."""

from __future__ import annotations

import pytest

from cam.geometry.contour import Contour, circle, rectangle
from cam.plan.reach import find_run_mm


def test_a_rectangle_outside_runs_its_long_side_and_rolls_round_its_corners() -> None:
    assert find_run_mm(rectangle((0, 0), width_mm=200, height_mm=50), cutter_radius_mm=3.0, outside=True) == 203.0


def test_a_hole_counts_by_what_its_centre_needs() -> None:
    # path radius 2, cutter 3: the centre needs 2/5 of the feed at the edge, v^2 = a p
    assert find_run_mm(circle((0, 0), radius_mm=5.0), cutter_radius_mm=3.0, outside=False) == pytest.approx(
        2.0 * (5.0 / 2.0) ** 2
    )


def test_a_slot_runs_its_side_and_what_its_round_ends_let_it_carry() -> None:
    import numpy as np  # noqa: PLC0415

    slot = Contour(np.array([(0.0, -5.0, 0.0), (30.0, -5.0, 1.0), (30.0, 5.0, 0.0), (0.0, 5.0, 1.0)]))
    assert find_run_mm(slot, cutter_radius_mm=3.0, outside=False) == pytest.approx(32.0)
