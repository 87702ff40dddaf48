"""How short the travel is: 30 sheets of holes beside two solvers and two bounds, 30 sheets of panels.

Run with ``python tests/bench/bench_order.py [--seconds 60] [--references FILE] [--append]``. The two
solvers take up to ``--seconds`` each on every sheet (the better part of an hour in all with 60); FILE
keeps their lengths, so that a run may be broken off and go on. ``--append`` adds a dated section to RESULTS.md. Without
OR-Tools (extra ``crosscheck``) its column is empty. Exit code 1 if a target is missed.

Times are processor times: the machine may be busy with other work.
"""

from __future__ import annotations

import argparse
import datetime
import json
import platform
import sys
import time
from dataclasses import dataclass
from importlib.util import find_spec
from itertools import pairwise
from math import dist, sqrt
from pathlib import Path

import numpy as np
from generated_sheets import SHEET_MM, SHEETS, find_means, make_holes, make_panels
from tour_references import MOST_CONVERGED, bound_held_karp_mm, solve_fast_tsp, solve_ortools

from cam.plan.order import Stop, measure_travel_mm, order_stops
from cam.plan.plan_panels import plan_panels
from cam.plan.workingstep import Operation
from cam.tables.job import Hold

HOME = (0.0, 0.0)
MAX_ABOVE_BEST = 0.005
MIN_SHORTER = 0.10
ASYMPTOTE = 0.7124
BOUND_ROUNDS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One sheet's line of a table, and whether it met its target."""

    text: str
    met: bool


def find_reference(stored: dict[str, float], key: str, *, file: Path | None, solve) -> float:
    """Return a stored length, or find and store it."""
    if key not in stored:
        stored[key] = solve().length_mm
        if file:
            file.write_text(json.dumps(stored, indent=1) + "\n", encoding="utf-8")
    return stored[key]


def measure_holes(number: int, *, seconds: float, stored: dict[str, float], file: Path | None) -> Row:
    """Order one sheet of holes; compare with the solvers, the bound and the asymptote."""
    holes = make_holes(number)
    stops = [Stop(key=n, group=0, places_mm=((x, y),)) for n, (x, y) in enumerate(holes.tolist())]
    begun = time.process_time()
    visits = order_stops(stops, from_mm=HOME)
    took = time.process_time() - begun
    assert sorted(visit.key for visit in visits) == list(range(len(holes)))
    assert order_stops(stops, from_mm=HOME) == visits
    own = measure_travel_mm(visits, from_mm=HOME)
    fast = find_reference(
        stored,
        f"fast-tsp {seconds:g} s, sheet {number}",
        file=file,
        solve=lambda: solve_fast_tsp(holes, from_mm=HOME, seconds=seconds),
    )
    routing = None
    if find_spec("ortools"):
        routing = find_reference(
            stored,
            f"ortools {seconds:g} s, sheet {number}",
            file=file,
            solve=lambda: solve_ortools(holes, from_mm=HOME, seconds=seconds),
        )
    best = min(fast, routing or fast)
    bound = bound_held_karp_mm(holes, from_mm=HOME, upper_mm=best, rounds=BOUND_ROUNDS)
    even = ASYMPTOTE * sqrt(len(holes) * SHEET_MM[0] * SHEET_MM[1])
    above = own / best - 1.0
    return Row(
        text=f"| {number + 1} | {len(holes)} | {own / 1e3:.3f} | {fast / 1e3:.3f} | "
        f"{f'{routing / 1e3:.3f}' if routing else '-'} | {100 * above:+.2f} % | {bound / 1e3:.3f} | "
        f"{100 * (own / bound - 1):+.2f} % | {own / even:.3f} | {took:.2f} |",
        met=above <= MAX_ABOVE_BEST,
    )


def measure_panels(number: int, *, seconds: float) -> Row:
    """Plan one sheet of panels; compare with the solver's tour through first vertices.

    The solver knows no precedence at all, so no shop could cut by its tour. Bores start at their middle
    in both.
    """
    layout, means = make_panels(number), find_means(Hold())
    begun = time.process_time()
    plan = plan_panels(layout, means=means)
    took = time.process_time() - begun
    steps = plan.workingsteps
    own = sum(dist(a, b) for a, b in pairwise([HOME, *(step.start_mm for step in steps)]))
    outline = {step.panel: step.number for step in steps if step.operation is Operation.OUTSIDE}
    assert all(step.number <= outline[step.panel] for step in steps)
    first = np.array(
        [step.start_mm if step.operation is Operation.BORE else step.wall.points_mm[0].tolist() for step in steps]
    )
    unbound = solve_fast_tsp(first, from_mm=HOME, seconds=seconds).length_mm
    return Row(
        text=f"| {number + 1} | {len(layout.placements)} | {len(steps)} | {own / 1e3:.3f} | {unbound / 1e3:.3f} | "
        f"{100 * (own / unbound - 1):+.1f} % | {took:.2f} |",
        met=own <= (1.0 - MIN_SHORTER) * unbound,
    )


def measure_time(count: int) -> tuple[float, float]:
    """Return the seconds that holes strewn evenly take, and that panels of four insides each take."""
    rng = np.random.default_rng([10, count])
    holes = rng.uniform((0.0, 0.0), SHEET_MM, (count, 2)).round(2).tolist()
    plain = [Stop(key=n, group=0, places_mm=((x, y),)) for n, (x, y) in enumerate(holes)]
    walls = []
    for n in range(count):
        over = n - n % 5
        x, y = holes[over] if n == over else (holes[over][0] + 40.0 * (n - over), holes[over][1] + 50.0)
        half = 120.0 if n == over else 15.0
        turn = np.linspace(0.0, 2.0 * np.pi, 32, endpoint=False)
        places = tuple(zip((x + half * np.cos(turn)).tolist(), (y + half * np.sin(turn)).tolist(), strict=True))
        walls.append(Stop(key=n, group=0, places_mm=places, before=over if n != over else None))
    took = []
    for stops in (plain, walls):
        begun = time.process_time()
        order_stops(stops, from_mm=HOME)
        took.append(time.process_time() - begun)
    return took[0], took[1]


def main() -> int:
    parser = argparse.ArgumentParser(description="travel beside solvers and bounds")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--references", type=Path)
    parser.add_argument("--append", action="store_true")
    given = parser.parse_args()
    stored = json.loads(given.references.read_text()) if given.references and given.references.exists() else {}
    lines = [
        "",
        f"## Order of cutting, {datetime.date.today().isoformat()}",
        "",
        f"`python tests/bench/bench_order.py`, Python {platform.python_version()}, processor seconds, lengths in m. "
        f"Sheets of seeds on which no setting was chosen. OR-Tools {given.seconds:g} s by the wall clock; fast-tsp to "
        f"convergence up to {MOST_CONVERGED} stops, {given.seconds:g} processor seconds above. The asymptote is "
        f"{ASYMPTOTE} sqrt(n A).",
        "",
        "| sheet | holes | castcut | fast-tsp | OR-Tools | above the best | Held-Karp | above it | / asymptote | s |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    met = True
    for number in range(SHEETS):
        row = measure_holes(number, seconds=given.seconds, stored=stored, file=given.references)
        print(row.text, "" if row.met else "MISSED", flush=True)
        lines.append(row.text)
        met &= row.met
    lines += [
        "",
        "Panels, each outline after its own insides, held by bridges, with free starts; the solver (fast-tsp) goes "
        "through fixed starts at first vertices and keeps no precedence.",
        "",
        "| sheet | panels | features | castcut | solver | against it | plan, s |",
        "|---|---|---|---|---|---|---|",
    ]
    for number in range(SHEETS):
        row = measure_panels(number, seconds=given.seconds)
        print(row.text, "" if row.met else "MISSED", flush=True)
        lines.append(row.text)
        met &= row.met
    lines.append("")
    for count, limit in ((300, 2.0), (2000, 10.0)):
        plain, walls = measure_time(count)
        text = f"{count} features: {plain:.1f} s as holes, {walls:.1f} s with 32 starts each (limit {limit:g} s)."
        print(text, flush=True)
        lines.append(text)
        met &= max(plain, walls) <= limit
    lines.append(f"Targets {'met' if met else 'MISSED'}.")
    print(lines[-1])
    if given.append:
        with Path(__file__).with_name("RESULTS.md").open("a", encoding="utf-8") as out:
            out.write("\n".join(lines) + "\n")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
