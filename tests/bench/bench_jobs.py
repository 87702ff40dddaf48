"""Random jobs by a seed, and a check of each program by other means.

Jobs differ in panels, sizes, cut-outs, holes to bore or to drill, recesses, grooves, chamfers, finish
classes, faces, cutters, holding, grips, clamps, allowances, heights, machines and controllers. The
check flattens the trace (what the right leg read back) and measures with shapely: no cutter's disc may
reach a panel, and nothing but bridges, a skin and kept slugs may stay. Run as a script for a campaign::

    python tests/bench/bench_jobs.py --first 20000 --count 300

``--append`` adds the table of outcomes to RESULTS.md.
"""

from __future__ import annotations

import argparse
import datetime
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import cos, hypot, pi, sin, tan
from pathlib import Path
from time import perf_counter

import ezdxf
import numpy as np
import shapely
import shapely.affinity

from cam import pipeline
from cam.backplot.trace import Kind, Trace
from cam.errors import Refusal
from cam.geometry.flatten import flatten
from cam.geometry.measure import measure_area_mm2
from cam.sheet.layout import place_contour
from cam.tables.job import (
    Allowances,
    Chamfer,
    CornerRule,
    Face,
    Grip,
    Heights,
    Hold,
    HoldKind,
    Job,
    KeepOut,
    PanelEntry,
    ZeroFace,
)
from cam.tables.read import read_tables
from cam.tables.read_job import check_job, find_job_rows
from cam.tables.rows import CutterKind, Tables

GOUGE_MM = 0.003
UNCUT_MM = 0.01
CHORD_MM = 2e-4
"""How far the chords of walls and paths may stand off their arcs; taken off the allowed gouge."""
DRILL_MM = 0.06
"""How much a drilled hole may be off; a drill makes the nearest of its diameters."""
CHAMFER_MM, DEPTH_MM = 0.05, 0.02
THROUGH = ("bore", "clear", "drill", "inside contour", "outside contour")
QUARTER = 2.0**0.5 - 1.0
MACHINES = ("bench", "light-gantry", "workshop-gantry", "industrial")
SHEETS = {
    "bench": ("cast-3-600x400", "cast-4-600x400", "cast-6-600x400"),
    "light-gantry": ("cast-4-1220x850", "cast-6-1220x850"),
    "workshop-gantry": ("cast-4-2440x1220", "cast-6-2440x1220", "cast-8-2440x1220", "extruded-4-2440x1220"),
    "industrial": ("cast-5-3050x2030", "cast-10-3050x2030"),
}
CONTROLLERS = ("ngc", "ngc", "ngc", "level-arcs")
DRILLS_MM = (3, 4, 5, 6)
VEES = ("vee-60-6", "vee-90-12")
CUTTERS = ((), (), (), ("o1-6-up",), ("o1-4-up",), ("o1-5-up", "o1-3-up"), ("o1-8-up", "o1-4-up"), ("o1-6.35-up",))

Vertices = list[tuple[float, float, float]]


@dataclass(frozen=True)
class Checked:
    """What a campaign found of one job: what is wrong, or why the job was refused."""

    seed: int
    faults: tuple[str, ...] = ()
    refused: tuple[str, ...] = ()
    seconds: float = 0.0
    verdict: str = ""
    codes: tuple[str, ...] = ()


def draw_box(x: float, y: float, w: float, h: float, r: float = 0.0) -> Vertices:
    """Return a rectangle with rounded corners."""
    if not r:
        return [(x, y, 0.0), (x + w, y, 0.0), (x + w, y + h, 0.0), (x, y + h, 0.0)]
    vertices = [
        (x + r, y, 0.0),
        (x + w - r, y, QUARTER),
        (x + w, y + r, 0.0),
        (x + w, y + h - r, QUARTER),
        (x + w - r, y + h, 0.0),
        (x + r, y + h, QUARTER),
        (x, y + h - r, 0.0),
        (x, y + r, QUARTER),
    ]
    # where a side is all corner its straight has no length
    return [
        v
        for v, w_ in zip(vertices, vertices[1:] + vertices[:1], strict=True)
        if hypot(v[0] - w_[0], v[1] - w_[1]) > 1e-9
    ]


def draw_outline(rng: random.Random, w: float, h: float) -> tuple[Vertices, tuple[float, float, float, float]]:
    """Return an outline w x h and the box inside which cut-outs may lie."""
    inset = 12.0
    shape = rng.choice(["box", "box", "round", "ell", "notch", "bow", "slant", "disc"])
    if shape == "box":
        return draw_box(0, 0, w, h), (inset, inset, w - inset, h - inset)
    if shape == "round":
        r = rng.uniform(1.0, min(w, h) * 0.45)
        lost = r * (1 - 0.5**0.5) + inset
        return draw_box(0, 0, w, h, r), (lost, lost, w - lost, h - lost)
    if shape == "ell":
        a, b = rng.uniform(0.3, 0.7) * w, rng.uniform(0.3, 0.7) * h
        return [(0, 0, 0), (w, 0, 0), (w, b, 0), (a, b, 0), (a, h, 0), (0, h, 0)], (inset, inset, w - inset, b - inset)
    if shape == "notch":
        a, n, d = rng.uniform(0.2, 0.5) * w, max(15.0, rng.uniform(0.1, 0.3) * w), rng.uniform(0.1, 0.5) * h
        top = [(w, h, 0), (a + n, h, 0), (a + n, h - d, 0), (a, h - d, 0), (a, h, 0), (0, h, 0)]
        return [(0, 0, 0), (w, 0, 0), *top], (inset, inset, w - inset, h - d - inset)
    if shape == "bow":
        bulge = rng.uniform(-0.2, 0.4)
        dip = max(0.0, -bulge) * w / 2
        if dip > h / 2:
            bulge, dip = 0.1, 0.0
        return [(0, 0, 0), (w, 0, 0), (w, h, bulge), (0, h, 0)], (inset, inset, w - inset, h - dip - inset)
    if shape == "slant":
        s = rng.uniform(0.05, 0.4) * w
        return [(0, 0, 0), (w, 0, 0), (w - s, h, 0), (0, h, 0)], (inset, inset, w - s - inset, h - inset)
    r = min(w, h) / 2
    return [(2 * r, r, 1.0), (0, r, 1.0)], (r * 0.35, r * 0.35, r * 1.65, r * 1.65)


def draw_inside(
    rng: random.Random, x: float, y: float, w: float, h: float
) -> tuple[str, Vertices | tuple[float, float, float]]:
    """Return a cut-out or a hole within a box."""
    kind = rng.choice(["hole", "hole", "box", "box", "square", "stadium", "ell", "tee", "key", "oval"])
    if kind == "hole" or min(w, h) < 14:
        return "circle", (x + w / 2, y + h / 2, rng.uniform(min(2.3, min(w, h) / 2), min(w, h) / 2))
    if kind == "square":
        return "path", draw_box(x, y, w, h)
    if kind == "box":
        return "path", draw_box(x, y, w, h, rng.choice([1.0, 3.0, 5.0, 6.5, min(w, h) / 2.01]))
    if kind == "stadium":
        return "path", draw_box(x, y, w, h, min(w, h) / 2)
    if kind == "ell" and min(w, h) > 30:
        a, b = rng.uniform(12, w - 12), rng.uniform(12, h - 12)
        return "path", [
            (x, y, 0),
            (x + w, y, 0),
            (x + w, y + b, 0),
            (x + a, y + b, 0),
            (x + a, y + h, 0),
            (x, y + h, 0),
        ]
    if kind == "tee" and min(w, h) > 45:
        a, b = w / 2 - rng.uniform(6, w / 4), rng.uniform(12, h - 12)
        return "path", [
            (x + a, y, 0), (x + w - a, y, 0), (x + w - a, y + b, 0), (x + w, y + b, 0),
            (x + w, y + h, 0), (x, y + h, 0), (x, y + b, 0), (x + a, y + b, 0),
        ]  # fmt: skip
    if kind == "key" and min(w, h) > 30:
        r, s = min(w, h) / 2, rng.uniform(5.2, min(w, h) / 3)
        rise = (r * r - s * s) ** 0.5
        bulge = (r + rise) / s  # the long way round, from one side of the neck to the other
        tail = max(0.0, h - 2 * r) + rise * 0.3
        cx, cy = x + w / 2, y + r
        return "path", [
            (cx - s, cy + rise, bulge),
            (cx + s, cy + rise, 0),
            (cx + s, cy + rise + tail, 0),
            (cx - s, cy + rise + tail, 0),
        ]
    n, vertices = 24, []
    for i in range(n):
        t = 2 * pi * i / n
        vertices.append((x + w / 2 * (1 + cos(t)), y + h / 2 * (1 + sin(t)), 0.04))
    return "path", vertices


def write_drawing(
    rng: random.Random,
    path: Path,
    *,
    size: tuple[float, float],
    features: int,
    upper: random.Random,
    upper_features: int,
    sunk: bool,
) -> None:
    """Write the drawing of one panel."""
    doc = ezdxf.new("R2010")
    doc.units = 4
    space = doc.modelspace()
    outline, (x0, y0, x1, y1) = draw_outline(rng, *size)
    layer = upper.choice(["0", "0", "OUTLINE", "OUTLINE-HIDDEN"])
    space.add_lwpolyline(outline, format="xyb", close=True, dxfattribs={"layer": layer})
    cells = features + upper_features
    columns = max(1, round(cells**0.5))
    rows = max(1, -(-cells // columns))
    gap = 10.0
    w, h = (x1 - x0 - gap * (columns - 1)) / columns, (y1 - y0 - gap * (rows - 1)) / rows
    if min(w, h) > 8.0:
        for k in range(features):
            cx, cy = x0 + (k % columns) * (w + gap), y0 + (k // columns) * (h + gap)
            a, b = rng.uniform(0.3, 1.0) * w, rng.uniform(0.3, 1.0) * h
            a, b = max(a, 5.0), max(b, 5.0)
            dx, dy = rng.uniform(0, w - a), rng.uniform(0, h - b)
            kind, what = draw_inside(rng, cx + dx, cy + dy, a, b)
            if kind == "circle":
                space.add_circle((what[0], what[1]), what[2])
            else:
                layer = upper.choice(["0", "0", "0", "CUTOUT", "CUTOUT-HIDDEN", "CUTOUT-SHOWN"])
                space.add_lwpolyline(what, format="xyb", close=True, dxfattribs={"layer": layer})
        for k in range(features, cells):
            box = (x0 + (k % columns) * (w + gap), y0 + (k // columns) * (h + gap), w, h)
            draw_upper_face(upper, space, box, sunk=sunk)
    doc.saveas(path)


def draw_upper_face(rng: random.Random, space, box: tuple[float, float, float, float], *, sunk: bool) -> None:
    """Draw a hole to drill in a box, or, where the face may be sunk, a recess, an island in it, or a groove."""
    x, y, w, h = box
    kind = rng.choice(["recess", "recess", "island", "groove", "ring", "drilled"]) if sunk else "drilled"
    if kind == "drilled" or min(w, h) < 20.0:
        space.add_circle((x + w / 2.0, y + h / 2.0), rng.choice(DRILLS_MM) / 2.0)
    elif kind in ("recess", "island"):
        layer = {"layer": f"RECESS-{rng.choice(['0.8', '1.2', '1.5'])}"}
        space.add_lwpolyline(draw_box(x, y, w, h, rng.choice([0.0, 6.5])), "xyb", close=True, dxfattribs=layer)
        if kind == "island" and min(w, h) > 70.0:
            space.add_circle((x + w / 2.0, y + h / 2.0), rng.uniform(5.0, min(w, h) / 2.0 - 25.0), dxfattribs=layer)
    elif kind == "groove":
        layer = {"layer": f"GROOVE-{rng.choice(['8', '10'])}X{rng.choice(['1', '1.5'])}"}
        path = [(x + 6.0, y + 6.0), (x + w - 6.0, y + rng.uniform(6.0, h - 6.0)), (x + w - 6.0, y + h - 6.0)]
        space.add_lwpolyline(path[: rng.choice([2, 3])], dxfattribs=layer)
    else:
        r = min(w, h) / 2.0 - 6.0
        space.add_circle((x + w / 2.0, y + h / 2.0), max(r, 3.0), dxfattribs={"layer": "GROOVE-8X1.2"})


def draw_clamps(rng: random.Random, width_mm: float, height_mm: float) -> tuple[KeepOut, ...]:
    """Return up to three clamps that reach a little over the sheet's edges."""
    clamps = []
    for i in range(rng.choice([0, 0, 1, 3])):
        along, far, over = rng.random(), rng.random() < 0.5, rng.uniform(-20.0, 5.0)
        length, deep = rng.uniform(20.0, 60.0), 40.0
        inward = over - deep / 2.0
        across = rng.random() < 0.5
        span = height_mm if across else width_mm
        at = (along * (width_mm if across else height_mm), span - inward if far else inward)
        clamps.append(
            KeepOut(
                name=f"clamp {i + 1}",
                at_mm=at if across else at[::-1],
                size_mm=(length, deep) if across else (deep, length),
                height_mm=rng.uniform(5.0, 50.0),
            )
        )
    return tuple(clamps)


def write_random_job(seed: int, *, folder: Path, tables: Tables) -> Job:
    """Return the job of a seed, its drawings written into a folder."""
    rng = random.Random(seed)
    machine = rng.choice(MACHINES)
    chosen = rng.choice(SHEETS[machine])
    sheet = next(row for row in tables.sheets if row.name == chosen)
    count = rng.choice([1, 1, 1, 2, 3])
    room_w, room_h = (sheet.width_mm - 80) / count, sheet.height_mm - 60
    entries = []
    upper = random.Random(seed + 0.25)
    # depths below the upper face need a measured sheet that lies face up
    sunk = upper.random() < 0.5
    vee = VEES[0] if machine in ("bench", "light-gantry") else upper.choice(VEES)
    chamfer = Chamfer(width_mm=upper.choice([0.3, 0.5]), cutter=vee)
    for k in range(count):
        w, h = rng.uniform(60, min(room_w, 900)), rng.uniform(60, min(room_h, 700))
        path = folder / f"part-{seed}-{k}.dxf"
        features = rng.choice([0, 1, 1, 2, 3, 5])
        write_drawing(
            rng, path, size=(w, h), features=features, upper=upper, upper_features=upper.choice([0, 1, 2]), sunk=sunk
        )
        quarter = rng.choice([0.0, 0.0, 90.0, 180.0, rng.uniform(-180, 180)])
        face = rng.choice([Face.UP, Face.UP, Face.DOWN])
        face = Face.UP if sunk else face
        entries.append(PanelEntry(drawing=path, turn_deg=quarter, face=face))
    hold = rng.choice(
        [
            Hold(),
            Hold(),
            Hold(by=HoldKind.SKIN),
            Hold(bridge_length_mm=5.0, bridge_height_mm=1.2, bridge_spacing_mm=150.0),
            Hold(min_bridges=2, bridge_length_mm=4.0, clear_slug_below_mm2=500.0),
        ]
    )
    # what came later draws from numbers of its own, so that a seed keeps its drawings
    later = random.Random(seed + 0.5)
    hold = replace(hold, grip=later.choice([Grip.CLAMPS, Grip.CLAMPS, Grip.SCREWS, Grip.VACUUM, Grip.TAPE]))
    if hold.by is HoldKind.SKIN and hold.grip in (Grip.VACUUM, Grip.TAPE):
        hold = replace(hold, skin_last_pass=later.random() < 0.5)
    nominal = sheet.thickness_mm
    heights = rng.choice(
        [Heights(), Heights(measured_thickness_mm=(nominal - 0.1, nominal + 0.2)), Heights(into_bed_mm=0.0)]
    )
    # a drill's point goes on through the sheet into the board under it
    heights = replace(heights, drill_into_bed_mm=6.0)
    if sunk:
        heights = replace(heights, measured_thickness_mm=(nominal - 0.03, nominal + 0.02))
    cutters = rng.choice(CUTTERS)
    if machine == "bench" and "o1-8-up" in cutters:
        cutters = ()  # its collet takes no 8 mm shank
    if cutters:
        cutters = (*cutters, *(f"drill-{mm}" for mm in DRILLS_MM))
    return check_job(
        Job(
            title=f"random {seed}",
            panels=tuple(entries),
            sheet=sheet.name,
            machine=machine,
            cutters=cutters,
            margin_mm=rng.choice([15.0, 20.0, 25.0]),
            corners=CornerRule(radius_mm=rng.choice([4.0, 5.0, 5.0, 6.0])),
            hold=hold,
            heights=heights,
            keep_outs=draw_clamps(later, sheet.width_mm, sheet.height_mm),
            controller=upper.choice(CONTROLLERS),
            chamfer=chamfer if sunk and upper.random() < 0.6 else Chamfer(),
            allowances=later.choice([Allowances(), Allowances(), Allowances(shown_mm=0.4, hidden_mm=0.25)]),
        )
    )


# --- the check ---


def flatten_moves(trace: Trace, rows: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """Return the points of feed and rapid moves, (m, 3) each, arcs as chords within `CHORD_MM`."""
    paths = []
    for i in rows.tolist():
        start, end, sweep = trace.start_mm[i], trace.end_mm[i], float(trace.sweep_rad[i])
        if trace.kind[i] != Kind.ARC:
            paths.append((i, np.array([start, end])))
            continue
        centre = trace.centre_mm[i, :2]
        r = float(np.hypot(*(start[:2] - centre)))
        n = max(2, int(abs(sweep) / (2 * np.arccos(max(0.0, 1 - CHORD_MM / max(r, 2e-4))))) + 1)
        t = np.linspace(0, 1, n + 1)
        angle = np.arctan2(start[1] - centre[1], start[0] - centre[0]) + sweep * t
        points = np.column_stack(
            (centre[0] + r * np.cos(angle), centre[1] + r * np.sin(angle), start[2] + (end[2] - start[2]) * t)
        )
        points[-1] = end
        paths.append((i, points))
    return paths


def cut_below(points: np.ndarray, z_mm: float) -> np.ndarray | None:
    """Return the part of a path at or below a height; heights along one move go one way only."""
    z = points[:, 2]
    if z.min() > z_mm:
        return None
    if z.max() <= z_mm:
        return points
    t = np.arange(len(z), dtype=float)
    at = float(np.interp(z_mm, z, t)) if z[-1] > z[0] else float(np.interp(-z_mm, -z, t))
    keep = t < at if z[-1] > z[0] else t > at
    cross = np.array([[np.interp(at, t, points[:, k]) for k in range(3)]])
    return np.concatenate((points[keep], cross)) if z[-1] > z[0] else np.concatenate((cross, points[keep]))


def check_made(made: pipeline.Made, *, tables: Tables) -> list[str]:
    """Return what is wrong with a made program, in words."""
    job, layout = made.job, made.layout
    rows = find_job_rows(job, tables=tables)
    cutters = {cutter.tool: cutter for cutter in tables.cutters}
    top, zero = layout.max_top_mm, made.bed_z_mm
    faults: list[str] = []
    for program in made.programs:
        trace = program.trace
        faults += [f"reader: {finding}" for finding in trace.findings if finding.severity == "error"]
        moving = np.flatnonzero(np.isin(trace.kind, [Kind.RAPID, Kind.LINE, Kind.ARC]))
        paths = [(i, points - np.array([0.0, 0.0, zero])) for i, points in flatten_moves(trace, moving)]
        faults += _check_heights(trace, paths, top_mm=top, cutters=cutters)
        faults += _check_speeds(trace, paths, top_mm=top, cutters=cutters, machine=rows.machine, material=rows.material)
        faults += _check_cut(trace, paths, made=made, cutters=cutters)
        faults += _check_clamps(trace, paths, made=made, cutters=cutters)
    return faults


def _check_heights(trace, paths, *, top_mm, cutters) -> list[str]:
    faults = []
    for n, (i, points) in enumerate(paths):
        start, end = points[0], points[-1]
        flat = float(np.hypot(*np.diff(points[:, :2], axis=0).T).sum())
        low = points[:, 2].min()
        if low < top_mm and (cutter := cutters.get(int(trace.tool[i]))) and cutter.kind is CutterKind.DRILL:
            faults += _check_drilling(trace, paths[:n], i, start=start, end=end)
            continue
        if trace.kind[i] == Kind.RAPID:
            if n and low < top_mm - 1e-6 and (flat > 1e-6 or end[2] < start[2]):
                faults.append(f"line {trace.line[i]}: rapid in material at {end}")
            if n > 1 and flat > 1e-6 and low < top_mm + 1.0:
                faults.append(f"line {trace.line[i]}: rapid travel only {low - top_mm:.2f} mm above the sheet")
            continue
        if low < top_mm and trace.spindle_rpm[i] <= 0:
            faults.append(f"line {trace.line[i]}: feed with the spindle off")
        drop = start[2] - end[2]
        if flat < 1e-6 and drop > 1e-4 and end[2] < top_mm and _is_gone(paths[:n], end, cutters=cutters, trace=trace):
            continue
        limit = cutters[int(trace.tool[i])].max_ramp_deg * pi / 180
        if end[2] < top_mm and drop > 1e-4 and drop > flat * np.tan(limit) * (1 + 1e-3) + 3e-4:
            faults.append(f"line {trace.line[i]}: goes down {drop:.4f} mm over {flat:.4f} mm")
    return faults


def _check_drilling(trace, earlier, i, *, start, end) -> list[str]:
    """Check that a drill in the sheet goes straight up and down, and at the rapid only where it has been."""
    if float(np.hypot(*(end - start)[:2])) > 1e-6:
        return [f"line {trace.line[i]}: a drill moves sideways in the sheet"]
    if trace.spindle_rpm[i] <= 0:
        return [f"line {trace.line[i]}: a drill in the sheet with the spindle off"]
    if trace.kind[i] != Kind.RAPID or end[2] >= start[2]:
        return []
    fed = [
        points[:, 2].min()
        for j, points in earlier
        if trace.kind[j] == Kind.LINE and trace.tool[j] == trace.tool[i] and (points[:, :2] == end[:2]).all()
    ]
    if end[2] < min(fed, default=np.inf) - 1e-6:
        return [f"line {trace.line[i]}: a drill at the rapid into what is not drilled"]
    return []


def _check_clamps(trace, paths, *, made, cutters) -> list[str]:
    """Check that no cutter, and no holder of 25 mm radius above its stick-out, comes into a clamp below its height."""
    faults = []
    for clamp in made.job.keep_outs:
        box = shapely.box(-clamp.size_mm[0] / 2, -clamp.size_mm[1] / 2, clamp.size_mm[0] / 2, clamp.size_mm[1] / 2)
        box = shapely.affinity.translate(shapely.affinity.rotate(box, clamp.turn_deg, origin=(0, 0)), *clamp.at_mm)
        for i, points in paths:
            cutter = cutters.get(int(trace.tool[i]))
            if cutter is None or not np.isfinite(points).all() or (deep := cut_below(points, clamp.height_mm)) is None:
                continue
            line = shapely.LineString(deep[:, :2]) if len(deep) > 1 else shapely.Point(deep[0, :2])
            held = deep[:, 2].min() + cutter.stick_out_mm < clamp.height_mm
            if shapely.distance(line, box) < (25.0 if held else cutter.radius_mm) - GOUGE_MM:
                faults.append(f"line {trace.line[i]}: touches {clamp.name}")
    return faults[:3]


def _is_gone(earlier, place, *, cutters, trace) -> bool:
    """Return whether earlier moves have cut away all that a cutter's disc meets straight down to a height."""
    radius = cutters[int(trace.tool[earlier[-1][0]])].radius_mm
    disc = shapely.Point(place[:2]).buffer(radius - 0.01, quad_segs=64)
    cut = []
    for i, points in earlier:
        reach = cutters[int(trace.tool[i])].radius_mm
        low, high = points[:, :2].min(axis=0) - reach, points[:, :2].max(axis=0) + reach
        if trace.kind[i] == Kind.RAPID or (low > place[:2] + radius).any() or (high < place[:2] - radius).any():
            continue
        deep = cut_below(points, place[2] + 1e-6)
        if deep is not None and len(deep) > 1:
            cut.append(shapely.LineString(deep[:, :2]).buffer(reach, quad_segs=64))
    return bool(disc.difference(shapely.unary_union(cut)).area < 0.05)


def _check_speeds(trace, paths, *, top_mm, cutters, machine, material) -> list[str]:
    faults = []
    for i, points in paths:
        if trace.kind[i] == Kind.RAPID or points[:, 2].min() >= top_mm:
            continue
        feed, rpm = float(trace.feed_mm_per_min[i]), float(trace.spindle_rpm[i])
        if feed > machine.max_feed_mm_per_min + 0.5:
            faults.append(
                f"line {trace.line[i]}: feed {feed:.0f} beyond the machine's {machine.max_feed_mm_per_min:.0f}"
            )
        if not machine.min_rpm <= rpm <= min(machine.max_rpm, material.max_rpm, cutters[int(trace.tool[i])].max_rpm):
            faults.append(f"line {trace.line[i]}: {rpm:.0f} rpm out of reach")
    return faults[:3]


def _check_cut(trace, paths, *, made, cutters) -> list[str]:
    faults = []
    layout, hold = made.layout, made.job.hold
    panels = []
    for placement in layout.placements:
        outer, *holes = (
            flatten(place_contour(placement, c), chord_tol_mm=CHORD_MM) for c in placement.panel.region.contours
        )
        panels.append(shapely.Polygon(outer, holes))
    kept = shapely.unary_union(panels)
    shapely.prepare(kept)
    recesses = find_recesses(made)
    above: dict[tuple[int, ...], shapely.Geometry] = {(): kept}
    levels = {0.0: 1e-6, hold.skin_mm: hold.skin_mm + 1e-4, hold.bridge_height_mm: hold.bridge_height_mm - 0.01}
    parts: dict[float, list[tuple[float, np.ndarray]]] = {level: [] for level in levels}
    for i, points in paths:
        below = cut_below(points, layout.max_top_mm - 1e-9)
        if below is None or trace.kind[i] == Kind.RAPID:
            continue
        cutter = cutters[int(trace.tool[i])]
        radius = cutter.radius_mm
        line = shapely.LineString(below[:, :2]) if len(below) > 1 else shapely.Point(below[0, :2])
        if cutter.kind is CutterKind.VEE:
            faults += _check_chamfer(trace, i, below, kept=kept, made=made, angle_rad=cutter.point_angle_deg * pi / 180)
            continue
        # a recess is open to what stays above its floor
        lowest = float(below[:, 2].min())
        free = tuple(n for n, (_, floor) in enumerate(recesses) if lowest >= floor - DEPTH_MM)
        if free not in above:
            above[free] = shapely.difference(kept, shapely.unary_union([recesses[n][0] for n in free]))
            shapely.prepare(above[free])
        slack = DRILL_MM if cutter.kind is CutterKind.DRILL else GOUGE_MM
        gap = shapely.distance(line, above[free])
        if gap < radius - slack - 2 * CHORD_MM:
            where = shapely.shortest_line(line, above[free]).coords[1]
            faults.append(f"line {trace.line[i]}: gouge of {radius - gap:.4f} mm at ({where[0]:.3f}, {where[1]:.3f})")
        for level, z in levels.items():
            deep = cut_below(points, z)
            if deep is not None and len(deep) > 1:
                parts[level].append((radius, deep[:, :2]))
    swept = {level: _sweep(lines) for level, lines in parts.items()}
    faults += _check_recesses(paths, recesses, trace=trace, cutters=cutters)
    faults += _check_left(made, panels, swept=swept, cutters=cutters)
    faults += _check_loose(made, swept[0.0])
    return faults


def find_recesses(made) -> list[tuple[shapely.Polygon, float]]:
    """Return where each recess of each panel lies on the sheet, and the height of its floor."""
    layout = made.layout
    top = layout.max_top_mm
    if made.job.heights.zero is ZeroFace.BED:
        top = (layout.min_top_mm + layout.max_top_mm) / 2.0
    found = []
    for placement in layout.placements:
        outline = shapely.Polygon(
            flatten(place_contour(placement, placement.panel.region.outer), chord_tol_mm=CHORD_MM)
        )
        for recess in placement.panel.recesses:
            outer, *holes = (
                flatten(place_contour(placement, c), chord_tol_mm=CHORD_MM) for c in recess.region.contours
            )
            shape = shapely.Polygon(outer, holes)
            # what reaches past the outline is waste anyway; a hair more lets the cutter touch the wall exactly
            found.append((shapely.intersection(shape, outline), top - recess.depth_mm))
    return found


def _check_recesses(paths, recesses, *, trace, cutters) -> list[str]:
    """Check that each recess is cut all over, down to its floor."""
    faults = []
    for shape, floor in recesses:
        reach = shapely.box(*shape.bounds).buffer(20.0)
        deep = []
        for i, points in paths:
            cutter = cutters[int(trace.tool[i])]
            part = None if trace.kind[i] == Kind.RAPID else cut_below(points, floor + DEPTH_MM)
            if part is not None and len(part) > 1 and cutter.kind is CutterKind.FLAT:
                line = shapely.LineString(part[:, :2])
                if shapely.intersects(reach, line):
                    deep.append((cutter.radius_mm, part[:, :2]))
        left = shapely.buffer(shapely.difference(shape, _sweep(deep)), -UNCUT_MM / 2) if deep else shape
        faults += [
            f"recess: left {p.area:.4f} mm2 at {p.representative_point()}"
            for p in shapely.get_parts(left)
            if not p.is_empty
        ][:2]
    return faults


def _check_chamfer(trace, i, below, *, kept, made, angle_rad) -> list[str]:
    """Check that a vee cutter's axis stays off the panels, and its cone at the sheet's top within the chamfer."""
    layout, width = made.layout, made.job.chamfer.width_mm
    faults = []
    for x, y, z in below.tolist():
        gap = shapely.distance(shapely.Point(x, y), kept)
        reach = (layout.max_top_mm - z) * tan(angle_rad / 2.0) - gap
        if gap <= 0.0 or reach > width + (layout.max_top_mm - layout.min_top_mm) * tan(angle_rad / 2.0) + CHAMFER_MM:
            faults.append(f"line {trace.line[i]}: the vee cutter takes {reach:.3f} mm, {width:g} mm are asked for")
    return faults[:1]


def _sweep(parts) -> shapely.Geometry:
    """Return the union of the discs along paths, inscribed: at most 0.004 mm is lost of it."""
    lines = shapely.simplify(np.array([shapely.LineString(points) for _, points in parts]), 0.002)
    return shapely.unary_union(shapely.buffer(lines, np.array([radius for radius, _ in parts]), quad_segs=32))


def _check_left(made, panels, *, swept, cutters) -> list[str]:
    """Check that walls are cut all round, bridges apart, to the bed or skin, and that cleared waste is gone."""
    faults = []
    hold = made.job.hold
    skin = hold.by is HoldKind.SKIN
    by_name = {cutter.name: cutter for cutter in cutters.values()}
    for placement, panel in zip(made.layout.placements, panels, strict=True):
        for feature in placement.panel.features:
            ring = panel.exterior if feature.index == 0 else panel.interiors[feature.index - 1]
            named = f"{placement.panel.name}: {feature.label}"
            row = next(r for r in made.plan_rows if r.feature == named and r.operation in THROUGH)
            name = f"{placement.panel.name} {feature.label} ({row.operation})"
            inside = shapely.Polygon(ring)
            cleared = row.operation in ("bore", "clear", "drill")
            if row.operation == "drill":
                inside = shapely.buffer(inside, -DRILL_MM, quad_segs=64)
            if cleared:
                waste = inside
            elif feature.index == 0:
                waste = shapely.difference(shapely.buffer(inside, 2.0, quad_segs=64), inside)
            else:
                waste = shapely.difference(inside, shapely.buffer(inside, -2.0, quad_segs=64))
            freed = row.holding in ("vacuum alone", "tape alone") or row.holding.endswith("last pass")
            cut = swept[hold.skin_mm if skin and not cleared and not freed else 0.0]
            pieces = shapely.get_parts(shapely.buffer(shapely.difference(waste, cut), -UNCUT_MM / 2))
            pieces = [piece for piece in pieces if not piece.is_empty]
            if cleared or skin or freed:
                faults += [f"{name}: left {p.area:.4f} mm2 at {p.representative_point()}" for p in pieces[:2]]
                continue
            wanted = hold.count_bridges(ring.length)
            if len(pieces) < wanted:
                faults.append(f"{name}: {len(pieces)} pieces stand, {wanted} bridges are asked for")
            side = 1.0 if feature.index == 0 else -1.0
            middle = shapely.buffer(inside, side * by_name[row.cutter].radius_mm, quad_segs=64).boundary
            necks = shapely.line_merge(shapely.difference(middle, swept[hold.bridge_height_mm]))
            lengths = sorted(neck.length for neck in shapely.get_parts(necks) if neck.length > 2 * UNCUT_MM)
            if len(lengths) < wanted or lengths[0] < hold.bridge_length_mm - 0.05:
                faults.append(f"{name}: necks of {', '.join(f'{x:.2f}' for x in lengths)} mm")
    return faults


def _check_loose(made, through) -> list[str]:
    """Check that what stands when all is cut is one piece: panels, slugs and sheet, by bridges or by the skin."""
    sheet = shapely.box(0.0, 0.0, made.layout.width_mm, made.layout.height_mm)
    freed = [
        place_contour(placement, placement.panel.region.outer)
        for placement in made.layout.placements
        for row in made.plan_rows
        if row.feature == f"{placement.panel.name}: outline"
        and (row.holding in ("vacuum alone", "tape alone") or row.holding.endswith("last pass"))
    ]
    large = [
        shapely.Polygon(flatten(outer, chord_tol_mm=CHORD_MM))
        for outer in freed
        if abs(measure_area_mm2(outer)) >= made.job.hold.grips_mm2
    ]
    stands = shapely.buffer(shapely.difference(sheet, through), -0.25)
    # what reaches the sheet's rim is held there
    loose = [p for p in shapely.get_parts(stands) if p.area > 0.5 and p.distance(sheet.exterior) > 0.5]
    loose = [piece for piece in loose if not any(panel.contains(piece.representative_point()) for panel in large)]
    return [f"loose: {piece.area:.1f} mm2 at {piece.representative_point()}" for piece in loose]


def damage_trace(made: pipeline.Made, change: Callable[[dict[str, np.ndarray]], object]) -> pipeline.Made:
    """Return the made job with its trace changed, to see whether the check notices."""
    (program,) = made.programs
    arrays = {name: np.array(getattr(program.trace, name)) for name in ("start_mm", "end_mm", "centre_mm")}
    change(arrays)
    return replace(made, programs=(replace(program, trace=replace(program.trace, **arrays)),))


def run_job(seed: int, *, tables: Tables, folder: Path) -> Checked:
    """Return what became of the job of a seed."""
    since = perf_counter()
    job = write_random_job(seed, folder=folder, tables=tables)
    try:
        made = pipeline.make_job(job, tables=tables)
    except Refusal as refusal:
        codes = tuple(finding.code for finding in refusal.findings)
        return Checked(
            seed=seed, refused=(*dict.fromkeys(codes), str(refusal.findings[0])), seconds=perf_counter() - since
        )
    seconds = perf_counter() - since
    faults = tuple(check_made(made, tables=tables))
    codes = dict.fromkeys(f.code for f in made.programs[0].verdict.findings if f.severity == "error")
    verdict = str(made.programs[0].verdict)
    return Checked(seed=seed, faults=faults, seconds=seconds, verdict=verdict, codes=tuple(codes))


def main() -> int:
    """Run a campaign and print what it found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--append", action="store_true")
    options = parser.parse_args()
    tables = read_tables()
    counts: Counter[str] = Counter()
    told: list[str] = []
    bad = 0
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.first, options.first + options.count):
            try:
                result = run_job(seed, tables=tables, folder=Path(folder))
            except Exception as crash:  # a campaign goes on and counts the crash
                bad += 1
                print(f"{seed}: CRASH {type(crash).__name__}: {crash}")
                counts["crash"] += 1
                told.append(f"{seed} ({type(crash).__name__})")
                continue
            if result.refused:
                counts[f"refused: {result.refused[0]}"] += 1
                print(f"{seed}: refused {result.refused[0]}: {result.refused[-1][:160]}")
                continue
            counts[result.verdict] += 1
            if result.faults or result.verdict != "proven":
                bad += 1
                why = ", ".join(dict.fromkeys((*result.codes, *(fault.split(":")[0] for fault in result.faults[:2]))))
                told.append(f"{seed} ({why})")
                print(
                    f"{seed}: {', '.join(result.codes)}; {len(result.faults)} faults ({result.seconds:.1f} s): "
                    + "; ".join(result.faults[:4])
                )
    for what, count in counts.most_common():
        print(f"{count:5d} {what}")
    print(f"{bad} of {options.count} with faults")
    if options.append:
        lines = [
            "",
            f"## Random jobs, {datetime.date.today().isoformat()}",
            "",
            f"`python tests/bench/bench_jobs.py --first {options.first} --count {options.count}`: {bad} not proven, "
            "crashed, or faulted by the second check.",
            "",
            "| outcome | jobs |",
            "|---|---|",
            *(f"| {what} | {count} |" for what, count in counts.most_common()),
            *(["", "Seeds with faults: " + "; ".join(told) + "."] if told else []),
        ]
        with Path(__file__).with_name("RESULTS.md").open("a", encoding="utf-8") as out:
            out.write("\n".join(lines) + "\n")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
