"""Pieces made plain: what has no length and what is drawn twice goes, counted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.drawing.hatch import HATCH_KINDS
from cam.drawing.pieces import Pieces, Source, find_piece_segments, keep_pieces, measure_segments_mm
from cam.geometry.contour import BoolArray, FloatArray, IntArray

SAME_MM = 1e-6  # the last digit that drawings are commonly written with; shorter is nothing, nearer is the same
FLAT_SAGITTA_MM = 1e-7  # an arc that rises less is a line


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cleaned:
    """Pieces that remain, and what went: segments without length, and pieces drawn again."""

    pieces: Pieces
    zero_length: tuple[Source, ...]
    duplicates: tuple[Source, ...]
    duplicates_mm: FloatArray
    """(k, 2) a point of each duplicate."""
    duplicates_closed: BoolArray
    """(k,) which duplicates are whole loops."""


def clean_pieces(pieces: Pieces) -> Cleaned:
    """Return the pieces without segments of no length and without exact duplicates.

    A duplicate has the same vertices to within ``SAME_MM``, forwards or backwards, from whatever
    start where it is closed, on the same layer; the boundary of a hatch, on any. The first drawn is
    kept.
    """
    pieces, nothing = _drop_zero_length(pieces)
    again = _find_duplicates(pieces)
    return Cleaned(
        pieces=keep_pieces(pieces, ~again) if again.any() else pieces,
        zero_length=nothing,
        duplicates=tuple(pieces.sources[i] for i in np.flatnonzero(again)),
        duplicates_mm=pieces.vertices[pieces.first[:-1][again], :2],
        duplicates_closed=pieces.closed[again],
    )


def _drop_zero_length(pieces: Pieces) -> tuple[Pieces, tuple[Source, ...]]:
    start, end, bulge = find_piece_segments(pieces)
    length = measure_segments_mm(start, end, bulge)
    owner = np.repeat(np.arange(len(pieces)), np.diff(pieces.first))
    unused = np.zeros(len(start), dtype=np.bool_)
    unused[pieces.first[1:][~pieces.closed] - 1] = True
    short = (length <= SAME_MM) & ~unused
    flat = (np.abs(bulge) * length / 2.0 <= FLAT_SAGITTA_MM) & (bulge != 0.0)
    vertices = pieces.vertices.copy()
    vertices[flat | unused, 2] = 0.0
    nothing = tuple(pieces.sources[i] for i in owner[short])
    counts = np.bincount(owner[~short], minlength=len(pieces))
    bent = np.bincount(owner[~short & ~flat & (bulge != 0.0)], minlength=len(pieces))
    # a closed piece of two straight segments runs there and back: one open line
    there_and_back = pieces.closed & (counts == 2) & (bent == 0)
    plain = Pieces(
        vertices=vertices[~short],
        first=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        closed=pieces.closed & ~there_and_back,
        sources=pieces.sources,
    )
    keep = counts >= 2
    return (plain if keep.all() else keep_pieces(plain, keep)), nothing


def _find_duplicates(pieces: Pieces) -> BoolArray:
    again = np.zeros(len(pieces), dtype=np.bool_)
    hatch = np.array([source.kind in HATCH_KINDS for source in pieces.sources], dtype=np.bool_)
    layers: dict[str, int] = {}
    layer = np.array([layers.setdefault(source.layer, len(layers)) for source in pieces.sources], dtype=np.int64)
    counts = np.diff(pieces.first)
    for count in np.unique(counts):
        for closed in (False, True):
            group = np.flatnonzero((counts == count) & (pieces.closed == closed))
            if len(group) > 1:
                rows = pieces.vertices[pieces.first[group][:, None] + np.arange(count)]
                keys = _lay_keys(rows, closed=closed)
                again[group] = _find_repeats(np.column_stack((keys, layer[group])))
                if hatch[group].any():
                    again[group] |= _find_repeats(keys) & hatch[group]
    return again


def _lay_keys(rows: FloatArray, *, closed: bool) -> IntArray:
    """Return rows (k, count, 3) as whole numbers (k, 3 count), from their smaller end or smallest vertex."""
    whole = np.rint(rows / SAME_MM).astype(np.int64)
    if closed:
        whole = _turn_rings(whole)
    else:
        back = np.concatenate((whole[:, ::-1, :2], np.zeros_like(whole[:, :, 2:])), axis=2)
        back[:, :-1, 2] = -whole[:, -2::-1, 2]
        first, last = whole[:, 0], whole[:, -1]
        turn = (first[:, 0] > last[:, 0]) | ((first[:, 0] == last[:, 0]) & (first[:, 1] > last[:, 1]))
        whole = np.where(turn[:, None, None], back, whole)
    return whole.reshape(len(whole), -1)


def _turn_rings(rings: IntArray) -> IntArray:
    """Return rings (k, count, 3) from their smallest vertex on, towards the smaller of its neighbours."""
    count = rings.shape[1]
    x, y = rings[:, :, 0], rings[:, :, 1]
    leftmost = x == x.min(axis=1)[:, None]
    start = np.where(leftmost, y, np.iinfo(np.int64).max).argmin(axis=1)
    onward = (start[:, None] + np.arange(count)) % count
    ahead = np.take_along_axis(rings, onward[:, :, None], axis=1)
    back = np.concatenate((ahead[:, :1], ahead[:, :0:-1]), axis=1)
    back[:, :, 2] = -ahead[:, ::-1, 2]
    # of a ring of two vertices the bulges alone tell the sense
    first, other = ahead[:, 1], back[:, 1]
    keys = [(first[:, k], other[:, k]) for k in (0, 1)] + [(ahead[:, 0, 2], back[:, 0, 2])]
    turn, tied = np.zeros(len(rings), dtype=np.bool_), np.ones(len(rings), dtype=np.bool_)
    for mine, theirs in keys:
        turn |= tied & (mine > theirs)
        tied &= mine == theirs
    return np.where(turn[:, None, None], back, ahead)


def _find_repeats(keys: IntArray) -> BoolArray:
    """Return which rows of (k, m) have stood before."""
    factors = np.cumprod(np.full(keys.shape[1], 6364136223846793005, dtype=np.uint64)) | np.uint64(1)
    mixed = keys.astype(np.uint64) * factors
    hashed = (mixed ^ (mixed >> np.uint64(29))).sum(axis=1, dtype=np.uint64)
    _, first, inverse = np.unique(hashed, return_index=True, return_inverse=True)
    original = first[inverse]
    repeats = original != np.arange(len(keys))
    repeats[repeats] = (keys[repeats] == keys[original[repeats]]).all(axis=1)
    return np.asarray(repeats)
