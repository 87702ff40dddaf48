"""How often a calibration comes within 5 % from 12 times with 2 % noise.

python tests/bench/bench_calibrate.py [COUNT]
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from cam.backplot.calibrate import SETTINGS, calibrate_machine
from cam.backplot.clock import time_trace
from cam.backplot.interpret import interpret_program
from cam.calibrating import REPEATS
from cam.program.calibration import write_calibration_programs
from cam.tables.read import find_controller, read_tables

NOISE, WITHIN = 0.02, 0.05


def main() -> None:
    """Print a table of the shares within 5 % and of the middle error, over random machines."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    tables = read_tables()
    ngc = find_controller(tables, name="ngc")
    errors = []
    for seed in range(count):
        random = np.random.default_rng(seed)
        row = tables.machines[seed % len(tables.machines)]
        programs = write_calibration_programs(row, controller=ngc)
        traces = {name.split(".")[0]: interpret_program(t, controller=ngc, file=name) for name, t in programs.items()}
        plan = [name for name, times in REPEATS.items() for _ in range(times)]
        level, z, deviation, spin, change = np.exp(random.uniform(-0.5, 0.5, size=5))
        x, _, up = row.acceleration_mm_per_s2
        truth = replace(
            row,
            acceleration_mm_per_s2=(x * level, x * level, up * z),
            junction_deviation_mm=row.junction_deviation_mm * deviation,
            spin_up_s=row.spin_up_s * spin,
            tool_change_s=row.tool_change_s * change,
        )
        exact = np.array([time_trace(traces[name], machine=truth).cycle_s for name in plan])
        measured = exact * (1.0 + NOISE * random.standard_normal(len(plan)))
        found = calibrate_machine([traces[name] for name in plan], measured_s=measured, machine=row)
        wanted = (x * level, up * z, truth.junction_deviation_mm, truth.spin_up_s, truth.tool_change_s)
        errors.append([each.value / want - 1.0 for each, want in zip(found.settings, wanted, strict=True)])
    off = np.abs(np.array(errors))
    print("| setting | within 5 % | middle error | greatest error |\n|---|---|---|---|")
    for i, name in enumerate(SETTINGS):
        print(f"| {name} | {(off[:, i] < WITHIN).mean():.1%} | {np.median(off[:, i]):.1%} | {off[:, i].max():.1%} |")
    print(f"| all five | {(off < WITHIN).all(axis=1).mean():.1%} | | |")


if __name__ == "__main__":
    main()
