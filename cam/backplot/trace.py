"""What the interpreter recovered from the text: every move, with its line and modal state."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from cam.findings import Finding
from cam.geometry.contour import FloatArray, IntArray


class Kind(IntEnum):
    """What a move does."""

    RAPID = 0
    LINE = 1
    ARC = 2
    DWELL = 3
    TOOL_CHANGE = 4
    SPINDLE = 5
    STOP = 6
    AIR = 7
    END = 8


class PathMode(IntEnum):
    """How the controller goes through corners: G61, G61.1, G64."""

    EXACT_PATH = 0
    EXACT_STOP = 1
    CONTINUOUS = 2


def _none_int8() -> npt.NDArray[np.int8]:
    return np.empty(0, dtype=np.int8)


def _none_int16() -> npt.NDArray[np.int16]:
    return np.empty(0, dtype=np.int16)


def _none_int32() -> npt.NDArray[np.int32]:
    return np.empty(0, dtype=np.int32)


def _none_bool() -> npt.NDArray[np.bool_]:
    return np.empty(0, dtype=np.bool_)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace:
    """The moves of a program in machine-independent mm, in order of execution; n rows.

    All arrays are write-protected and have one row a move. Points are (n, 3), mm in the frame of
    the work offset in force at the program's first motion (tool length and work offsets applied).

    Attributes
    ----------
    kind
        (n,) values of :class:`Kind`.
    line
        (n,) the program line, from 1, that made the move.
    start_mm, end_mm
        (n, 3); equal where nothing moves. See Notes for starts that the program does not give.
    centre_mm
        (n, 3) an arc's centre (its out-of-plane coordinate that of the start); nan elsewhere.
    sweep_rad
        (n,) an arc's turn, positive counter-clockwise seen against the plane's normal; else 0.
    plane
        (n,) 17, 18 or 19.
    feed_mm_per_min
        (n,) feed of the move; for G93 moves, the rate that gives the programmed time. 0 for rapids
        and for rows where nothing moves.
    spindle_rpm
        (n,) signed: positive clockwise (M3), negative counter-clockwise (M4), 0 when stopped.
    tool
        (n,) the T number in the spindle; 0 for none.
    duration_s
        (n,) length of a dwell; 0 elsewhere.
    path_mode
        (n,) values of :class:`PathMode`.
    air
        (n,) whether air or mist (M7, M8) is on.
    comments
        Line and text, without its brackets, of every comment.
    findings
        What is wrong with the text, in the order of its lines.
    lines
        How many lines the file has.
    motion
        (n,) ten times the G code of the motion in force: 0, 10, 20, 30; 810 to 890 for the moves
        that a cycle makes; 280, 300 for moves of G28 and G30; 800 for none.
    units
        (n,) 20 for inch, 21 for mm, whatever the controller's own words for them are.
    distance_mode
        (n,) 90 or 91.
    feed_mode
        (n,) 93 or 94.
    work_offset
        (n,) 1 to 9 for G54 to G59.3.
    length_offset
        (n,) the H number of the tool length offset in force; 0 for none.
    turning
        (n,) 1 clockwise, -1 counter-clockwise, 0 stopped: whether an M3 or M4 is in force, even at
        speed 0 or on a controller whose speed is set by hand.
    start_known
        (n,) whether the program had commanded all three axes before this row.
    stop
        (n,) the M number of a row of kind STOP or END, else -1.
    messages
        Line and text of the messages to the operator, ``(MSG,text)``.
    lines_read
        How many lines were read: up to the program's end, which may come before the file's.

    Notes
    -----
    A program does not say where the machine stands before its first move. An axis that has not
    been commanded starts where its first move takes it, so that such a move cuts nothing; until
    then it is given as 0. ``start_known`` marks these rows.

    The coordinates are those of the tip of the tool in the spindle. If lengths of tools are given
    and the program does not put the right one in force, the tip is where it would really be. With no
    lengths given, tip and programmed point are the same.

    A block with an error makes no move, but its modes and its end point are taken over, so that one
    fault is not reported again by the blocks after it: then one row's end is not the next one's start.
    """

    kind: npt.NDArray[np.int8]
    line: IntArray
    start_mm: FloatArray
    end_mm: FloatArray
    centre_mm: FloatArray
    sweep_rad: FloatArray
    plane: npt.NDArray[np.int8]
    feed_mm_per_min: FloatArray
    spindle_rpm: FloatArray
    tool: IntArray
    duration_s: FloatArray
    path_mode: npt.NDArray[np.int8]
    air: npt.NDArray[np.bool_]
    comments: tuple[tuple[int, str], ...]
    findings: tuple[Finding, ...]
    lines: int
    motion: npt.NDArray[np.int16] = field(default_factory=_none_int16)
    units: npt.NDArray[np.int8] = field(default_factory=_none_int8)
    distance_mode: npt.NDArray[np.int8] = field(default_factory=_none_int8)
    feed_mode: npt.NDArray[np.int8] = field(default_factory=_none_int8)
    work_offset: npt.NDArray[np.int8] = field(default_factory=_none_int8)
    length_offset: npt.NDArray[np.int32] = field(default_factory=_none_int32)
    turning: npt.NDArray[np.int8] = field(default_factory=_none_int8)
    start_known: npt.NDArray[np.bool_] = field(default_factory=_none_bool)
    stop: npt.NDArray[np.int8] = field(default_factory=_none_int8)
    messages: tuple[tuple[int, str], ...] = ()
    lines_read: int = 0

    def __post_init__(self) -> None:
        """Give a trace made by hand its modal columns: plain moves in mm, absolute, in G54."""
        count = len(self.kind)
        for name, value in _PLAIN.items():
            column = getattr(self, name)
            if len(column) != count:
                column = np.full(count, value, dtype=column.dtype)
                object.__setattr__(self, name, column)
            column.setflags(write=False)
        if not len(self.turning) or not self.turning.any():
            turning = np.sign(self.spindle_rpm).astype(np.int8)
            turning.setflags(write=False)
            object.__setattr__(self, "turning", turning)

    def __len__(self) -> int:
        return len(self.kind)


_PLAIN = {
    "motion": 10,
    "units": 21,
    "distance_mode": 90,
    "feed_mode": 94,
    "work_offset": 1,
    "length_offset": 0,
    "turning": 0,
    "start_known": True,
    "stop": -1,
}
