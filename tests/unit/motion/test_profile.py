"""Heights along a path: upper envelopes, ramps, lifts; and the moves that follow them."""

import random
from math import radians, tan

import numpy as np
import pytest

from cam.geometry.along import cut_pieces, lay_ruler
from cam.geometry.contour import circle, rectangle
from cam.motion.follow import Bite, find_centre_feed, follow
from cam.motion.moves import MoveKind, Purpose
from cam.motion.profile import Profile, find_height, find_upper, lift_over, ramp_in_passes
from cam.plan.workingstep import Lift

LIFT = Lift(half_top_mm=7.0, top_mm=0.8, flank_rad=radians(10.0))
FLANK = 1.1 / tan(radians(10.0))


def level(start, end, z=-0.3):
    return Profile(at_mm=(start, end), z_mm=(z, z))


@pytest.mark.parametrize("seed", range(20))
def test_upper_is_the_higher_everywhere(seed):
    rng = random.Random(seed)

    def draw():
        at = sorted(rng.sample(range(100), 6))
        return Profile(at_mm=tuple(map(float, at)), z_mm=tuple(rng.uniform(-1, 1) for _ in at))

    a, b = draw(), draw()
    upper = find_upper(a, b)
    for at in np.linspace(-10, 110, 2401).tolist():
        assert find_height(upper, at) == pytest.approx(max(find_height(a, at), find_height(b, at)), abs=1e-9)


def test_upper_keeps_no_knot_that_does_not_bend():
    assert find_upper(level(0.0, 10.0), Profile(at_mm=(2.0, 5.0, 7.0), z_mm=(-1.0,) * 3)).at_mm == (0.0, 10.0)


def test_ramp_has_the_closed_form():
    ramp = radians(3.0)
    profile = ramp_in_passes(air_mm=5.3, pass_heights_mm=(2.25, -0.3), lap_mm=50.0, ramp_rad=ramp)
    first, second = 3.05 / tan(ramp), 2.55 / tan(ramp)
    assert profile.at_mm == pytest.approx((0.0, first, first + 50.0, first + 50.0 + second, first + 100.0 + second))
    assert profile.z_mm == (5.3, 2.25, 2.25, -0.3, -0.3)


def test_lift_is_a_trapezium():
    profile = lift_over(
        level(0.0, 100.0), bridges_mm=(50.0,), half_tops_mm=(7.0,), lift=LIFT, lap_mm=100.0, floor_mm=-0.3
    )
    assert profile.at_mm == pytest.approx((0.0, 43.0 - FLANK, 43.0, 57.0, 57.0 + FLANK, 100.0))
    assert profile.z_mm == pytest.approx((-0.3, -0.3, 0.8, 0.8, -0.3, -0.3))


@pytest.mark.parametrize("bridge", [0.0, 2.0, 40.0, 97.0, 100.0])
def test_lifts_recur_with_each_lap(bridge):
    profile = lift_over(
        level(-30.0, 230.0), bridges_mm=(bridge,), half_tops_mm=(7.0,), lift=LIFT, lap_mm=100.0, floor_mm=-0.3
    )
    assert (profile.at_mm[0], profile.at_mm[-1]) == (-30.0, 230.0)
    for at in np.linspace(-30.0, 230.0, 1041).tolist():
        away = abs((at - bridge + 50.0) % 100.0 - 50.0)
        want = 0.8 if away <= 7.0 else max(-0.3, 0.8 - (away - 7.0) * tan(LIFT.flank_rad))
        assert find_height(profile, at) == pytest.approx(want, abs=1e-9)


def test_lifts_do_not_lower_a_pass_above_them():
    high = level(0.0, 100.0, z=2.25)
    assert lift_over(high, bridges_mm=(50.0,), half_tops_mm=(7.0,), lift=LIFT, lap_mm=100.0, floor_mm=-0.3).z_mm == (
        2.25,
        2.25,
    )
    above = level(0.0, 100.0, z=0.8)
    assert lift_over(above, bridges_mm=(50.0,), half_tops_mm=(7.0,), lift=LIFT, lap_mm=100.0, floor_mm=0.8) == above
    assert lift_over(high, bridges_mm=(), half_tops_mm=(), lift=None, lap_mm=100.0, floor_mm=-0.3) == high


def test_ramps_round_a_contour_shorter_than_themselves():
    ruler = lay_ruler(circle((0.0, 0.0), radius_mm=2.0))
    profile = ramp_in_passes(air_mm=5.3, pass_heights_mm=(-0.3,), lap_mm=ruler.length_mm, ramp_rad=radians(3.0))
    assert profile.at_mm[1] > 8 * ruler.length_mm
    pieces = cut_pieces(ruler, from_mm=0.0, to_mm=profile.at_mm[-1], at_mm=profile.at_mm)
    assert sum(abs(piece.sweep_rad) for piece in pieces) == pytest.approx(profile.at_mm[-1] / 2.0)


def follow_ring(make_step, ruler, profile, **options):
    step = make_step(rectangle((0.0, 0.0), width_mm=50.0, height_mm=30.0))
    settings = {"reach_mm": 3.3, "waste_left": True, "bite": Bite.SLOT, "purpose": Purpose.ROUGH, "nominal": profile}
    return step, follow(ruler, profile=profile, cut=step.rough, **{**settings, **options})


def test_height_is_linear_with_length_on_lines_and_arcs(make_step):
    ruler = lay_ruler(circle((10.0, 5.0), radius_mm=20.0))
    profile = Profile(at_mm=(0.0, 100.0), z_mm=(5.0, 1.0))
    _, moves = follow_ring(make_step, ruler, profile)
    assert all(move.kind is MoveKind.ARC for move in moves)
    travelled = np.cumsum([abs(move.sweep_rad) * 20.0 for move in moves])
    assert [move.to_mm[2] for move in moves] == pytest.approx((5.0 - travelled * 4.0 / 100.0).tolist())
    assert travelled[-1] == pytest.approx(100.0)
    assert {move.purpose for move in moves} == {Purpose.ENTRY}


def test_purposes_tell_ramps_and_lifts_apart(make_step):
    ruler = lay_ruler(rectangle((0.0, 0.0), width_mm=100.0, height_mm=50.0))
    nominal = level(0.0, 100.0)
    lifted = lift_over(nominal, bridges_mm=(50.0,), half_tops_mm=(7.0,), lift=LIFT, lap_mm=300.0, floor_mm=-0.3)
    _, moves = follow_ring(make_step, ruler, lifted, nominal=nominal)
    assert [move.purpose for move in moves] == [Purpose.ROUGH, *[Purpose.BRIDGE] * 3, Purpose.ROUGH]


@pytest.mark.parametrize("turn", [1.0, -1.0])
@pytest.mark.parametrize("waste_left", [True, False])
def test_centre_feed_holds_the_edge(make_step, turn, waste_left):
    # inside corner of wall radius 5 with a cutter of radius 3: the centre's path has radius 2, so 2/5 of the feed
    ring = circle((0.0, 0.0), radius_mm=2.0)
    (piece, *_) = cut_pieces(lay_ruler(ring), from_mm=0.0, to_mm=3.0)
    if turn < 0:
        piece = type(piece)(
            **{name: getattr(piece, name) for name in piece.__slots__} | {"sweep_rad": -piece.sweep_rad}
        )
    inside = (turn > 0) == waste_left
    limits = {"feed_mm_per_min": 1000.0, "max_feed_mm_per_min": 1100.0, "reach_mm": 3.0, "waste_left": waste_left}
    wall, slot, waste = (find_centre_feed(piece, bite=bite, **limits) for bite in (Bite.WALL, Bite.SLOT, Bite.WASTE))
    if inside:
        assert (wall, slot, waste) == pytest.approx((400.0, 400.0, 1000.0))
    else:
        # round the outside the wall is the slow side: never faster than the highest, and a slot's outer side holds
        assert wall == pytest.approx(1100.0)
        assert slot == waste == pytest.approx(1100.0 * 0.4)
        # but where that side may run free, no slower than the table's lowest chip
        for low, feed in ((700.0, 700.0), (300.0, 440.0)):
            found = find_centre_feed(piece, bite=Bite.UP_TO_SLOT, low_feed_mm_per_min=low, **limits)
            assert found == pytest.approx(feed)
            assert find_centre_feed(piece, bite=Bite.SLOT, low_feed_mm_per_min=low, **limits) == pytest.approx(440.0)


def test_centre_feed_outside_a_gentle_curve():
    ring = lay_ruler(circle((0.0, 0.0), radius_mm=53.0))
    (piece, *_) = cut_pieces(ring, from_mm=0.0, to_mm=10.0)
    limits = {"feed_mm_per_min": 1000.0, "max_feed_mm_per_min": 9000.0, "reach_mm": 3.0, "waste_left": False}
    assert find_centre_feed(piece, bite=Bite.WALL, **limits) == pytest.approx(1000.0 * 53.0 / 50.0)
