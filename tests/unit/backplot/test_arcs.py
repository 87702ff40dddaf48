import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cam.backplot.arcs import ArcFault, PlaneArc, crosses_quadrant, find_centre_arc, find_radius_arc, find_sweep

ANGLE = st.floats(-math.pi, math.pi)
RADIUS = st.floats(0.5, 500.0)
COORDINATE = st.floats(-1000.0, 1000.0)


def at(centre, radius, angle):
    return centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)


@settings(max_examples=300, deadline=None)
@given(COORDINATE, COORDINATE, RADIUS, ANGLE, st.floats(1e-3, 2 * math.pi - 1e-3), st.booleans())
def test_a_centre_arc_is_the_arc_it_was_made_from(x, y, radius, angle, turn, clockwise):
    turn = -turn if clockwise else turn
    start, end = at((x, y), radius, angle), at((x, y), radius, angle + turn)
    arc = find_centre_arc(start, end=end, offset=(x - start[0], y - start[1]), clockwise=clockwise, arc_tol=0.002)
    assert arc.sweep_rad == pytest.approx(turn, abs=1e-9)
    assert arc.centre == pytest.approx((x, y), abs=1e-9)


@settings(max_examples=300, deadline=None)
@given(COORDINATE, COORDINATE, RADIUS, ANGLE, st.floats(0.01, 2 * math.pi - 0.01), st.booleans())
def test_a_radius_arc_is_the_arc_it_was_made_from(x, y, radius, angle, turn, clockwise):
    # away from half a turn, where a rounded R does not reach (section 3.5.3.1 warns of it)
    if abs(turn - math.pi) < 0.01:
        return
    signed = -turn if clockwise else turn
    start, end = at((x, y), radius, angle), at((x, y), radius, angle + signed)
    arc = find_radius_arc(start, end=end, radius=radius if turn < math.pi else -radius, clockwise=clockwise)
    assert arc.sweep_rad == pytest.approx(signed, abs=1e-6)
    assert np.allclose(arc.centre, (x, y), atol=1e-5 * radius)


@pytest.mark.parametrize("clockwise", [True, False])
@pytest.mark.parametrize("start", [(0.0, 0.0), (-0.0, -0.0), (10.0, -0.0), (-3.7, 12.1), (0.1 + 0.2, 1e-9)])
@pytest.mark.parametrize("offset", [(5.0, 0.0), (-5.0, 0.0), (-5.0, -0.0), (0.0, 5.0), (-0.0, -5.0), (3.1, -4.7)])
def test_an_arc_that_ends_on_its_start_is_one_whole_circle(start, offset, clockwise):
    # sections 3.5.3.2 and 4.3.6.1; also where the end is a negative zero
    for end in (start, tuple(value + 0.0 for value in start)):
        arc = find_centre_arc(start, end=end, offset=offset, clockwise=clockwise, arc_tol=0.002)
        assert arc.sweep_rad == (-2.0 if clockwise else 2.0) * math.pi


def test_a_turn_is_never_nothing():
    for start in np.linspace(-math.pi, math.pi, 25):
        for end in (start, np.nextafter(start, 4.0), np.nextafter(start, -4.0), -start):
            for clockwise in (True, False):
                turn = find_sweep(float(start), float(end), clockwise=clockwise)
                assert 0.0 < abs(turn) <= 2.0 * math.pi
                assert (turn < 0.0) is clockwise


@pytest.mark.parametrize(("off", "accepted"), [(0.0019, True), (0.0021, False), (-0.0019, True), (-0.0021, False)])
def test_the_radius_tolerance(off, accepted):
    # section 3.5.3.2: 0.002 mm
    def find():
        return find_centre_arc((0.0, 0.0), end=(10.0 + off, 0.0), offset=(5.0, 0.0), clockwise=True, arc_tol=0.002)

    if accepted:
        assert find().radius == 5.0
    else:
        with pytest.raises(ArcFault) as raised:
            find()
        assert raised.value.code == "arc-radius-mismatch"


@pytest.mark.parametrize(
    ("first", "turn", "crosses"),
    [
        (0, 90, False),
        (0, -90, False),
        (10, 70, False),
        (10, 90, True),
        (-10, 20, True),
        (90, 91, True),
        (180, -90, False),
    ],
)
def test_quadrants(first, turn, crosses):
    arc = PlaneArc((3.0, 4.0), math.radians(turn), 10.0)
    start = at((3.0, 4.0), 10.0, math.radians(first))
    assert crosses_quadrant(arc, start=start, arc_tol=0.002) is crosses
