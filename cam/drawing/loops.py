"""Chains to loops and open chains, with the entities that they were drawn with."""

from __future__ import annotations

import numpy as np
import shapely

from cam.drawing.chain import Chains, Ends, Joints
from cam.drawing.drawing import Loop, OpenChain
from cam.drawing.pieces import Pieces, find_piece_segments, measure_segments_mm
from cam.geometry.contour import Contour, FloatArray, IntArray


def lay_loops(pieces: Pieces, chains: Chains) -> tuple[tuple[Loop, ...], IntArray]:
    """Return the loops and the chains (n,) that they are."""
    closed = np.flatnonzero(chains.closed)
    loops = []
    for i in closed.tolist():
        sources = [pieces.sources[k] for k in chains.order[chains.first_piece[i] : chains.first_piece[i + 1]]]
        loops.append(
            Loop(
                contour=Contour(chains.vertices[chains.first[i] : chains.first[i + 1]]),
                layer=sources[0].layer,
                handle=sources[0].handle,
                handles=tuple(dict.fromkeys(source.handle for source in sources)),
                block_path=sources[0].block_path,
            )
        )
    return tuple(loops), closed


def find_free_ends(pieces: Pieces, joints: Joints) -> IntArray:
    """Return the ends of open pieces that are joined to none."""
    free = np.repeat(~pieces.closed, 2)
    free[joints.one] = False
    free[joints.other] = False
    return np.flatnonzero(free)


def find_nearest_free_mm(ends: Ends, free: IntArray) -> FloatArray:
    """Return for every end (2 n,) the distance to the nearest other free end; inf where there is none."""
    nearest = np.full(len(ends.points_mm), np.inf)
    if len(free) > 1:
        geometries = np.asarray(shapely.points(ends.points_mm[free]))
        # the nearest of two, because the first may be the end itself
        tree = shapely.STRtree(geometries)
        (one, other), distance = tree.query_nearest(geometries, exclusive=True, return_distance=True, all_matches=False)
        del other
        nearest[free[one]] = distance
    return nearest


def lay_open_chains(pieces: Pieces, chains: Chains, nearest_mm: FloatArray) -> tuple[tuple[OpenChain, ...], IntArray]:
    """Return the open chains and the chains (n,) that they are."""
    length = np.add.reduceat(measure_segments_mm(*find_piece_segments(pieces)), pieces.first[:-1])
    is_open = np.flatnonzero(~chains.closed)
    laid = []
    for i in is_open.tolist():
        order = chains.order[chains.first_piece[i] : chains.first_piece[i + 1]]
        vertices = chains.vertices[chains.first[i] : chains.first[i + 1]]
        source = pieces.sources[order[0]]
        tips = np.array([2 * order[0], 2 * order[0] + 1, 2 * order[-1], 2 * order[-1] + 1])
        laid.append(
            OpenChain(
                vertices=vertices,
                start_mm=(float(vertices[0, 0]), float(vertices[0, 1])),
                end_mm=(float(vertices[-1, 0]), float(vertices[-1, 1])),
                length_mm=float(length[order].sum()),
                gap_mm=float(nearest_mm[tips].min()),
                layer=source.layer,
                handle=source.handle,
            )
        )
    return tuple(laid), is_open
