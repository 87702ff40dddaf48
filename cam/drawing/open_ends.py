"""Open chains and the ends that stop short on another piece, each said with its place."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely

from cam.drawing.contact import take_segments
from cam.drawing.crossing import Net, find_segments_near
from cam.drawing.joined import Joined, say_point
from cam.drawing.loops import NearestEnds, find_tips
from cam.drawing.pieces import Pieces, Source, measure_pieces_mm
from cam.findings import Finding, error
from cam.geometry.contour import IntArray
from cam.geometry.measure import find_distances_mm

MAX_JOIN_MM = 1.0
"""Wider gaps are not offered to be closed."""


def find_hidden_ends(joined: Joined, hidden: Pieces, *, join_tol_mm: float) -> dict[int, Source]:
    """Return, by free end, the piece of a hidden layer that has an end there."""
    loose = np.flatnonzero(~hidden.closed)
    if not len(loose) or not len(joined.free):
        return {}
    rows = np.concatenate((hidden.first[:-1][loose], hidden.first[1:][loose] - 1))
    owners = np.concatenate((loose, loose))
    tree = shapely.STRtree(np.asarray(shapely.points(hidden.vertices[rows, :2])))
    ends = np.asarray(shapely.points(joined.ends.points_mm[joined.free]))
    free, found = tree.query(ends, predicate="dwithin", distance=join_tol_mm)
    return {
        int(joined.free[i]): hidden.sources[int(owners[k])] for i, k in zip(free.tolist(), found.tolist(), strict=True)
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Short:
    """What an end stops short of, and by how much."""

    gap_mm: float
    of: Source


def find_shorts(joined: Joined, net: Net, nearest: NearestEnds, *, join_tol_mm: float) -> dict[int, Short]:
    """Return, by free end, what it stops a little short of, where that is much nearer than any other end."""
    near = find_junctions(joined, net, min(10.0 * join_tol_mm, MAX_JOIN_MM))
    ends, segments = near[:, 0], near[:, 1]
    gaps = find_distances_mm(take_segments(net.segments, segments), joined.ends.points_mm[ends])
    real = (gaps > join_tol_mm) & (gaps < 0.5 * nearest.gap_mm[ends])
    return {
        end: Short(gap_mm=gap, of=joined.find_source(int(net.row[segment])))
        for end, segment, gap in zip(ends[real].tolist(), segments[real].tolist(), gaps[real].tolist(), strict=True)
    }


def say_open_chains(
    joined: Joined,
    nearest: NearestEnds,
    junctions: IntArray,
    join_tol_mm: float,
    *,
    hidden: dict[int, Source],
    shorts: dict[int, Short],
) -> Iterable[Finding]:
    """Say each open chain with both of its ends and the gap to the nearest other."""
    ends, chains = joined.ends.points_mm, joined.chains
    at_junction = set(junctions[:, 0].tolist())
    closing = _find_closing_layers(joined)
    for i in np.flatnonzero(~chains.closed).tolist():
        tips = find_tips(joined, i)
        start, end = ends[tips[0]], ends[tips[1]]
        tip = tips[0] if nearest.gap_mm[tips[0]] <= nearest.gap_mm[tips[1]] else tips[1]
        gap = float(nearest.gap_mm[tip])
        source = joined.pieces.sources[tip // 2]
        message = f"the contour is open: it runs from {say_point(start)} to {say_point(end)} mm"
        if np.isfinite(gap):
            other = int(nearest.end[tip])
            whose = "its own other end" if other in tips else f"that of {joined.pieces.sources[other // 2]}"
            message += (
                f"; the gap to the nearest open end, {whose}, is {gap:.4g} mm,"
                f" from {say_point(ends[tip])} to {say_point(ends[other])} mm"
            )
        if tips[0] in at_junction or tips[1] in at_junction:
            message += "; it ends on another line"
        for end in tips:
            if end in shorts:
                short = shorts[end]
                message += f"; at {say_point(ends[end])} it stops {short.gap_mm:.3g} mm short of {short.of}"
        remedy = "join the two ends in the drawing, or delete the piece if it is no contour"
        if join_tol_mm < gap <= min(10.0 * join_tol_mm, MAX_JOIN_MM):
            remedy = (
                f"join the two ends in the drawing, or let gaps of this size be closed with --join-tol-mm {gap:.2g}"
            )
        elif source.layer not in closing:
            remedy += f"; if layer {source.layer} holds nothing of a panel, let the job ignore it"
        beyond = hidden.get(tips[0]) or hidden.get(tips[1])
        if beyond is not None:
            message += f"; it goes on where the layer {beyond.layer} is hidden, with {beyond}"
            remedy = f"switch the layer {beyond.layer} on, or thaw it"
        origin = source.find_origin(joined.file, ends[tip])
        yield error("open-chain", message, remedy=remedy, origin=origin, size_mm=gap if np.isfinite(gap) else None)


def _find_closing_layers(joined: Joined) -> set[str]:
    """Return the layers on which anything closes."""
    chains = joined.chains
    closed = np.repeat(chains.closed, np.diff(chains.first_piece))
    return {joined.pieces.sources[k].layer for k in chains.order[closed].tolist()}


def find_junctions(joined: Joined, net: Net, join_tol_mm: float) -> IntArray:
    """Return free ends that lie on a segment, (k, 2) the end and the segment, one segment an end."""
    if not len(joined.free):
        return np.zeros((0, 2), dtype=np.int64)
    point, segment = find_segments_near(net, joined.ends.points_mm[joined.free], within_mm=join_tol_mm)
    chains = joined.chains
    chain_of_piece = np.zeros(len(joined.pieces), dtype=np.int64)
    chain_of_piece[chains.order] = np.repeat(np.arange(len(chains)), np.diff(chains.first_piece))
    end = joined.free[point]
    foreign = chain_of_piece[end // 2] != net.chain[segment]
    # of the end's own chain only what lies farther along it than the join distance explains
    along = np.concatenate(([0.0], np.cumsum(net.segments.length_mm)))
    first = np.searchsorted(net.chain, net.chain[segment], side="left")
    last = np.searchsorted(net.chain, net.chain[segment], side="right")
    entry = np.isin(end, chains.entries[chains.first_piece[:-1]])
    away = np.where(entry, along[segment] - along[first], along[last] - along[segment + 1])
    real = foreign | (away > 4.0 * join_tol_mm)
    pairs = np.column_stack((end[real], segment[real]))
    _, once = np.unique(pairs[:, 0], return_index=True)
    return np.asarray(pairs[once])


def say_junctions(joined: Joined, net: Net, junctions: IntArray) -> Iterable[Finding]:
    """Say each free end that lies on another piece."""
    chains = joined.chains
    length = np.add.reduceat(measure_pieces_mm(joined.pieces)[chains.order], chains.first_piece[:-1])
    chain_of_piece = np.zeros(len(joined.pieces), dtype=np.int64)
    chain_of_piece[chains.order] = np.repeat(np.arange(len(chains)), np.diff(chains.first_piece))
    for end, segment in junctions.tolist():
        size = float(length[chain_of_piece[end // 2]])
        other = joined.find_source(int(net.row[segment]))
        at = joined.ends.points_mm[end]
        message = f"the piece ends on {other} and goes no further; it is {size:.4g} mm long with what it is joined to"
        remedy = "trim or delete the piece, or break the other one there if both are contour"
        source = joined.pieces.sources[end // 2]
        yield error("t-junction", message, remedy=remedy, origin=source.find_origin(joined.file, at), size_mm=size)
