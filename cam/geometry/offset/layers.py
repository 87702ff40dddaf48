"""The quick road to an offset: the parts of its chain that only one layer covers, and their proof."""

from __future__ import annotations

import numpy as np

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.chain import Chain, ChainUnsure, lay_chain
from cam.geometry.offset.clearance import find_feet
from cam.geometry.offset.depth import DeepParts, find_deep_parts
from cam.geometry.offset.joining import Loop, join_parts
from cam.geometry.offset.raw import TOUCH_MM, Pieces, points_at
from cam.geometry.offset.skin import Skin, find_nearer
from cam.geometry.offset.source import Source

NEARER_MM = 1e-6
"""By how much a point must be nearer than the distance to count as nearer."""
MAX_PROBES = 500
"""How many parts of either sort are measured; of more, an even choice."""


def find_layered_loops(source: Source, *, skin: Skin, distance_mm: float, side: float) -> list[Loop]:
    """Return the loops of an offset by counting layers along its chain.

    Raises
    ------
    ChainUnsure
        If rounding could decide anything either way, or a probe speaks against the count.

    Notes
    -----
    Every point that the material reaches lies under one layer of the chain at least, a point that
    it does not reach under none. Along a piece the number of layers on its far side changes by one
    at each crossing: a part belongs to the offset if there are none. The count has no start, but a
    part of the offset has the least of its round; so one distance settles each round.
    """
    chain = lay_chain(source, distance_mm=distance_mm, side=side)
    if not len(chain):
        return []
    deep = find_deep_parts(chain)
    bare = _find_bare(deep, chain=chain, skin=skin)
    loops = _trace(deep, bare)
    _probe(deep, bare, chain=chain, skin=skin)
    joined = [join_parts(deep.parts.take(loop), pieces=chain.pieces) for loop in loops]
    return [loop for loop in joined if loop is not None]


def _middles(deep: DeepParts, which: IntArray, pieces: Pieces) -> FloatArray:
    parts = deep.parts
    return points_at(pieces, parts.piece[which], (parts.low_mm[which] + parts.high_mm[which]) / 2.0)


def _find_bare(deep: DeepParts, *, chain: Chain, skin: Skin) -> BoolArray:
    """Return which parts have no layer on their far side."""
    first = np.flatnonzero(np.diff(deep.round, prepend=-1))
    number = np.repeat(np.arange(len(first)), np.diff(np.append(first, len(deep.round))))
    huge = np.iinfo(np.int64).max
    least = np.minimum.reduceat(np.where(deep.is_link, huge, deep.depth), first)
    under = np.minimum.reduceat(np.where(deep.is_link, deep.depth, huge), first)
    length = deep.parts.high_mm - deep.parts.low_mm
    bare = ~deep.is_link & (deep.depth == least[number])
    # the longest of them speaks for all
    order = np.lexsort((np.where(bare, -length, np.inf), number))
    witness = order[np.searchsorted(number[order], np.arange(len(first)))]
    alive = (least < huge) & ~find_nearer(
        skin, _middles(deep, witness, chain.pieces), than_mm=chain.pieces.distance_mm - NEARER_MM
    )
    if (alive & (under <= least)).any():
        raise ChainUnsure
    bare &= alive[number]
    if (length[bare] <= TOUCH_MM).any():
        raise ChainUnsure
    return np.asarray(bare)


def _trace(deep: DeepParts, bare: BoolArray) -> list[IntArray]:
    """Return the closed loops of the bare parts, in order of travel."""
    kept = np.flatnonzero(bare)
    follows = deep.following[kept]
    if not bare[follows].all() or (np.bincount(follows, minlength=1) > 1).any():
        raise ChainUnsure
    if not len(kept):
        return []
    rank = np.empty(len(bare), dtype=np.int64)
    rank[kept] = np.arange(len(kept))
    # runs of parts that follow each other in order are taken whole
    following = rank[follows]
    ends = np.flatnonzero(following != np.arange(1, len(kept) + 1))
    starts = np.concatenate(([0], ends[:-1] + 1))
    next_run = np.searchsorted(starts, following[ends]).tolist()
    seen = bytearray(len(ends))
    loops = []
    for first in range(len(ends)):
        if seen[first]:
            continue
        runs, at = [], first
        while not seen[at]:
            seen[at] = 1
            runs.append(kept[starts[at] : ends[at] + 1])
            at = next_run[at]
        loops.append(np.concatenate(runs))
    return loops


def _probe(deep: DeepParts, bare: BoolArray, *, chain: Chain, skin: Skin) -> None:
    """Refuse a count that the distances of parts' middles contradict, kept ones and dropped ones."""
    distance, pieces = chain.pieces.distance_mm, chain.pieces
    kept = _spread(np.flatnonzero(bare))
    if find_nearer(skin, _middles(deep, kept, pieces), than_mm=distance - NEARER_MM).any():
        raise ChainUnsure
    dropped = _spread(np.flatnonzero(~bare & ~deep.is_link & (deep.parts.high_mm - deep.parts.low_mm > TOUCH_MM)))
    passed = _spread(np.arange(len(chain.passed)))
    source = skin.source
    maker = np.concatenate((pieces.maker[deep.parts.piece[dropped]] % len(source), chain.passed[passed]))
    points = np.concatenate((_middles(deep, dropped, pieces), chain.passed_mm[passed]))
    open_ = ~find_nearer(skin, points, than_mm=distance - NEARER_MM)
    # what is nearer by less is so through a neighbour of its maker
    maker, points = maker[open_], points[open_]
    reach = np.full(len(maker), np.inf)
    for step in (source.previous, source.following):
        neighbour = maker
        for _ in range(3):
            neighbour = step[neighbour]
            feet = find_feet(source.segments, neighbour, points)
            reach = np.minimum(reach, np.hypot(*(feet - points).T))
    if (reach >= distance).any():
        raise ChainUnsure


def _spread(which: IntArray) -> IntArray:
    """Return all of some numbers, or an even choice of them."""
    if len(which) <= MAX_PROBES:
        return which
    return which[np.linspace(0, len(which) - 1, MAX_PROBES).astype(np.int64)]
