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


def _is_near(one: shapely.Geometry, other: shapely.Geometry, within_mm: float) -> bool:
    """Return whether all vertices of one boundary lie within a distance of the other boundary."""
    shapely.prepare(other)
    return bool(shapely.dwithin(other, shapely.points(shapely.get_coordinates(one)), within_mm).all())


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
            assert _is_near(found.boundary, wanted.boundary, WITHIN_MM)
            assert _is_near(wanted.boundary, found.boundary, WITHIN_MM)


# offsets that differ from GEOS's by more than 2 micrometres: GEOS leaves shallow dents out of its input before it
# offsets, up to a hundredth of the distance deep (BufferInputLineSimplifier), and of the second it loses a part
STRAYS = [(51, 34.72991491179527), (74, -159.51007597338113), (81, -1.1645), (63, 50.0)]


@pytest.mark.parametrize(("seed", "distance"), STRAYS)
def test_where_the_polygon_offset_strays_plain_distances_speak_for_ours(seed: int, distance: float) -> None:
    _, region, _ = random_panels.draw_panel(seed)
    source = _polygon(region, 1e-5)
    found = shapely.union_all([_polygon(part, 1e-4) for part in offset_region(region, distance_mm=distance)])
    points = found.segmentize(0.01 * found.length)
    edge = source.boundary
    assert _is_near(points, edge, abs(distance) + WITHIN_MM)
    assert not shapely.dwithin(edge, shapely.points(shapely.get_coordinates(points)), abs(distance) - WITHIN_MM).any()
    assert source.contains(found) if distance < 0.0 else found.contains(source)


def test_single_edges_offset_one_by_one_give_our_offset_where_the_whole_polygon_does_not() -> None:
    # one edge has no dent to leave out: the union of the edges' offsets is GEOS without the simplification
    seed, distance = STRAYS[0]
    _, region, _ = random_panels.draw_panel(seed)
    source = _polygon(region, 1e-4)
    (ours,) = offset_region(region, distance_mm=distance)
    ring = shapely.get_coordinates(source.exterior)
    edges = shapely.linestrings(np.stack((ring[:-1], ring[1:]), axis=1))
    corners = shapely.points(ours.outer.points_mm)
    for corner in corners:
        near = edges[shapely.distance(edges, corner) <= distance + 0.01]
        united = shapely.union_all(shapely.buffer(near, distance, quad_segs=1024))
        assert united.boundary.distance(corner) <= WITHIN_MM


def test_a_part_that_the_polygon_offset_loses_is_there() -> None:
    seed, distance = STRAYS[1]
    _, region, _ = random_panels.draw_panel(seed)
    deep = shapely.Point(1000199.0009479091, -1000035.0386368785)
    source = _polygon(region, 1e-4)
    assert source.contains(deep)
    assert source.boundary.distance(deep) > -distance + 16.0
    assert any(_polygon(part, 1e-4).contains(deep) for part in offset_region(region, distance_mm=distance))
