"""The order of stops: closed forms, brute force, the local search against the exact one, and determinism."""

from math import dist, hypot, inf
from random import Random

import pytest

from cam.plan import order as order_module
from cam.plan.order import Stop, Visit, measure_travel_mm, order_stops

HOME = (0.0, 0.0)


def travel(stops, *, from_mm=HOME):
    return measure_travel_mm(order_stops(stops, from_mm=from_mm), from_mm=from_mm)


def single(points, *, group=0, first_key=0):
    return [Stop(key=first_key + n, group=group, places_mm=(point,)) for n, point in enumerate(points)]


def find_shortest(stops, *, from_mm=HOME):
    """Every order that keeps groups and owners, every place; a way is given up once it is too long (brute force)."""
    best = inf

    def go(here, length, left):
        nonlocal best
        if not left:
            best = min(best, length)
        first = min((stop.group for stop in left), default=0)
        for stop in left:
            if stop.group > first or any(other.before == stop.key for other in left):
                continue
            for place in stop.places_mm:
                further = length + dist(here, place)
                if further < best:
                    go(place, further, [other for other in left if other is not stop])

    go(from_mm, 0.0, list(stops))
    return best


def draw_stops(seed, *, count, groups, places):
    """Stops as on a sheet: every third owns the two after it, where their groups allow it."""
    draw = Random(seed)
    stops = []
    for key in range(count):
        x, y = draw.uniform(0, 1000), draw.uniform(0, 600)
        spots = tuple(
            (x + draw.uniform(-90, 90), y + draw.uniform(-90, 90)) for _ in range(1 + int(draw.random() * places))
        )
        group = draw.randrange(groups)
        over = key - key % 3
        owner = over if key != over and stops[over].group >= group else None
        stops.append(Stop(key=key, group=group, places_mm=spots, before=owner))
    return stops


def check_order(stops, visits):
    """Everything once, at one of its places, groups in turn, nothing after what must come later."""
    by_key = {stop.key: stop for stop in stops}
    assert sorted(visit.key for visit in visits) == sorted(by_key)
    assert all(visit.at_mm in by_key[visit.key].places_mm for visit in visits)
    groups = [by_key[visit.key].group for visit in visits]
    assert groups == sorted(groups)
    turn = {visit.key: n for n, visit in enumerate(visits)}
    assert all(turn[stop.key] < turn[stop.before] for stop in stops if stop.before is not None)


def test_nothing_and_one_stop():
    assert order_stops([], from_mm=HOME) == ()
    assert order_stops(single([(3.0, 4.0)]), from_mm=HOME) == (Visit(key=0, at_mm=(3.0, 4.0)),)


@pytest.mark.parametrize("count", [5, 8, 9, 30])
def test_a_row_is_cut_from_end_to_end(count):
    row = [(10.0 * n, 0.0) for n in range(1, count + 1)]
    Random(count).shuffle(row)
    visits = order_stops(single(row), from_mm=HOME)
    assert [visit.at_mm[0] for visit in visits] == sorted(x for x, _ in row)


@pytest.mark.parametrize("side", [2, 4, 6])
def test_a_square_of_holes_takes_one_pitch_a_hole(side):
    """An even grid has a path through its neighbours only: n steps of one pitch from a place beside its corner."""
    grid = [(20.0 * x, 20.0 * y) for x in range(1, side + 1) for y in range(side)]
    Random(side).shuffle(grid)
    assert travel(single(grid)) == pytest.approx(20.0 * side * side, abs=1e-6)


def test_start_points_are_chosen_with_the_order():
    """Two facing walls: the way between them is straight across, wherever their corners are."""
    left = Stop(key=0, group=0, places_mm=tuple((100.0, y) for y in (0.0, 50.0, 100.0)))
    right = Stop(key=1, group=0, places_mm=tuple((130.0, y) for y in (20.0, 50.0, 90.0)))
    visits = order_stops([right, left], from_mm=(0.0, 50.0))
    assert visits == (Visit(key=0, at_mm=(100.0, 50.0)), Visit(key=1, at_mm=(130.0, 50.0)))


def test_the_end_of_a_group_is_where_the_next_begins():
    """By itself the first group would end at its far end; the second group's place turns it round."""
    first = single([(10.0, 0.0), (20.0, 0.0)])
    second = single([(0.0, 1.0)], group=1, first_key=2)
    assert [visit.key for visit in order_stops([*first, *second], from_mm=(30.0, 0.0))] == [1, 0, 2]
    assert [visit.key for visit in order_stops([*first, *second], from_mm=(14.0, 0.0))] == [1, 0, 2]


def test_nested_panels_go_from_the_inside_out():
    """Squares within squares, each before the one round it, from whichever side the cutter comes."""
    rings = [
        Stop(
            key=n,
            group=0,
            places_mm=tuple((50.0 + sx * half, 50.0 + sy * half) for sx, sy in ((1, 0), (0, 1), (-1, 0), (0, -1))),
            before=n + 1 if n < 11 else None,
        )
        for n, half in enumerate(4.0 * (k + 1) for k in range(12))
    ]
    for home in ((0.0, 50.0), (50.0, 0.0), (120.0, 50.0)):
        visits = order_stops(rings[::-1], from_mm=home)
        assert [visit.key for visit in visits] == list(range(12))
        # to the nearest side of the innermost, then straight out
        assert measure_travel_mm(visits, from_mm=home) == pytest.approx(
            hypot(home[0] - 50.0, home[1] - 50.0) - 4.0 + 44.0
        )


@pytest.mark.parametrize("seed", range(12))
def test_few_stops_are_solved_exactly(seed):
    stops = draw_stops(seed, count=2 + seed % 4, groups=1 + seed % 3, places=3)
    visits = order_stops(stops, from_mm=HOME)
    check_order(stops, visits)
    assert measure_travel_mm(visits, from_mm=HOME) == pytest.approx(find_shortest(stops), abs=1e-9)


@pytest.mark.parametrize(("count", "places"), [(7, 1), (8, 1), (6, 2)])
def test_eight_stops_against_brute_force(count, places):
    stops = draw_stops(100 + count, count=count, groups=1, places=places)
    assert travel(stops) == pytest.approx(find_shortest(stops), abs=1e-9)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("groups", "share"), [(1, 1.001), (2, 1.04)])
def test_the_search_against_the_exact_way(seed, groups, share, monkeypatch):
    """A second road: local search on stops few enough for the exact one, with owners and places.

    Two groups of three stops each leave it few moves; in use groups that small are solved exactly.
    """
    stops = draw_stops(seed, count=4 + seed % 5, groups=groups, places=6)
    exact = travel(stops)
    monkeypatch.setattr(order_module, "MAX_STOPS", 0)
    visits = order_stops(stops, from_mm=HOME)
    check_order(stops, visits)
    assert exact - 1e-9 <= measure_travel_mm(visits, from_mm=HOME) <= share * exact


@pytest.mark.parametrize(("seed", "count"), [(0, 12), (1, 15)])
def test_same_stops_same_order(seed, count):
    stops = draw_stops(seed, count=count, groups=2, places=8)
    assert order_stops(stops, from_mm=HOME) == order_stops(stops, from_mm=HOME)


def test_places_may_coincide():
    stops = single([(5.0, 5.0)] * 12)
    visits = order_stops(stops, from_mm=HOME)
    assert travel(stops) == pytest.approx(hypot(5.0, 5.0))
    check_order(stops, visits)


def test_what_must_come_before_an_earlier_group_is_refused():
    stops = [Stop(key=0, group=1, places_mm=(HOME,), before=1), Stop(key=1, group=0, places_mm=(HOME,))]
    with pytest.raises(ValueError, match="stop 0 must come before 1"):
        order_stops(stops, from_mm=HOME)
