"""Moves as a controller can take them: the same path, within closed forms."""

from __future__ import annotations

from dataclasses import replace
from math import acos, atan2, ceil, cos, hypot, pi, sin

import numpy as np
import pytest

from cam.motion.moves import MoveKind, Purpose, arc, line
from cam.program.adapt import CHORD_TOL_MM, MAX_RADIUS_ARC_RAD, adapt_move
from cam.tables.read import find_controller, read_tables
from cam.tables.rows import ArcForm

FACTS = find_controller(read_tables(), name="ngc").facts


def make_arc(start, centre, sweep, *, z=None):
    dx, dy = start[0] - centre[0], start[1] - centre[1]
    end = (
        centre[0] + dx * cos(sweep) - dy * sin(sweep),
        centre[1] + dx * sin(sweep) + dy * cos(sweep),
        start[2] if z is None else z,
    )
    return arc(end, centre_mm=centre, sweep_rad=sweep, feed_mm_per_min=1000.0, purpose=Purpose.ROUGH)


def random_arcs(count):
    random = np.random.default_rng(7)
    for _ in range(count):
        start = (*random.uniform(-500.0, 500.0, 2).tolist(), 2.0)
        radius, angle = float(np.exp(random.uniform(-1.0, 6.0))), float(random.uniform(0.0, 2.0 * pi))
        centre = (start[0] + radius * cos(angle), start[1] + radius * sin(angle))
        sweep = float(random.uniform(0.01, 2.0 * pi)) * float(random.choice([-1.0, 1.0]))
        yield start, radius, make_arc(start, centre, sweep, z=float(random.choice([2.0, -1.0])))


def test_lines_and_common_arcs_are_left_alone() -> None:
    straight = line((1.0, 2.0, 3.0), feed_mm_per_min=100.0, purpose=Purpose.ROUGH)
    assert adapt_move(straight, from_mm=(0.0, 0.0, 0.0), facts=FACTS) == (straight,)
    quarter = make_arc((10.0, 0.0, 0.0), (0.0, 0.0), pi / 2.0)
    assert adapt_move(quarter, from_mm=(10.0, 0.0, 0.0), facts=FACTS) == (quarter,)


def test_quadrants_are_not_crossed_and_the_path_is_the_same() -> None:
    facts = replace(FACTS, quadrant_arcs=True)
    for start, radius, move in random_arcs(300):
        at, turned = start, 0.0
        for part in adapt_move(move, from_mm=start, facts=facts):
            first = atan2(at[1] - move.centre_mm[1], at[0] - move.centre_mm[0])
            low, high = sorted((first, first + part.sweep_rad))
            assert ceil((high - 1e-7) / (pi / 2.0)) - np.floor((low + 1e-7) / (pi / 2.0)) <= 1
            assert hypot(part.to_mm[0] - move.centre_mm[0], part.to_mm[1] - move.centre_mm[1]) == pytest.approx(radius)
            at, turned = part.to_mm, turned + part.sweep_rad
        assert at == move.to_mm
        assert turned == pytest.approx(move.sweep_rad)


def test_arcs_by_radius_turn_a_quarter_at_most() -> None:
    facts = replace(FACTS, arcs=ArcForm.RADIUS)
    for start, _, move in random_arcs(300):
        parts = adapt_move(move, from_mm=start, facts=facts)
        assert all(abs(part.sweep_rad) <= pi / 2.0 + 1e-9 for part in parts)
        assert sum(part.sweep_rad for part in parts) == pytest.approx(move.sweep_rad)


def test_chords_lie_within_their_distance_of_the_arc_and_no_more_are_made_than_needed() -> None:
    facts = replace(FACTS, arcs=ArcForm.NONE, helical_arcs=False)
    for start, radius, move in random_arcs(300):
        at, parts = start, adapt_move(move, from_mm=start, facts=facts)
        for part in parts:
            assert part.kind is MoveKind.LINE
            middle = ((at[0] + part.to_mm[0]) / 2.0, (at[1] + part.to_mm[1]) / 2.0)
            # closed form: the middle of a chord lies nearest to the centre, at r cos(t / 2)
            off = radius - hypot(middle[0] - move.centre_mm[0], middle[1] - move.centre_mm[1])
            assert -1e-9 < off <= CHORD_TOL_MM + 1e-9
            at = part.to_mm
        assert at == move.to_mm
        step = min(2.0 * acos(1.0 - CHORD_TOL_MM / radius), MAX_RADIUS_ARC_RAD)
        assert len(parts) == max(1, ceil(abs(move.sweep_rad) / step - 1e-9))


def test_only_helices_become_chords_where_only_they_are_refused() -> None:
    facts = replace(FACTS, helical_arcs=False)
    level, rising = make_arc((5.0, 0.0, 0.0), (0.0, 0.0), 1.0), make_arc((5.0, 0.0, 0.0), (0.0, 0.0), 1.0, z=1.0)
    assert adapt_move(level, from_mm=(5.0, 0.0, 0.0), facts=facts) == (level,)
    parts = adapt_move(rising, from_mm=(5.0, 0.0, 0.0), facts=facts)
    heights = [part.to_mm[2] for part in parts]
    # the height goes with the angle
    assert np.diff([0.0, *heights]) == pytest.approx(np.full(len(parts), 1.0 / len(parts)))
