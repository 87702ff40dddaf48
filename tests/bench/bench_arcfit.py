"""Arcs in place of curves and of chords: how few, how near, how tangent, how soon.

Run with ``python tests/bench/bench_arcfit.py [--count 500] [--seed 1] [--append]``.

Curves: ellipses and random B-splines (degrees 2 to 5, some rational) fitted within 0.005 mm. The second
engine is ezdxf, whose own flattening within 1e-5 mm must lie within the distance both ways. The count of
arcs is set beside the fewest that dynamic programming over the same samples finds with the same kind of
pair of arcs, and the largest kink at a joint is told.

Chords: COUNT circles, rounded rectangles and slots exported as chords, and COUNT real polygons of 3 to 15 sides, in
random places and sizes, written with 3 to 9 decimals. A circle must come back as a hole of its diameter,
a rounded rectangle as four lines and four arcs, a slot as two and two; a polygon must come back bit for bit; and
everything must lie within the distance both ways by shapely. ``--append`` adds a dated section to
RESULTS.md. Exit code 1 where a target is missed.
"""

from __future__ import annotations

import argparse
import datetime
import platform
import sys
import time
from collections import Counter
from itertools import pairwise
from math import pi, tan
from pathlib import Path

import ezdxf
import numpy as np
import shapely
from ezdxf.math import BSpline, ConstructionEllipse

from cam.geometry.arcfit import _keeps_distance, fit_curve, lay_biarc
from cam.geometry.arcfit_chords import fit_contour_chords
from cam.geometry.arcfit_sampling import sample_curve
from cam.geometry.contour import Contour, find_segments, polygon
from cam.geometry.flatten import flatten, flatten_vertices
from cam.geometry.transform import move, reverse, turn
from cam.panel.nesting import find_diameter_mm

TOL_MM = 0.005
COUNT_TOL_MM = 0.05
"""Ten times coarser where arcs are counted against the fewest: the tries grow with the square of the samples."""
FLAT_MM = 1e-5
MISSES = 4


# curves


def make_ellipse(a, b):
    def run(t):
        x, y = np.cos(t), np.sin(t)
        return np.column_stack((a * x, b * y)), np.column_stack((-a * y, b * x))

    reference = ConstructionEllipse((0, 0), (a, 0, 0), ratio=b / a, start_param=0.0, end_param=2 * pi)
    return run, np.array([0.0, 2 * pi]), reference.flattening(FLAT_MM)


def make_spline(rng):
    degree, count = int(rng.integers(2, 6)), int(rng.integers(6, 25))
    size = 10.0 ** rng.uniform(0.5, 2.7)
    points = size * np.column_stack((np.arange(count) / 4.0, rng.uniform(-1.0, 1.0, count)))
    weights = [float(w) for w in rng.uniform(0.4, 2.5, count)] if rng.random() < 0.4 else None
    curve = BSpline([(float(x), float(y)) for x, y in points], order=degree + 1, weights=weights)

    def run(t):
        rows = [curve.derivative(float(u), n=1) for u in np.clip(t, 0.0, curve.max_t)]
        return np.array([[p.x, p.y] for p, _ in rows]), np.array([[d.x, d.y] for _, d in rows])

    name = f"degree {degree}, {count} control points{', rational' if weights else ''}, {size * count / 4:.0f} mm"
    return name, (run, np.unique(np.array(curve.knots())), curve.flattening(FLAT_MM))


def count_fewest_pairs(points, tangents, *, tol_mm, chord_tol_mm) -> int:
    """The fewest pairs of arcs between samples, over every span until several in a row fail."""
    step = np.hypot(*np.diff(points, axis=0).T)
    fewest = np.full(len(points), len(points))
    fewest[0] = 0
    for at in range(len(points) - 1):
        misses = 0
        for to in range(at + 1, len(points)):
            pair = lay_biarc(points[at], tangents[at], points[to], tangents[to])
            if to == at + 1 or (
                pair is not None
                and _keeps_distance(pair, points[at : to + 1], step[at:to], tol_mm=tol_mm - chord_tol_mm)
            ):
                fewest[to] = min(fewest[to], fewest[at] + 1)
                misses = 0
            else:
                misses += 1
                if misses > MISSES:
                    break
    return int(fewest[-1])


def measure_curve(curve):
    run, breaks, flattening = curve
    reference = np.array([(p.x, p.y) for p in flattening])
    start = time.process_time()
    path = fit_curve(run, breaks=breaks, tol_mm=TOL_MM)
    took = time.process_time() - start
    flat = flatten_vertices(path, chord_tol_mm=FLAT_MM, closed=False)[0]
    away = max(_measure_away(flat, reference), _measure_away(reference, flat))
    segments = find_segments(path, closed=False)
    chord = segments.end_mm - segments.start_mm
    heading, half = np.arctan2(chord[:, 1], chord[:, 0]), segments.sweep_rad / 2
    kink = np.angle(np.exp(1j * (heading[1:] - half[1:] - heading[:-1] - half[:-1])))
    runs = sample_curve(run, breaks=breaks, chord_tol_mm=COUNT_TOL_MM / 50)
    fewest = sum(
        count_fewest_pairs(r.points_mm, r.tangents, tol_mm=COUNT_TOL_MM, chord_tol_mm=COUNT_TOL_MM / 50) for r in runs
    )
    coarse = len(fit_curve(run, breaks=breaks, tol_mm=COUNT_TOL_MM)) - 1
    return len(path) - 1, coarse, 2 * fewest, away, float(np.abs(kink).max(initial=0.0)), took, len(runs)


def _measure_away(points, line) -> float:
    tree = shapely.STRtree(shapely.linestrings(np.array(list(pairwise(line)))))
    away = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)[1]
    return float(away.max())


def run_curves(seed: int):
    rng = np.random.default_rng(seed)
    curves = [(f"ellipse {a:g} x {b:g}", make_ellipse(a, b)) for a, b in ((100, 50), (300, 12), (5, 4), (900, 890))]
    curves += [make_spline(rng) for _ in range(10)]
    rows, missed = [], []
    for name, curve in curves:
        arcs, coarse, fewest, away, kink, took, runs = measure_curve(curve)
        rows.append(f"| {name} | {arcs} | {coarse} | {fewest} | {1e3 * away:.3f} | {kink:.1e} | {took:.2f} |")
        if away > TOL_MM + 2 * FLAT_MM:
            missed.append(f"{name}: {1e3 * away:.4f} micrometres away")
        if runs == 1 and kink > 1e-6:
            missed.append(f"{name}: a kink of {kink:.1e} rad")
        if coarse > fewest + 2:  # a greedy fit may take one pair more
            missed.append(f"{name}: {coarse} arcs where {fewest} would do")
    return rows, missed


# chords


def _place(rng, contour: Contour, decimals: int, tol_mm: float) -> Contour:
    far = float(rng.choice([0.0, 300.0, 1e4]))
    placed = move(
        turn(contour, angle_rad=float(rng.choice([0.0, rng.uniform(0, 2 * pi)]))),
        by_mm=tuple(rng.uniform(-far, far, 2)),
    )
    if rng.random() < 0.5:
        placed = reverse(placed)
    points = flatten(placed, chord_tol_mm=tol_mm)
    return polygon(np.roll(points, int(rng.integers(len(points))), axis=0).round(decimals))


def draw_circle(rng):
    radius, count, decimals = 10.0 ** rng.uniform(0.0, 2.5), int(rng.integers(16, 361)), int(rng.integers(3, 10))
    height = radius * (1.0 - np.cos(pi / count))
    angle = rng.uniform(0, 6) + np.arange(count) * 2 * pi / count * rng.choice([-1, 1])
    centre = rng.uniform(-1e4, 1e4, 2)
    points = centre + radius * np.column_stack((np.cos(angle), np.sin(angle)))
    tol = 1.05 * height + 0.003

    def judge(fitted):
        diameter = find_diameter_mm(fitted)
        return diameter is not None and abs(diameter - 2 * radius) < 2e-3

    return polygon(points.round(decimals)), tol, judge


def draw_frame(rng):
    radius, gap, other = 10.0 ** rng.uniform(0.3, 1.7), 10.0 ** rng.uniform(0.0, 2.5), 10.0 ** rng.uniform(0.0, 2.5)
    b, r = tan(pi / 8), radius
    w, h = r + gap, r + other
    rows = [(r, 0, 0), (w, 0, b), (w + r, r, 0), (w + r, h, b), (w, h + r, 0), (r, h + r, b), (0, h, 0), (0, r, b)]
    return _draw_exported(rng, Contour(np.array(rows)), radius, lines=4)


def draw_slot(rng):
    r, length = 10.0 ** rng.uniform(0.3, 1.5), 10.0 ** rng.uniform(0.0, 2.5)
    rows = [(0, -r, 0), (length, -r, 1), (length, r, 0), (0, r, 1)]
    return _draw_exported(rng, Contour(np.array(rows, dtype=float)), r, lines=2)


def _draw_exported(rng, exact, radius, *, lines):
    """Chords within 0.002 to 0.02 mm, at most 22.5 degrees each."""
    chord_tol = min(10.0 ** rng.uniform(-2.7, -1.7), radius * (1 - np.cos(pi / 16)))
    chords = _place(rng, exact, int(rng.integers(3, 10)), chord_tol)

    def judge(fitted):
        segments = find_segments(fitted.vertices)
        radii = segments.radius_mm[segments.is_arc]
        return len(fitted) == 2 * lines and len(radii) == lines and np.abs(radii - radius).max() < 0.01

    return chords, float(rng.choice([1.2, 3.0])) * chord_tol + 0.003, judge


def draw_sides(rng):
    """A real polygon: regular or not, 3 to 15 sides, however small beside the distance."""
    count = int(rng.integers(3, 16))
    radius = 10.0 ** rng.uniform(-1.0, 2.5)
    angle = rng.uniform(0, 6) + np.arange(count) * 2 * pi / count
    wide = radius * (1.0 + (rng.uniform(-0.2, 0.2, count) if rng.random() < 0.3 else 0.0))
    points = np.column_stack((wide * np.cos(angle), wide * np.sin(angle))) + rng.uniform(-100, 100, 2)
    shape = polygon(points)
    return shape, 10.0 ** rng.uniform(-2.0, 0.0), lambda fitted: fitted.vertices.tobytes() == shape.vertices.tobytes()


def run_chords(count: int, seed: int):
    rng = np.random.default_rng(seed)
    rows, missed = [], []
    for name, draw in (
        ("circle", draw_circle),
        ("rounded rectangle", draw_frame),
        ("slot", draw_slot),
        ("polygon of 3 to 15 sides", draw_sides),
    ):
        good, worst, took, tally = 0, 0.0, 0.0, Counter()
        for number in range(count):
            chords, tol, judge = draw(rng)
            start = time.process_time()
            fitted = fit_contour_chords(chords, tol_mm=tol)
            took += time.process_time() - start
            one, other = flatten(chords, chord_tol_mm=1e-4), flatten(fitted, chord_tol_mm=1e-4)
            cut = max(0.2, float(np.ptp(one, axis=0).max()) / 1000.0)
            fine = [shapely.get_coordinates(shapely.LinearRing(ring).segmentize(cut)) for ring in (one, other)]
            away = max(
                _measure_away(fine[0], np.concatenate((other, other[:1]))),
                _measure_away(fine[1], np.concatenate((one, one[:1]))),
            )
            worst = max(worst, away / tol)
            if away > tol + 2e-4:
                missed.append(f"{name} {number}: {away:.4g} mm away where {tol:.4g} is allowed")
            if judge(fitted):
                good += 1
            else:
                tally[len(fitted)] += 1
                if tally.total() <= 5:
                    missed.append(
                        f"{name} {number}: {len(chords)} chords, distance {tol:.4g}, came back as {len(fitted)}"
                    )
        rows.append(f"| {name} | {count} | {good} | {worst:.3f} | {1e3 * took / count:.2f} |")
    return rows, missed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--append", action="store_true")
    asked = parser.parse_args()
    curve_rows, missed = run_curves(asked.seed)
    chord_rows, more = run_chords(asked.count, asked.seed)
    missed += more
    lines = [
        f"## Arc fitting, {datetime.date.today().isoformat()}",
        "",
        f"`python tests/bench/bench_arcfit.py --count {asked.count} --seed {asked.seed}`, CPython "
        f"{platform.python_version()}, ezdxf {ezdxf.__version__}, processor time. Curves within {TOL_MM:g} mm: arcs, "
        f"the distance to ezdxf's flattening both ways, the largest kink, the time. Within {COUNT_TOL_MM:g} mm also "
        "the arcs beside the fewest by dynamic programming (arcs of one circle are joined afterwards, so there may be "
        "fewer than these).",
        "",
        f"| curve | arcs | at {COUNT_TOL_MM:g} mm | fewest | micrometres | kink rad | s |",
        "|---|---|---|---|---|---|---|",
        *curve_rows,
        "",
        "Chords: how many came back as they were before export, and the largest distance both ways as a share of "
        "the one allowed.",
        "",
        "| exported | drawn | as before | share | ms each |",
        "|---|---|---|---|---|",
        *chord_rows,
        "",
        "Missed: " + ("none." if not missed else ""),
        *(f"- {word}" for word in missed),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if asked.append:
        with (Path(__file__).parent / "RESULTS.md").open("a", encoding="utf-8") as file:
            file.write("\n" + text)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
