"""Runs of plain lines carried out together, in arrays.

The arithmetic is that of :mod:`cam.backplot.moves` and :mod:`cam.backplot.arcs`, operation by operation,
so that the results are the same to the last bit. Whatever could be wrong with a line stops the run
before it, and the line is carried out by itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from cam.backplot.arcs import FULL_TURN_RAD, INCH_TOL_RATIO, RADIUS_FORM_TOL, SAME_POINT_MM
from cam.backplot.columns import SCALAR_TYPES, add_comments, modal_values
from cam.backplot.plain import FEED, OFFSET_I, OFFSET_J, RADIUS, PlainLines, X, Y, Z
from cam.backplot.run import Run
from cam.backplot.state import settle_shift
from cam.backplot.trace import Kind
from cam.geometry.contour import BoolArray, FloatArray, IntArray

ScalarT = TypeVar("ScalarT", bound=np.generic)

LONGEST_RUN = 4096
"""Lines carried out together: a line that stops a run costs no more than as many again."""

_KINDS = np.array([Kind.RAPID, Kind.LINE, Kind.ARC, Kind.ARC], dtype=np.int8)


@dataclass(slots=True, frozen=True, eq=False)
class _Moves:
    """Moves in program coordinates, mm; n moves.

    ``points`` is (3, n + 1), the start of the first one included; ``centre`` (3, n) and ``sweep_rad``
    (n,) are nan and 0 where there is no arc.
    """

    code: IntArray
    points: FloatArray
    centre: FloatArray
    sweep_rad: FloatArray
    feed: FloatArray
    refused: BoolArray


def run_plain_lines(run: Run, plain: PlainLines, *, at: int, line: int) -> int:
    """Carry out plain lines from one on, up to the first that must be read by itself.

    Returns
    -------
    int
        How many were carried out; 0 if the modal state does not allow it.
    """
    state = run.state
    if state.inverse_time or state.plane != 170 or not all(state.known) or not state.units_stated:
        return 0
    done = min(plain.run_length[at], LONGEST_RUN)
    chunk = slice(at, at + done)
    (place,) = np.nonzero(plain.moves[chunk])
    if len(place):
        if state.motion > 30 and plain.code[at + place[0]] < 0:
            return 0
        moves = _work_out(run, code=plain.code[chunk][place], values=plain.values[:, chunk][:, place])
        count = int(np.argmax(moves.refused)) if moves.refused.any() else len(place)
        if count:
            _record(run, moves, count=count, lines=line + place[:count])
        done = done if count == len(place) else int(place[count])
    for index in range(at, at + done):
        if plain.comments[index]:
            add_comments(run.columns, [plain.comments[index][1:-1]], line=line + index - at)
    return done


def _work_out(run: Run, *, code: IntArray, values: FloatArray) -> _Moves:
    """Fill in what the lines leave out, and find the lines that must be read by themselves."""
    state, dialect, factor = run.state, run.dialect, run.state.factor
    code = _carry_on(code, missing=code < 0, first=state.motion)[1:]
    given = ~np.isnan(values)
    points = np.stack([_coordinates(run, axis, words=values[axis], given=given[axis]) for axis in (X, Y, Z)])
    feed = _carry_on(values[FEED], missing=~given[FEED], first=state.feed)[1:]
    centre, sweep = np.full((3, len(code)), math.nan), np.zeros(len(code))
    offsets = given[OFFSET_I] | given[OFFSET_J]
    refused: BoolArray = (code >= 10) & (feed == 0.0)
    refused |= given[FEED] & (feed * factor > dialect.max_feed_mm_per_min)
    refused |= (given[: Z + 1] & (np.abs(points[:, 1:]) > dialect.max_coordinate_mm)).any(axis=0)
    refused |= ((code >= 20) != (offsets | given[RADIUS])) | (offsets & given[RADIUS])
    refused |= (code >= 20) & ~(given[X] | given[Y])
    for form, find in ((offsets, _centre_arcs), (given[RADIUS], _radius_arcs)):
        (arcs,) = np.nonzero(form & ~refused)
        if len(arcs):
            centre[:, arcs], sweep[arcs], refused[arcs] = find(
                run,
                start=points[:, arcs],
                end=points[:, arcs + 1],
                words=np.where(given[:, arcs], values[:, arcs], 0.0) * factor,
                clockwise=code[arcs] == 20,
            )
    return _Moves(code, points, centre, sweep, feed, refused)


def _coordinates(run: Run, axis: int, *, words: FloatArray, given: BoolArray) -> FloatArray:
    """Return where an axis stands before and after each move."""
    state = run.state
    first = state.position[axis]
    if state.incremental:
        steps = np.where(given, words, 0.0) * state.factor
        return np.add.accumulate(np.concatenate((np.array([first]), steps)))
    return _carry_on(words * state.factor, missing=~given, first=first)


def _carry_on(values: npt.NDArray[ScalarT], *, missing: BoolArray, first: float) -> npt.NDArray[ScalarT]:
    """Return ``first`` and the values, each missing one replaced by the one before it."""
    whole = np.concatenate((np.array([first], dtype=values.dtype), values))
    index = np.arange(len(whole))
    index[1:][missing] = 0
    carried: npt.NDArray[ScalarT] = whole[np.maximum.accumulate(index)]
    return carried


_Arcs = tuple[FloatArray, FloatArray, BoolArray]
"""(3, k) centres, (k,) turns, and (k,) which arcs must be read by themselves."""


def _centre_arcs(run: Run, *, start: FloatArray, end: FloatArray, words: FloatArray, clockwise: BoolArray) -> _Arcs:
    """Return arcs of the centre form, as :func:`cam.backplot.arcs.find_centre_arc` has them."""
    tol = run.dialect.arc_tol_mm * (INCH_TOL_RATIO if run.state.inch else 1.0)
    offset = words[OFFSET_I : OFFSET_J + 1]
    centre = start.copy()
    centre[:2] += offset
    to_end = end[:2] - centre[:2]
    first = np.sqrt(offset[0] * offset[0] + offset[1] * offset[1])
    second = np.sqrt(to_end[0] * to_end[0] + to_end[1] * to_end[1])
    # math.atan2, as for single lines: that of numpy may differ in the last bit.
    from_start = start[:2] - centre[:2]
    out = np.array(list(map(math.atan2, from_start[1].tolist(), from_start[0].tolist())))
    back = np.array(list(map(math.atan2, to_end[1].tolist(), to_end[0].tolist())))
    turn = np.where(clockwise, out - back, back - out)
    for _ in range(2):
        turn = np.where(turn > 0.0, turn, turn + FULL_TURN_RAD)
    turn = np.where(_distances(start, end) <= SAME_POINT_MM, FULL_TURN_RAD, turn)
    refused: BoolArray = (first == 0.0) | (second == 0.0) | (np.abs(first - second) > tol)
    refused |= _refused_by_controller(run, start=start, end=end, radius=first, turn=turn)
    return centre, np.where(clockwise, -turn, turn), refused


def _radius_arcs(run: Run, *, start: FloatArray, end: FloatArray, words: FloatArray, clockwise: BoolArray) -> _Arcs:
    """Return arcs of the radius form, as :func:`cam.backplot.arcs.find_radius_arc` has them."""
    radius, chord = words[RADIUS], end[:2] - start[:2]
    size, half = np.abs(radius), 0.5 * _distances(start, end)
    refused: BoolArray = (2.0 * half <= SAME_POINT_MM) | (half > size * (1.0 + RADIUS_FORM_TOL))
    half, size = np.where(refused, 1.0, half), np.where(refused, 1.0, size)
    away = np.sqrt(np.maximum(size * size - half * half, 0.0))
    left = np.where((radius > 0.0) != clockwise, away, -away)
    unit = chord / (2.0 * half)
    centre = start.copy()
    centre[0] = 0.5 * (start[0] + end[0]) - left * unit[1]
    centre[1] = 0.5 * (start[1] + end[1]) + left * unit[0]
    short = 2.0 * np.array(list(map(math.asin, np.minimum(half / size, 1.0).tolist())))
    turn = np.where(radius > 0.0, short, FULL_TURN_RAD - short)
    refused |= _refused_by_controller(run, start=start, end=end, radius=size, turn=turn)
    return centre, np.where(clockwise, -turn, turn), refused


def _refused_by_controller(
    run: Run, *, start: FloatArray, end: FloatArray, radius: FloatArray, turn: FloatArray
) -> BoolArray:
    """Return which arcs :func:`cam.backplot.moves.move_arc` has something to say about."""
    dialect = run.dialect
    apart = _distances(start, end)
    refused: BoolArray = radius > dialect.max_arc_radius_mm
    refused |= (apart > SAME_POINT_MM) & (apart <= dialect.arc_tol_mm) & (turn > math.pi)
    if not dialect.helical_arcs:
        refused |= start[2] != end[2]
    return refused


def _distances(start: FloatArray, end: FloatArray) -> FloatArray:
    chord = end[:2] - start[:2]
    apart: FloatArray = np.sqrt(chord[0] * chord[0] + chord[1] * chord[1])
    return apart


def _record(run: Run, moves: _Moves, *, count: int, lines: IntArray) -> None:
    """Add the first ``count`` moves to the trace and leave the state behind them."""
    state, columns = run.state, run.columns
    if state.frame is None:
        state.frame = list(state.work)
        settle_shift(state)
    code, points, feed = moves.code[:count], moves.points[:, : count + 1], moves.feed[:count]
    state.motion, state.feed = int(code[-1]), float(feed[-1])
    state.cycle = {}
    shift = np.array(state.shift)[:, None]
    made = {
        "kind": _KINDS[code // 10],
        "line": lines,
        "start_mm": (points[:, :-1] + shift).T,
        "end_mm": (points[:, 1:] + shift).T,
        "centre_mm": (moves.centre[:, :count] + shift).T,
        "sweep_rad": moves.sweep_rad[:count],
        "feed_mm_per_min": np.where(code >= 10, feed * state.factor, 0.0),
        "motion": code,
        "duration_s": np.zeros(count),
        "start_known": np.ones(count, dtype=np.bool_),
        "stop": np.full(count, -1),
    }
    made |= {name: np.full(count, value) for name, value in modal_values(state).items()}
    for name, values in made.items():
        columns.arrays[name].frombytes(np.ascontiguousarray(values, dtype=SCALAR_TYPES.get(name, "d")).tobytes())
    state.position = [float(value) for value in points[:, -1]]
