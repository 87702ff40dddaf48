"""Campaign and times of offsets; prints the tables of RESULTS.md.

``python tests/bench/bench_offset.py`` runs both parts. ``--only campaign`` or ``--only times`` runs one,
``--panels 2000 --first 0 --jobs 2`` say how much of the campaign and on how many processes, and
``--log FILE`` keeps a line for each panel, so that a run that was cut short goes on where it stopped.

The campaign offsets random panels (``random_panels``) both ways by three distances each, and compares every
result with shapely's polygon offset (GEOS) of a flattening to 0.1 micrometre with 1,024 chords to a quarter:
the vertices of one boundary and points along its edges against the other boundary, both ways round. GEOS leaves dents
out of its input before it offsets, up to a hundredth of the distance deep (BufferInputLineSimplifier), and loses parts
now and then. So every point farther than 2 micrometres from the other boundary goes before a judge: the
source's edges near it, offset by GEOS one by one, where there is no dent to leave out, and united, ten times
finer. A point of ours must lie within 2 micrometres of that boundary, and its plain distance to the source must be
right within 2 micrometres; where that boundary passes a stray point of the engine's, ours must be within 2
micrometres of it. Anything else is a failure.
"""

from __future__ import annotations

import argparse
import datetime
import json
import sys
import time
from math import pi
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import shapely
from random_panels import as_polygon, draw_panel

from cam.errors import Refusal
from cam.geometry.contour import Contour, Region
from cam.geometry.flatten import flatten
from cam.geometry.offset import offset_region

WITHIN_MM = 0.002
FLATTEN_MM = 1e-4
STRATA = ((-3.0, -2.2), (-2.2, -1.3), (-1.3, -0.5))
"""Distances as powers of ten of the side of a square of the panel's area."""


def find_rings(shapes) -> list[np.ndarray]:
    return [shapely.get_coordinates(ring) for shape in shapes for ring in shapely.get_rings(shapely.get_parts(shape))]


def find_points(rings, *, spacing_mm: float) -> np.ndarray:
    """The vertices of rings, of those nearer than a micrometre to the last one none, and points between far ones."""
    parts = [np.zeros((0, 2))]
    for ring in rings:
        along = np.cumsum(np.hypot(*np.diff(ring, axis=0, prepend=ring[:1]).T))
        parts.append(ring[np.unique(np.floor(along / (0.5 * WITHIN_MM)), return_index=True)[1]])
        step = ring[1:] - ring[:-1]
        far = np.flatnonzero(np.hypot(*step.T) > spacing_mm)
        parts.extend(ring[far] + share * step[far] for share in (0.25, 0.5, 0.75))
    return np.concatenate(parts)


def find_strays(points, rings) -> tuple[np.ndarray, float]:
    """The points farther than 2 micrometres from rings, and how far the others are at most, in steps."""
    if not len(points):
        return points, 0.0
    if not rings:
        return points, 0.0
    lines = shapely.multilinestrings([shapely.linestrings(ring) for ring in rings])
    shapely.prepare(lines)
    dots = shapely.points(points)
    far = ~shapely.dwithin(lines, dots, 0.25 * WITHIN_MM)
    worst = 0.25 * WITHIN_MM
    strays = points[far]
    for limit in (0.5 * WITHIN_MM, 0.75 * WITHIN_MM, WITHIN_MM):
        if len(strays):
            worst = limit
            strays = strays[~shapely.dwithin(lines, shapely.points(strays), limit)]
    return strays, worst


class Judge:
    """Says of a point whether it lies on the true offset, by edges offset one by one, and by its distance.

    It works ten times finer than the comparison: at the tip where a neck is about to close, an error of 10 nm
    across moves the boundary by micrometres along.
    """

    def __init__(self, region: Region, distance_mm: float) -> None:
        self.source = as_polygon(region, chord_tol_mm=0.1 * FLATTEN_MM)
        self.distance_mm = distance_mm
        rings = find_rings([self.source])
        self.edges = shapely.linestrings(np.concatenate([np.stack((r[:-1], r[1:]), axis=1) for r in rings]))
        self.tree = shapely.STRtree(self.edges)

    def find_offset_near(self, point, *, quad_segs: int) -> np.ndarray | None:
        """The point of the true offset nearest to a point, None if there is none within 5 micrometres."""
        dot, d = shapely.points(point), abs(self.distance_mm)
        near = self.edges[self.tree.query(dot, predicate="dwithin", distance=d + 5.0 * WITHIN_MM)]
        if not len(near) or self.is_beyond(point):
            return None
        united = shapely.union_all(shapely.buffer(near, d, quad_segs=quad_segs)).boundary
        (x, y), r = point, 3.0 * WITHIN_MM
        here = shapely.clip_by_rect(united, x - r, y - r, x + r, y + r)
        # a small distance leads to both sides of the source at once: only one is the offset's
        here = here.intersection(self.source) if self.distance_mm < 0.0 else here.difference(self.source)
        if here.is_empty:
            return None
        nearest = shapely.get_coordinates(shapely.shortest_line(dot, here))[1]
        return nearest if np.hypot(*(nearest - point)) <= 2.5 * WITHIN_MM else None

    def is_beyond(self, point) -> bool:
        """Whether a point lies on the side of the source to which its offset does not go."""
        return bool(shapely.contains_xy(self.source, *point)) != (self.distance_mm < 0.0)

    def find_error_mm(self, point) -> float:
        """How far the plain distance of a point to the source is from the offset's."""
        d = abs(self.distance_mm)
        at = self.tree.query_nearest(shapely.points(point), return_distance=True)[1]
        return abs(float(at[0]) - d)


def try_panel(seed: int) -> dict:
    """All offsets of a panel: counts, and every failure with its reason."""
    family, region, rng = draw_panel(seed)
    source = as_polygon(region, chord_tol_mm=FLATTEN_MM)
    size, count = float(np.sqrt(source.area)), sum(len(contour) for contour in region.contours)
    row = {"seed": seed, "family": family, "offsets": 0, "empty": 0, "settled": [], "failures": [], "worst_mm": 0.0}
    row["elements"], row["ours_s"], row["size_mm"] = 0.0, 0.0, float(max(np.ptp(region.outer.points_mm, axis=0)))
    for low, high in STRATA:
        for side in (-1.0, 1.0):
            distance = side * size * 10.0 ** float(rng.uniform(low, high))
            row["offsets"] += 1
            start = time.process_time()
            try:
                found = offset_region(region, distance_mm=distance)
            except (Refusal, ValueError, StopIteration) as refusal:
                row["failures"].append([distance, f"{type(refusal).__name__}: {refusal}"[:200]])
                continue
            row["ours_s"] += time.process_time() - start
            share = sum(len(contour) for part in found for contour in part.contours) / count
            row["elements"] = max(row["elements"], share)
            row["empty"] += not found
            if share > 2.0:
                row["failures"].append([distance, f"{share:.2f} times the elements"])
            compare(row, region, source, found, distance)
    return row


def is_right(judge: Judge, point, quad_segs: int) -> bool:
    """Whether a point of ours lies on the true offset, by the judge's edges and by its plain distance."""
    true = judge.find_offset_near(point, quad_segs=quad_segs)
    near = true is not None and float(np.hypot(*(true - point))) <= WITHIN_MM
    return near and judge.find_error_mm(point) <= WITHIN_MM


def is_missed(judge: Judge, point, near_ours: shapely.MultiLineString, quad_segs: int) -> bool:
    """Whether the true offset passes a point of the engine's, and ours does not pass there."""
    true = judge.find_offset_near(point, quad_segs=quad_segs)
    if true is None:
        return False
    return near_ours.is_empty or float(shapely.distance(near_ours, shapely.points(true))) > WITHIN_MM


def spread(points) -> np.ndarray:
    """Up to six points, evenly, always with the first and the last."""
    return points[np.unique(np.linspace(0, len(points) - 1, min(6, len(points))).astype(int))]


def compare(row: dict, region: Region, source: shapely.Polygon, found, distance: float) -> None:
    # not by way of polygons: a lens of two short arcs has but two chords
    flat = [flatten(contour, chord_tol_mm=FLATTEN_MM) for part in found for contour in part.contours]
    ours = [np.concatenate((ring, ring[:1])) for ring in flat]
    spacing = 0.001 * source.length
    engine = find_rings([source.buffer(distance, quad_segs=1024)])
    our_strays, out = find_strays(find_points(ours, spacing_mm=spacing), engine)
    its_strays, back = find_strays(find_points(engine, spacing_mm=spacing), ours)
    row["worst_mm"] = max(row["worst_mm"], out, back)
    if not len(our_strays) and not len(its_strays):
        return
    judge, faults = Judge(region, distance), []
    strays = f"{len(our_strays)} points of ours, {len(its_strays)} of the engine's"
    near_ours = shapely.multilinestrings([shapely.linestrings(ring) for ring in ours])
    # the finer judge is asked where the coarser one speaks against us: at tips where sides almost touch
    for point in spread(our_strays):
        if not any(is_right(judge, point, quad_segs) for quad_segs in (1024, 8192)):
            faults.append(("ours", point.round(5).tolist()))
    for point in spread(its_strays):
        if all(is_missed(judge, point, near_ours, quad_segs) for quad_segs in (1024, 8192)):
            faults.append(("missing", point.round(5).tolist()))
    if faults:
        row["failures"].append([distance, f"{strays}; {len(faults)} against us, as {faults[0]}"])
    else:
        row["settled"].append([distance, strays])


def run_campaign(first: int, panels: int, jobs: int, log: Path | None) -> list[dict]:
    rows = {}
    if log is not None and log.exists():
        for line in log.read_text().splitlines():
            row = json.loads(line)
            rows[row["seed"]] = row
    wanted = [seed for seed in range(first, first + panels) if seed not in rows]
    with Pool(jobs) as pool:
        for row in pool.imap_unordered(try_panel, wanted, chunksize=4):
            rows[row["seed"]] = row
            if log is not None:
                with log.open("a") as out:
                    out.write(json.dumps(row) + "\n")
    return [rows[seed] for seed in range(first, first + panels)]


def print_campaign(rows: list[dict]) -> None:
    print(
        "| family | panels | mm | offsets | of them empty | over 2 um, engine at fault | failures | elements at most |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for family in [*dict.fromkeys(row["family"] for row in rows), "all"]:
        own = [row for row in rows if family in (row["family"], "all")]
        sizes = [row["size_mm"] for row in own]
        print(
            f"| {family} | {len(own)} | {min(sizes):.2g} to {max(sizes):.4g} | {sum(row['offsets'] for row in own)} "
            f"| {sum(row['empty'] for row in own)} | {sum(len(row['settled']) for row in own)} "
            f"| {sum(len(row['failures']) for row in own)} | {max(row['elements'] for row in own):.2f} x |"
        )
    print(f"\nprocessor time of castcut's offsets: {sum(row['ours_s'] for row in rows):.0f} s")
    for row in rows:
        for distance, reason in row["failures"]:
            print(f"- FAILED: seed {row['seed']} ({row['family']}) by {distance:.6g} mm: {reason}")


def wave(count: int, bulges) -> Contour:
    """A wavy closed curve of about 1 m through a number of points."""
    angle = np.arange(count) * 2.0 * pi / count
    radius = 500.0 * (1.0 + 0.2 * np.sin(7.0 * angle))
    return Contour(np.column_stack((radius * np.cos(angle), radius * np.sin(angle), bulges)))


def saw(count: int) -> Contour:
    angle = np.arange(count) * 2.0 * pi / count
    radius = 500.0 * (1.0 + 0.02 * np.random.default_rng(1).random(count))
    return Contour(np.column_stack((radius * np.cos(angle), radius * np.sin(angle), np.zeros(count))))


def comb(count: int) -> Contour:
    """Teeth of unequal length, every side another width."""
    rng = np.random.default_rng(2)
    teeth = count // 4
    x = np.cumsum(rng.uniform(0.4, 1.0, 2 * teeth))
    top = rng.uniform(20.0, 30.0, teeth)
    foot = rng.uniform(5.0, 6.0, teeth)
    y = np.column_stack((foot, top, top, foot)).ravel()
    along = np.column_stack((x[::2], x[::2], x[1::2], x[1::2])).ravel()
    points = np.concatenate(([[along[0], 0.0], [along[-1], 0.0]], np.column_stack((along, y))[1:-1][::-1]))
    return Contour(np.column_stack((points, np.zeros(len(points)))))


def cases(count: int) -> dict[str, tuple[Contour, tuple[float, ...]]]:
    rng = np.random.default_rng(1)
    bulges = rng.uniform(-1.0, 1.0, count)
    some = np.where(rng.random(count) < 0.5, bulges, 0.0)
    smooth = wave(count, np.zeros(count))
    chord = np.roll(smooth.points_mm, -1, axis=0) - smooth.points_mm
    before = np.roll(chord, 1, axis=0)
    turn = np.arctan2(before[:, 0] * chord[:, 1] - before[:, 1] * chord[:, 0], (before * chord).sum(axis=1))
    near, far = (-3.0, -0.05, 0.05, 3.0), (-150.0, -30.0, -3.0, -0.05, 0.05, 3.0, 30.0, 150.0)
    return {
        "lines along a wave": (smooth, far),
        "lines, saw teeth": (saw(count), near),
        "lines, a comb": (comb(count), (-0.3, -0.15, 0.15, 0.3, 3.0)),
        "arcs": (wave(count, bulges), near),
        "lines and arcs": (wave(count, some), near),
        "near-straight arcs, random": (wave(count, 1e-4 * bulges), far),
        "near-straight arcs along a wave": (wave(count, np.tan((turn + np.roll(turn, -1)) / 8.0)), far),
    }


def least(work, runs: int) -> tuple[float, object]:
    """Processor time, the least of some runs."""
    best = float("inf")
    for _ in range(runs):
        start = time.process_time()
        result = work()
        best = min(best, time.process_time() - start)
        if best > 0.3:
            break
    return best, result


def run_times(count: int) -> None:
    print("| contour | distance mm | chords | bare buffer ms | offset ms | ratio | elements |")
    print("|---|---|---|---|---|---|---|")
    worst = 0.0
    for name, (contour, distances) in cases(count).items():
        shape = shapely.Polygon(flatten(contour, chord_tol_mm=1e-3))
        region = Region(outer=contour)
        for distance in distances:
            bare_s, _ = least(lambda shape=shape, distance=distance: shape.buffer(distance), 9)
            ours_s, found = least(lambda region=region, d=distance: offset_region(region, distance_mm=d), 7)
            elements = sum(len(part) for one in found for part in one.contours)
            worst = max(worst, ours_s / bare_s)
            print(
                f"| {name} | {distance:g} | {len(shapely.get_coordinates(shape)) - 1} | {1e3 * bare_s:.1f} "
                f"| {1e3 * ours_s:.1f} | {ours_s / bare_s:.1f} | {elements} |",
                flush=True,
            )
    print(f"\nThe worst ratio is {worst:.1f}, the target 25.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=("campaign", "times"))
    parser.add_argument("--panels", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--elements", type=int, default=10_000)
    parser.add_argument("--log", type=Path)
    given = parser.parse_args()
    print(
        f"{datetime.date.today()}, CPython {sys.version.split()[0]}, shapely {shapely.__version__}, "
        f"GEOS {'.'.join(map(str, shapely.geos_version))}\n"
    )
    if given.only != "times":
        print_campaign(run_campaign(given.first, given.panels, given.jobs, given.log))
    if given.only != "campaign":
        run_times(given.elements)


if __name__ == "__main__":
    main()
