"""Contacts of segments against shapely's distance of their flattenings, and closed forms for the limits."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from cam.drawing.contact import find_contacts, find_neighbour_contacts
from cam.geometry.contour import Segments, find_segments
from cam.geometry.flatten import flatten_vertices
from cam.geometry.measure import find_distances_mm, find_segment_boxes_mm

TOL_MM = 1e-6


def lay(rows):
    """Segments from rows (x, y, bulge, x, y)."""
    rows = np.array(rows, dtype=float)
    path = np.zeros((2 * len(rows), 3))
    path[0::2], path[1::2, :2] = rows[:, :3], rows[:, 3:]
    every = find_segments(path, closed=False)
    return Segments(**{name: getattr(every, name)[::2] for name in Segments.__slots__})


def meet(one, other):
    found = find_contacts(lay([one, other]), np.array([0]), np.array([1]), touch_tol_mm=TOL_MM)
    return found.at_mm[0].tolist() if len(found.one) else None


def test_random_pairs_against_shapely():
    rng = np.random.default_rng(11)
    count = 4000
    rows = np.column_stack((rng.uniform(0, 60, (count, 2)), rng.uniform(-2, 2, count), rng.uniform(0, 60, (count, 2))))
    rows[rng.random(count) < 0.5, 2] = 0.0
    segments = lay(rows)
    one, other = np.arange(0, count, 2), np.arange(1, count, 2)
    found = find_contacts(segments, one, other, touch_tol_mm=TOL_MM)
    lines = np.array([
        shapely.LineString(flatten_vertices(np.array([row[:3], [*row[3:], 0]]), chord_tol_mm=1e-4, closed=False)[0])
        for row in rows
    ])  # fmt: skip
    apart = shapely.distance(lines[one], lines[other])
    certain = (apart == 0) | (apart > 3e-4)  # between them the chords decide, not the arcs
    theirs = set(one[(apart == 0) & certain])
    ours = set(found.one[certain[found.one // 2]])
    grazing = {k for k in ours ^ theirs if shapely.distance(lines[k], lines[k + 1]) == 0 and k not in ours}
    assert ours <= theirs | {k for k in ours if apart[k // 2] <= 3e-4}
    assert len(theirs - ours) == len(grazing) <= 2
    assert len(ours) > 400
    for index in (found.one, found.other):
        on = Segments(**{name: getattr(segments, name)[index] for name in Segments.__slots__})
        assert find_distances_mm(on, found.at_mm).max() <= TOL_MM


@pytest.mark.parametrize(
    ("one", "other", "at"),
    [
        ((0, 0, 0, 10, 10), (0, 10, 0, 10, 0), [5, 5]),
        ((0, 0, 0, 10, 0), (5, 0, 0, 5, 9), [5, 0]),  # an end on a line
        ((0, 0, 0, 10, 0), (5, 5e-7, 0, 5, 9), [5, 5e-7]),  # as near as touching
        ((0, 0, 0, 10, 0), (5, 2e-6, 0, 5, 9), None),  # not
        ((0, 0, 0, 10, 0), (10.5, 0, 0, 20, 0), None),  # in line, apart
        ((0, 0, 0, 10, 0), (4, 0, 0, 20, 0), [10, 0]),  # in line, overlapping
        ((0, 0, 0, 10, 0), (0, 5e-7, 0, 10, 5e-7), [0, 0]),  # side by side
        ((-10, 0, 1, 10, 0), (-20, -10, 0, 20, -10), [0, -10]),  # a tangent
        ((-10, 0, 1, 10, 0), (-20, -10.00001, 0, 20, -10.00001), None),
        ((-10, 0, 1, 10, 0), (-20, 10, 0, 20, 10), None),  # tangent to the other half
        ((-10, 0, 1, 10, 0), (-20, -20, -1, 20, -20), [9.68, -2.5]),
        ((-10, 0, 1, 10, 0), (-10, -20, -1, 10, -20), [0, -10]),  # two arcs back to back
        ((-10, 0, 1, 10, 0), (-5, -5, 1, 5, -5), [0, -10]),  # one inside the other, touching
        ((-10, 0, 1, 10, 0), (0, -10, 0.2, 10, 0), [10, 0]),
        ((-10, 0, 1, 10, 0), (-6, -8, 0.5, 6, -8), [6, -8]),
    ],
)
def test_pairs_at_the_limit(one, other, at):
    found = meet(one, other)
    assert (found is None) == (at is None)
    assert meet(other, one) is None if at is None else meet(other, one) is not None
    if at is not None and one[2] == 0.0:
        assert found == pytest.approx(at, abs=1e-6)


@pytest.mark.parametrize("shift", [0.0, 1e6])
def test_far_away_too(shift):
    assert meet((shift, 0, 0, shift + 10, 10), (shift, 10, 0, shift + 10, 0)) == pytest.approx([shift + 5, 5])
    assert meet((shift - 10, 0, 1, shift + 10, 0), (shift - 20, -10.00001, 0, shift + 20, -10.00001)) is None


def turn_back(rows):
    segments = lay(rows)
    found = find_neighbour_contacts(segments, np.array([0]), np.array([1]), touch_tol_mm=TOL_MM)
    return found.at_mm[0].tolist() if len(found.one) else None


@pytest.mark.parametrize(
    ("rows", "at"),
    [
        ([(0, 0, 0, 10, 0), (10, 0, 0, 10, 5)], None),
        ([(0, 0, 0, 10, 0), (10, 0, 0, 20, 0)], None),
        ([(0, 0, 0, 10, 0), (10, 0, 0, 3, 0)], [3, 0]),  # there and back
        ([(0, 0, 0, 10, 0), (10, 0, 0, -3, 0)], [0, 0]),
        ([(0, 0, 0, 10, 0), (10, 0, 0.414213562373095, 20, 10)], None),  # a fillet
        ([(0, 0, 0, 10, 0), (10, 0, 1, 10, 8)], None),
        ([(0, 0, 0, 10, 0), (10, 0, 3, 10, 1)], None),
        ([(0, 0, 0, 10, 0), (10, 0, -3, 10, 1)], [26 / 3, 0]),  # centre (28/3, 1/2)
        ([(0, 0, 0, 10, 0), (10, 0, 2, 12, 0.5)], None),
        ([(0, 0, 0, 40, 0), (40, 0, 1.5, 30, 2)], None),
        ([(0, 0, 0, 40, 0), (40, 0, 2.0, 30, -2)], [28.5, 0]),  # an arc back over its line, centre (34.25, 2.75)
        ([(0, 0, 1, 10, 0), (10, 0, 1, 0, 0)], None),  # a circle
        ([(0, 0, 1, 10, 0), (10, 0, -1, 0, 0)], [5, -5]),  # an arc there and back
        ([(0, 0, 1, 10, 0), (10, 0, -0.4142135623730951, 5, -5)], [5, -5]),  # half way back
        ([(0, 0, 0.5, 10, 0), (10, 0, 0.5, 0, 0)], None),  # a lens
    ],
)
def test_neighbours(rows, at):
    found = turn_back(rows)
    assert (found is None) == (at is None), found
    if at is not None:
        assert found == pytest.approx(at, abs=1e-9)


def test_random_neighbours_against_shapely():
    rng = np.random.default_rng(4)
    count, near_mm = 600, 0.05
    corners = rng.uniform(0, 30, (count, 3, 2))
    bulges = np.where(rng.random((count, 2)) < 0.3, 0.0, rng.uniform(-2.4, 2.4, (count, 2)))
    met = 0
    for (p, v, q), (b, c) in zip(corners, bulges, strict=True):
        rows = [(*p, b, *v), (*v, c, *q)]
        found = turn_back(rows)
        disc = shapely.Point(v).buffer(near_mm)
        one, other = (
            shapely.LineString(flatten_vertices(np.array([r[:3], [*r[3:], 0]]), chord_tol_mm=1e-4, closed=False)[0])
            for r in rows
        )
        apart = shapely.distance(one.difference(disc), other.difference(disc))
        if 0 < apart < 1e-3 or (found and np.hypot(*(found - v)) < 2 * near_mm):
            continue
        assert (found is not None) == (apart == 0)
        met += found is not None
    assert met > 120


def test_boxes_of_segments_hold_them_tightly():
    rng = np.random.default_rng(2)
    rows = np.column_stack((rng.uniform(0, 60, (300, 2)), rng.uniform(-3, 3, 300), rng.uniform(0, 60, (300, 2))))
    boxes = find_segment_boxes_mm(lay(rows))
    for row, box in zip(rows, boxes, strict=True):
        line = shapely.LineString(
            flatten_vertices(np.array([row[:3], [*row[3:], 0]]), chord_tol_mm=1e-5, closed=False)[0]
        )
        assert np.array(line.bounds) == pytest.approx(box, abs=2e-5)
