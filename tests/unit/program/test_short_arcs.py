"""Arcs about as short as the last digit: rounding must not turn one into nearly a whole circle."""

from math import atan2, cos, hypot, log10, pi, sin

import numpy as np
import pytest

from cam.motion.moves import Purpose, arc, line
from cam.program.blocks import Frame, State, emit_move


def read_sweep(words, *, at, clockwise):
    """The sweep that NISTIR 6556 section 3.5.3.2 gives an arc's words, in (0, 2 pi] taken the arc's way round."""
    start = atan2(-words["J"], -words["I"])
    end = atan2(words["Y"] - at[1] - words["J"], words["X"] - at[0] - words["I"])
    turn = (start - end if clockwise else end - start) % (2 * pi)
    return turn or 2 * pi


def split(block):
    return {word[0]: float(word[1:]) for word in block.split()}


@pytest.mark.parametrize("radius_mm", [0.0005, 0.002, 0.05, 1.0, 5.0, 30.0, 300.0])
def test_no_short_arc_becomes_a_circle(find_row, radius_mm):
    controller, frame = find_row("ngc"), Frame(zero_mm=0.0, mm_per_unit=1.0)
    rng = np.random.default_rng(round(1e4 * radius_mm))
    arcs = 0
    for _ in range(2500):
        # centres anywhere, and on whole digits, and just between two: there the rounding is undecided
        centre = rng.uniform(0.0, 2000.0, 2)
        grain = rng.choice([0.0, 1e-2, 1e-4])
        if grain:
            centre = np.round(centre / grain) * grain + rng.choice([0.0, 5e-5, 5e-5 - 1e-9])
        centre = tuple(centre.tolist())
        from_rad = rng.choice([0.0, pi / 2, pi, -pi / 2]) + rng.choice(
            [0.0, 1e-7, -1e-7, 1e-5, -1e-5, rng.uniform(-1, 1)]
        )
        length = 10.0 ** rng.uniform(-7.0, log10(min(0.5, radius_mm)))
        sweep = float(rng.choice([1.0, -1.0])) * length / radius_mm
        start = (centre[0] + radius_mm * cos(from_rad), centre[1] + radius_mm * sin(from_rad), 0.0)
        to = (centre[0] + radius_mm * cos(from_rad + sweep), centre[1] + radius_mm * sin(from_rad + sweep), 0.0)
        state = State(at=frame.units(start, decimals=4), motion="", feed="")
        move = arc(to, centre_mm=centre, sweep_rad=sweep, feed_mm_per_min=1000.0, purpose=Purpose.FINISH)
        blocks, after = emit_move(move, from_mm=start, state=state, frame=frame, controller=controller)
        assert hypot(after.at[0] - to[0], after.at[1] - to[1]) <= 0.0001
        for block in blocks:
            if block.startswith("G1"):
                # a chord instead: it must be no worse than the rounding itself
                assert length * abs(sweep) / 8.0 < 0.0002
                continue
            arcs += 1
            read = read_sweep(split(block), at=state.at, clockwise=block.startswith("G2"))
            assert abs(read - abs(sweep)) < 0.5, (block, state.at, sweep)
    assert arcs > 100


def test_no_feed_is_rounded_to_nothing(find_row):
    frame = Frame(zero_mm=0.0, mm_per_unit=1.0)
    move = line((1.0, 0.0, 0.0), feed_mm_per_min=0.3, purpose=Purpose.FINISH)
    state = State(at=(0.0, 0.0, 0.0))
    (block,), _ = emit_move(move, from_mm=(0.0, 0.0, 0.0), state=state, frame=frame, controller=find_row("ngc"))
    assert split(block)["F"] > 0.0
