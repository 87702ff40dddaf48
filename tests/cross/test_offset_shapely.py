"""Offsets of random panels against the polygon offset of a general-purpose library (shapely, GEOS).

A seeded slice, of panels for which the polygon engine takes a second or so. The polygon offset has 1,024
chords to a quarter and is taken of a flattening within 0.1 micrometre.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import shapely

from cam.geometry.contour import Region
from cam.geometry.flatten import flatten
from cam.geometry.offset import offset_region

_SPEC = importlib.util.spec_from_file_location(
    "random_panels", Path(__file__).parents[1] / "bench" / "random_panels.py"
)
assert _SPEC is not None and _SPEC.loader is not None
random_panels = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(random_panels)

WITHIN_MM = 0.002


def _polygon(region: Region, tol: float) -> shapely.Polygon:
    return shapely.Polygon(
        flatten(region.outer, chord_tol_mm=tol), [flatten(hole, chord_tol_mm=tol) for hole in region.holes]
    )


def _reach(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """Return how far the vertices of one boundary lie from the other boundary."""
    points = shapely.points(shapely.get_coordinates(one))
    return float(np.max(shapely.distance(points, other))) if len(points) else 0.0


@pytest.mark.parametrize("seed", [1, 2, 4, 5, 7, 8, 9, 11, 14, 15])
def test_offsets_lie_within_two_micrometres_of_the_polygon_offset(seed: int) -> None:
    _, region, rng = random_panels.draw_panel(seed)
    source = _polygon(region, 1e-4)
    size = float(np.sqrt(source.area))
    for share in (-0.05, 0.03):
        distance = share * size * float(rng.uniform(0.2, 1.0))
        exact = offset_region(region, distance_mm=distance)
        wanted = source.buffer(distance, quad_segs=1024)
        found = shapely.union_all([_polygon(part, 1e-4) for part in exact])
        assert found.symmetric_difference(wanted).area <= WITHIN_MM * (wanted.length + found.length) + 1e-6
        if not wanted.is_empty and len(shapely.get_parts(wanted)) == len(exact):
            assert _reach(found.boundary, wanted.boundary) <= WITHIN_MM
            assert _reach(wanted.boundary, found.boundary) <= WITHIN_MM
