"""The trace while it grows: one typed column for each of its arrays, no object a move."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cam.backplot.packed import message_of
from cam.backplot.state import State
from cam.backplot.trace import Kind, Trace
from cam.findings import Finding

_NAN = float("nan")
NOWHERE_MM = (_NAN, _NAN, _NAN)
NO_STOP = -1

SCALAR_TYPES = {
    "kind": "b",
    "line": "q",
    "sweep_rad": "d",
    "plane": "b",
    "feed_mm_per_min": "d",
    "spindle_rpm": "d",
    "tool": "q",
    "duration_s": "d",
    "path_mode": "b",
    "air": "b",
    "motion": "h",
    "units": "b",
    "distance_mode": "b",
    "feed_mode": "b",
    "work_offset": "b",
    "length_offset": "i",
    "turning": "b",
    "start_known": "b",
    "stop": "b",
}
POINT_COLUMNS = ("start_mm", "end_mm", "centre_mm")
_BOOLEAN = frozenset({"air", "start_known"})


def _empty_arrays() -> dict[str, array[Any]]:
    scalars: dict[str, array[Any]] = {name: array(code) for name, code in SCALAR_TYPES.items()}
    return scalars | {name: array("d") for name in POINT_COLUMNS}


@dataclass(slots=True)
class Columns:
    """Rows so far; ``muted`` keeps a faulty block from adding any."""

    arrays: dict[str, array[Any]] = field(default_factory=_empty_arrays)
    comments: list[tuple[int, str]] = field(default_factory=list)
    messages: list[tuple[int, str]] = field(default_factory=list)
    muted: bool = False


def modal_values(state: State) -> dict[str, float]:
    """Return what a row says of the modal state, by column; everything but geometry, feed and motion."""
    turning = state.turning
    return {
        "plane": state.plane // 10,
        "spindle_rpm": turning * state.speed_rpm if turning else 0.0,
        "tool": state.tool,
        "path_mode": int(state.path_mode),
        "air": state.air,
        "units": 20 if state.inch else 21,
        "distance_mode": 91 if state.incremental else 90,
        "feed_mode": 93 if state.inverse_time else 94,
        "work_offset": state.work_system,
        "length_offset": state.length_slot,
        "turning": turning,
    }


def record(
    columns: Columns,
    state: State,
    *,
    kind: Kind,
    line: int,
    start_mm: Sequence[float],
    end_mm: Sequence[float],
    centre_mm: Sequence[float] = NOWHERE_MM,
    sweep_rad: float = 0.0,
    feed_mm_per_min: float = 0.0,
    duration_s: float = 0.0,
    motion: int | None = None,
    stop: int = NO_STOP,
) -> None:
    """Add one row, with the modal state as it is."""
    if columns.muted:
        return
    arrays = columns.arrays
    for name, value in modal_values(state).items():
        arrays[name].append(value)
    arrays["kind"].append(kind)
    arrays["line"].append(line)
    arrays["start_mm"].extend(start_mm)
    arrays["end_mm"].extend(end_mm)
    arrays["centre_mm"].extend(centre_mm)
    arrays["sweep_rad"].append(sweep_rad)
    arrays["feed_mm_per_min"].append(feed_mm_per_min)
    arrays["duration_s"].append(duration_s)
    arrays["motion"].append(state.motion if motion is None else motion)
    arrays["start_known"].append(all(state.known))
    arrays["stop"].append(stop)


def add_comments(columns: Columns, comments: Sequence[str], *, line: int) -> None:
    """Keep a line's comments, and the last one's message to the operator if it is one (section 3.3.4)."""
    columns.comments.extend((line, comment) for comment in comments)
    message = message_of(comments[-1]) if comments else None
    if message is not None:
        columns.messages.append((line, message))


def as_trace(columns: Columns, *, findings: tuple[Finding, ...], lines: int, lines_read: int) -> Trace:
    """Return the rows as write-protected arrays, without copying them."""
    made = {}
    for name, column in columns.arrays.items():
        values = np.frombuffer(column, dtype=np.dtype(column.typecode)) if column else np.empty(0, column.typecode)
        if name in POINT_COLUMNS:
            values = values.reshape(-1, 3)
        if name in _BOOLEAN:
            values = values.view(np.bool_)
        values.setflags(write=False)
        made[name] = values
    return Trace(
        **made,
        comments=tuple(columns.comments),
        messages=tuple(columns.messages),
        findings=findings,
        lines=lines,
        lines_read=lines_read,
    )
