"""What can be judged of a program without knowing what it should cut."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from cam.backplot.trace import Kind, Trace
from cam.findings import Finding, Origin, error, warning
from cam.geometry.contour import BoolArray
from cam.tables.rows import Cutter, Machine

FEED_STEP_MM_PER_MIN = 0.5


def judge_alone(trace: Trace, *, cutters: tuple[Cutter, ...], machine: Machine, file: str) -> tuple[Finding, ...]:
    """Return the findings of the text, and on cutter, spindle, feed, reach and end, the first place of each.

    Notes
    -----
    Nothing is known of sheet and panel: gouges, rapids in material, depths and corners need a job (``castcut prove``).
    """
    feeding = (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    known = np.isin(trace.tool, [cutter.tool for cutter in cutters])
    return (
        *trace.findings,
        *_tell(
            trace, feeding & ~known, file=file, code="unknown-cutter",
            message="the program cuts without a cutter of the table",
            remedy="call a cutter by its tool number, or add it to the shop's own tables",
        ),
        *_tell(
            trace, feeding & (trace.turning == 0), file=file, code="spindle-stopped",
            message="the program feeds while the spindle stands",
            remedy="start the spindle with M3 before the first cut",
        ),
        *_tell(
            trace, feeding & (trace.feed_mm_per_min > machine.max_feed_mm_per_min + FEED_STEP_MM_PER_MIN), file=file,
            code="feed-beyond-machine",
            message=f"the feed is above the {machine.max_feed_mm_per_min:g} mm/min that {machine.name} reaches",
            remedy="reduce the F word and the S word together",
        ),
        *_judge_reach(trace, machine=machine, file=file),
        *_judge_end(trace, file=file),
    )  # fmt: skip


def _tell(trace: Trace, rows: BoolArray, *, file: str, code: str, message: str, remedy: str) -> Iterable[Finding]:
    (at,) = np.nonzero(rows)
    if len(at):
        more = f"; on {len(at)} moves in all" if len(at) > 1 else ""
        yield error(code, message + more, remedy=remedy, origin=_locate(trace, int(at[0]), file=file))


def _locate(trace: Trace, move: int, *, file: str) -> Origin:
    x, y, z = (float(v) for v in trace.end_mm[move])
    return Origin(file=file, line=int(trace.line[move]), x_mm=x, y_mm=y, z_mm=z)


def _judge_reach(trace: Trace, *, machine: Machine, file: str) -> Iterable[Finding]:
    """Return a finding for each axis on which the program reaches over more than the machine's travel."""
    points = trace.end_mm[_find_placed(trace)]
    if not len(points):
        return
    for axis, (reach, travel) in enumerate(zip(np.ptp(points, axis=0).tolist(), machine.travel_mm, strict=True)):
        if reach > travel:
            yield error(
                "outside-travel",
                f"the program reaches over {reach:.1f} mm in {'XYZ'[axis]}; {machine.name} travels {travel:g} mm",
                remedy="choose a larger machine, or cut the part in two set-ups",
                origin=Origin(file=file),
                size_mm=reach - travel,
            )


def _find_placed(trace: Trace) -> BoolArray:
    """Return the rows after which the place is known on all axes."""
    return np.append(trace.start_known[1:], trace.start_known[-1:])


def _judge_end(trace: Trace, *, file: str) -> Iterable[Finding]:
    """Return a warning where the program ends lower than it travels."""
    moving = np.flatnonzero(np.isin(trace.kind, (Kind.RAPID, Kind.LINE, Kind.ARC)))
    across = moving[(trace.kind[moving] == Kind.RAPID) & _find_placed(trace)[moving]]
    if not len(across):
        return
    last, travel = int(moving[-1]), float(trace.end_mm[across, 2].max())
    if trace.end_mm[last, 2] < travel - 1e-6:
        yield warning(
            "no-return-to-safety",
            f"the program ends at Z {trace.end_mm[last, 2]:.2f}, below the {travel:.2f} at which it travels",
            remedy="retract the cutter before the end",
            origin=_locate(trace, last, file=file),
        )
