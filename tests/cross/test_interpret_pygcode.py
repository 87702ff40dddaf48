"""The interpreter beside pygcode 0.2.1, a reader that shares nothing with it.

What pygcode reads rightly, and is compared: end points of G0, G1, G2 and G3 in G90 and G91, modal words,
omitted axes, line numbers, comments, small letters; feeds; which tool was selected; spindle speeds. Its
known limits, kept out: it knows neither parameters, expressions, plus signs nor blanks inside numbers, no
offsets (G10, G53, G54 to G59.3, G92, G43), no unit conversion of positions, no depth of canned cycles, no
block delete, and it accepts arcs that do not exist.
"""

import random
import warnings

import numpy as np
import pytest

from cam.backplot.interpret import interpret_program
from cam.backplot.trace import Kind

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from pygcode import Line, Machine

MOTION = [Kind.RAPID, Kind.LINE, Kind.ARC]


def write_program(seed: int, *, lines: int = 150) -> str:
    """Return a sound program of random moves, spelt in many ways."""
    rng = random.Random(seed)
    text = ["G21 G90 G17 G94", "T3 M6", "S12000 M3", "G0 X0 Y0 Z5", "F700"]
    at, incremental, last = [0.0, 0.0, 5.0], False, ""

    def number(value: float) -> str:
        shown = f"{value:.4f}"
        return rng.choice([shown, shown.rstrip("0"), shown.rstrip("0").rstrip(".") or "0"])

    for count in range(lines):
        if rng.random() < 0.1:
            incremental = not incremental
            text.append("G91" if incremental else "G90")
        word = rng.choice(["G0", "G1", "G2", "G3"])
        to = [round(value + rng.uniform(-40, 40), 4) for value in at]
        moved = [axis for axis in range(3) if rng.random() < 0.6] or [0]
        words = []
        if word in {"G2", "G3"}:
            # the end point mirrored through the centre, or the start itself: radii agree to the last digit
            i, j = round(rng.uniform(-20, 20), 4), round(rng.uniform(0.1, 20), 4)
            to = [at[0], at[1]] if rng.random() < 0.2 else [round(at[0] + 2 * i, 4), round(at[1] + 2 * j, 4)]
            to.append(round(rng.uniform(-5, 5), 4) if rng.random() < 0.3 else at[2])
            moved = [0, 1] + ([2] if to[2] != at[2] else [])
            words = [f"I{number(i)}", f"J{number(j)}"]
        for axis in range(3):
            if axis not in moved:
                to[axis] = at[axis]
        axes = [f"{'XYZ'[axis]}{number(to[axis] - (at[axis] if incremental else 0.0))}" for axis in moved]
        feed = [f"F{rng.randint(100, 4000)}"] if word != "G0" and rng.random() < 0.3 else []
        shown = [] if word == last and rng.random() < 0.7 else [word]
        line = rng.choice([" ", ""]).join([*shown, *axes, *words, *feed])
        line = line.lower() if rng.random() < 0.1 else line
        line = f"N{count + 1} {line}" if rng.random() < 0.1 else line
        text.append(f"{line} (here)" if rng.random() < 0.05 else line)
        at, last = to, word
        if rng.random() < 0.03:
            text.append(rng.choice(["M5", "M3 S9000", "S15000", "M8", "M9", "G4 P0.5", "(between)", "T4", "M6"]))
    return "\n".join([*text, "G90", "G0 Z5", "M5", "M2", ""])


def read_with_pygcode(text: str) -> list[tuple[float, float, float, float, float]]:
    """Return position, feed and speed after each line."""
    machine, after = Machine(), []
    for line in text.splitlines():
        machine.process_block(Line(line).block)
        position = machine.pos.values
        feed, speed = machine.mode.feed_rate, machine.mode.spindle_speed
        after.append(
            (
                position["X"],
                position["Y"],
                position["Z"],
                feed.word.value if feed else 0.0,
                speed.word.value if speed else 0.0,
            )
        )
    return after


@pytest.mark.parametrize("seed", range(12))
def test_both_readers_agree_on_every_move(ngc, seed):
    text = write_program(seed)
    trace = interpret_program(text, controller=ngc)
    assert trace.findings == ()
    after = np.array(read_with_pygcode(text))
    moves = np.isin(trace.kind, MOTION)
    assert moves.sum() > 100
    theirs = after[trace.line[moves] - 1]
    assert np.allclose(trace.end_mm[moves], theirs[:, :3], rtol=0.0, atol=1e-9)
    feeds = trace.kind[moves] != Kind.RAPID
    assert np.array_equal(trace.feed_mm_per_min[moves][feeds], theirs[feeds, 3])
    turning = trace.spindle_rpm != 0.0
    assert np.array_equal(trace.spindle_rpm[turning], after[trace.line[turning] - 1][:, 4])
    # every line that moves made a row, and no other
    with_axes = [any(letter in line.split("(")[0].upper() for letter in "XYZ") for line in text.splitlines()]
    assert np.array_equal(np.unique(trace.line[moves]), 1 + np.nonzero(with_axes)[0])
