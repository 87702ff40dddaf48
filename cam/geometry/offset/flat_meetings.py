"""Where flat pieces meet, straight ones and arcs of small sweep, without their far centres."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.geometry.offset.raw import TOUCH_MM, Pieces

FLAT_RAD = 0.05
"""Sweep up to which an arc is near enough to its tangent to be met by way of it."""
REACH_MM = 1e-3
"""How far beyond its ends a piece is still met, for the caller to judge."""


@dataclass(frozen=True, slots=True, eq=False)
class Meetings:
    """Meetings of two carriers near both pieces: the places along them, and how sure they are; all (n,).

    ``cross`` is the sine of the angle from the first to the second, ``doubt_mm`` by how much
    rounding may move the place, ``tangent`` whether the sine may have either sign.
    """

    first: IntArray
    first_mm: FloatArray
    second: IntArray
    second_mm: FloatArray
    cross: FloatArray
    doubt_mm: FloatArray
    tangent: BoolArray


_Complex = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True, eq=False)
class _Flats:
    """Pieces as complex numbers: start, unit direction there, signed curvature, length; each (n,)."""

    start: _Complex
    way: _Complex
    bend: FloatArray
    length: FloatArray


def are_flat(pieces: Pieces) -> BoolArray:
    """Return which pieces are straight or arcs of small sweep, shape (n,)."""
    return np.asarray(np.abs(pieces.sweep_rad) <= FLAT_RAD)


@dataclass(frozen=True, slots=True, eq=False)
class FlatMeetings:
    """Meetings of flat pieces; ``left`` are the pairs that almost touch, left to the caller, and
    ``coincide`` those that may run along each other: numbers of pairs."""

    meetings: Meetings
    left: IntArray
    coincide: IntArray


def find_flat_meetings(pieces: Pieces, first: IntArray, second: IntArray) -> FlatMeetings:
    """Return where pairs of flat pieces meet.

    Notes
    -----
    A carrier with start s, direction t, left normal n and curvature k is the zero of
    ``f(p) = n (p - s) - k |p - s|^2 / 2``, which keeps its digits however flat the arc is. The
    second piece, as a parabola, is put into the first's f; Newton's steps on both mend the rest.
    """
    flats = _as_flats(pieces)
    pairs = _as_pairs(flats, first, second)
    if not flats.bend.any():
        return FlatMeetings(_meet_lines(pairs), pairs.first[:0], _find_coincident(pairs))
    straight = (pairs.a.bend == 0.0) & (pairs.b.bend == 0.0)
    lines, bent = np.flatnonzero(straight), np.flatnonzero(~straight)
    of_lines = _as_pairs(flats, first[lines], second[lines])
    met, left, coincide = _meet_parabolas(_as_pairs(flats, first[bent], second[bent]))
    return FlatMeetings(
        join_meetings(_meet_lines(of_lines), met),
        bent[left],
        np.concatenate((lines[_find_coincident(of_lines)], bent[coincide])),
    )


def join_meetings(one: Meetings, other: Meetings) -> Meetings:
    """Return the meetings of both."""
    names = [field.name for field in fields(Meetings)]
    return Meetings(*(np.concatenate((getattr(one, name), getattr(other, name))) for name in names))


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Pairs of flat pieces: the start of the second and its direction as the first sees them."""

    first: IntArray
    second: IntArray
    a: _Flats
    b: _Flats
    gap: _Complex
    turn: _Complex


def _as_pairs(flats: _Flats, first: IntArray, second: IntArray) -> _Pairs:
    a, b = _take(flats, first), _take(flats, second)
    back = a.way.conj()
    return _Pairs(first, second, a, b, (b.start - a.start) * back, b.way * back)


def _meet_lines(pairs: _Pairs) -> Meetings:
    a, b, gap, turn = pairs.a, pairs.b, pairs.gap, pairs.turn
    cross = turn.imag
    with np.errstate(divide="ignore", invalid="ignore"):
        on_b = -gap.imag / cross
        on_a = gap.real + on_b * turn.real
        near = (on_a > -REACH_MM) & (on_a < a.length + REACH_MM) & (on_b > -REACH_MM) & (on_b < b.length + REACH_MM)
    at = np.flatnonzero(near)
    cross = cross[at]
    reach = np.abs(a.start[at]) + a.length[at] + b.length[at]
    doubt = 16.0 * np.finfo(np.float64).eps * reach / np.abs(cross)
    sure = np.zeros(len(at), dtype=np.bool_)
    return Meetings(pairs.first[at], on_a[at], pairs.second[at], on_b[at], cross, doubt, sure)


def _meet_parabolas(pairs: _Pairs) -> tuple[Meetings, IntArray, IntArray]:
    """Return meetings of pairs with an arc, the pairs that almost touch, and those that may run along each other."""
    a, b, gap, turn = pairs.a, pairs.b, pairs.gap, pairs.turn
    c0 = gap.imag - a.bend * np.abs(gap) ** 2 / 2.0
    c1 = turn.imag - a.bend * (gap * turn.conj()).real
    c2 = (b.bend * (turn.real - a.bend * (gap * turn.conj()).imag) - a.bend) / 2.0
    square = c1**2 - 4.0 * c0 * c2
    # what the parabola leaves out may make or undo a meeting that is this nearly a touch
    blur = 4.0 * np.abs(c2) * (b.length * (b.bend * b.length) ** 2 / 3.0 + TOUCH_MM)
    touch = (np.abs(square) <= blur) & (c2 != 0.0)
    clear = ~touch & (square >= 0.0)
    half = c1 + np.copysign(np.sqrt(np.where(clear, square, 0.0)), c1)
    with np.errstate(divide="ignore", invalid="ignore"):
        near = np.where(clear, -2.0 * c0 / half, np.nan)
        far = np.where(clear & (c2 != 0.0), -half / (2.0 * c2), np.nan)
    # a pair is met at most twice: at its nearer root, and at the other where that is in reach too
    slack = 0.05 * b.length + REACH_MM
    in_reach = [np.flatnonzero((u >= -slack) & (u <= b.length + slack)) for u in (near, far)]
    which = np.concatenate(in_reach)
    place = np.concatenate((near[in_reach[0]], far[in_reach[1]]))
    meetings = _polish(_take(a, which), _take(b, which), place, pairs.first[which], pairs.second[which])
    return meetings, np.flatnonzero(touch), _find_coincident(pairs, (c0, c1, c2))


def _as_flats(pieces: Pieces) -> _Flats:
    start = pieces.start_mm[:, 0] + 1j * pieces.start_mm[:, 1]
    chord = pieces.end_mm[:, 0] + 1j * pieces.end_mm[:, 1] - start
    way = chord / np.maximum(np.abs(chord), np.finfo(np.float64).tiny)
    arc = pieces.is_arc
    bend = np.zeros(len(pieces))
    if arc.any():
        way[arc] *= np.exp(-0.5j * pieces.sweep_rad[arc])
        bend[arc] = np.sign(pieces.sweep_rad[arc]) / pieces.radius_mm[arc]
    return _Flats(start, way, bend, pieces.length_mm)


def _take(flats: _Flats, which: IntArray) -> _Flats:
    return _Flats(flats.start[which], flats.way[which], flats.bend[which], flats.length[which])


def _find_coincident(pairs: _Pairs, terms: tuple[FloatArray, FloatArray, FloatArray] | None = None) -> IntArray:
    """Return the pairs that may run along each other, from the terms of their parabolas if they have any."""
    a, b, gap, turn = pairs.a, pairs.b, pairs.gap, pairs.turn
    c0, c1 = (gap.imag, turn.imag) if terms is None else terms[:2]
    near = (np.abs(c1) <= 1e-6) & (np.abs(c0) <= 10.0 * TOUCH_MM)
    if terms is not None:
        near &= np.abs(terms[2]) * b.length**2 <= 10.0 * TOUCH_MM
    at = np.flatnonzero(near)
    ends = np.sort(np.column_stack((gap[at].real, (gap[at] + b.length[at] * turn[at]).real)))
    return at[(ends[:, 1] > 0.1 * TOUCH_MM) & (ends[:, 0] < a.length[at] - 0.1 * TOUCH_MM)]


def _polish(a: _Flats, b: _Flats, place: FloatArray, first: IntArray, second: IntArray) -> Meetings:
    point = b.start + b.way * (place + 0.5j * b.bend * place**2)
    for _ in range(2):
        (f_a, d_a), (f_b, d_b) = _deviation(a, point), _deviation(b, point)
        cross = (d_a.conj() * d_b).imag
        cross = np.where(np.abs(cross) < 1e-14, np.copysign(1e-14, cross), cross)
        step = (f_b * d_a - f_a * d_b) / cross
        # near a touch a step may be wild; then the place stays in doubt
        point = np.where(np.abs(step) <= 0.1 * b.length + REACH_MM, point + step, point)
    on_a, on_b = _place_on(a, point), _place_on(b, point)
    d_a, d_b = a.way + 1j * a.bend * (point - a.start), b.way + 1j * b.bend * (point - b.start)
    cross = (d_a.conj() * d_b).imag
    bend = np.maximum(np.abs(a.bend - np.sign((d_a.conj() * d_b).real) * b.bend), 1e-9)
    error = 16.0 * np.finfo(np.float64).eps * (np.abs(point) + a.length + b.length)
    doubt = np.minimum(error / np.maximum(np.abs(cross), 1e-15), np.sqrt(2.0 * error / bend))
    near = np.flatnonzero(
        (on_a > -REACH_MM) & (on_a < a.length + REACH_MM) & (on_b > -REACH_MM) & (on_b < b.length + REACH_MM)
    )
    tangent = np.abs(cross) <= 4.0 * np.sqrt(error * bend)
    return Meetings(first[near], on_a[near], second[near], on_b[near], cross[near], doubt[near], tangent[near])


def _deviation(flats: _Flats, point: _Complex) -> tuple[FloatArray, _Complex]:
    """Return f of the points, and the carriers' directions there."""
    gap = point - flats.start
    f = (gap * flats.way.conj()).imag - flats.bend * (gap.real**2 + gap.imag**2) / 2.0
    return f, flats.way + 1j * flats.bend * gap


def _place_on(flats: _Flats, point: _Complex) -> FloatArray:
    gap = (point - flats.start) * flats.way.conj()
    bent = flats.bend != 0.0
    if not bent.any():
        return np.asarray(gap.real)
    reach = np.abs(gap)
    half = np.where(bent, flats.bend / 2.0, 1.0)
    along = np.where(bent, np.arcsin(np.clip(reach * half, -1.0, 1.0)) / half, reach)
    return np.asarray(np.copysign(along, gap.real))
