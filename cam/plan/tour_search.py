"""Local search for a short tour: chains of exchanges, kicks, and places chosen anew where the order changed."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from random import Random

from cam.plan.tour import HOME, Tour, find_neighbours, is_in_one_group, reverse_run, take_back, turn_run
from cam.plan.tour_exchange import LEAST_GAIN_MM, apply_exchange, find_exchange
from cam.plan.tour_places import choose_places, reinsert_stops
from cam.plan.tour_rules import Frame, may_swap, may_turn

CHAIN = 12
"""How many exchanges may follow one another before one must gain."""
MAX_KICK = 30
"""The longest run of stops that a kick moves."""
KICKS_PER_STOP, MOST_PER_STOP = 2, 40
FEWEST_KICKS, MOST_KICKS = 1200, 2000
"""How many kicks are tried: so many for each stop, but no fewer and no more than these in all.

Of few stops no more than so many each: they are soon at their shortest.
"""
PLACED_KICKS_PER_STOP = 1
FEWEST_PLACED_KICKS, MOST_PLACED_KICKS = 450, 900
"""The same where stops have several places: each kick takes about twice as long."""
TURN_SHARE = 0.2
"""How many of the kicks turn a run round instead."""
MOST_DRAWS = 1000
"""How often a kick is drawn until the groups and owners allow it."""
ROUNDS = 4
"""How often the search stops to choose all places anew."""
SLACK = 0.3
"""How far above the shortest tour the search may go on, in mean ways between stops."""


def search_tour(tour: Tour) -> None:
    """Shorten a tour until a number of kicks that depends on the number of stops has been tried.

    Notes
    -----
    Iterated local search: two runs of stops change places, the tour is repaired about them, and the
    result stays if it is not longer than the shortest so far by more than a slack. Kicks are drawn
    from a generator with a fixed seed, and their number is fixed: the same stops give the same tour
    whatever the clock says.
    """
    _polish(tour, range(len(tour.ring)))
    stops = len(tour.ring) - 2
    placed = max(len(own) for own in tour.places) > 1
    fewest, each, most = (
        (FEWEST_PLACED_KICKS, PLACED_KICKS_PER_STOP, MOST_PLACED_KICKS)
        if placed
        else (FEWEST_KICKS, KICKS_PER_STOP, MOST_KICKS)
    )
    kicks = max(min(fewest, MOST_PER_STOP * stops), min(each * stops, most))
    draw = Random(8).random
    for _ in range(ROUNDS):
        _kick_often(tour, kicks=kicks // ROUNDS, draw=draw)
        _polish(tour, ())


def _kick_often(tour: Tour, *, kicks: int, draw: Callable[[], float]) -> None:
    """Kick a tour so many times, and leave the shortest found."""
    tour.turned.clear()
    above, slack = 0.0, SLACK * _find_mean_way(tour)
    shortest: tuple[list[int], list[int], list[complex]] | None = None
    for _ in range(kicks):
        tour.turned.clear()
        moved: dict[int, complex] = {}
        cost, ends = _kick(tour, draw=draw)
        if not ends:
            return
        cost -= _settle(tour, ends, moved=moved)
        cost -= _descend(tour, ends, moved=moved)
        if above + cost > slack:
            take_back(tour, to=0)
            for node, place in moved.items():
                tour.at[node] = place
            continue
        if above <= 0.0 < above + cost:
            # about to leave the shortest: keep a copy, before the kick
            kept = tour.turned[:], {node: tour.at[node] for node in moved}
            take_back(tour, to=0)
            at = tour.at[:]
            for node, place in moved.items():
                at[node] = place
            shortest = tour.ring[:], tour.index[:], at
            for turn in kept[0]:
                reverse_run(tour, *turn)
        above += cost
        if above < -LEAST_GAIN_MM:
            above, shortest = 0.0, None
    if above > 0.0 and shortest is not None:
        tour.ring[:], tour.index[:], tour.at[:] = shortest


def _find_mean_way(tour: Tour) -> float:
    ways = [abs(tour.at[a] - tour.at[b]) for a, b in zip(tour.ring[1:], tour.ring[2:-1], strict=False)]
    return sum(ways) / len(ways) if ways else 0.0


def _polish(tour: Tour, queue: Iterable[int]) -> None:
    """Repair a tour about some nodes, then choose places and put single stops elsewhere until nothing gains."""
    _descend(tour, queue, moved={})
    if max(len(own) for own in tour.places) == 1:
        return
    while True:
        tour.turned.clear()
        touched = [*choose_places(tour), *reinsert_stops(tour)]
        if not touched:
            return
        _descend(tour, touched, moved={})


def _descend(tour: Tour, queue: Iterable[int], *, moved: dict[int, complex]) -> float:
    """Improve about nodes until nothing gains, and return the gain; ``moved`` gets places as they were."""
    waiting = deque(dict.fromkeys(queue))
    known = set(waiting)
    total = 0.0
    while waiting:
        node = waiting.popleft()
        known.discard(node)
        gain = 1.0
        while gain > 0.0:
            gain, ends = _move_place(tour, node, moved=moved)
            if gain <= 0.0:
                gain, ends = _improve(tour, node)
            total += gain
            for end in ends:
                if end not in known:
                    known.add(end)
                    waiting.append(end)
    return total


def _improve(tour: Tour, t1: int) -> tuple[float, tuple[int, ...]]:
    """Make the first chain of exchanges from a node that gains; return its gain and the nodes it touched."""
    mark = len(tour.turned)
    if t1 == tour.end:
        return 0.0, ()
    for side in (1, 0):
        t2 = find_neighbours(tour, t1)[side]
        if t2 == tour.end:
            continue
        gain = abs(tour.at[t1] - tour.at[t2])
        added: set[tuple[int, int]] = set()
        touched: tuple[int, ...] = ()
        for _ in range(CHAIN):
            exchange = find_exchange(tour, t1, t2, gain_mm=gain, added=added)
            if exchange is None:
                break
            apply_exchange(tour, t1, t2, exchange)
            touched += exchange.ends
            if exchange.closes:
                return exchange.gain_mm, tuple(dict.fromkeys(touched))
            _, _, t3, t4, t5, t6 = exchange.ends
            added |= {(t2, t3), (t3, t2), (t4, t5), (t5, t4)}
            t2, gain = t6, exchange.gain_mm
        take_back(tour, to=mark)
    return 0.0, ()


def _move_place(tour: Tour, node: int, *, moved: dict[int, complex]) -> tuple[float, tuple[int, ...]]:
    """Visit a node at its best place between its neighbours; return the gain and the nodes it concerns."""
    own = tour.places[node]
    if len(own) == 1:
        return 0.0, ()
    before, after = find_neighbours(tour, node)
    at = tour.at
    if tour.end in (before, after):
        beside = at[before if after == tour.end else after]
        ways = [abs(place - beside) for place in own]
        now = abs(at[node] - beside)
    else:
        a, b = at[before], at[after]
        ways = [abs(place - a) + abs(place - b) for place in own]
        now = abs(at[node] - a) + abs(at[node] - b)
    least = min(ways)
    if now - least <= LEAST_GAIN_MM:
        return 0.0, ()
    moved.setdefault(node, at[node])
    at[node] = own[ways.index(least)]
    return now - least, (before, node, after)


def _settle(tour: Tour, nodes: Iterable[int], *, moved: dict[int, complex]) -> float:
    """Let nodes and their neighbours find their places in a new order, before the order is repaired."""
    waiting = deque(nodes)
    total = 0.0
    while waiting:
        gain, ends = _move_place(tour, waiting.popleft(), moved=moved)
        total += gain
        if gain > 0.0:
            waiting += [end for end in ends if end not in waiting]
    return total


def _kick(tour: Tour, *, draw: Callable[[], float]) -> tuple[float, tuple[int, ...]]:
    """Let two neighbouring runs of stops change places, or turn them; return the cost and the nodes concerned.

    No nodes if no run that may be kicked was found.
    """
    ring, at, end = tour.ring, tour.at, tour.end
    for _ in range(MOST_DRAWS):
        turns = draw() < TURN_SHARE
        runs = _draw_runs(tour, turns=turns, draw=draw)
        if runs is not None:
            break
    else:
        return 0.0, ()
    first, split, last = runs
    before, after = ring[first - 1], ring[(last + 1) % len(ring)]
    x0, x1, y0, y1 = ring[first], ring[split - 1], ring[split], ring[last]

    def way(a: int, b: int) -> float:
        return 0.0 if end in (a, b) else abs(at[a] - at[b])

    turn_run(tour, after=before, first=x0, last=y1)
    if turns:
        return way(before, y1) + way(x0, after) - way(before, x0) - way(y1, after), (before, x0, y1, after)
    turn_run(tour, after=before, first=y1, last=y0)
    turn_run(tour, after=y1, first=x1, last=x0)
    cost = way(before, y0) + way(y1, x0) + way(x1, after) - way(before, x0) - way(x1, y0) - way(y1, after)
    return cost, (before, x0, x1, y0, y1, after)


def _draw_runs(tour: Tour, *, turns: bool, draw: Callable[[], float]) -> tuple[int, int, int] | None:
    """Return where a run begins, where the next begins and where that ends, if they may be kicked."""
    ring, size = tour.ring, len(tour.ring)
    most = min(MAX_KICK, (size - 2) // 2)
    first, x_length, y_length = int(draw() * size), 1 + int(draw() * most), 1 + int(draw() * most)
    split, last = (first + x_length) % size, (first + x_length + y_length - 1) % size
    if x_length + y_length > size - 2 or {ring[first], ring[last]} & {HOME, tour.end}:
        return None
    if not is_in_one_group(tour, first, last):
        return None
    frame = Frame(ring[first - 1], first, 1)
    if tour.bound and turns and not may_turn(tour, frame, 0, x_length + y_length):
        return None
    if tour.bound and not turns and not may_swap(tour, frame, 0, x_length, x_length + y_length):
        return None
    return first, split, last
