"""Time the right leg on long programs: clock and sweep by the number of moves.

Run from the source tree, with castcut installed: ``python tests/bench/bench_proof.py``. Processor time of
one core; RESULTS.md keeps dated copies.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from math import pi

import numpy as np
import shapely

from cam.backplot.clock import time_trace
from cam.backplot.interpret import interpret_program
from cam.backplot.portions import find_portions
from cam.backplot.sweep import Side, sweep_portions
from cam.backplot.trace import Trace
from cam.tables.read import find_controller, find_cutter, find_machine, read_tables

HEAD = "G21 G90 G17 G40 G49 G80 G94 G61\nG54\nT26 M6\nS18000 M3\nG4 P5\nG0 Z15\nG0 X301 Y300\nG1 Z0 F3000\n"


def write_spiral(count: int) -> Trace:
    """Return the trace of a spiral of straight moves, neighbouring turns 2.4 mm apart."""
    t = np.linspace(0.0, count / 1000 * 2 * pi, count + 1)[1:]
    radius = 1.0 + t / (2 * pi) * 2.4
    lines = [f"X{x:.4f} Y{y:.4f}" for x, y in zip(300 + radius * np.cos(t), 300 + radius * np.sin(t), strict=True)]
    text = HEAD + "\n".join(lines) + "\nG0 Z15\nM5\nM2\n"
    return interpret_program(text, controller=find_controller(read_tables(), name="ngc"))


def measure_s(work: Callable[[], object]) -> float:
    """Return the least processor time of three runs."""
    times = []
    for _ in range(3):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def main() -> None:
    """Print the table."""
    tables = read_tables()
    machine, cutter = find_machine(tables, name="industrial"), find_cutter(tables, name="o1-6-up")
    print("| moves | clock s | sweep of one height s |")
    print("|---|---|---|")
    for count in (12_500, 25_000, 50_000, 100_000, 200_000):
        trace = write_spiral(count)
        portions = find_portions(trace, zero_height_mm=0.0, chord_tol_mm=0.0002)

        def sweep(portions=portions) -> shapely.Geometry:  # type: ignore[no-untyped-def]
            return sweep_portions(
                portions, cutters={cutter.tool: cutter}, height_mm=0.0, side=Side.WITHIN, chord_tol_mm=0.0002
            )

        clock = measure_s(lambda trace=trace: time_trace(trace, machine=machine))  # type: ignore[misc]
        print(f"| {count} | {clock:.2f} | {measure_s(sweep):.2f} |", flush=True)


if __name__ == "__main__":
    main()
