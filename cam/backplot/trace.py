"""What the interpreter recovered from the text: every move, with its line and modal state."""

from __future__ import annotations

from dataclasses import dataclass
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
        (n, 3); equal where nothing moves.
    centre_mm
        (n, 3) an arc's centre (its out-of-plane coordinate that of the start); nan elsewhere.
    sweep_rad
        (n,) an arc's turn, positive counter-clockwise seen against the plane's normal; else 0.
    plane
        (n,) 17, 18 or 19.
    feed_mm_per_min
        (n,) feed in force; for G93 moves, the rate that gives the programmed time. 0 for rapids.
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

    def __len__(self) -> int:
        return len(self.kind)
