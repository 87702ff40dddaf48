"""Runs of plain lines, interpreted together: the many like ``G1 X12.5 Y3`` between the few others.

A line is plain if it has nothing but a line number, G0 to G3, axis words, I, J and F, spelt without
fancies, and a comment behind them, or nothing but a comment. A run of them is worked out in arrays
with the same arithmetic, operation by operation, as :mod:`cam.backplot.moves` uses, so that the
results are the same to the last bit. Whatever could be wrong with a line makes it not plain: the run
stops before it, and it is read by itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from cam.backplot.arcs import FULL_TURN_RAD, INCH_TOL_RATIO
from cam.backplot.columns import SCALAR_TYPES, add_comments, modal_values
from cam.backplot.dialect import Dialect
from cam.backplot.run import Run
from cam.backplot.state import settle_shift
from cam.backplot.trace import Kind
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.tables.rows import ArcForm

SHORTEST_RUN = 12
"""Lines from which a run in arrays is faster than line by line."""

LONGEST_PLAIN_LINE = 200

_NUMBER = r"([-+]?(?:[0-9]{1,8}\.?[0-9]*|\.[0-9]+)) *"
_LINE = re.compile(
    r"(?:(?:N[0-9]{1,5} *)?(?:G0?([0-3]) *)?"
    rf"(?:X{_NUMBER})?(?:Y{_NUMBER})?(?:Z{_NUMBER})?(?:I{_NUMBER})?(?:J{_NUMBER})?"
    r"(?:F([0-9]{1,8}\.?[0-9]*) *)?(\([^()\n]*\))? *|([^\n]*))\n"
)
_WORDS = frozenset({"N", "G0", "G1", "G2", "G3", "X", "Y", "Z", "I", "J", "F"})
ScalarT = TypeVar("ScalarT", bound=np.generic)

_CODES = {"0": 0, "1": 10, "2": 20, "3": 30, "": -1}
_NAN = math.nan
_KINDS = np.array([Kind.RAPID, Kind.LINE, Kind.ARC, Kind.ARC], dtype=np.int8)


@dataclass(slots=True, frozen=True, eq=False)
class PlainLines:
    """What the plain ones of some lines say; n lines.

    Attributes
    ----------
    code
        (n,) ten times the G code, -1 where there is none.
    values
        (6, n) X, Y, Z, I, J, F; nan where there is none.
    comments
        (n,) comments with their brackets, empty where there is none.
    moves
        (n,) whether the line makes a move; a plain line that does not holds a comment at most.
    run_length
        (n,) how many plain lines follow, this one included; 0 on a line that is not plain.
    """

    code: IntArray
    values: FloatArray
    comments: Sequence[str]
    moves: BoolArray
    run_length: list[int]

    def __len__(self) -> int:
        return len(self.run_length)

    def length_at(self, at: int) -> int:
        """Return how long the run from a line on is, 0 if it is too short to be worth it."""
        length = self.run_length[at]
        return length if length >= SHORTEST_RUN else 0


def find_plain_lines(lines: list[str], *, dialect: Dialect) -> PlainLines:
    """Read the plain ones among some lines."""
    if dialect.refused & _WORDS:
        nothing = np.zeros(len(lines), dtype=np.bool_)
        return PlainLines(np.empty(0, np.int64), np.empty((6, 0)), (), nothing, [0] * len(lines))
    longest = min(dialect.max_block_length, LONGEST_PLAIN_LINE)
    # A long line is kept from the expression, which could take very long over it.
    text = "".join(line + "\n" if len(line) <= longest else "!\n" for line in lines)
    columns = list(zip(*_LINE.findall(text), strict=True))
    code = np.array([_CODES[digit] for digit in columns[0]], dtype=np.int64)
    values = np.array([[float(text) if text else _NAN for text in column] for column in columns[1:7]])
    given = ~np.isnan(values)
    moves: BoolArray = given[:3].any(axis=0)
    plain = moves | ((code < 0) & ~given.any(axis=0))
    plain &= np.array([not rest for rest in columns[8]])
    if dialect.quadrant_arcs or dialect.arcs is not ArcForm.CENTRE:
        plain &= ~given[3:5].any(axis=0)
    return PlainLines(code, values, columns[7], moves, _run_lengths(plain))


def _run_lengths(plain: BoolArray) -> list[int]:
    """Return for each line how many plain ones follow without a break."""
    count = len(plain)
    breaks = np.where(plain, count, np.arange(count))
    next_break = np.minimum.accumulate(breaks[::-1])[::-1]
    lengths: list[int] = (next_break - np.arange(count)).tolist()
    return lengths


def run_plain_lines(run: Run, plain: PlainLines, *, at: int, line: int) -> int:
    """Carry out plain lines from one on, up to the first that must be read by itself.

    Returns
    -------
    int
        How many were carried out; 0 if the modal state does not allow it.
    """
    state = run.state
    if state.incremental or state.inverse_time or state.plane != 170 or not all(state.known) or not state.units_stated:
        return 0
    chunk = slice(at, at + plain.run_length[at])
    (place,) = np.nonzero(plain.moves[chunk])
    done = plain.run_length[at]
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


def _work_out(run: Run, *, code: IntArray, values: FloatArray) -> _Moves:
    """Fill in what the lines leave out, and find the lines that must be read by themselves."""
    state, dialect, factor = run.state, run.dialect, run.state.factor
    code = _carry_on(code, missing=code < 0, first=state.motion)[1:]
    given = ~np.isnan(values)
    points = np.stack(
        [_carry_on(values[axis] * factor, missing=~given[axis], first=state.position[axis]) for axis in range(3)]
    )
    feed = _carry_on(values[5], missing=~given[5], first=state.feed)[1:]
    centre, sweep = np.full((3, len(code)), _NAN), np.zeros(len(code))
    refused: BoolArray = (code >= 10) & (feed == 0.0)
    refused |= given[5] & (feed * factor > dialect.max_feed_mm_per_min)
    refused |= (np.abs(points[:, 1:]) > dialect.max_coordinate_mm).any(axis=0)
    refused |= (code >= 20) != (given[3] | given[4])
    refused |= (code >= 20) & ~(given[0] | given[1])
    (arcs,) = np.nonzero((code >= 20) & ~refused)
    if len(arcs):
        offset = np.where(given[3:5, arcs], values[3:5, arcs], 0.0) * factor
        ends = points[:, arcs], points[:, arcs + 1]
        centre[:, arcs], sweep[arcs], refused[arcs] = _find_arcs(
            run, ends=ends, offset=offset, clockwise=code[arcs] == 20
        )
    return _Moves(code, points, centre, sweep, feed, refused)


def _carry_on(values: npt.NDArray[ScalarT], *, missing: BoolArray, first: float) -> npt.NDArray[ScalarT]:
    """Return ``first`` and the values, each missing one replaced by the one before it."""
    whole = np.concatenate((np.array([first], dtype=values.dtype), values))
    index = np.arange(len(whole))
    index[1:][missing] = 0
    carried: npt.NDArray[ScalarT] = whole[np.maximum.accumulate(index)]
    return carried


def _find_arcs(
    run: Run, *, ends: tuple[FloatArray, FloatArray], offset: FloatArray, clockwise: BoolArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return centres, turns, and which arcs must be read by themselves, as :mod:`cam.backplot.arcs` has them."""
    dialect = run.dialect
    tol = dialect.arc_tol_mm * (INCH_TOL_RATIO if run.state.inch else 1.0)
    start, end = ends
    centre = start.copy()
    centre[:2] += offset
    to_end = end[:2] - centre[:2]
    first = np.sqrt(offset[0] * offset[0] + offset[1] * offset[1])
    second = np.sqrt(to_end[0] * to_end[0] + to_end[1] * to_end[1])
    # math.atan2, as for single lines: that of numpy may differ in the last bit.
    from_start = start[:2] - centre[:2] + 0.0
    out = np.array(list(map(math.atan2, from_start[1].tolist(), from_start[0].tolist())))
    back = np.array(list(map(math.atan2, (to_end[1] + 0.0).tolist(), (to_end[0] + 0.0).tolist())))
    turn = np.where(clockwise, out - back, back - out)
    for _ in range(2):
        turn = np.where(turn > 0.0, turn, turn + FULL_TURN_RAD)
    refused: BoolArray = (first == 0.0) | (second == 0.0) | (np.abs(first - second) > tol)
    refused |= first > dialect.max_arc_radius_mm
    # Seen a little too wide: whether the arc's ends nearly touch is decided for the line by itself.
    apart = np.abs(end[:2] - start[:2]).max(axis=0)
    refused |= (apart > 0.0) & (apart <= dialect.arc_tol_mm) & (turn > 3.0)
    if not dialect.helical_arcs:
        refused |= start[2] != end[2]
    return centre, np.where(clockwise, -turn, turn), refused


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
