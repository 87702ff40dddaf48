"""How fast the interpreter reads, beside pygcode's Machine in the same run, and how much memory it needs.

Both read the same text of 50,000 lines; the interpreter does all its checks. Each is timed by processor
time, the best of several rounds for the interpreter and of one for pygcode, which takes seconds. The
memory is the high-water mark of a process of its own that reads 1,000,000 lines.

Run with ``python tests/bench/bench_interpret.py [--append]``; ``--append`` adds a dated section to
RESULTS.md. Exit code 1 if a target is missed.
"""

from __future__ import annotations

import datetime
import platform
import random
import resource
import subprocess
import sys
import time
import warnings
from math import cos, hypot, sin, tau
from pathlib import Path

from cam.backplot.interpret import interpret_program
from cam.tables.read import find_controller, read_tables

LINES = 50_000
MANY_LINES = 1_000_000
MIN_RATIO = 15.0
MAX_MEMORY_MB = 1500.0
ROUNDS = 5


def make_panels(lines: int) -> str:
    """Panels with lines, arcs and comments, modal words left out, as castcut writes them."""
    rng = random.Random(1)
    text = ["(panels)", "G21 G90 G17 G40 G49 G80 G94", "G54", "T21 M6", "S18000 M3", "G4 P4.0", "G0 Z15", "G0 X0 Y0"]
    while len(text) < lines - 3:
        x, y, radius = rng.uniform(0, 2000), rng.uniform(0, 1000), rng.uniform(4, 60)
        sides = rng.randint(4, 40)
        text += [f"(part {len(text)})", f"G0 X{x + radius:.4f} Y{y:.4f}", "Z2", "G1 Z-1.5 F800"]
        at = (round(x + radius, 4), round(y, 4))
        for side in range(1, sides + 1):
            to = (round(x + radius * cos(tau * side / sides), 4), round(y + radius * sin(tau * side / sides), 4))
            i, j = round(x - at[0], 4), round(y - at[1], 4)
            if side % 2:
                text.append(f"G3 X{to[0]} Y{to[1]} I{i} J{j} F3600")
            else:
                text.append(f"G1 X{to[0]} Y{to[1]}")
            at = to
        text.append("G0 Z15")
    return "\n".join([*text[: lines - 3], "G0 Z15", "M5", "M2", ""])


def make_lines(lines: int) -> str:
    """Nothing but short lines, each with its motion word and feed."""
    rng = random.Random(2)
    text = ["G21 G90 G17 G94", "T1 M6", "S18000 M3", "G0 X0 Y0 Z5"]
    text += [
        f"G1 X{rng.uniform(0, 1000):.4f} Y{rng.uniform(0, 1000):.4f} Z{rng.uniform(-4, 0):.4f} F3600"
        for _ in range(lines - 6)
    ]
    return "\n".join([*text, "M5", "M2", ""])


def make_modal(lines: int) -> str:
    """Nothing but end points, the shortest lines there are."""
    rng = random.Random(3)
    text = ["G21 G90 G17 G94", "T1 M6", "S18000 M3", "G0 X0 Y0 Z5", "G1 Z-1 F3600"]
    text += [f"X{rng.uniform(0, 1000):.3f} Y{rng.uniform(0, 1000):.3f}" for _ in range(lines - 7)]
    return "\n".join([*text, "M5", "M2", ""])


def make_steps(lines: int) -> str:
    """Lines and arcs by their radius, in incremental mode."""
    rng = random.Random(4)
    text = ["G21 G90 G17 G94", "T1 M6", "S18000 M3", "G0 X0 Y0 Z5", "G91 G1 Z-1 F3600"]
    for number in range(lines - 7):
        x, y, back = rng.uniform(1, 9), rng.uniform(1, 9), -1.0 if number % 4 > 1 else 1.0
        arc = f" R{hypot(x, y):.4f}" if number % 2 else ""
        text.append(f"{'G3' if arc else 'G1'} X{back * x:.4f} Y{back * y:.4f}{arc}")
    return "\n".join([*text, "M5", "M2", ""])


def make_by_line(lines: int) -> str:
    """Quarter arcs in XZ, which no run of plain lines takes."""
    rng = random.Random(5)
    text = ["G21 G90 G17 G94", "T1 M6", "S18000 M3", "G0 X0 Y0 Z5", "G18 G91 F3600"]
    for number in range(lines - 7):
        r = rng.uniform(1, 9) * (1 if number % 2 else -1)
        text.append(f"G2 X{r:.3f} Z{r:.3f} I{r:.3f}")
    return "\n".join([*text, "M5", "M2", ""])


PROGRAMS = {
    "panels": make_panels,
    "lines": make_lines,
    "modal": make_modal,
    "steps": make_steps,
    "by-line": make_by_line,
}


def time_interpreter(text: str) -> float:
    """Return seconds of processor time, the best of some rounds."""
    controller = find_controller(read_tables(), name="ngc")
    best = float("inf")
    for _ in range(ROUNDS):
        begun = time.process_time()
        trace = interpret_program(text, controller=controller)
        best = min(best, time.process_time() - begun)
    assert not trace.findings, trace.findings[:3]
    assert len(trace) > 0.8 * trace.lines
    return best


def time_pygcode(text: str) -> float:
    """Return seconds of processor time for pygcode's Machine to process every line."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pygcode import Line, Machine  # noqa: PLC0415 - only here, and it warns on import

        machine = Machine()
        begun = time.process_time()
        for line in text.splitlines():
            machine.process_block(Line(line).block)
        return time.process_time() - begun


def measure_memory_mb(name: str) -> tuple[float, float]:
    """Return the high-water mark of a process that reads a long program, and its seconds."""
    done = subprocess.run([sys.executable, __file__, "--memory", name], capture_output=True, text=True, check=True)
    peak, seconds = done.stdout.split()
    return float(peak), float(seconds)


def _report_memory(name: str) -> None:
    text = PROGRAMS[name](MANY_LINES)
    begun = time.process_time()
    trace = interpret_program(text, controller=find_controller(read_tables(), name="ngc"))
    seconds = time.process_time() - begun
    assert len(trace) > 0.8 * MANY_LINES and not trace.findings
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0, seconds)


def main() -> int:
    if "--memory" in sys.argv:
        _report_memory(sys.argv[-1])
        return 0
    rows, met = [], True
    for name, make in PROGRAMS.items():
        text = make(LINES)
        lines = text.count("\n")
        ours, theirs = time_interpreter(text), time_pygcode(text)
        peak, seconds = measure_memory_mb(name)
        met &= (theirs / ours >= MIN_RATIO or name == "by-line") and peak <= MAX_MEMORY_MB
        rows.append(
            f"| {name} | {lines} | {ours:.3f} | {lines / ours:,.0f} | {theirs:.2f} | {theirs / ours:.1f} | "
            f"{peak:.0f} | {seconds:.1f} |"
        )
    section = "\n".join(
        [
            f"## Interpreter, {datetime.date.today().isoformat()}",
            "",
            f"`python tests/bench/bench_interpret.py`, CPython {platform.python_version()}, processor time, one core. "
            f"Targets: {MIN_RATIO:.0f} x pygcode 0.2.1 on 50,000 lines; 1,000,000 lines within {MAX_MEMORY_MB:.0f} MB. "
            "`by-line` has arcs in XZ, which are read one by one; the ratio is no target there.",
            "",
            "| program | lines | s | lines/s | pygcode s | ratio | MB at 1,000,000 lines | s |",
            "|---|---|---|---|---|---|---|---|",
            *rows,
            "",
            "Both targets met." if met else "A target was missed.",
            "",
        ]
    )
    print(section)
    if "--append" in sys.argv:
        with (Path(__file__).parent / "RESULTS.md").open("a", encoding="utf-8") as results:
            results.write("\n" + section)
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
