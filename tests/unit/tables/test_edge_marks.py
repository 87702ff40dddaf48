"""Marks on the wall and the first grit."""

from __future__ import annotations

from math import sqrt

import pytest

from cam.tables.edge_marks import GRAIN_MM, SCRATCH_SHARE, find_mark_height_mm, predict_marks


@pytest.mark.parametrize(("advance", "radius"), [(0.05, 3.0), (0.2, 3.0), (0.4, 1.0)])
def test_height_is_the_sagitta(advance: float, radius: float) -> None:
    # exact sagitta r - sqrt(r^2 - (f/2)^2); f^2 / 8r is its first term, the next is (f / 4r)^2 of it
    exact = radius - sqrt(radius**2 - advance**2 / 4.0)
    assert find_mark_height_mm(advance_mm=advance, radius_mm=radius) == pytest.approx(
        exact, rel=(advance / radius) ** 2
    )


def test_one_flute_standing_out_marks_once_a_turn() -> None:
    marks = predict_marks(feed_mm_per_min=3600.0, rpm=18000.0, flutes=2, radius_mm=3.0)
    assert marks.uneven_mm == pytest.approx(4.0 * marks.even_mm)


def test_the_first_grit_is_the_finest_that_reaches_as_deep() -> None:
    marks = predict_marks(feed_mm_per_min=3420.0, rpm=18000.0, flutes=1, radius_mm=3.0)
    assert marks.first_grit is not None
    assert SCRATCH_SHARE * GRAIN_MM[marks.first_grit] >= marks.uneven_mm
    finer = [grit for grit in GRAIN_MM if grit > marks.first_grit]
    assert all(SCRATCH_SHARE * GRAIN_MM[grit] < marks.uneven_mm for grit in finer)


def test_the_coarsest_grit_where_none_reaches_and_none_where_marks_are_slight() -> None:
    assert predict_marks(feed_mm_per_min=9000.0, rpm=9000.0, flutes=1, radius_mm=3.0).first_grit == min(GRAIN_MM)
    assert predict_marks(feed_mm_per_min=1000.0, rpm=18000.0, flutes=1, radius_mm=3.0).first_grit is None
