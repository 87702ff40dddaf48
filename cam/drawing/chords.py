"""Closed chains of chords to arcs, where that is asked for; else how many chords look like arcs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from cam.drawing.capped import cap_findings
from cam.drawing.chain import Chains
from cam.drawing.contact import take_segments
from cam.drawing.joined import Joined
from cam.findings import Finding, note
from cam.geometry.arcfit_chords import fit_chords, fit_contour_chords
from cam.geometry.contour import BoolArray, Contour, FloatArray, IntArray, find_segments
from cam.geometry.measure import find_distances_mm

OFFERED_MM = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5)
"""Distances that are offered; the least that gives nearly as much as the widest is."""
MIN_OFFERED_BENDS = 5
MAX_OFFERED_ROWS = 4000
"""So many vertices are looked at for an offer, over all contours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordFit:
    """One chain fitted: the chords that arcs took the place of, the arcs, and how far the two are apart at most."""

    chain: int
    chords: int
    arcs: int
    away_mm: float


def fit_joined(joined: Joined, *, tol_mm: float) -> tuple[Joined, list[Finding]]:
    """Return closed chains with arcs in place of runs of chords, and what was fitted.

    No arc runs across a change of layer: an edge keeps the meaning that its layer gives it.
    """
    chains = joined.chains
    likely = set(_find_likely(chains, tol_mm=tol_mm, min_bends=1).tolist())
    parts: list[FloatArray] = []
    pieces: list[IntArray] = []
    fits: list[ChordFit] = []
    for i in range(len(chains)):
        rows = slice(int(chains.first[i]), int(chains.first[i + 1]))
        vertices, piece = chains.vertices[rows], chains.piece[rows]
        if i in likely:
            fitted, index = _fit_ring(vertices, _number_layers(joined, piece), tol_mm)
            chords = int((vertices[:, 2] == 0.0).sum() - (fitted[:, 2] == 0.0).sum())
            if chords:
                arcs = int((fitted[:, 2] != 0.0).sum() - (vertices[:, 2] != 0.0).sum())
                away = _measure_away(vertices, fitted, index)
                fits.append(ChordFit(chain=i, chords=chords, arcs=arcs, away_mm=away))
                vertices, piece = fitted, piece[index]
        parts.append(vertices)
        pieces.append(piece)
    if not fits:
        return joined, []
    counts = [len(part) for part in parts]
    fitted_chains = replace(
        chains,
        vertices=np.concatenate(parts),
        first=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        piece=np.concatenate(pieces),
    )
    fitted_joined = replace(joined, chains=fitted_chains)
    return fitted_joined, cap_findings(_say_fits(fitted_joined, fits))


def offer_arcs(joined: Joined) -> list[Finding]:
    """Return a note of how many chords look like arcs and what fitting them would give, if any do."""
    chains = joined.chains
    likely = _find_likely(chains, tol_mm=OFFERED_MM[-1], min_bends=MIN_OFFERED_BENDS)
    left = MAX_OFFERED_ROWS
    offers = []
    for i in likely.tolist():
        vertices = chains.vertices[chains.first[i] : chains.first[i + 1]][: max(left, 0)]
        left -= int(chains.first[i + 1] - chains.first[i])
        if len(vertices) > MIN_OFFERED_BENDS:
            offers.append((i, *_find_offer(vertices)))
    offers = [offer for offer in offers if offer[2] > 0]
    if not offers:
        return []
    first = offers[0][0]
    distance, chords, arcs = max(o[1] for o in offers), sum(o[2] for o in offers), sum(o[3] for o in offers)
    at_least = "at least " if left < 0 else ""
    row = int(chains.first[first])
    message = (
        f"{at_least}{chords} straight pieces in {len(offers)} contour{'s' if len(offers) > 1 else ''} look like arcs"
        f" exported as chords; within {distance:g} mm they would become {arcs} arcs"
    )
    remedy = f"let them become arcs with --fit-arcs-mm {distance:g}, or ask for the drawing with its arcs"
    origin = joined.find_source(row).find_origin(joined.file, chains.vertices[row, :2])
    return [note("chords-like-arcs", message, remedy=remedy, origin=origin, size_mm=distance)]


def _find_likely(chains: Chains, *, tol_mm: float, min_bends: int) -> IntArray:
    """Return the closed chains that hold a run of chords which an arc might follow within a distance."""
    if not len(chains):
        return np.zeros(0, dtype=np.int64)
    start, bulge = chains.vertices[:, :2], chains.vertices[:, 2]
    count = len(start)
    before, onward = np.arange(count) - 1, np.arange(count) + 1
    before[chains.first[:-1]], onward[chains.first[1:] - 1] = chains.first[1:] - 1, chains.first[:-1]
    chord = start[onward] - start
    size, straight = np.hypot(*chord.T), bulge == 0.0
    back = chord[before]
    turn = np.arctan2(back[:, 0] * chord[:, 1] - back[:, 1] * chord[:, 0], (back * chord).sum(axis=1))
    # a chord c of an arc that turns by t from chord to chord rises c tan(t / 4) / 2 above it
    rise = np.minimum(size, size[before]) * np.tan(np.abs(turn) / 4.0) / 2.0
    sign = np.where(straight & straight[before] & (rise <= 2.0 * tol_mm) & (np.abs(turn) > 1e-6), np.sign(turn), 0.0)
    chain = np.repeat(np.arange(len(chains)), np.diff(chains.first))
    likely = np.unique(chain[_ends_run(sign, chain, min_bends)])
    return likely[chains.closed[likely]]


def _ends_run(sign: FloatArray, chain: IntArray, length: int) -> BoolArray:
    """Return which rows end a run of at least so many bends of one sense in one chain."""
    good = sign != 0.0
    for back in range(1, length):
        same = np.zeros(len(sign), dtype=np.bool_)
        same[back:] = (sign[back:] == sign[:-back]) & (chain[back:] == chain[:-back])
        good = good & same
    return np.asarray(good)


def _find_offer(vertices: FloatArray) -> tuple[float, int, int]:
    """Return the distance to offer for a ring, and the chords and arcs that it would give."""

    def give(tol_mm: float) -> tuple[int, int]:
        fitted = fit_contour_chords(Contour(vertices), tol_mm=tol_mm).vertices
        chords = int((vertices[:, 2] == 0.0).sum() - (fitted[:, 2] == 0.0).sum())
        return chords, int((fitted[:, 2] != 0.0).sum() - (vertices[:, 2] != 0.0).sum())

    most, arcs = give(OFFERED_MM[-1])
    low, high = 0, len(OFFERED_MM) - 1
    chords = most
    while most and low < high:
        middle = (low + high) // 2
        some, fewer = give(OFFERED_MM[middle])
        if some >= 0.9 * most:
            high, chords, arcs = middle, some, fewer
        else:
            low = middle + 1
    return OFFERED_MM[high], chords, arcs


def _number_layers(joined: Joined, piece: IntArray) -> IntArray:
    numbers: dict[str, int] = {}
    layers = [numbers.setdefault(joined.pieces.sources[k].layer, len(numbers)) for k in piece.tolist()]
    return np.array(layers, dtype=np.int64)


def _fit_ring(vertices: FloatArray, layers: IntArray, tol_mm: float) -> tuple[FloatArray, IntArray]:
    """Return the rows of a fitted ring and, for each, the row of the source that it begins with."""
    changes = np.flatnonzero(layers != np.roll(layers, 1))
    if not len(changes):
        fitted = fit_contour_chords(Contour(vertices), tol_mm=tol_mm).vertices
        return fitted, _find_rows(vertices, fitted)
    ring = np.concatenate((vertices, vertices[:1]))
    parts = []
    for at, to in zip(changes.tolist(), [*changes[1:].tolist(), int(changes[0]) + len(vertices)], strict=True):
        run = ring[np.append(np.arange(at, to) % len(vertices), to % len(vertices))]
        parts.append(fit_chords(run, tol_mm=tol_mm)[:-1])
    fitted = np.concatenate(parts)
    return fitted, _find_rows(vertices, fitted)


def _find_rows(vertices: FloatArray, fitted: FloatArray) -> IntArray:
    """Return the row of a ring that each fitted row starts from; a circle's own rows start from the first."""
    places = {(x, y): row for row, (x, y) in reversed(list(enumerate(vertices[:, :2].tolist())))}
    return np.array([places.get((x, y), 0) for x, y in fitted[:, :2].tolist()], dtype=np.int64)


def _measure_away(vertices: FloatArray, fitted: FloatArray, index: IntArray) -> float:
    """Return the greatest distance of the ring's vertices and chord middles from the fitted ring."""
    segments = find_segments(fitted)
    points = np.concatenate((vertices[:, :2], (vertices[:, :2] + np.roll(vertices[:, :2], -1, axis=0)) / 2.0))
    straight = np.concatenate((np.ones(len(vertices), dtype=np.bool_), vertices[:, 2] == 0.0))
    if not np.diff(index).any():  # a circle: both of its halves lie on it
        return float(np.abs(np.hypot(*(points - segments.centre_mm[0]).T) - segments.radius_mm[0])[straight].max())
    owner = np.zeros(len(vertices), dtype=np.int64)
    for k, (at, to) in enumerate(zip(index.tolist(), np.roll(index, -1).tolist(), strict=True)):
        owner[np.arange(at, to if to > at else to + len(vertices)) % len(vertices)] = k
    both = np.concatenate((owner, owner))
    return float(find_distances_mm(take_segments(segments, both), points)[straight].max())


def _say_fits(joined: Joined, fits: list[ChordFit]) -> Iterable[Finding]:
    chains = joined.chains
    for fit in fits:
        row = int(chains.first[fit.chain])
        message = (
            f"{fit.chords} straight pieces became {fit.arcs} arcs, as told, no farther than {fit.away_mm:.2g} mm away"
        )
        origin = joined.find_source(row).find_origin(joined.file, chains.vertices[row, :2])
        yield note("chords-fitted", message, origin=origin, size_mm=fit.away_mm)
