"""Moves to blocks: rounding, arcs, modal words."""

from __future__ import annotations

import re
from math import cos, hypot, pi, sin

import numpy as np
import pytest

from cam.errors import ProgramRefused
from cam.motion.moves import Purpose, arc, line, rapid
from cam.program.adapt import MAX_ARC_RAD
from cam.program.blocks import Frame, State, emit_move
from cam.program.numbers import clean_comment, format_number, round_to
from cam.tables.read import find_controller, read_tables

NGC = find_controller(read_tables(), name="ngc")
MM = Frame(zero_mm=0.0, mm_per_unit=1.0)


def _at(x: float, y: float, z: float) -> State:
    return State(at=MM.units((x, y, z), decimals=4), motion="G1", feed="F1000")


def _arc_to(start, centre, sweep, *, z=None):  # type: ignore[no-untyped-def]
    dx, dy = start[0] - centre[0], start[1] - centre[1]
    end = (
        centre[0] + dx * cos(sweep) - dy * sin(sweep),
        centre[1] + dx * sin(sweep) + dy * cos(sweep),
        start[2] if z is None else z,
    )
    return arc(end, centre_mm=centre, sweep_rad=sweep, feed_mm_per_min=1000.0, purpose=Purpose.ROUGH)


def _words(block: str) -> dict[str, float]:
    return {letter: float(number) for letter, number in re.findall(r"([A-Z])(-?[\d.]+)", block)}


def test_numbers_have_no_exponent_and_no_negative_zero() -> None:
    rng = np.random.default_rng(1)
    for value in [*rng.uniform(-1e4, 1e4, 500), *rng.uniform(-1e-4, 1e-4, 500), 1e-300, -0.0]:
        text = format_number(float(value), decimals=4)
        assert re.fullmatch(r"-?\d+(\.\d{1,4})?", text) and text != "-0"
        assert abs(float(text) - value) <= 0.5e-4 + 1e-12
        assert float(text) == round_to(float(value), decimals=4)


def test_comments_lose_what_a_block_cannot_hold() -> None:
    assert re.fullmatch(r"[ -'*-~]*", clean_comment("a(b)c\nd\té"))


def test_random_arcs_keep_the_radius_tolerance() -> None:
    """NISTIR 6556 section 3.5.3.2: the radii at start and end differ by at most 0.002 mm."""
    rng = np.random.default_rng(2)
    for _ in range(3000):
        start = (*rng.uniform(-2000.0, 2000.0, 2).tolist(), 0.0)
        radius, angle = float(np.exp(rng.uniform(np.log(0.5), np.log(300.0)))), float(rng.uniform(0.0, 2.0 * pi))
        centre = (start[0] + radius * cos(angle), start[1] + radius * sin(angle))
        sweep = float(rng.uniform(0.05, MAX_ARC_RAD - 0.01)) * float(rng.choice([-1.0, 1.0]))
        state = _at(*start)
        blocks, after = emit_move(_arc_to(start, centre, sweep), from_mm=start, state=state, frame=MM, controller=NGC)
        words = _words(blocks[0])
        x0, y0 = state.at[0], state.at[1]
        assert {"X", "Y", "I", "J"} <= set(words)
        to_end = hypot(words["X"] - x0 - words["I"], words["Y"] - y0 - words["J"])
        assert abs(hypot(words["I"], words["J"]) - to_end) <= 0.002
        assert after.at[:2] == (words["X"], words["Y"])
        assert blocks[0].startswith("G3" if sweep > 0 else "G2")


def test_arcs_shorter_than_the_last_digit_never_become_circles() -> None:
    for sweep in (1e-9, -1e-9, 1e-6, -1e-6, 4e-6):
        start = (5.0, 0.0, 0.0)
        blocks, _ = emit_move(
            _arc_to(start, (0.0, 0.0), sweep), from_mm=start, state=_at(*start), frame=MM, controller=NGC
        )
        assert blocks == []
        blocks, _ = emit_move(
            _arc_to(start, (0.0, 0.0), sweep, z=-1.0), from_mm=start, state=_at(*start), frame=MM, controller=NGC
        )
        assert blocks == ["Z-1"]


def test_nearly_full_circles_are_written_in_parts() -> None:
    start = (5.0, 0.0, 2.0)
    for sweep in (2.0 * pi, 1.9 * pi, -2.0 * pi):
        move = _arc_to(start, (0.0, 0.0), sweep, z=1.0)
        blocks, after = emit_move(move, from_mm=start, state=_at(*start), frame=MM, controller=NGC)
        assert len(blocks) == 2
        assert "Z1.5" in blocks[0]
        assert after.at == MM.units(move.to_mm, decimals=4)


def test_words_in_force_are_left_out() -> None:
    state = _at(0.0, 0.0, 0.0)
    move = line((3.0, 0.0, 0.0), feed_mm_per_min=1000.0, purpose=Purpose.ROUGH)
    assert emit_move(move, from_mm=(0.0, 0.0, 0.0), state=state, frame=MM, controller=NGC)[0] == ["X3"]
    move = rapid((3.0, 0.0, 5.0), purpose=Purpose.RETRACT)
    assert emit_move(move, from_mm=(0.0, 0.0, 0.0), state=state, frame=MM, controller=NGC)[0] == ["G0 X3 Z5"]


def test_inches_and_another_zero() -> None:
    frame = Frame(zero_mm=4.0, mm_per_unit=25.4)
    assert frame.units((25.4, 50.8, 4.0), decimals=4) == (1.0, 2.0, 0.0)


def test_numbers_beyond_the_controller_are_refused() -> None:
    with pytest.raises(ProgramRefused, match="coordinates up to"):
        emit_move(
            rapid((1e6, 0.0, 0.0), purpose=Purpose.APPROACH), from_mm=None, state=State(), frame=MM, controller=NGC
        )


def test_a_slow_feed_keeps_its_digits_and_none_is_refused() -> None:
    for feed, word in ((0.5712, "F0.571"), (9.9, "F9.9"), (10.4, "F10"), (3420.4, "F3420")):
        move = line((3.0, 0.0, 0.0), feed_mm_per_min=feed, purpose=Purpose.ROUGH)
        assert emit_move(move, from_mm=(0.0, 0.0, 0.0), state=_at(0.0, 0.0, 0.0), frame=MM, controller=NGC)[0] == [
            f"X3 {word}"
        ]
    with pytest.raises(ProgramRefused, match="written as none"):
        emit_move(
            line((3.0, 0.0, 0.0), feed_mm_per_min=1e-4, purpose=Purpose.ROUGH),
            from_mm=(0.0, 0.0, 0.0),
            state=_at(0.0, 0.0, 0.0),
            frame=MM,
            controller=NGC,
        )
