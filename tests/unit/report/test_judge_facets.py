"""Arcs written as chords: their curvature on every chord, the last ones among them."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from cam.backplot.portions import Portions
from cam.report.judge_facets import find_curvature_per_mm


def lay_straights(points):
    points = np.column_stack((np.asarray(points, dtype=float), np.zeros(len(points))))
    count = len(points) - 1
    return Portions(
        move=np.arange(count),
        tool=np.ones(count, dtype=int),
        start_mm=points[:-1],
        end_mm=points[1:],
        centre_mm=np.full((count, 2), np.nan),
        sweep_rad=np.zeros(count),
    )


def place_on_arc(radius_mm, *, chords, turn=1.0):
    at = turn * np.linspace(0.0, pi / 2.0, chords + 1)
    return np.column_stack((radius_mm * np.cos(at), radius_mm * np.sin(at)))


@pytest.mark.parametrize("turn", [1.0, -1.0])
def test_every_chord_of_an_arc_has_its_curvature(turn):
    curvature = find_curvature_per_mm(lay_straights(place_on_arc(2.0, chords=24, turn=turn)))
    # the turn over the chord is a little more than the turn over the arc: by (pi / 48)^2 / 6
    assert curvature == pytest.approx(np.full(24, turn / 2.0), rel=1e-3)


def test_a_long_straight_into_an_arc_has_none():
    arc = place_on_arc(2.0, chords=24)
    points = np.concatenate((arc, [arc[-1] + [-30.0, 0.0]]))
    curvature = find_curvature_per_mm(lay_straights(points))
    assert curvature[-1] == 0.0
    assert (curvature[:-1] > 0.0).all()


def test_a_corner_between_straights_has_none():
    curvature = find_curvature_per_mm(lay_straights([(0, 0), (10, 0), (10, 10), (0, 10), (0, 20)]))
    assert (curvature == 0.0).all()
