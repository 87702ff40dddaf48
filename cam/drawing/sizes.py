"""How large a fault is: how far loops overlap, how long a piece runs along another, what a crossing cuts off."""

from __future__ import annotations

import numpy as np
import shapely

from cam.drawing.chain import Chains
from cam.drawing.contact import take_segments
from cam.drawing.crossing import Net
from cam.geometry.contour import FloatArray
from cam.geometry.flatten import flatten_vertices
from cam.geometry.measure import find_distances_mm

CHORD_TOL_MM = 0.01
MAX_TANGLED_POINTS = 2000
"""A contour that crosses itself is not measured against others beyond this: it must be mended first."""


def measure_overlap_mm(net: Net, *, one: int, other: int, touch_tol_mm: float) -> float:
    """Return how far apart the ends of the stretch are that two segments share, 0 where they share none."""
    both = np.array([one, other])
    pair = take_segments(net.segments, both)
    ends = np.concatenate((pair.start_mm, pair.end_mm))
    turned = take_segments(net.segments, both[::-1])
    apart = find_distances_mm(take_segments(turned, np.array([0, 1, 0, 1])), ends)
    shared = ends[apart <= 10.0 * touch_tol_mm]
    if len(shared) < 2:
        return 0.0
    return float(np.hypot(*(shared[:, None] - shared[None]).transpose(2, 0, 1)).max())


def measure_cut_off_mm(chains: Chains, net: Net, *, one: int, other: int) -> float:
    """Return how long the shorter way is from one segment of a chain to another of it, the two left out."""
    low, high = min(one, other), max(one, other)
    length = net.segments.length_mm
    chain = int(net.chain[low])
    first = int(np.searchsorted(net.chain, chain, side="left"))
    last = int(np.searchsorted(net.chain, chain, side="right"))
    between = float(length[low + 1 : high].sum())
    round_about = float(length[first:low].sum() + length[high + 1 : last].sum())
    return min(between, round_about) if chains.closed[chain] else between


def measure_depth_mm(chains: Chains, *, one: int, other: int) -> float | None:
    """Return how far two chains reach over each other, None where one is too tangled to say.

    Of two closed ones that is the width of the narrowest rectangle about the area that they share,
    or about what either has outside the other, whichever is least. Of an open and a closed one it is
    the length of the open one inside or outside, whichever is less. Of two open ones it is the
    distance from where they cross to the nearest of their ends.
    """
    first, second = _lay_shape(chains, one), _lay_shape(chains, other)
    if first is None or second is None:
        return None
    if not (chains.closed[one] or chains.closed[other]):
        ends = shapely.union(shapely.boundary(first), shapely.boundary(second))
        return float(shapely.distance(ends, shapely.intersection(first, second)))
    if not (chains.closed[one] and chains.closed[other]):
        path, shape = (second, first) if chains.closed[one] else (first, second)
        inside = float(shapely.length(shapely.intersection(path, shape)))
        return min(inside, max(float(shapely.length(path)) - inside, 0.0))
    shared = shapely.intersection(first, second)
    outside = [shapely.difference(first, second), shapely.difference(second, first)]
    return min(_measure_width_mm(shape) for shape in (shared, *outside))


def measure_apart_mm(chains: Chains, *, one: int, other: int) -> float:
    """Return the greatest distance of either of two closed chains from the other."""
    first, second = (_lay_points(chains, chain) for chain in (one, other))
    # closed by hand: a loop so flat that two points are left of it is no ring
    paths = [shapely.LineString(np.concatenate((points, points[:1]))) for points in (first, second)]
    return float(shapely.hausdorff_distance(paths[0], paths[1]))


def _lay_points(chains: Chains, chain: int) -> FloatArray:
    vertices = chains.vertices[chains.first[chain] : chains.first[chain + 1]]
    return flatten_vertices(vertices, chord_tol_mm=CHORD_TOL_MM, closed=bool(chains.closed[chain]))[0]


def _lay_shape(chains: Chains, chain: int) -> shapely.Geometry | None:
    points = _lay_points(chains, chain)
    if not chains.closed[chain] or len(points) < 3:
        return shapely.LineString(points)
    polygon = shapely.Polygon(points)
    if shapely.is_valid(polygon):
        return polygon
    return shapely.make_valid(polygon) if len(points) <= MAX_TANGLED_POINTS else None


def _measure_width_mm(shape: shapely.Geometry) -> float:
    if shapely.area(shape) == 0.0:
        return 0.0
    box = shapely.minimum_rotated_rectangle(shape)
    corners = shapely.get_coordinates(box)
    if len(corners) < 4:
        return 0.0
    return float(np.hypot(*np.diff(corners[:3], axis=0).T).min())
