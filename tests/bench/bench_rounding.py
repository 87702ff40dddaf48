"""Random panels rounded by a disc, each held to a polygon engine's opening of its removed side.

Run with ``python tests/bench/bench_rounding.py [COUNT] [SEED] [--own COUNT] [--append]``: COUNT panels of
``random_panels`` (2000) and as many as ``--own`` says (600) of this module's families, whose corners are
the hard ones: fillets that meet, re-entrant corners nearer than the radius, arcs that meet arcs, slots of
exactly twice the radius. Then the time that contours of up to 20,000 elements take. ``--append`` adds a
dated section to RESULTS.md. Exit code 1 with any fault.

What must hold, R being the removed side of a contour, R' that of the result, r the rule's radius, and
opening(R, r) what a disc of radius r covers in R without leaving it:

1. opening(R, r) lies in R', and R' lies in opening(R, r - 1 micrometre): nothing is filled that a disc of
   the rule reaches, and nothing is left open that it does not reach. Both openings are made with shapely
   (buffer inward; what lies within r of that is the opening) and widened by ``DELTA_MM`` for its chords.
   GEOS smooths hollows flatter than a hundredth of the distance before it buffers, which costs centres:
   where it objects, the disc is sought again by distances, which it does not smooth; and since smoothing
   could also hide what is filled, each fillet must turn less than half round from one point of
   the source to another (no larger disc that avoids these two gets behind it), and what is filled must
   hold no disc.
2. No re-entrant arc of the result has a radius more than 1 micrometre below r, and no joint turns in.
3. Every element of the result is a source element bit for bit, a part of one, or a fillet; a source
   element is a part only beside a fillet, and a vertex is dropped only where a fillet has left it.
4. The corners in the list are vertices or places of the source that are gone, and every fillet is listed.
5. Of a refusal: the code, the place, the width and the remedy; the disc of the given width that stands at
   the given place touches the contour and is narrower than twice r; with a radius of half that width
   the place is no longer refused.
"""

from __future__ import annotations

import argparse
import datetime
import platform
import sys
import time
from collections import Counter
from dataclasses import dataclass, field
from math import cos, pi, sin, tan
from pathlib import Path

import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parent))
from random_panels import draw_panel, is_sound, region_of, round_polygon

from cam.errors import Refusal
from cam.geometry.contour import Contour, Region, find_segments, polygon, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import find_distances_mm, measure_area_mm2
from cam.geometry.offset.clearance import points_on
from cam.geometry.rounding import RoundedRegion, round_corners
from cam.geometry.transform import map_region, move, reverse, turn

RULE_MM = 1e-3
CHORD_MM = 5e-5
DELTA_MM = 3e-4
"""More than the chords of the flattening and of shapely's round joins take together."""
TOL_MM = 2e-4
SAME_MM = 2e-8
FILLET_MM = 2e-6
TANGENT_RAD = 1e-3


@dataclass(slots=True)
class Tally:
    """What a campaign found."""

    rounded: Counter = field(default_factory=Counter)
    corners: Counter = field(default_factory=Counter)
    refused: Counter = field(default_factory=Counter)
    panels: Counter = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    worst_open_mm: float = 0.0
    worst_filled_mm: float = 0.0
    seconds: float = 0.0


# the opening by a polygon engine


def _quarter(radius_mm: float) -> int:
    """Segments a quarter circle so that chords stray no more than ``CHORD_MM``."""
    return int(np.clip(np.ceil(pi / 4.0 / np.sqrt(2.0 * CHORD_MM / max(radius_mm, 1e-3))), 16, 2048))


def _as_valid(shape):
    """A tiny source may touch itself to the last digit once it is moved near the origin."""
    return shape if shape.is_valid else shape.buffer(0.0)


def erode_removed(points: np.ndarray, *, is_hole: bool, radius_mm: float):
    """The centres of discs in the removed side of a ring, as a polygon; of an outline its complement."""
    shape = _as_valid(shapely.Polygon(points))
    return shape.buffer(-radius_mm if is_hole else radius_mm, quad_segs=_quarter(radius_mm))


class Reach:
    """How far points lie from the centres of discs in a removed side."""

    def __init__(self, points: np.ndarray, *, is_hole: bool, radius_mm: float) -> None:
        self.centres = erode_removed(points, is_hole=is_hole, radius_mm=radius_mm)
        self.is_hole = is_hole
        self.parts = [part for part in shapely.get_parts(self.centres) if not part.is_empty]
        lines = []
        for ring in [r for part in self.parts for r in (part.exterior, *part.interiors)]:
            at = shapely.get_coordinates(ring)
            lines.append(np.stack((at[:-1], at[1:]), axis=1))
        self.tree = shapely.STRtree(shapely.linestrings(np.concatenate(lines))) if lines else None

    def distances_mm(self, points: np.ndarray) -> np.ndarray:
        if self.tree is None:
            return np.full(len(points), np.inf)
        at, distance = self.tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
        away = np.empty(len(points))
        away[at[0]] = distance
        inside = shapely.contains_xy(self.centres, points[:, 0], points[:, 1]) == self.is_hole
        return np.where(inside, 0.0, away)


# the checks


def check_rounding(
    region: Region, rounded: RoundedRegion, *, radius_mm: float, tally: Tally | None = None
) -> list[str]:
    """What is wrong with a result, in words."""
    tally = tally if tally is not None else Tally()
    faults = []
    if len(region.contours) != len(rounded.region.contours):
        return ["contours are missing"]
    origin = np.round(region.outer.points_mm.mean(axis=0))
    for number, (before, after) in enumerate(zip(region.contours, rounded.region.contours, strict=True)):
        changes = [c for c in rounded.corners if c.contour == number]
        if before.vertices.tobytes() == after.vertices.tobytes():
            words = ["corners are listed of a contour that is unchanged"] if changes else []
        else:
            words = check_elements(before, after, radius_mm=radius_mm, listed=len(changes))
            words += check_list(before, after, changes)
        words += check_radii(after, radius_mm=radius_mm)
        one, other = _at_origin(before, origin), _at_origin(after, origin)
        words += check_opening(one, other, is_hole=number > 0, radius_mm=radius_mm, tally=tally)
        faults += [f"contour {number}: {word}" for word in words]
    return faults


def _at_origin(contour: Contour, origin: np.ndarray) -> Contour:
    return move(contour, by_mm=(-origin[0], -origin[1]))


def check_opening(before: Contour, after: Contour, *, is_hole: bool, radius_mm: float, tally: Tally) -> list[str]:
    """Compare the result's boundary with the openings of the source, both ways."""
    source = flatten(before, chord_tol_mm=CHORD_MM)
    segments = find_segments(after.vertices)
    every = np.tile(np.arange(len(segments)), 3)
    between = points_on(segments, every, np.repeat([0.25, 0.5, 0.75], len(segments)))
    points = np.concatenate((after.points_mm, between, flatten(after, chord_tol_mm=min(1e-3, 0.02 * radius_mm))))
    wide = Reach(source, is_hole=is_hole, radius_mm=radius_mm + DELTA_MM)
    words = []
    filled = (radius_mm + DELTA_MM) - wide.distances_mm(points)
    worst = max(float(filled.max()), 0.0)
    if worst > TOL_MM:
        doubted = points[filled > TOL_MM]
        # a disc that holds the point by the tolerance and keeps clear of the source
        short = _seek_discs(
            source, doubted, is_hole=is_hole, radius_mm=radius_mm + DELTA_MM, within_mm=TOL_MM, worst=min
        )
        worst = worst if short <= 2.0 * CHORD_MM else 0.0
    tally.worst_filled_mm = max(tally.worst_filled_mm, worst)
    if worst > TOL_MM:
        words.append(f"{worst:.2g} mm is filled that the disc reaches")
    small = radius_mm - min(RULE_MM, 2e-3 * radius_mm) - min(DELTA_MM, 0.1 * radius_mm)
    tight = Reach(source, is_hole=is_hole, radius_mm=small)
    left = tight.distances_mm(points) - small
    worst = max(float(left.max()), 0.0)
    if worst > TOL_MM:
        worst = _seek_discs(source, points[left > TOL_MM], is_hole=is_hole, radius_mm=small)
    tally.worst_open_mm = max(tally.worst_open_mm, worst)
    if worst > TOL_MM:
        words.append(f"{worst:.2g} mm is left open that the disc does not reach")
    # nowhere outside the removed side, and all that the disc covers is still removed
    ring = shapely.Polygon(flatten(after, chord_tol_mm=CHORD_MM))
    if not ring.is_valid:
        # chords may cross where the material is thinner than their height
        ring = shapely.Polygon(flatten(after, chord_tol_mm=4e-4 * CHORD_MM))
    if not ring.is_valid:
        words.append(f"the result crosses itself: {shapely.is_valid_reason(ring)}")
        return words
    shape = _as_valid(shapely.Polygon(source))
    strays = ring.difference(shape.buffer(DELTA_MM)) if is_hole else shape.difference(ring.buffer(DELTA_MM))
    if not strays.is_empty:
        words.append(f"the result removes {strays.area:.2g} mm2 of the material")
    if is_hole:
        inside = [part.representative_point() for part in wide.parts]
    else:
        inside = [shapely.Polygon(hole).representative_point() for part in wide.parts for hole in part.interiors]
    if not all(ring.contains(point) == is_hole for point in inside):
        words.append("a pocket that the disc reaches is filled")
    filling = shape.difference(ring) if is_hole else ring.difference(shape)
    for part in shapely.get_parts(filling):
        if part.area > pi * radius_mm**2 and shapely.maximum_inscribed_circle(part, 1e-4).length > radius_mm:
            words.append(f"a pocket of {part.area:.3g} mm2 that holds the disc is filled")
    return words


def _seek_discs(source: np.ndarray, points: np.ndarray, *, is_hole: bool, radius_mm: float, within_mm=0.0, worst=max):
    """By how much the best disc that holds a point, so far within its rim, is too large, at the worst of the points."""
    shape = shapely.Polygon(source)
    shapely.prepare(shape)
    tree = shapely.STRtree(shapely.linestrings(np.stack((source, np.roll(source, -1, axis=0)), axis=1)))
    short = []
    for point in points[:: max(1, len(points) // 12)]:
        middle, width = 0.0, 2.0 * pi
        for _ in range(9):
            angle = middle + np.linspace(-width / 2.0, width / 2.0, 241)
            centre = point + (radius_mm - within_mm) * np.column_stack((np.cos(angle), np.sin(angle)))
            _, clear = tree.query_nearest(shapely.points(centre), return_distance=True, all_matches=False)
            clear = np.where(shapely.contains_xy(shape, centre[:, 0], centre[:, 1]) == is_hole, clear, -clear)
            best = int(np.argmax(clear))
            middle, width = angle[best], width / 20.0
        short.append(radius_mm - float(clear[best]))
    return worst(short)


def check_radii(after: Contour, *, radius_mm: float) -> list[str]:
    """No re-entrant arc and no re-entrant joint below the rule."""
    segments = find_segments(after.vertices)
    words = []
    tight = (segments.sweep_rad < 0.0) & (segments.radius_mm < radius_mm - RULE_MM)
    if tight.any():
        words.append(f"a re-entrant radius of {segments.radius_mm[tight].min():.6g} mm is left")
    chord = segments.end_mm - segments.start_mm
    heading = np.arctan2(chord[:, 1], chord[:, 0])
    turns = np.angle(np.exp(1j * (heading - segments.sweep_rad / 2 - np.roll(heading + segments.sweep_rad / 2, 1))))
    # at a million millimetres from the origin a double holds 1e-10 mm, and a micrometre's chord its direction to 1e-4
    doubt = 4e-16 * np.abs(after.points_mm).max() / np.hypot(*chord.T)
    sharp = (turns < -TANGENT_RAD - 1e-6 - doubt - np.roll(doubt, 1)) & (turns > 1e-6 - pi)
    if sharp.any():
        x, y = after.points_mm[sharp][0]
        words.append(f"a joint turns in by {np.degrees(-turns.min()):.3g} degrees at ({x:.4f}, {y:.4f})")
    return words


def check_elements(before: Contour, after: Contour, *, radius_mm: float, listed: int) -> list[str]:
    """Every element is the source's, a part of one, or a fillet."""
    rows = {_key(before, i) for i in range(len(before))}
    origin = np.round(before.points_mm[0])
    old, new = find_segments(_at_origin(before, origin).vertices), find_segments(_at_origin(after, origin).vertices)
    noise = SAME_MM + 8e-16 * float(np.abs(after.points_mm).max())
    hair = min(6e-4, 2e-3 * radius_mm)
    count = len(after)
    kept = np.array([_key(after, i) in rows for i in range(count)])
    fillet = ~kept & (new.sweep_rad < 0.0)
    fillet &= (new.radius_mm <= radius_mm + FILLET_MM) & (new.radius_mm >= radius_mm - hair - FILLET_MM)
    words = []
    for i in np.flatnonzero(~kept & ~fillet):
        near = _lies_on(old, new, int(i), noise=noise)
        if not near:
            x, y = after.points_mm[i]
            words.append(f"element {i} at ({x:.6f}, {y:.6f}) is neither the source's nor a fillet")
        elif not (fillet[i - 1] or fillet[(i + 1) % count]):
            words.append(f"element {i} is changed but beside no fillet")
    if not fillet.any():
        words.append("changed without a fillet")
    for i in np.flatnonzero(fillet):
        # a whole circle is two half arcs, a slot's end may be one
        if new.sweep_rad[i] < -pi - 1e-6:
            words.append(f"a fillet turns {np.degrees(-new.sweep_rad[i]):.6g} degrees")
        for end in (new.start_mm[i], new.end_mm[i]):
            if find_distances_mm(old, end).min() > noise and not (fillet[i - 1] and fillet[(i + 1) % count]):
                words.append(f"a fillet ends {find_distances_mm(old, end).min():.2g} mm off the source")
    if listed < int(fillet.sum()):
        words.append(f"{int(fillet.sum())} fillets, but {listed} corners in the list")
    return words


def _key(contour: Contour, i: int) -> bytes:
    following = (i + 1) % len(contour)
    return contour.vertices[i].tobytes() + contour.vertices[following, :2].tobytes()


def _lies_on(old, new, i: int, *, noise: float) -> bool:
    middle = _middle(new, i)
    points = np.array([new.start_mm[i], middle, new.end_mm[i]])
    arc = bool(new.is_arc[i])
    same = old.is_arc == arc
    if arc:
        same &= np.sign(old.sweep_rad) == np.sign(new.sweep_rad[i])
    lines = np.flatnonzero(same)
    for k in lines:
        if arc:
            off = np.abs(np.hypot(*(points - old.centre_mm[k]).T) - old.radius_mm[k])
            good = off.max() <= noise + 1e-15 * old.radius_mm[k]
            if good:
                first = old.start_mm[k] - old.centre_mm[k]
                angles = [_turned(first, p - old.centre_mm[k], old.sweep_rad[k]) for p in points]
                room = noise / old.radius_mm[k] + 1e-9
                good = all(a <= abs(old.sweep_rad[k]) + room or a >= 2 * pi - room for a in angles)
        else:
            chord = old.end_mm[k] - old.start_mm[k]
            size = np.hypot(*chord)
            off = np.abs((points - old.start_mm[k]) @ np.array([-chord[1], chord[0]])) / size
            along = (points - old.start_mm[k]) @ chord / size
            good = off.max() <= noise and along.min() >= -noise and along.max() <= size + noise
        if good:
            return True
    return False


def _turned(one, other, sign) -> float:
    angle = np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other)
    return float(np.mod(angle * np.sign(sign), 2 * pi))


def _middle(segments, i: int) -> np.ndarray:
    if not segments.is_arc[i]:
        return (segments.start_mm[i] + segments.end_mm[i]) / 2.0
    offset = segments.start_mm[i] - segments.centre_mm[i]
    c, s = cos(segments.sweep_rad[i] / 2.0), sin(segments.sweep_rad[i] / 2.0)
    return segments.centre_mm[i] + np.array([c * offset[0] - s * offset[1], s * offset[0] + c * offset[1]])


def check_list(before: Contour, after: Contour, changes) -> list[str]:
    """Each listed corner stood on the source and is gone from the result."""
    words = []
    noise = 1e-6 + 1e-15 * float(np.abs(before.points_mm).max())
    old = shapely.LinearRing(flatten(before, chord_tol_mm=CHORD_MM))
    for change in changes:
        if old.distance(shapely.Point(change.x_mm, change.y_mm)) > CHORD_MM + noise:
            words.append(f"a corner is listed at ({change.x_mm:.4f}, {change.y_mm:.4f}), where no contour is")
    gone = {row.tobytes() for row in before.points_mm} - {row.tobytes() for row in after.points_mm}
    if changes and not gone:
        words.append("corners are listed but every vertex is still there")
    return words


def check_refusal(region: Region, finding, *, radius_mm: float) -> list[str]:
    """What is wrong with a refusal, in words."""
    if finding.code != "slot-too-narrow":
        return [f"refused with {finding.code}: {finding.message}"]
    origin = finding.origin
    if origin.x_mm is None or origin.y_mm is None or finding.size_mm is None:
        return ["a refusal without place or size"]
    words = []
    if not 0.0 <= finding.size_mm < 2.0 * radius_mm:
        words.append(f"a width of {finding.size_mm:g} mm is refused for a radius of {radius_mm:g} mm")
    if f"{2.0 * radius_mm:g}" not in finding.remedy:
        words.append("the remedy does not say how wide it must be")
    base = np.round(region.outer.points_mm.mean(axis=0))
    spot = shapely.Point(origin.x_mm - base[0], origin.y_mm - base[1])
    rings = [shapely.LinearRing(flatten(_at_origin(c, base), chord_tol_mm=CHORD_MM)) for c in region.contours]
    clear = 2.0 * min(ring.distance(spot) for ring in rings)
    # found by halving, so that the disc at the place is a little larger than the width
    if abs(clear - finding.size_mm) > 4e-3 * radius_mm + 2e-3:
        words.append(f"said to be {finding.size_mm:.5f} mm wide at {origin}, but there it is {clear:.5f} mm")
    return words


# families with the hard corners


def _plate_round(hole: Contour) -> Region:
    points = flatten(hole, chord_tol_mm=0.01)
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    edge = 0.3 * max(x1 - x0, y1 - y0)
    outer = rectangle((x0 - edge, y0 - edge), width_mm=x1 - x0 + 2 * edge, height_mm=y1 - y0 + 2 * edge)
    return region_of(outer, hole)


def _either_side(rng, hole: Contour) -> Region:
    """The ring as a cut-out of a plate or as an outline."""
    return _plate_round(hole) if rng.random() < 0.6 else region_of(hole)


def draw_cells(rng, radius):
    """Cells of a grid as one cut-out: parallel sides, equal widths, some of exactly twice the radius."""
    cell = radius * float(rng.choice([2.0, 2.0, 2.5, 4.0, 1.0, 0.5, 3.0]))
    side = int(rng.integers(1, 6))
    filled = rng.random((side, side)) < 0.75
    filled[side // 2, side // 2] = True
    boxes = [shapely.box(i * cell, j * cell, (i + 1) * cell, (j + 1) * cell) for i, j in np.argwhere(filled)]
    shape = shapely.union_all(boxes).simplify(0.0)
    part = max(shapely.get_parts(shape), key=lambda p: p.area)
    return _either_side(rng, polygon(np.array(part.exterior.coords)[:-1]))


def draw_fillet_chain(rng, radius):
    """Corners that carry fillets already: smaller, equal, larger, and such that neighbours meet."""
    count = int(rng.integers(3, 16))
    angle = (np.arange(count) + rng.uniform(-0.3, 0.3, count)) * 2.0 * pi / count
    reach = radius * rng.uniform(1.5, 9.0, count)
    points = np.column_stack((reach * np.cos(angle), reach * np.sin(angle)))
    radii = radius * rng.choice([0.1, 0.5, 0.999, 1.0, 1.0, 1.5, 3.0], count)
    return _either_side(rng, round_polygon(points, radii))


def draw_close_corners(rng, radius):
    """A zigzag wall: re-entrant corners nearer to each other than the radius."""
    x, y, points = 0.0, 0.0, [(0.0, 0.0)]
    for _ in range(int(rng.integers(2, 30))):
        step = radius * 10.0 ** rng.uniform(-2.0, 0.5)
        heading = rng.uniform(-1.2, 1.2)
        x, y = x + step * cos(heading), y + step * sin(heading)
        points.append((x, y))
    top = max(p[1] for p in points) + 8.0 * radius
    bottom = min(p[1] for p in points) - 8.0 * radius
    ring = [*points, (x, top), (0.0, top)] if rng.random() < 0.5 else [(0.0, bottom), (x, bottom), *points[::-1]]
    return _either_side(rng, polygon(ring))


def draw_arc_corners(rng, radius):
    """Arcs that meet arcs and lines in re-entrant corners."""
    count = int(rng.integers(2, 12))
    angle = (np.arange(count) + rng.uniform(-0.2, 0.2, count)) * 2.0 * pi / count
    reach = radius * rng.uniform(1.5, 12.0, count)
    bulge = np.where(rng.random(count) < 0.8, rng.uniform(-0.9, 0.9, count), 0.0)
    if count == 2:
        bulge = rng.uniform(0.1, 0.9, 2)
    return _either_side(rng, Contour(np.column_stack((reach * np.cos(angle), reach * np.sin(angle), bulge))))


def draw_exact_slots(rng, radius):
    """Slots of exactly twice the radius, or a little more or less, with square, round or mixed ends."""
    width = 2.0 * radius * float(rng.choice([1.0, 1.0, 1.0 + 1e-6, 1.0 - 1e-6, 1.0 + 1e-4, 1.001, 1.05, 0.9999]))
    length = radius * float(rng.choice([0.0, 1e-6, 0.5, 2.0, 5.0])) + width
    left, right = rng.choice(["square", "round", "fillet"], 2)
    return _either_side(rng, Contour(np.array(_lay_slot(length, width, str(left), str(right), radius))))


def _lay_slot(length, width, left, right, radius):
    h = width / 2.0
    b = tan(pi / 8.0)
    f = 0.4 * radius
    ends = {
        "square": [[h, -h, 0.0], [h, h, 0.0]],
        "round": [[0.0, -h, 1.0], [0.0, h, 0.0]],
        "fillet": [[h - f, -h, b], [h, -h + f, 0.0], [h, h - f, b], [h - f, h, 0.0]],
    }
    shift = length - width
    rows = [[x + shift, y, bulge] for x, y, bulge in ends[right]]
    rows += [[-x, -y, bulge] for x, y, bulge in ends[left]]
    kept = [row for i, row in enumerate(rows) if row[:2] != rows[i - 1][:2] or row[2]]
    return [row for i, row in enumerate(kept) if row[:2] != kept[(i + 1) % len(kept)][:2]]


def draw_saw(rng, radius):
    """Teeth of alternate arcs and lines, whose fillets meet or almost meet on the flanks between."""
    teeth = int(rng.integers(2, 40))
    pitch = radius * rng.uniform(1.0, 6.0)
    depth = radius * 10.0 ** rng.uniform(-1.5, 0.7)
    rows = []
    for i in range(teeth):
        rows.append([i * pitch, 0.0, float(rng.choice([0.0, 0.1, -0.1]))])
        rows.append([(i + rng.uniform(0.3, 0.7)) * pitch, depth, float(rng.choice([0.0, 0.1, -0.1]))])
    rows += [[teeth * pitch, 0.0, 0.0], [teeth * pitch, -6.0 * radius - depth, 0.0], [0.0, -6.0 * radius - depth, 0.0]]
    contour = Contour(np.array(rows))
    return _either_side(rng, contour if measure_area_mm2(contour) > 0 else reverse(contour))


OWN = {
    "cells": draw_cells,
    "fillet chain": draw_fillet_chain,
    "close corners": draw_close_corners,
    "arc corners": draw_arc_corners,
    "exact slots": draw_exact_slots,
    "saw": draw_saw,
}


def draw_own(seed: int) -> tuple[str, Region, float]:
    """A panel with hard corners and the radius that they are hard for."""
    rng = np.random.default_rng(1_000_000 + seed)
    name = list(OWN)[seed % len(OWN)]
    radius = float(rng.choice([2.0, 3.0, 4.0, 5.0, 5.0, 6.0, 12.5, rng.uniform(0.5, 20.0)]))
    for _ in range(1000):
        region = OWN[name](rng, radius)
        if is_sound(region):
            break
    else:
        raise RuntimeError(f"no sound panel of family {name} from seed {seed}")
    if rng.random() < 0.5:
        angle = rng.uniform(0.0, 2.0 * pi)
        region = map_region(region, lambda c: turn(c, angle_rad=angle))
    if rng.random() < 0.1:
        region = map_region(region, lambda c: move(c, by_mm=(1e6, -1e6)))
    return name, region, radius


def draw_radius_mm(region: Region, rng: np.random.Generator) -> float:
    """A radius of the order of a panel's own corners, often a usual one."""
    size = float(np.ptp(region.outer.points_mm, axis=0).max())
    if rng.random() < 0.3 and size > 60.0:
        return float(rng.choice([2.0, 3.0, 4.0, 5.0, 6.0, 10.0]))
    return float(min(200.0, size * 10.0 ** rng.uniform(-3.0, -0.7)))


# the campaign


def run_panel(name: str, region: Region, *, radius_mm: float, where: str, tally: Tally) -> None:
    """Round one panel with radii that fall until one is not refused, and check every answer."""
    tally.panels[name] += 1
    radius = radius_mm
    for _ in range(6):
        start = time.process_time()
        try:
            rounded = round_corners(region, radius_mm=radius)
        except Refusal as refusal:
            tally.seconds += time.process_time() - start
            widths = []
            for finding in refusal.findings:
                tally.refused[finding.code] += 1
                for word in check_refusal(region, finding, radius_mm=radius):
                    tally.faults.append(f"{where} {name}, radius {radius:.9g}: {word}")
                widths.append(finding.size_mm or radius)
            # half the narrowest width that was named must pass there
            radius = min(0.499 * min(widths), 0.9 * radius)
            if radius < 1e-3:
                tally.refused["too narrow for any radius from 0.001 mm"] += 1
                return
            continue
        except Exception as error:
            tally.faults.append(f"{where} {name}, radius {radius:.9g}: {type(error).__name__}: {error}")
            return
        tally.seconds += time.process_time() - start
        tally.rounded[name] += 1
        tally.corners[name] += len(rounded.corners)
        try:
            words = check_rounding(region, rounded, radius_mm=radius, tally=tally)
        except shapely.errors.GEOSException as error:
            words = [f"not compared: {error}"]
        tally.faults += [f"{where} {name}, radius {radius:.9g}: {word}" for word in words]
        return
    tally.refused["refused six times"] += 1


def time_large() -> list[tuple[str, int, int, float, float]]:
    """Processor seconds for rounding and for one bare buffer of shapely on large contours."""
    rows = []
    for count in (5000, 10000, 20000):
        half = count // 2
        angle = np.arange(count) * pi / half
        size = 2.5 * half
        star = polygon(
            np.column_stack((np.cos(angle), np.sin(angle))) * np.where(np.arange(count) % 2, size, size - 10.0)[:, None]
        )
        chords = polygon(size * np.column_stack((np.cos(angle), 0.7 * np.sin(angle)))[::-1])
        waves = np.column_stack((star.points_mm, np.where(np.arange(count) % 2, 0.1, -0.1)))
        for name, region in (
            ("star", region_of(star)),
            ("ellipse of chords as a cut-out", _plate_round(chords)),
            ("star of arcs", region_of(Contour(waves))),
        ):
            start = time.process_time()
            corners = len(round_corners(region, radius_mm=1.0).corners)
            took = time.process_time() - start
            shape = shapely.Polygon(flatten(region.contours[-1], chord_tol_mm=1e-3))
            start = time.process_time()
            shape.buffer(1.0, quad_segs=64)
            rows.append((name, count, corners, took, time.process_time() - start))
    return rows


def run_campaign(count: int, seed: int, own: int) -> Tally:
    tally = Tally()
    for number in range(seed, seed + count):
        name, region, rng = draw_panel(number)
        run_panel(name, region, radius_mm=draw_radius_mm(region, rng), where=f"panel {number}", tally=tally)
    for number in range(seed, seed + own):
        name, region, radius = draw_own(number)
        run_panel(name, region, radius_mm=radius, where=f"own {number}", tally=tally)
    return tally


def write_section(tally: Tally, rows, *, command: str, wall_s: float) -> str:
    lines = [
        f"## Corner rounding, {datetime.date.today().isoformat()}",
        "",
        f"`{command}`, CPython {platform.python_version()}, shapely {shapely.__version__} with GEOS "
        f"{shapely.geos_version_string}, {wall_s:.0f} s on a busy machine, of which {tally.seconds:.0f} s in rounding. "
        f"{sum(tally.panels.values())} panels, each rounded with falling radii until none of its slots is too narrow. "
        f"Faults: {len(tally.faults)}. Farthest that anything was filled that a disc of the rule reaches: "
        f"{1e3 * tally.worst_filled_mm:.3f} micrometres; left open that a disc 1 micrometre smaller does not reach: "
        f"{1e3 * tally.worst_open_mm:.3f} (both beyond the {1e3 * DELTA_MM:g} allowed for the engine's chords). "
        f"Refusals checked: " + ", ".join(f"{code} {n}" for code, n in tally.refused.most_common()) + ".",
        "",
        "| family | panels | rounded and compared | corners |",
        "|---|---|---|---|",
        *(f"| {n} | {tally.panels[n]} | {tally.rounded[n]} | {tally.corners[n]} |" for n in tally.panels),
        "",
    ]
    if tally.faults:
        lines += ["Faults:", "", *(f"- {fault}" for fault in tally.faults[:40]), ""]
    if rows:
        lines += [
            "Large contours, radius 1 mm, processor time; beside it shapely's buffer of the flattening to 1 micron.",
            "",
            "| contour | elements | corners rounded | s | buffer s |",
            "|---|---|---|---|---|",
            *(f"| {n} | {size} | {corners} | {took:.2f} | {bare:.2f} |" for n, size, corners, took, bare in rows),
            "",
        ]
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", nargs="?", type=int, default=2000)
    parser.add_argument("seed", nargs="?", type=int, default=1)
    parser.add_argument("--own", type=int, default=600)
    parser.add_argument("--no-times", action="store_true")
    parser.add_argument("--append", action="store_true")
    asked = parser.parse_args()
    start = time.perf_counter()
    tally = run_campaign(asked.count, asked.seed, asked.own)
    rows = [] if asked.no_times else time_large()
    command = f"python tests/bench/bench_rounding.py {asked.count} {asked.seed} --own {asked.own}"
    text = write_section(tally, rows, command=command, wall_s=time.perf_counter() - start)
    print(text)
    for fault in tally.faults:
        print(fault, file=sys.stderr)
    if asked.append:
        with (Path(__file__).parent / "RESULTS.md").open("a", encoding="utf-8") as file:
            file.write("\n" + text)
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
