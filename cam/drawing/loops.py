"""Chains to loops and open chains, with the entities that they were drawn with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.drawing import Loop, OpenChain
from cam.drawing.joined import Joined
from cam.drawing.pieces import measure_pieces_mm
from cam.geometry.contour import Contour, FloatArray, IntArray


def lay_loops(joined: Joined) -> tuple[Loop, ...]:
    """Return the loops, in the order of the chains."""
    pieces, chains = joined.pieces, joined.chains
    loops = []
    for i in np.flatnonzero(chains.closed).tolist():
        sources = [pieces.sources[k] for k in chains.order[chains.first_piece[i] : chains.first_piece[i + 1]]]
        rows = chains.piece[chains.first[i] : chains.first[i + 1]].tolist()
        one_layer = all(source.layer == sources[0].layer for source in sources)
        loops.append(
            Loop(
                contour=Contour(chains.vertices[chains.first[i] : chains.first[i + 1]]),
                layer=sources[0].layer,
                handle=sources[0].handle,
                handles=tuple(dict.fromkeys(source.handle for source in sources)),
                block_path=sources[0].block_path,
                layers=() if one_layer else tuple(pieces.sources[k].layer for k in rows),
            )
        )
    return tuple(loops)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NearestEnds:
    """For every end, (2 n,): the nearest other free end, -1 where there is none, and its distance, else inf."""

    end: IntArray
    gap_mm: FloatArray


def find_nearest_ends(joined: Joined) -> NearestEnds:
    """Return the nearest other free end of every free end."""
    points, free = joined.ends.points_mm, joined.free
    end = np.full(len(points), -1, dtype=np.int64)
    gap = np.full(len(points), np.inf)
    if len(free) > 1:
        geometries = np.asarray(shapely.points(points[free]))
        (one, other), distance = shapely.STRtree(geometries).query_nearest(
            geometries, exclusive=True, return_distance=True, all_matches=False
        )
        end[free[one]], gap[free[one]] = free[other], distance
    return NearestEnds(end=end, gap_mm=gap)


def lay_open_chains(joined: Joined, nearest: NearestEnds) -> tuple[OpenChain, ...]:
    """Return the open chains, in the order of the chains."""
    pieces, chains = joined.pieces, joined.chains
    length = measure_pieces_mm(pieces)
    laid = []
    for i in np.flatnonzero(~chains.closed).tolist():
        order = chains.order[chains.first_piece[i] : chains.first_piece[i + 1]]
        vertices = chains.vertices[chains.first[i] : chains.first[i + 1]]
        source = pieces.sources[order[0]]
        laid.append(
            OpenChain(
                vertices=vertices,
                start_mm=(float(vertices[0, 0]), float(vertices[0, 1])),
                end_mm=(float(vertices[-1, 0]), float(vertices[-1, 1])),
                length_mm=float(length[order].sum()),
                gap_mm=float(nearest.gap_mm[list(find_tips(joined, i))].min()),
                layer=source.layer,
                handle=source.handle,
            )
        )
    return tuple(laid)


def find_tips(joined: Joined, chain: int) -> tuple[int, int]:
    """Return the first and the last end of an open chain."""
    chains = joined.chains
    first, last = chains.first_piece[chain], chains.first_piece[chain + 1] - 1
    return int(chains.entries[first]), int(chains.entries[last] ^ 1)
