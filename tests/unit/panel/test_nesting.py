"""Which loop lies in which, and what each is for."""

import random

import numpy as np
import pytest

from cam.geometry.contour import Contour, circle, rectangle
from cam.geometry.transform import reverse
from cam.panel.nesting import find_diameter_mm, find_nesting
from cam.panel.panel import Role


def box(x, y, w, h):
    return rectangle((x, y), width_mm=w, height_mm=h)


def test_each_depth_has_its_role():
    loops = (
        box(0, 0, 100, 100),
        box(10, 10, 60, 60),
        circle((80, 80), radius_mm=5),
        box(20, 20, 30, 30),
        circle((30, 30), radius_mm=4),
    )
    nests = find_nesting(loops)
    assert [nest.depth for nest in nests] == [0, 1, 1, 2, 3]
    assert [nest.parent for nest in nests] == [None, 0, 0, 1, 3]
    assert [nest.role for nest in nests] == [Role.OUTLINE, Role.CUTOUT, Role.HOLE, Role.OUTLINE, Role.HOLE]
    assert [nest.diameter_mm for nest in nests] == [None, None, 10.0, None, 8.0]


def test_a_circle_on_its_own_is_an_outline():
    (nest,) = find_nesting((circle((0, 0), radius_mm=30),))
    assert (nest.role, nest.diameter_mm) == (Role.OUTLINE, None)


def test_no_loops_no_nests():
    assert find_nesting(()) == ()


@pytest.mark.parametrize("seed", range(5))
def test_order_and_direction_of_the_loops_do_not_matter(seed):
    rng = random.Random(seed)
    loops = [box(0, 0, 500, 500)]
    for i in range(5):
        loops += [box(20 + 90 * i, 20, 60, 60), circle((50 + 90 * i, 50), radius_mm=20), box(20 + 90 * i, 200, 40, 200)]
    want = {id(loop): nest for loop, nest in zip(loops, find_nesting(tuple(loops)), strict=True)}
    shuffled = rng.sample(loops, len(loops))
    for loop, nest in zip(shuffled, find_nesting(tuple(shuffled)), strict=True):
        assert (nest.depth, nest.role) == (want[id(loop)].depth, want[id(loop)].role)
    turned = find_nesting(tuple(reverse(loop) for loop in loops))
    assert [nest.role for nest in turned] == [nest.role for nest in find_nesting(tuple(loops))]


def test_boxes_may_hold_what_loops_do_not():
    # the small box lies in the bay of the ell, inside its bounding box but not inside it
    ell = Contour(np.array([[0, 0, 0], [100, 0, 0], [100, 20, 0], [20, 20, 0], [20, 100, 0], [0, 100, 0]], dtype=float))
    nests = find_nesting((ell, box(50, 50, 20, 20)))
    assert [nest.depth for nest in nests] == [0, 0]


@pytest.mark.parametrize("arcs", [2, 3, 4, 7])
def test_a_circle_in_parts_is_a_hole(arcs):
    at = [2 * np.pi * i / arcs for i in range(arcs)]
    ring = Contour(np.array([[9 * np.cos(t) + 700.3, 9 * np.sin(t) - 4.1, np.tan(np.pi / (2 * arcs))] for t in at]))
    assert find_diameter_mm(ring) == pytest.approx(18.0, abs=1e-9)


def test_a_stadium_and_an_oval_are_no_holes():
    stadium = Contour(np.array([[0, 0, 0], [10, 0, 1], [10, 6, 0], [0, 6, 1]], dtype=float))
    oval = Contour(np.array([[5, 0, 0.9], [-5, 0, 1.0]]))
    assert find_diameter_mm(stadium) is None and find_diameter_mm(oval) is None
