"""What must hold of any program, whatever it says."""

import random
import runpy
from pathlib import Path

import numpy as np
import pytest

from cam.backplot.interpret import interpret_program
from cam.backplot.trace import Kind

FUZZ = runpy.run_path(str(Path(__file__).parents[1] / "bench" / "fuzz_program.py"))


def moves_of(seed: int, *, lines: int = 80) -> list[list]:
    """Return moves as word, end and centre offset, with exact half circles and whole ones."""
    rng = random.Random(seed)
    at, moves = (0.0, 0.0, 5.0), []
    for _ in range(lines):
        word = rng.choice(["G0", "G1", "G2", "G3"])
        if word in {"G0", "G1"}:
            to, offset = tuple(rng.randint(-800, 800) / 8 for _ in range(3)), None
        else:
            offset = (rng.randint(1, 80) / 8, rng.randint(-80, 80) / 8)
            to = at if rng.random() < 0.3 else (at[0] + 2 * offset[0], at[1] + 2 * offset[1], rng.randint(-40, 40) / 8)
        moves.append([word, at, to, offset])
        at = to
    return moves


def write(moves, *, incremental=False, per_mm=1.0, shift=(0.0, 0.0, 0.0), head="G21", spell=str) -> str:
    lines = [f"{head} G90 G17 G94", f"G0 X{spell(shift[0] * per_mm)} Y{spell(shift[1] * per_mm)}"]
    lines += [f"Z{spell((5.0 + shift[2]) * per_mm)}", f"F{spell(800.0 * per_mm)}", "G91" if incremental else "G90"]
    for word, at, to, offset in moves:
        base = at if incremental else tuple(-value for value in shift)
        axes = " ".join(f"{'XYZ'[axis]}{spell((to[axis] - base[axis]) * per_mm)}" for axis in range(3))
        centre = "" if offset is None else f" I{spell(offset[0] * per_mm)} J{spell(offset[1] * per_mm)}"
        lines.append(f"{word} {axes}{centre}")
    return "\n".join([*lines, "M2", ""])


def assert_same(first, second, *, shift=(0.0, 0.0, 0.0), tol=1e-9):
    assert first.findings == second.findings == ()
    assert np.array_equal(first.kind, second.kind)
    assert first.start_known.sum() > len(first) - 3
    for name in ("start_mm", "end_mm", "centre_mm"):
        one, two = (getattr(trace, name)[trace.start_known] for trace in (first, second))
        assert np.allclose(one + shift, two, rtol=0.0, atol=tol, equal_nan=True)
    assert np.allclose(first.sweep_rad, second.sweep_rad, rtol=0.0, atol=tol)
    assert np.allclose(first.feed_mm_per_min, second.feed_mm_per_min, rtol=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_steps_are_coordinates(ngc, seed):
    moves = moves_of(seed)
    assert_same(
        interpret_program(write(moves), controller=ngc),
        interpret_program(write(moves, incremental=True), controller=ngc),
    )


@pytest.mark.parametrize("seed", range(5))
def test_inches_are_millimetres(ngc, seed):
    moves = moves_of(seed)
    inches = write(moves, per_mm=1.0 / 25.4, head="G20", spell=lambda value: f"{value:.17f}")
    assert_same(interpret_program(write(moves), controller=ngc), interpret_program(inches, controller=ngc))


@pytest.mark.parametrize("seed", range(5))
def test_a_program_moved_is_a_trace_moved(ngc, seed):
    moves, shift = moves_of(seed), (12.5, -250.0, 3.25)
    assert_same(
        interpret_program(write(moves), controller=ngc),
        interpret_program(write(moves, shift=shift), controller=ngc),
        shift=shift,
    )


@pytest.mark.parametrize("seed", range(5))
def test_work_offsets_do_not_show_in_the_trace(ngc, seed):
    text = write(moves_of(seed))
    given = interpret_program(text, controller=ngc, parameters={5221: 300.5, 5222: -20.25, 5223: 99.0})
    assert_same(interpret_program(text, controller=ngc), given, tol=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_expressions_are_their_values(ngc, seed):
    moves = moves_of(seed)
    spelt = write(moves, spell=lambda value: f"[#1 + {value + 2:.6f} / 1 - SQRT[4]]")
    assert_same(interpret_program(write(moves), controller=ngc), interpret_program(spelt, controller=ngc))


@pytest.mark.parametrize("seed", range(5))
def test_every_arc_goes_round_its_centre_to_its_end(ngc, seed):
    trace = interpret_program(write(moves_of(seed)), controller=ngc)
    arcs = trace.kind == Kind.ARC
    start, end = ((point[arcs] - trace.centre_mm[arcs])[:, :2] for point in (trace.start_mm, trace.end_mm))
    turn = trace.sweep_rad[arcs]
    turned = np.column_stack(
        (
            start[:, 0] * np.cos(turn) - start[:, 1] * np.sin(turn),
            start[:, 0] * np.sin(turn) + start[:, 1] * np.cos(turn),
        )
    )
    assert arcs.sum() > 20
    assert np.allclose(turned, end, rtol=0.0, atol=1e-9)


def test_damaged_programs_are_read_to_the_end(ngc):
    codes, slowest = FUZZ["run"](500, seed=6556, controller=ngc)
    assert len(codes) > 30
    assert slowest < 5.0
