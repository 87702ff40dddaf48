"""Clearing: what is left, how long the way is, and how much of it bites wider than the table allows.

Run as ``python tests/bench/bench_clearing.py``. Shapes are laid out for a 6 mm cutter, all of them wider
than six of it, and cleared to the wall itself (allowance 0). Nothing here is asked of the planner but its
moves: what is left comes from the sweep by discs of a polygon engine (shapely), the bite from a raster of
0.05 mm on which the moves are played one after the other.

- left: the area within the shape (less corners tighter than the cutter) that no disc reached, and how thick it is
- way / (area / stepover): the length of all feed moves at the floor, links among them, against the area over
  the table's greatest stepover; the target is 1.25
- within: the share of that way on which the cutter's edge meets material over no more than the angle that
  the table's stepover has beside a straight wall, helix and first slots apart; the target is 99 %
- slots: their share of the way
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import pairwise
from math import acos, ceil, hypot, pi
from time import perf_counter
from types import SimpleNamespace

import numpy as np
import shapely

from cam.geometry.contour import Contour, Region, circle
from cam.geometry.flatten import flatten, flatten_vertices
from cam.geometry.measure import measure_region_area_mm2
from cam.geometry.offset import offset_region
from cam.geometry.transform import reverse
from cam.motion.clear_pass import lay_clearing
from cam.motion.moves import Move, MoveKind, Purpose
from cam.tables.rows import Direction

RADIUS_MM = 3.0
STEPOVER_MM = 3.0
FLOOR_MM, AIR_MM, RAPID_MM = 2.0, 5.3, 14.8
CELL_MM = 0.05
STRIDE_MM = 0.15
ANGLES = 180
DELAY = 8
"""So many strides back the cutter's own disc counts as cleared: nearer, it would hide what it is about to cut."""
BITE_SLACK_RAD = 0.035
"""Two degrees: what a cell of the raster is worth where the edge runs along the wall."""


def round_off(points, radius: float = 5.0) -> Contour:
    """A polygon, counter-clockwise, its corners rounded."""
    vertices = []
    points = np.asarray(points, dtype=float)
    for before, corner, after in zip(np.roll(points, 1, axis=0), points, np.roll(points, -1, axis=0), strict=True):
        a, b = (before - corner) / np.hypot(*(before - corner)), (after - corner) / np.hypot(*(after - corner))
        half = np.arccos(np.clip(a @ b, -1, 1)) / 2
        cut = radius / np.tan(half)
        turn = np.sign(a[1] * b[0] - a[0] * b[1])
        vertices += [[*(corner + a * cut), turn * np.tan((pi / 2 - half) / 2)], [*(corner + b * cut), 0.0]]
    return Contour(np.array(vertices))


def hole(points, radius: float = 5.0) -> Contour:
    """An island."""
    return reverse(round_off(points, radius))


def box(x, y, width, height):
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]


COMB = [
    (0, 0), (240, 0), (240, 110), (200, 110), (200, 40), (140, 40), (140, 110), (100, 110), (100, 40), (40, 40),
    (40, 110), (0, 110),
]  # fmt: skip
SHAPES = {
    "square 40": Region(outer=round_off(box(0, 0, 40, 40))),
    "square 72": Region(outer=round_off(box(0, 0, 72, 72))),
    "square 150": Region(outer=round_off(box(0, 0, 150, 150))),
    "rectangle": Region(outer=round_off(box(0, 0, 160, 60))),
    "L": Region(outer=round_off([(0, 0), (130, 0), (130, 45), (45, 45), (45, 110), (0, 110)])),
    "L of two widths": Region(outer=round_off([(0, 0), (130, 0), (130, 40), (70, 40), (70, 110), (0, 110)])),
    "T": Region(outer=round_off([(50, 0), (95, 0), (95, 60), (150, 60), (150, 105), (0, 105), (0, 60), (50, 60)])),
    "comb": Region(outer=round_off(COMB)),
    "ring": Region(outer=circle((0.0, 0.0), radius_mm=70.0), holes=(reverse(circle((0.0, 0.0), radius_mm=30.0)),)),
    "ring off centre": Region(
        outer=circle((0.0, 0.0), radius_mm=75.0), holes=(reverse(circle((6.0, 0.0), radius_mm=28.0)),)
    ),
    "square with an island": Region(outer=round_off(box(0, 0, 120, 120)), holes=(hole(box(42, 42, 36, 36)),)),
    "two islands": Region(
        outer=round_off(box(0, 0, 190, 100)), holes=(hole(box(42, 40, 22, 22)), hole(box(120, 38, 30, 24)))
    ),
}


def find_step(*, radius_mm: float = RADIUS_MM, stepover_mm: float = STEPOVER_MM, passes=(FLOOR_MM,)):
    """What clearing asks of a workingstep."""
    return SimpleNamespace(
        panel="bench",
        feature="recess",
        cutter=SimpleNamespace(name="flat", radius_mm=radius_mm, diameter_mm=2 * radius_mm, flutes=1),
        stepover_mm=stepover_mm,
        ramp_rad=0.05,
        groove_mm=0.0,
        rough_direction=Direction.CLIMB,
        pass_heights_mm=passes,
        rough=SimpleNamespace(
            feed_mm_per_min=3000.0,
            max_feed_mm_per_min=4000.0,
            ramp_feed_mm_per_min=1500.0,
            plunge_mm_per_min=900.0,
            chip_low_mm=0.1,
            chip_load_mm=3000.0 / 18000.0,
            spindle_rpm=18000.0,
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What a raster shows of moves: way, slots and over-wide bites at the floor, mm."""

    way_mm: float
    slot_mm: float
    wide_mm: float
    widest_rad: float


def walk_points(moves: list[Move]):
    """Yield (move, points (n, 3)) of each feed move, a stride apart at most."""
    for before, move in pairwise(moves):
        if move.kind is MoveKind.RAPID:
            continue
        start, end = np.array(before.to_mm), np.array(move.to_mm)
        if move.kind is MoveKind.LINE:
            count = max(1, ceil(np.hypot(*(end - start)[:2]) / STRIDE_MM))
            yield move, start + (end - start) * np.linspace(0.0, 1.0, count + 1)[:, None]
            continue
        centre = np.array(move.centre_mm)
        radius = float(np.hypot(*(start[:2] - centre)))
        count = max(2, ceil(abs(move.sweep_rad) * radius / STRIDE_MM))
        share = np.linspace(0.0, 1.0, count + 1)
        angle = np.arctan2(start[1] - centre[1], start[0] - centre[0]) + move.sweep_rad * share
        yield (
            move,
            np.column_stack(
                (
                    centre[0] + radius * np.cos(angle),
                    centre[1] + radius * np.sin(angle),
                    start[2] + (end - start)[2] * share,
                )
            ),
        )


def play(moves: list[Move], *, region: Region, radius_mm: float, stepover_mm: float) -> Played:
    """Return what a raster shows of moves at the floor, the edge's angle of bite measured before each stride."""
    outer = flatten(region.outer, chord_tol_mm=0.01)
    low = outer.min(axis=0) - 3.0 * radius_mm
    size = np.ceil((outer.max(axis=0) - outer.min(axis=0) + 6.0 * radius_mm) / CELL_MM).astype(int)
    cleared = np.zeros(size, dtype=bool)
    half = int(radius_mm / CELL_MM) + 1
    grid = np.arange(-half, half + 1)
    limit = acos(1.0 - stepover_mm / radius_mm) + BITE_SLACK_RAD
    spread = (np.arange(ANGLES) + 0.5) / ANGLES * pi - pi / 2.0
    way = slot = wide = widest = 0.0
    trail: deque[np.ndarray] = deque()
    for move, points in walk_points(moves):
        if points[-1, 2] > FLOOR_MM + 1e-9 and points[0, 2] > FLOOR_MM + 1e-9:
            continue
        level = points[0, 2] <= FLOOR_MM + 1e-9
        for one, other in pairwise(points):
            along = other[:2] - one[:2]
            length = float(np.hypot(*along))
            if level and length > 0.0:
                angle = np.arctan2(along[1], along[0]) + spread
                edge = other[:2] + (radius_mm - 0.6 * CELL_MM) * np.column_stack((np.cos(angle), np.sin(angle)))
                cell = ((edge - low) / CELL_MM).astype(int)
                bite = float((~cleared[cell[:, 0], cell[:, 1]]).sum() * pi / ANGLES)
                way += length
                if move.purpose is Purpose.SLOT:
                    slot += length
                else:
                    widest = max(widest, bite)
                    wide += length * (bite > limit)
            if other[2] <= FLOOR_MM + 1e-9:
                trail.append(other[:2])
            if len(trail) > DELAY:
                middle = (trail.popleft() - low) / CELL_MM
                i, j = middle.astype(int)
                near = np.hypot((i + grid + 0.5 - middle[0])[:, None], (j + grid + 0.5 - middle[1])[None, :])
                cleared[i - half : i + half + 1, j - half : j + half + 1] |= near <= radius_mm / CELL_MM
    return Played(way_mm=way, slot_mm=slot, wide_mm=wide, widest_rad=widest)


def find_left(moves: list[Move], *, region: Region, radius_mm: float) -> tuple[float, float]:
    """Return the area that the sweep leaves of a region at the floor, and the radius of the largest disc in it."""
    lines = []
    for before, move in pairwise(moves):
        if move.kind is MoveKind.RAPID or max(before.to_mm[2], move.to_mm[2]) > FLOOR_MM + 1e-9:
            continue
        bulge = np.tan(move.sweep_rad / 4.0) if move.kind is MoveKind.ARC else 0.0
        if hypot(move.to_mm[0] - before.to_mm[0], move.to_mm[1] - before.to_mm[1]) < 1e-9:
            continue
        points, _ = flatten_vertices(
            np.array([[*before.to_mm[:2], bulge], [*move.to_mm[:2], 0.0]]), chord_tol_mm=0.0005, closed=False
        )
        lines.append(shapely.LineString(points))
    swept = shapely.union_all(shapely.buffer(np.array(lines), radius_mm, quad_segs=64))
    shape = shapely.Polygon(
        flatten(region.outer, chord_tol_mm=0.0005), [flatten(h, chord_tol_mm=0.0005) for h in region.holes]
    )
    left = shape.buffer(-radius_mm, quad_segs=64).buffer(radius_mm, quad_segs=64).difference(swept)
    low, high = 0.0, radius_mm
    while high - low > 1e-4:
        middle = (low + high) / 2.0
        low, high = (low, middle) if left.buffer(-middle).is_empty else (middle, high)
    return float(left.area), low


def measure(name: str) -> dict[str, float]:
    region = SHAPES[name]
    rooms = offset_region(region, distance_mm=-RADIUS_MM)
    began = perf_counter()
    moves = [move for room in rooms for move in lay_clearing(room, step=find_step(), air_mm=AIR_MM, rapid_mm=RAPID_MM)]
    seconds = perf_counter() - began
    played = play(moves, region=region, radius_mm=RADIUS_MM, stepover_mm=STEPOVER_MM)
    left, thick = find_left(moves, region=region, radius_mm=RADIUS_MM)
    area = measure_region_area_mm2(region)
    return {
        "left_mm2": left,
        "left_mm": thick,
        "way": played.way_mm / (area / STEPOVER_MM),
        "within": 1.0 - played.wide_mm / max(1e-9, played.way_mm - played.slot_mm),
        "slots": played.slot_mm / played.way_mm,
        "widest_deg": np.degrees(played.widest_rad),
        "lifts": sum(move.purpose is Purpose.RETRACT for move in moves),
        "moves": len(moves),
        "s": seconds,
    }


def main() -> None:
    print("| shape | left, mm2 | thickest, mm | way / (area / stepover) | within limit | slots | lifts | moves | s |")
    print("|---|---|---|---|---|---|---|---|---|")
    for name in SHAPES:
        row = measure(name)
        print(
            f"| {name} | {row['left_mm2']:.3f} | {row['left_mm']:.4f} | {row['way']:.3f} | "
            f"{100 * row['within']:.2f} % | {100 * row['slots']:.1f} % | {row['lifts']} | {row['moves']} | "
            f"{row['s']:.2f} |",
            flush=True,
        )


if __name__ == "__main__":
    main()
