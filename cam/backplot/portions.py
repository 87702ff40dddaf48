"""Portions of a trace's moves below a height, and the chords that they are cut into."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.backplot.paths import PLANE_AXES
from cam.backplot.trace import Kind, Trace
from cam.geometry.contour import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Portions:
    """Straight and circular portions of moves, level or sloping evenly, in order of execution; n rows.

    Attributes
    ----------
    move
        (n,) the row of the trace.
    tool
        (n,) the T number.
    start_mm, end_mm
        (n, 3); z is the height of the cutter's tip above the bed.
    centre_mm
        (n, 2) of an arc seen from above; nan for a straight portion.
    sweep_rad
        (n,) an arc's turn seen from above, positive counter-clockwise; 0 for a straight portion.
    """

    move: IntArray
    tool: IntArray
    start_mm: FloatArray
    end_mm: FloatArray
    centre_mm: FloatArray
    sweep_rad: FloatArray

    def __len__(self) -> int:
        return len(self.move)

    @property
    def radius_mm(self) -> FloatArray:
        """(n,) an arc's radius seen from above; nan for a straight portion."""
        return np.asarray(np.hypot(*(self.start_mm[:, :2] - self.centre_mm).T))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chords:
    """Straight pieces of portions; m rows.

    ``portion`` (m,) is the row of the portions; ``start_mm`` and ``end_mm`` are (m, 3). Both ends of
    a chord lie on its portion.
    """

    portion: IntArray
    start_mm: FloatArray
    end_mm: FloatArray

    def __len__(self) -> int:
        return len(self.portion)


def find_portions(trace: Trace, *, zero_height_mm: float, chord_tol_mm: float) -> Portions:
    """Return every rapid, line and arc of a trace, its z turned into a height above the bed.

    Parameters
    ----------
    zero_height_mm
        The height of the program's Z zero above the bed.
    chord_tol_mm
        How far the chords may lie off arcs that stand upright (G18, G19); arcs seen from above stay.
    """
    moving = (trace.kind == Kind.RAPID) | (trace.kind == Kind.LINE) | (trace.kind == Kind.ARC)
    upright = moving & (trace.kind == Kind.ARC) & (trace.plane != 17)
    keep = np.flatnonzero(moving & ~upright)
    lift = np.array([0.0, 0.0, zero_height_mm])
    arc = trace.kind[keep] == Kind.ARC
    portions = Portions(
        move=keep,
        tool=trace.tool[keep],
        start_mm=trace.start_mm[keep] + lift,
        end_mm=trace.end_mm[keep] + lift,
        centre_mm=np.where(arc[:, None], trace.centre_mm[keep, :2], np.nan),
        sweep_rad=np.where(arc, trace.sweep_rad[keep], 0.0),
    )
    if not upright.any():
        return portions
    stood = [_flatten_upright(trace, row=int(i), lift=lift, chord_tol_mm=chord_tol_mm) for i in np.flatnonzero(upright)]
    return _sort(join_portions((portions, *stood)))


def _flatten_upright(trace: Trace, *, row: int, lift: FloatArray, chord_tol_mm: float) -> Portions:
    a, b, n = PLANE_AXES[int(trace.plane[row])]
    start, end, centre = trace.start_mm[row], trace.end_mm[row], trace.centre_mm[row]
    radius = float(np.hypot(start[a] - centre[a], start[b] - centre[b]))
    sweep = float(trace.sweep_rad[row])
    count = int(count_arc_chords(np.array([radius]), sweep_rad=np.array([sweep]), chord_tol_mm=chord_tol_mm)[0])
    share = np.linspace(0.0, 1.0, count + 1)
    angle = np.arctan2(start[b] - centre[b], start[a] - centre[a]) + sweep * share
    points = np.empty((count + 1, 3))
    points[:, a] = centre[a] + radius * np.cos(angle)
    points[:, b] = centre[b] + radius * np.sin(angle)
    points[:, n] = start[n] + (end[n] - start[n]) * share
    points[0], points[-1] = start, end
    points = points + lift
    return Portions(
        move=np.full(count, row, dtype=np.int64),
        tool=np.full(count, trace.tool[row], dtype=np.int64),
        start_mm=points[:-1],
        end_mm=points[1:],
        centre_mm=np.full((count, 2), np.nan),
        sweep_rad=np.zeros(count),
    )


def take_portions(portions: Portions, rows: IntArray | BoolArray) -> Portions:
    """Return some of the portions."""
    return Portions(
        move=portions.move[rows],
        tool=portions.tool[rows],
        start_mm=portions.start_mm[rows],
        end_mm=portions.end_mm[rows],
        centre_mm=portions.centre_mm[rows],
        sweep_rad=portions.sweep_rad[rows],
    )


def join_portions(parts: tuple[Portions, ...]) -> Portions:
    """Return all portions of several lists, one list after the other."""
    return Portions(
        move=np.concatenate([part.move for part in parts]),
        tool=np.concatenate([part.tool for part in parts]),
        start_mm=np.concatenate([part.start_mm for part in parts]),
        end_mm=np.concatenate([part.end_mm for part in parts]),
        centre_mm=np.concatenate([part.centre_mm for part in parts]),
        sweep_rad=np.concatenate([part.sweep_rad for part in parts]),
    )


def _sort(portions: Portions) -> Portions:
    return take_portions(portions, np.argsort(portions.move, kind="stable"))


def cut_portions(portions: Portions, *, below_mm: float) -> Portions:
    """Return what of the portions has the cutter's tip at a height or below it.

    Examples
    --------
    >>> import numpy as np
    >>> ramp = Portions(move=np.array([0]), tool=np.array([1]), start_mm=np.array([[0.0, 0.0, 4.0]]),
    ...                 end_mm=np.array([[40.0, 0.0, 0.0]]), centre_mm=np.full((1, 2), np.nan), sweep_rad=np.zeros(1))
    >>> cut_portions(ramp, below_mm=1.0).start_mm.tolist()
    [[30.0, 0.0, 1.0]]
    """
    first, last = portions.start_mm[:, 2], portions.end_mm[:, 2]
    keep = np.minimum(first, last) <= below_mm
    cut = keep & (np.maximum(first, last) > below_mm)
    if not cut.any():
        return take_portions(portions, keep)
    share = np.where(cut, (below_mm - first) / np.where(cut, last - first, 1.0), 0.0)
    enters = cut & (first > below_mm)
    from_share = np.where(enters, share, 0.0)
    to_share = np.where(cut & ~enters, share, 1.0)
    # a move down to just the height leaves a portion of no length, which is still a place cut
    return take_portions(divide_portions(portions, from_share=from_share, to_share=to_share), keep)


def divide_portions(portions: Portions, *, from_share: FloatArray, to_share: FloatArray) -> Portions:
    """Return of each portion what lies between two shares of its length, 0 at its start and 1 at its end."""
    return Portions(
        move=portions.move,
        tool=portions.tool,
        start_mm=find_points_mm(portions, share=from_share),
        end_mm=find_points_mm(portions, share=to_share),
        centre_mm=portions.centre_mm,
        sweep_rad=portions.sweep_rad * (to_share - from_share),
    )


def find_points_mm(portions: Portions, *, share: FloatArray) -> FloatArray:
    """Return the point of each portion at a share of its length, shape (n, 3); ends come out exactly."""
    points = portions.start_mm + (portions.end_mm - portions.start_mm) * share[:, None]
    inner = np.flatnonzero((portions.sweep_rad != 0.0) & (share > 0.0) & (share < 1.0))
    if len(inner):
        spoke = portions.start_mm[inner, :2] - portions.centre_mm[inner]
        angle = portions.sweep_rad[inner] * share[inner]
        c, s = np.cos(angle), np.sin(angle)
        points[inner, 0] = portions.centre_mm[inner, 0] + c * spoke[:, 0] - s * spoke[:, 1]
        points[inner, 1] = portions.centre_mm[inner, 1] + s * spoke[:, 0] + c * spoke[:, 1]
    return np.where((share == 1.0)[:, None], portions.end_mm, points)


def count_arc_chords(radius_mm: FloatArray, *, sweep_rad: FloatArray, chord_tol_mm: float) -> IntArray:
    """Return how many equal chords keep within a distance of each arc; 1 where the sweep is 0.

    Notes
    -----
    A chord over the angle t lies ``r (1 - cos(t / 2))`` off its arc.
    """
    arc = sweep_rad != 0.0
    radius = np.where(arc, radius_mm, 1.0)
    step = 2.0 * np.arccos(np.clip(1.0 - chord_tol_mm / radius, 0.0, 1.0))
    return np.where(arc, np.maximum(1, np.ceil(np.abs(sweep_rad) / step - 1e-9)), 1).astype(np.int64)


def chord_portions(portions: Portions, *, chord_tol_mm: float, max_length_mm: float = np.inf) -> Chords:
    """Return the portions as chords that lie within a distance of them.

    Parameters
    ----------
    max_length_mm
        The longest chord wanted; straight portions are divided too.
    """
    counts = count_arc_chords(portions.radius_mm, sweep_rad=portions.sweep_rad, chord_tol_mm=chord_tol_mm)
    if np.isfinite(max_length_mm):
        straight = np.hypot(*(portions.end_mm - portions.start_mm)[:, :2].T)
        arc = portions.sweep_rad != 0.0
        length = np.where(arc, np.where(arc, portions.radius_mm, 0.0) * np.abs(portions.sweep_rad), straight)
        counts = np.maximum(counts, np.ceil(length / max_length_mm)).astype(np.int64)
    index = np.repeat(np.arange(len(portions)), counts)
    nth = np.arange(len(index)) - (np.cumsum(counts) - counts)[index]
    expanded = take_portions(portions, index)
    return Chords(
        portion=index,
        start_mm=find_points_mm(expanded, share=nth / counts[index]),
        end_mm=find_points_mm(expanded, share=(nth + 1) / counts[index]),
    )
