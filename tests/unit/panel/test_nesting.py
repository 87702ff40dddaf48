"""Which loop lies in which, and what each is for."""

import random

import numpy as np
import pytest

from cam.geometry.contour import Contour, circle, rectangle
from cam.geometry.measure import is_counter_clockwise
from cam.geometry.transform import reverse
from cam.panel.nesting import find_diameter_mm, find_nesting, make_round
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


@pytest.mark.parametrize("decimals", [3, 4, 6])
@pytest.mark.parametrize("arcs", [2, 3, 4, 6])
@pytest.mark.parametrize("radius", [1.6, 4.0, 34.0])
def test_a_circle_written_with_few_decimals_is_still_a_hole(decimals, arcs, radius):
    at = [0.3 + 2 * np.pi * i / arcs for i in range(arcs)]
    exact = [(812.34567 + radius * np.cos(t), 431.76543 + radius * np.sin(t), np.tan(np.pi / (2 * arcs))) for t in at]
    drawn = Contour(np.round(np.array(exact), decimals))
    # the middle of an arc moves by half a chord times the bulge's rounding, its ends by that of their places
    rounding = 0.5 * 10.0**-decimals
    off = rounding * (radius * np.sin(np.pi / arcs) + np.sqrt(2.0))
    found = find_diameter_mm(drawn)
    assert off < 0.003 or decimals == 3
    if off < 0.003:
        assert found == pytest.approx(2 * radius, abs=4 * off)
        ring = make_round(drawn)
        assert len(ring) == 2 and find_diameter_mm(ring) == pytest.approx(found, abs=1e-12)
        assert np.ptp(np.hypot(*(ring.points_mm - ring.points_mm.mean(axis=0)).T)) < 1e-12
        middle = ring.points_mm.mean(axis=0)
        assert middle == pytest.approx((812.34567, 431.76543), abs=2 * off)
        assert is_counter_clockwise(ring) and not is_counter_clockwise(make_round(reverse(drawn)))


def test_an_exact_circle_stays_bit_for_bit():
    ring = circle((12.3, 4.5), radius_mm=6.7)
    assert make_round(ring) is ring


def test_how_far_off_a_circle_still_counts():
    def squash(by):
        t = np.linspace(0.0, 2 * np.pi, 8, endpoint=False)
        points = np.column_stack(((10.0 + by) * np.cos(t), (10.0 - by) * np.sin(t)))
        return Contour(np.column_stack((points, np.full(8, np.tan(np.pi / 16)))))

    assert find_diameter_mm(squash(0.004)) == pytest.approx(20.0, abs=1e-3)
    assert find_diameter_mm(squash(0.006)) is None
    # two turns of one circle, and a sickle of two arcs, are none
    assert find_diameter_mm(Contour(np.array([[5, 0, 1], [-5, 0, 1], [5, 0.001, 1], [-5, 0.001, 1]]))) is None
    assert find_diameter_mm(Contour(np.array([[5, 0, 1], [-5, 0, -0.999]]))) is None
