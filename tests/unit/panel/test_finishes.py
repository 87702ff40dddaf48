"""Finish classes carried from the segments as drawn to those that remain."""

import numpy as np
import pytest

from cam.geometry.contour import Region, circle, polygon
from cam.geometry.rounding import round_corners
from cam.panel.finishes import carry_finishes, find_chief_finish
from cam.panel.panel import Finish

S, H, T, B = Finish.SHOWN, Finish.HIDDEN, Finish.TRIMMED, Finish.BUTTED


def test_the_class_that_asks_for_more_is_the_chief():
    assert find_chief_finish((H, T)) is T
    assert find_chief_finish((T, B)) is B
    assert find_chief_finish((B, S, H)) is S


def test_one_class_all_round_stays_so():
    ring = circle((0, 0), radius_mm=5)
    assert carry_finishes(ring, drawn=polygon([(0, 0), (1, 0), (0, 1)]), finishes=(T, T, T)) == (T, T)


@pytest.mark.parametrize("seed", range(6))
def test_what_lies_on_a_drawn_segment_has_its_class_and_a_fillet_that_of_a_neighbour(seed):
    rng = np.random.default_rng(seed)
    teeth = [(20 * i + dx, y) for i in range(6) for dx, y in ((0, 40), (0, 60), (12, 60), (12, 40))]
    comb = polygon([(0, 0), (130, 0), (130, 40), *teeth[::-1]])
    finishes = tuple(rng.choice([S, H, T, B], len(comb)))
    finishes = tuple(Finish(each) for each in finishes)
    rounded = round_corners(Region(outer=comb), radius_mm=4.0).region.outer
    assert len(rounded) > len(comb)
    carried = carry_finishes(rounded, drawn=comb, finishes=finishes)
    straight = [finish for finish, bulge in zip(carried, rounded.bulges, strict=True) if bulge == 0.0]
    # a tooth gap of 8 mm is a half circle, so that its bottom is gone
    bottoms = {k for k in range(len(comb)) if _is_bottom(comb, k)}
    assert straight == [finish for k, finish in enumerate(finishes) if k not in bottoms]


def _is_bottom(comb, k):
    (x0, y0), (x1, y1) = comb.points_mm[k], comb.points_mm[(k + 1) % len(comb)]
    return y0 == y1 == 40 and abs(x1 - x0) == 8
