"""Random panels for the property tests and campaigns: same seed, same panel.

``draw_panel(seed)`` gives the family's name, a valid region, and a generator to draw distances from.
The families are those that shops cut and those that break offset code: polygons, arcs in place of
sides, tangent arcs, plates with cut-outs, combs, stars, lettering as chords, steps of a nanometre,
cusps, and drawings on a whole-millimetre grid, where exact coincidences abound.
"""

from __future__ import annotations

from math import cos, pi, sin, tan

import numpy as np
import shapely

from cam.geometry.contour import Contour, Region, circle, polygon, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import is_counter_clockwise
from cam.geometry.transform import map_region, move, reverse, scale, turn


def wind(contour: Contour, *, ccw: bool) -> Contour:
    return contour if is_counter_clockwise(contour) == ccw else reverse(contour)


def region_of(outer: Contour, *holes: Contour) -> Region:
    return Region(outer=wind(outer, ccw=True), holes=tuple(wind(hole, ccw=False) for hole in holes))


def as_polygon(region: Region, *, chord_tol_mm: float) -> shapely.Polygon:
    return shapely.Polygon(
        flatten(region.outer, chord_tol_mm=chord_tol_mm),
        [flatten(hole, chord_tol_mm=chord_tol_mm) for hole in region.holes],
    )


def is_sound(region: Region) -> bool:
    """A valid polygon, no two parts of which come nearer than flattening could tell."""
    shape = as_polygon(region, chord_tol_mm=1e-4)
    return bool(shape.is_valid) and shape.area > 1e-3


def _radii(rng, count):
    return 30.0 + 60.0 * rng.random(count)


def draw_polygon(rng) -> Region:
    count = int(rng.integers(3, 60))
    angle = np.sort(rng.random(count)) * 2.0 * pi
    radius = _radii(rng, count)
    return region_of(polygon(np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))))


def draw_star(rng) -> Region:
    points = int(rng.integers(3, 40))
    inner = rng.uniform(5.0, 60.0)
    angle = np.arange(2 * points) * pi / points
    radius = np.where(np.arange(2 * points) % 2, inner, 90.0)
    return region_of(polygon(np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))))


def draw_bulged(rng) -> Region:
    count = int(rng.integers(3, 30))
    angle = np.sort(rng.random(count)) * 2.0 * pi
    radius = _radii(rng, count)
    bulge = np.where(rng.random(count) < 0.6, rng.uniform(-1.2, 1.2, count), 0.0)
    return region_of(Contour(np.column_stack((radius * np.cos(angle), radius * np.sin(angle), bulge))))


def round_polygon(points: np.ndarray, radii: np.ndarray) -> Contour:
    """A polygon with every corner replaced by a tangent arc."""
    rows = []
    for i, (p, radius) in enumerate(zip(points, radii, strict=True)):
        to_previous = points[i - 1] - p
        to_next = points[(i + 1) % len(points)] - p
        a, b = to_previous / np.hypot(*to_previous), to_next / np.hypot(*to_next)
        turning = np.arctan2(-(a[0] * b[1] - a[1] * b[0]), -(a @ b))
        trim = radius * tan(abs(turning) / 2.0)
        room = 0.49 * min(np.hypot(*to_previous), np.hypot(*to_next))
        trim = min(trim, room)
        rows.append([*(p + trim * a), tan(turning / 4.0)])
        rows.append([*(p + trim * b), 0.0])
    return Contour(np.array(rows))


def draw_rounded(rng) -> Region:
    count = int(rng.integers(3, 24))
    angle = (np.arange(count) + rng.uniform(-0.35, 0.35, count)) * 2.0 * pi / count
    radius = _radii(rng, count)
    points = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
    return region_of(round_polygon(points, rng.uniform(0.5, 20.0, count)))


def draw_tangent_arcs(rng) -> Region:
    """A closed chain of tangent arcs: biarcs through points of a smooth curve."""
    return _draw_biarcs(rng, share=0.5)


def draw_hooks(rng) -> Region:
    """Arcs that turn too far and come back on themselves: almost cusps at every joint."""
    return _draw_biarcs(rng, share=1.0)


def _draw_biarcs(rng, *, share) -> Region:
    count = int(rng.integers(4, 80))
    angle = np.arange(count) * 2.0 * pi / count
    waves = int(rng.integers(2, 6))
    depth, phase = rng.uniform(0.02, 0.4), rng.uniform(0.0, 2.0 * pi)
    radius = 60.0 * (1.0 + depth * np.sin(waves * angle + phase))
    slope = 60.0 * depth * waves * np.cos(waves * angle + phase)
    points = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
    heading = np.arctan2(slope * np.sin(angle) + radius * np.cos(angle), slope * np.cos(angle) - radius * np.sin(angle))
    rows = []
    for i in range(count):
        p, q = points[i], points[(i + 1) % count]
        chord = np.arctan2(q[1] - p[1], q[0] - p[0])
        first = (chord - heading[i] + pi) % (2.0 * pi) - pi
        last = (heading[(i + 1) % count] - chord + pi) % (2.0 * pi) - pi
        # the tangent at the joint is parallel to the chord, so that each arc sweeps its end's angle to it
        half1, half2 = (share * first, share * last) if share == 0.5 else ((first + last) / 2.0,) * 2
        joint = _biarc_joint(p, q, heading[i], half1, half2)
        rows.append([*p, tan(half1 / 2.0)])
        rows.append([*joint, tan(half2 / 2.0)])
    return region_of(Contour(np.array(rows)))


def _biarc_joint(p, q, heading, half1, half2):
    """Meet of the first arc's chord (heading + half1) and the second's (its own direction)."""
    d1 = np.array([cos(heading + half1), sin(heading + half1)])
    direction2 = heading + 2.0 * half1 + half2
    d2 = np.array([cos(direction2), sin(direction2)])
    gap = q - p
    cross = d1[0] * d2[1] - d1[1] * d2[0]
    if abs(cross) < 1e-9:
        return p + gap / 2.0
    return p + d1 * (gap[0] * d2[1] - gap[1] * d2[0]) / cross


def obround(x, y, *, length, width, angle) -> Contour:
    r = width / 2.0
    vertices = [[0, -r, 0], [length, -r, 1], [length, r, 0], [0, r, 1]]
    return turn(move(Contour(np.array(vertices)), by_mm=(x, y)), angle_rad=angle, about_mm=(x, y))


def keyhole(x, y, *, radius, width, length, angle) -> Contour:
    """A round hole with a parallel slot to one side, its end half round."""
    h = width / 2.0
    edge = (radius**2 - h**2) ** 0.5
    around = 2.0 * (pi - np.arctan2(h, edge))
    vertices = [[edge, h, tan(around / 4.0)], [edge, -h, 0.0], [edge + length, -h, 1.0], [edge + length, h, 0.0]]
    return turn(move(Contour(np.array(vertices)), by_mm=(x, y)), angle_rad=angle, about_mm=(x, y))


def draw_plate(rng) -> Region:
    """A plate with cut-outs anywhere, as near to each other and to the edge as they happen to fall."""
    width, height = rng.uniform(60.0, 200.0, 2)
    outer = rectangle((0.0, 0.0), width_mm=width, height_mm=height)
    holes: list[Contour] = []
    taken = []
    frame = shapely.box(0.0, 0.0, width, height)
    for _ in range(int(rng.integers(1, 14))):
        x, y = rng.uniform(0.0, width), rng.uniform(0.0, height)
        size = rng.uniform(2.0, 25.0)
        angle = float(rng.choice([0.0, pi / 2.0, rng.uniform(0.0, pi)]))
        hole = [
            lambda: circle((x, y), radius_mm=size / 2.0),
            lambda: turn(rectangle((x, y), width_mm=size, height_mm=0.6 * size), angle_rad=angle, about_mm=(x, y)),
            lambda: obround(x, y, length=size, width=0.4 * size, angle=angle),
            lambda: keyhole(x, y, radius=size / 3.0, width=size / 4.0, length=size / 2.0, angle=angle),
        ][int(rng.integers(4))]()
        shape = shapely.Polygon(flatten(hole, chord_tol_mm=1e-3))
        if (
            frame.boundary.distance(shape) > 0.01
            and frame.contains(shape)
            and all(s.distance(shape) > 0.01 for s in taken)
        ):
            holes.append(hole)
            taken.append(shape)
    return region_of(outer, *holes)


def draw_comb(rng) -> Region:
    teeth = int(rng.integers(1, 20))
    base = rng.uniform(2.0, 20.0)
    points = [(0.0, 0.0)]
    x = 0.0
    top = []
    for number in range(teeth):
        tooth, gap, height = rng.uniform(1.0, 12.0), rng.uniform(1.0, 12.0), rng.uniform(2.0, 60.0)
        top += [(x, base + height), (x + tooth, base + height)]
        x += tooth
        if number < teeth - 1:
            top += [(x, base), (x + gap, base)]
            x += gap
    points = [(0.0, 0.0), (x, 0.0), *reversed(top)]
    contour = polygon(points)
    if rng.random() < 0.5:
        contour = round_polygon(np.array(points), np.full(len(points), rng.uniform(0.1, 1.0)))
    return region_of(contour)


def draw_grid(rng) -> Region:
    """Squares of a grid grown together: parallel sides, equal widths, corners on one line."""
    cell = float(rng.choice([5.0, 10.0, 20.0]))
    side = int(rng.integers(3, 9))
    filled = rng.random((side, side)) < 0.7
    boxes = [
        shapely.box(i * cell, j * cell, (i + 1) * cell, (j + 1) * cell)
        for i in range(side)
        for j in range(side)
        if filled[i, j]
    ]
    shape = shapely.union_all(boxes).simplify(0.0)
    parts = [part for part in shapely.get_parts(shape) if part.is_valid]
    part = max(parts, key=lambda p: p.area)
    holes = [polygon(np.array(ring.coords)[:-1]) for ring in part.interiors]
    return region_of(polygon(np.array(part.exterior.coords)[:-1]), *holes)


def draw_steps(rng) -> Region:
    """A polygon whose sides carry steps of a nanometre to a hundredth of a millimetre."""
    base = draw_polygon(rng) if rng.random() < 0.5 else draw_rounded(rng)
    rows = []
    vertices = base.outer.vertices
    for i, (x, y, bulge) in enumerate(vertices):
        rows.append([x, y, bulge])
        if bulge == 0.0 and rng.random() < 0.5:
            p, q = vertices[i, :2], vertices[(i + 1) % len(vertices), :2]
            along = (q - p) / np.hypot(*(q - p))
            step = 10.0 ** rng.uniform(-6.0, -2.0) * np.array([-along[1], along[0]]) * rng.choice([-1.0, 1.0])
            middle = p + (q - p) * rng.uniform(0.3, 0.7)
            rows.append([*middle, 0.0])
            rows.append([*(middle + step), 0.0])
    return region_of(Contour(np.array(rows)))


def draw_cusps(rng) -> Region:
    """Arcs that end on each other: crescents, hearts, trefoils."""
    kind = int(rng.integers(3))
    r = rng.uniform(5.0, 40.0)
    if kind == 0:
        # a half circle with two half circles on its diameter, one in, one out
        share = rng.uniform(0.2, 0.8)
        vertices = [[-r, 0, 1.0], [r, 0, -1.0], [r - 2 * r * share, 0, rng.choice([-1.0, 1.0])]]
        return region_of(Contour(np.array(vertices)))
    count = int(rng.integers(3, 9))
    angle = np.arange(count) * 2.0 * pi / count
    points = r * np.column_stack((np.cos(angle), np.sin(angle)))
    # lobes outward: half circles on the sides; inward: arcs about the corners that meet in cusps
    bulge = 1.0 if kind == 1 else -tan((pi - 2.0 * pi / count) / 4.0)
    return region_of(Contour(np.column_stack((points, np.full(count, bulge)))))


_STROKES = {
    "E": [(0, 0), (40, 0), (40, 8), (9, 8), (9, 31), (36, 31), (36, 39), (9, 39), (9, 62), (40, 62), (40, 70), (0, 70)],
    "M": [
        (0, 0),
        (8, 0),
        (8, 55),
        (26, 12),
        (34, 12),
        (52, 55),
        (52, 0),
        (60, 0),
        (60, 70),
        (50, 70),
        (30, 22),
        (10, 70),
        (0, 70),
    ],
    "K": [(0, 0), (9, 0), (9, 24), (16, 32), (36, 0), (47, 0), (22, 39), (46, 70), (35, 70), (9, 36), (9, 70), (0, 70)],
    "Z": [(0, 0), (44, 0), (44, 8), (11, 8), (44, 62), (44, 70), (2, 70), (2, 62), (33, 62), (0, 8)],
}


def draw_lettering(rng) -> Region:
    """Letters as chords: straight ones, and round ones as an exporter writes them."""
    if rng.random() < 0.5:
        return region_of(polygon(_STROKES[str(rng.choice(list(_STROKES)))]))
    count = int(rng.integers(12, 400))
    angle = np.arange(count) * 2.0 * pi / count
    squash, weight = rng.uniform(0.6, 1.4), rng.uniform(2.0, 10.0)
    outer = np.column_stack((35.0 * squash * np.cos(angle), 35.0 * np.sin(angle)))
    inner = np.column_stack(((35.0 * squash - weight) * np.cos(angle), (35.0 - 1.3 * weight) * np.sin(angle)))
    if rng.random() < 0.5:
        return region_of(polygon(outer), polygon(inner))
    # an open letter: outer and inner chords over three quarters of a turn
    keep = slice(0, max(4, int(count * rng.uniform(0.5, 0.95))))
    return region_of(polygon(np.concatenate((outer[keep], inner[keep][::-1]))))


FAMILIES = {
    "polygon": draw_polygon,
    "star": draw_star,
    "bulged": draw_bulged,
    "rounded": draw_rounded,
    "tangent arcs": draw_tangent_arcs,
    "hooks": draw_hooks,
    "plate": draw_plate,
    "comb": draw_comb,
    "grid": draw_grid,
    "steps": draw_steps,
    "cusps": draw_cusps,
    "lettering": draw_lettering,
}


def draw_panel(seed: int, *, family: str | None = None) -> tuple[str, Region, np.random.Generator]:
    """A valid panel of 0.1 to 3,000 mm, sometimes turned, sometimes far from the origin."""
    rng = np.random.default_rng(seed)
    name = family or list(FAMILIES)[seed % len(FAMILIES)]
    for _ in range(1000):
        region = FAMILIES[name](rng)
        if is_sound(region):
            break
    else:
        raise RuntimeError(f"no sound panel of family {name} from seed {seed}")
    if name in ("grid", "lettering") and rng.random() < 0.6:
        return name, region, rng  # whole millimetres stay whole
    if name != "steps":
        size = 10.0 ** rng.uniform(-1.0, 3.47)
        region = map_region(region, lambda c: scale(c, factor=size / 180.0))
    angle = rng.uniform(0.0, 2.0 * pi)
    region = map_region(region, lambda c: turn(c, angle_rad=angle))
    if rng.random() < 0.1:
        region = map_region(region, lambda c: move(c, by_mm=(1e6, -1e6)))
    return name, region, rng


def draw_distance_mm(region: Region, rng: np.random.Generator) -> float:
    """A distance of 0.001 to 300 mm, either way, of the order of the panel's own sizes."""
    points = region.outer.points_mm
    size = float(np.ptp(points, axis=0).max())
    if rng.random() < 0.3:
        return float(rng.choice([-1.0, 1.0]) * rng.choice([0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 5.0, 10.0]))
    top = np.log10(min(300.0, max(0.002, 0.5 * size)))
    return float(rng.choice([-1.0, 1.0]) * 10.0 ** rng.uniform(-3.0, top))
