"""Random recesses, in and across the edges of panels: what the corner rule leaves is what a disc reaches.

Checked against an opening by a polygon engine (shapely) in which the disc may leave the panel as it likes.
"""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np
import pytest
import shapely

from cam.errors import PanelRefused
from cam.geometry.contour import Contour, Region, polygon, rectangle
from cam.geometry.flatten import flatten
from cam.geometry.measure import is_counter_clockwise
from cam.geometry.transform import reverse
from cam.panel.panel import Feature, Finish, Panel, Recess, Role
from cam.panel.recess_corners import keep_recess_corners

RADIUS_MM = 5.0
CHORD_MM = 1e-3

PLATES = (
    rectangle((0.0, 0.0), width_mm=300.0, height_mm=200.0),
    polygon([(0, 0), (300, 0), (300, 90), (140, 90), (140, 200), (0, 200)]),
    polygon([(0, 0), (320, 30), (260, 210), (40, 180)]),
)


def make_recess(rng: np.random.Generator) -> Contour:
    """Return a turned rectangle, a rounded one, or a star with 4 to 7 points, somewhere on or across a plate."""
    x, y = rng.uniform(-20.0, 320.0), rng.uniform(-20.0, 220.0)
    kind = rng.integers(3)
    if kind == 2:
        count = int(rng.integers(4, 8))
        radius = rng.uniform(25.0, 70.0, count)
        at = (np.arange(count) + rng.uniform(-0.2, 0.2, count)) * 2.0 * pi / count
        return polygon(np.column_stack((x + radius * np.cos(at), y + radius * np.sin(at))))
    w, h = rng.uniform(6.0, 120.0), rng.uniform(6.0, 120.0)
    turn = rng.choice([0.0, 0.0, rng.uniform(0.0, 2.0 * pi)])
    corners = np.array([(-w, -h), (w, -h), (w, h), (-w, h)]) / 2.0
    spin = np.array([[cos(turn), sin(turn)], [-sin(turn), cos(turn)]])
    bulges = np.where(rng.random(4) < 0.4, 0.3, 0.0) if kind == 1 else np.zeros(4)
    return Contour(np.column_stack((corners @ spin + (x, y), bulges)))


def build_polygon(region: Region) -> shapely.Polygon:
    outer, *holes = (flatten(contour, chord_tol_mm=CHORD_MM) for contour in region.contours)
    return shapely.Polygon(outer, holes)


def open_recess(recess: shapely.Polygon, plate: shapely.Polygon, *, radius_mm: float) -> shapely.Geometry:
    away = shapely.difference(shapely.box(-200, -200, 600, 500), plate)
    free = shapely.union(recess, away)
    return free.buffer(-radius_mm, quad_segs=128).buffer(radius_mm, quad_segs=128)


@pytest.mark.parametrize("seed", range(40))
def test_a_recess_keeps_what_the_disc_reaches(seed: int) -> None:
    rng = np.random.default_rng([11, seed])
    plate = PLATES[int(rng.integers(len(PLATES)))]
    material = shapely.Polygon(plate.points_mm)
    drawn = make_recess(rng)
    while shapely.Polygon(flatten(drawn, chord_tol_mm=CHORD_MM)).intersection(material).area < 50.0:
        drawn = make_recess(rng)
    drawn = drawn if is_counter_clockwise(drawn) else reverse(drawn)
    before = shapely.Polygon(flatten(drawn, chord_tol_mm=CHORD_MM))
    panel = Panel(
        name="plate",
        thickness_mm=6.0,
        region=Region(outer=plate),
        features=(Feature(index=0, role=Role.OUTLINE, label="outline", finish=Finish.SHOWN),),
        recesses=(Recess(label="recess 1", role=Role.RECESS, region=Region(outer=drawn), depth_mm=2.0),),
    )
    want = open_recess(before, material, radius_mm=RADIUS_MM - 1e-3).intersection(before).intersection(material)
    lost = before.intersection(material).difference(want)
    try:
        kept = keep_recess_corners(panel, radius_mm=RADIUS_MM)
    except PanelRefused as refusal:
        assert {finding.code for finding in refusal.findings} <= {"slot-too-narrow", "corner-not-certain"}
        # something more than the tip of a corner must have been out of the disc's reach
        thick = shapely.difference(lost, open_recess(before, material, radius_mm=RADIUS_MM - 0.05).buffer(0.02))
        assert thick.area > 0.0
        return
    after = build_polygon(kept.recesses[0].region).intersection(material)
    # but for slivers of chords, no wider than a hundredth, the disc reaches all that is left of the recess
    assert after.difference(want).buffer(-0.01).is_empty
    # and nothing more is left standing than the fillets of the corners that were rounded: where a corner is
    # nearer to the panel's edge than its fillet is long, the disc could come a little nearer from outside
    corners = [shapely.Point(corner.x_mm, corner.y_mm).buffer(3.0 * RADIUS_MM) for corner in kept.rounded]
    assert want.difference(after).difference(shapely.union_all(corners)).buffer(-0.01).is_empty
    whole = [corner for corner in kept.rounded if _is_deep(corner.x_mm, corner.y_mm, material)]
    deep = shapely.union_all([shapely.Point(corner.x_mm, corner.y_mm).buffer(RADIUS_MM) for corner in whole])
    assert want.difference(after).intersection(deep).buffer(-0.01).is_empty


def _is_deep(x_mm: float, y_mm: float, material: shapely.Polygon) -> bool:
    return bool(material.boundary.distance(shapely.Point(x_mm, y_mm)) > 4.0 * RADIUS_MM)
