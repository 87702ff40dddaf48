"""Damaged programs: whatever the text, the interpreter answers, soon and within bounds.

Each program is a valid one of the corpus, or a made one of many plain moves, with one to six damages:
characters lost, added, doubled or exchanged, numbers made extreme, words of the language and of others
thrown in, lines lost, doubled, moved, joined or cut off. For each the trace must hold finite numbers and
bounded rows, and reading in runs must give the same as reading line by line.

Run with ``python tests/bench/fuzz_program.py [COUNT [SEED]] [--append]``; ``--append`` adds a
dated section to RESULTS.md.
"""

from __future__ import annotations

import datetime
import random
import signal
import sys
import time
from collections import Counter
from dataclasses import fields
from pathlib import Path

import numpy as np

from cam.backplot import plain
from cam.backplot.interpret import interpret_program
from cam.backplot.trace import Kind, Trace
from cam.tables.read import find_controller, read_tables
from cam.tables.rows import Controller

CORPUS = sorted((Path(__file__).parents[1] / "reader" / "valid").glob("*.ngc"))
LIMIT_S = 20
MAX_ROWS_PER_LINE = 60_000
_TOKENS = (
    "G0 G1 G2 G3 G4P1 G10L2P1 G17 G18 G19 G20 G21 G28 G30 G38.2 G40 G41 G43H1 G49 G53 G54 G55 G59.3 G61 G61.1 G64 "
    "G80 G81 G82 G83 G84 G85 G86 G87 G88 G89 G90 G91 G92 G92.1 G92.2 G92.3 G93 G94 G98 G99 M0 M1 M2 M3 M4 M5 M6 M7 "
    "M8 M9 M30 M48 M49 M60 M98 X1 Y-2.5 Z.5 I1 J2 K3 R1 R-4 P1 Q.1 Q1e-9 L3 L999999999 H2 D1 T3 S9000 F100 F0 A1 B2 "
    "U1 W2 O100 N7 / % ( ) (MSG,a) ; # #1 #1=2 ##1 #[1]=[2] [ ] [1+2] [1/0] SIN[ ATAN[1]/[2] ** MOD 1e5 1.2.3 -- +- = "
    "\t \x00 \x1b é ² ٣ \u2028 \x85 \ufeff 99999999999999999999 0.00000000001 X[10**9] X-999999999 [[[[[[[[[[ ########1"
)
TOKENS = _TOKENS.split(" ")


VARIANTS: tuple[dict, ...] = (
    {},
    {"modal": True},
    {"modal": True, "distance": "G91"},
    {"radius": True},
    {"units": "G20", "modal": True},
    {"units": "G20", "distance": "G91", "radius": True},
)


def make_programs() -> list[str]:
    """Return the sound programs that the damaged ones are made from."""
    programs = [path.read_bytes().decode("utf-8") for path in CORPUS]
    assert programs
    rng = random.Random(6556)
    return programs + [_make_moves(rng, **variant) for variant in VARIANTS]


def _make_moves(
    rng: random.Random, *, modal: bool = False, units: str = "G21", distance: str = "G90", radius: bool = False
) -> str:
    """Return a program of many plain moves."""
    lines = ["(made for damage)", f"{units} G90 G17 G94", "T1 M6", "S18000 M3", "G4 P2", "G0 Z5", "G0 X0 Y0"]
    lines += [f"G1 Z-1 F50 {distance}"]
    here, last = (0.0, 0.0), "G1"
    for _ in range(120):
        i, j = round(rng.uniform(-9, 9), 4), round(rng.uniform(-9, 9), 4)
        word = rng.choice(["G0", "G1", "G1", "G2", "G3"])
        there = (round(here[0] + 2 * i, 4), round(here[1] + 2 * j, 4))
        shown = there if distance == "G90" else (2 * i, 2 * j)
        centre = ""
        if word in {"G2", "G3"}:
            centre = f" R{rng.choice([10, 30, -40])}.5" if radius else f" I{i} J{j}"
            if radius:
                there, shown = (here[0] + i, here[1] + j), (here[0] + i, here[1] + j) if distance == "G90" else (i, j)
        lines.append(f"{'' if modal and word == last else word} X{shown[0]:.4f} Y{shown[1]:.4f}{centre}")
        here, last = there, word
        if rng.random() < 0.05:
            lines.append("(a part)")
    return "\n".join([*lines, "G90 G0 Z5", "M5", "M2", ""])


def damage(text: str, *, rng: random.Random) -> str:
    """Return a program with one damage more."""
    if not text:
        return rng.choice(TOKENS)
    at = rng.randrange(len(text))
    lines = text.split("\n")
    line = rng.randrange(len(lines))
    kind = rng.randrange(14)
    if kind == 0:
        return text[:at] + text[at + rng.randint(1, 3) :]
    if kind in {1, 2}:
        return text[:at] + rng.choice(TOKENS) + text[at:]
    if kind == 3:
        return text[:at] + chr(rng.choice([rng.randrange(128), rng.randrange(0x3000)])) + text[at + 1 :]
    if kind == 4:
        return text[:at] + text[at : at + rng.randint(1, 40)] * rng.randint(2, 20) + text[at:]
    if kind == 5:
        return text[:at]
    if kind == 6:
        other = rng.randrange(len(lines))
        lines[line], lines[other] = lines[other], lines[line]
    elif kind == 7:
        del lines[line]
    elif kind == 8:
        lines.insert(line, lines[rng.randrange(len(lines))])
    elif kind == 9:
        lines[line : line + 2] = ["".join(lines[line : line + 2])]
    elif kind == 10:
        lines[line] = " ".join(rng.choice(TOKENS) for _ in range(rng.randint(1, 8)))
    elif kind == 11:
        lines[line : line + 1] = [
            lines[line].replace("-", "") if "-" in lines[line] else lines[line].replace("X", "X-")
        ]
    elif kind == 12:
        lines[line] = lines[line].replace(rng.choice("XYZIJRFGM0123456789. "), rng.choice("XYZIJRFGM0123456789. -"))
    else:
        lines[line] = rng.choice("[#(X \t") * rng.randint(1, 3000)
    return "\n".join(lines)


def find_difference(first: Trace, second: Trace) -> str | None:
    """Return the name of the first field in which two traces differ, to the last bit."""
    for field in fields(Trace):
        one, two = getattr(first, field.name), getattr(second, field.name)
        if isinstance(one, np.ndarray):
            if one.shape != two.shape or one.dtype != two.dtype or one.tobytes() != two.tobytes():
                return field.name
        elif one != two:
            return field.name
    return None


def check(text: str, *, controller: Controller) -> Trace:
    """Interpret a program both ways; raise AssertionError if anything is out of bounds."""
    trace = interpret_program(text, controller=controller)
    assert len(trace.findings) <= 101
    assert len(trace) <= MAX_ROWS_PER_LINE * max(trace.lines, 1)
    assert trace.lines_read <= trace.lines
    for name in ("start_mm", "end_mm", "sweep_rad", "feed_mm_per_min", "spindle_rpm", "duration_s"):
        assert np.isfinite(getattr(trace, name)).all(), name
    assert np.isfinite(trace.centre_mm[trace.kind == Kind.ARC]).all()
    assert (trace.feed_mm_per_min[(trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)] > 0.0).all()
    for finding in trace.findings:
        assert finding.message and finding.origin.line is not None and 1 <= finding.origin.line <= max(trace.lines, 1)
    shortest = plain.SHORTEST_RUN
    try:
        plain.SHORTEST_RUN = sys.maxsize
        by_line = interpret_program(text, controller=controller)
    finally:
        plain.SHORTEST_RUN = shortest
    assert find_difference(trace, by_line) is None, find_difference(trace, by_line)
    return trace


def run(count: int, *, seed: int, controller: Controller) -> tuple[Counter[str], float]:
    """Damage and check ``count`` programs; return how often each code was found and the slowest time."""
    programs, codes, slowest = make_programs(), Counter(), 0.0
    before = signal.signal(signal.SIGALRM, signal.default_int_handler)
    for number in range(count):
        rng = random.Random(f"{seed}/{number}")
        text = rng.choice(programs if number % 3 else programs[-len(VARIANTS) :])
        for _ in range(rng.randint(1, 6)):
            text = damage(text, rng=rng)
        begun = time.perf_counter()
        signal.alarm(LIMIT_S)
        try:
            trace = check(text, controller=controller)
        except BaseException:
            print(f"program {number} of seed {seed}:\n{text!r}", file=sys.stderr)
            raise
        finally:
            signal.alarm(0)
        slowest = max(slowest, time.perf_counter() - begun)
        codes.update({finding.code for finding in trace.findings} or {"none"})
    signal.signal(signal.SIGALRM, before)
    return codes, slowest


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    count, seed = [*numbers, *(20_000, 1)[len(numbers) :]][:2]
    begun = time.perf_counter()
    codes, slowest = run(count, seed=seed, controller=find_controller(read_tables(), name="ngc"))
    took = time.perf_counter() - begun
    section = (
        f"## Damaged programs, {datetime.date.today().isoformat()}\n\n"
        f"`python tests/bench/fuzz_program.py {count} {seed}`: {count} programs, each read in runs and line by line, "
        f"{took:.0f} s, the slowest {slowest:.2f} s. No traceback, no hang, all within bounds, both readings equal to "
        f"the last bit. Programs in which each code was found:\n\n"
        f"{', '.join(f'{code} {number}' for code, number in codes.most_common())}.\n"
    )
    print(section)
    if "--append" in sys.argv:
        with (Path(__file__).parent / "RESULTS.md").open("a", encoding="utf-8") as results:
            results.write("\n" + section)


if __name__ == "__main__":
    main()
