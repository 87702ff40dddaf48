"""Plain lines, read together: the many like ``G1 X12.5 Y3`` between the few others.

A line is plain if it has nothing but a line number, G0 to G3, F, axis words, I, J, R, in this order and
spelt without fancies, and a comment behind them, or nothing but a comment. All others are read one by
one in :mod:`cam.backplot.words`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cam.backplot.dialect import Dialect
from cam.geometry.contour import BoolArray, FloatArray, IntArray
from cam.tables.rows import ArcForm

SHORTEST_RUN = 12
"""Lines from which a run in arrays is faster than line by line."""

LONGEST_PLAIN_LINE = 200

X, Y, Z, OFFSET_I, OFFSET_J, RADIUS, FEED = range(7)
"""Rows of the values of plain lines."""

_NUMBER = r"([-+]?(?:[0-9]{1,8}\.?[0-9]*|\.[0-9]+)) *"
_FEED_WORD = r"(?:[Ff]([0-9]{1,8}\.?[0-9]*) *)?"
_LINE = re.compile(
    rf" *(?:(?:[Nn][0-9]{{1,5}} *)?(?:[Gg]0?([0-3]) *)?{_FEED_WORD}"
    + "".join(rf"(?:[{letter}{letter.lower()}]{_NUMBER})?" for letter in "XYZIJR")
    + rf"{_FEED_WORD}(\([^()\n]*\))? *|([^\n]*))\n"
)
_WORDS = frozenset({"N", "G0", "G1", "G2", "G3", "X", "Y", "Z", "I", "J", "R", "F"})
_CODES = {"0": 0, "1": 10, "2": 20, "3": 30, "": -1}


@dataclass(slots=True, frozen=True, eq=False)
class PlainLines:
    """What the plain ones of some lines say; n lines.

    Attributes
    ----------
    code
        (n,) ten times the G code, -1 where there is none.
    values
        (7, n) X, Y, Z, I, J, R, F; nan where there is none.
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
        return PlainLines(np.empty(0, np.int64), np.empty((7, 0)), (), nothing, [0] * len(lines))
    longest = min(dialect.max_block_length, LONGEST_PLAIN_LINE)
    # A long line is kept from the expression, which could take very long over it.
    text = "".join(
        line + "\n" if len(line) <= longest and not (dialect.capitals and line != line.upper()) else "!\n"
        for line in lines
    )
    digits, early, *coordinates, late, comments, rest = zip(*_LINE.findall(text), strict=True)
    feeds = [first or second for first, second in zip(early, late, strict=True)]
    code = np.array([_CODES[digit] for digit in digits], dtype=np.int64)
    values = np.array([[float(word) if word else math.nan for word in column] for column in (*coordinates, feeds)])
    given = ~np.isnan(values)
    moves: BoolArray = given[: Z + 1].any(axis=0)
    plain = moves | ((code < 0) & ~given.any(axis=0))
    plain &= np.array([not words for words in rest])
    plain &= np.array([not (first and second) for first, second in zip(early, late, strict=True)])
    if "(" in dialect.refused:
        plain &= np.array([not comment for comment in comments])
    if dialect.quadrant_arcs or dialect.arcs not in (ArcForm.CENTRE, ArcForm.BOTH):
        plain &= ~given[OFFSET_I : OFFSET_J + 1].any(axis=0)
    if dialect.quadrant_arcs or dialect.arcs in (ArcForm.NONE, ArcForm.CENTRE) or "G2 R" in dialect.refused:
        plain &= ~given[RADIUS]
    return PlainLines(code, values, comments, moves, _run_lengths(plain))


def _run_lengths(plain: BoolArray) -> list[int]:
    """Return for each line how many plain ones follow without a break."""
    count = len(plain)
    breaks = np.where(plain, count, np.arange(count))
    next_break = np.minimum.accumulate(breaks[::-1])[::-1]
    lengths: list[int] = (next_break - np.arange(count)).tolist()
    return lengths
