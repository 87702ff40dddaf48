"""Chords to arcs: circles and fillets that were exported as short straight pieces become arcs again."""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np

from cam.geometry.arcfit import find_offsets
from cam.geometry.contour import BoolArray, Contour, FloatArray, IntArray

MIN_CHORDS = 4
"""Fewer straight segments than this are no arc."""
MIN_CIRCLE_CHORDS = 16
"""A closed polygon of fewer sides is a polygon, not a circle."""
MAX_TURN_RAD = radians(22.6)
"""Chords that turn more than those of a polygon of 16 sides, 22.5 degrees, are sides."""
FLAT_RAD = radians(15.0)
FLAT_MM = 0.003
"""Chords that turn less than this together, and stray no farther than this from one line, are a line with flaws."""
MAX_SWEEP_RAD = radians(270.0)
"""The chord of a longer arc would lose digits."""
EXPORTED_MM = 0.0015
"""The vertices of an exported arc lie on it this closely: the third decimal, and its effect on a short arc."""
STRAY_SHARE = 1.0 / 50.0
"""Vertices that stray from an arc by more than this share of its radius are corners."""
EXPORTED_SHARE = 0.7
"""An exported arc of at least this share of the chords of the longest that the distance allows is taken instead."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Path:
    """An open path: (n, 3) ``vertices``, for each its turn, and the last one that an arc from there may reach."""

    vertices: FloatArray
    turn_rad: FloatArray
    reach: IntArray
    tol_mm: float


def fit_contour_chords(contour: Contour, *, tol_mm: float) -> Contour:
    """Return the contour with arcs in place of the runs of chords that lie within a distance of one arc.

    Parameters
    ----------
    contour
        A closed contour; only its straight segments are looked at.
    tol_mm
        The positive distance within which chords and arcs stay of each other, the middles of the
        chords included. So it bounds the height of the arc over every chord, and a polygon of long
        sides is never taken for a circle.

    Returns
    -------
    Contour
        A contour whose vertices are vertices of the given one, or two half arcs about the mean
        centre where all of its vertices lie on one circle. The given one itself where nothing was
        fitted.

    Notes
    -----
    A polygon with up to 15 equal sides keeps them, however small it is; so do corners of up to
    three chamfers, vertices that stray from the arc by more than a fiftieth of its radius, and
    chords that turn less than 15 degrees together and lie within 0.003 mm of
    one line.

    Examples
    --------
    >>> import numpy as np
    >>> from cam.geometry.contour import polygon
    >>> turn = np.linspace(0, 2 * np.pi, 65)[:-1]
    >>> fitted = fit_contour_chords(polygon(50 * np.column_stack((np.cos(turn), np.sin(turn)))), tol_mm=0.1)
    >>> fitted.vertices.round(6) + 0.0
    array([[ 50.,   0.,   1.],
           [-50.,   0.,   1.]])
    """
    if not tol_mm > 0.0:
        raise ValueError("arcs are fitted within a positive distance")
    vertices = contour.vertices
    exported_mm = min(EXPORTED_MM, tol_mm)
    circle = _find_circle(vertices, vertex_tol_mm=exported_mm, tol_mm=tol_mm)
    if circle is not None:
        return circle
    start, is_exported = _find_start(vertices, tol_mm)
    if not is_exported:
        circle = _find_circle(vertices, vertex_tol_mm=tol_mm, tol_mm=tol_mm)
        if circle is not None:
            return circle
    ring = np.roll(vertices, -start, axis=0)
    path = fit_chords(np.concatenate((ring, ring[:1])), tol_mm=tol_mm)
    return contour if len(path) > len(vertices) else Contour(path[:-1])


def fit_chords(vertices: FloatArray, *, tol_mm: float) -> FloatArray:
    """Return an open path with arcs in place of runs of chords that lie within a distance of one arc.

    Parameters
    ----------
    vertices
        (n, 3) open path ``x_mm, y_mm, bulge``, the last bulge unused.
    tol_mm
        As in :func:`fit_contour_chords`.

    Notes
    -----
    Greedy from the start, twice: first the runs whose vertices lie on an arc as closely as an
    exporter writes them, so that no end of a straight side is drawn into a fillet; then, between
    those, the longest runs that one arc follows within the distance. Chords of a run all turn the
    same way, none by more than ``MAX_TURN_RAD``.
    """
    path = _as_path(vertices, tol_mm)
    exported = _find_exported(path)
    runs: list[tuple[int, int]] = []
    at = 0
    for first, last in [*exported, (len(vertices) - 1, len(vertices) - 1)]:
        runs += _find_runs(path, at, first)
        if last > first:
            runs.append((first, last))
        at = last
    kept = np.ones(len(vertices), dtype=np.bool_)
    bulges = vertices[:, 2].copy()
    for first, last in runs:
        bulges[first] = _lay_along(vertices[first : last + 1, :2])
        kept[first + 1 : last] = False
    laid = np.column_stack((vertices[:, :2], bulges))[kept]
    laid[-1, 2] = 0.0
    return laid


def _as_path(vertices: FloatArray, tol_mm: float) -> _Path:
    turn = _find_turns(vertices[:, :2])
    return _Path(vertices=vertices, turn_rad=turn, reach=_find_reach(vertices, turn), tol_mm=tol_mm)


def _find_reach(vertices: FloatArray, turn: FloatArray) -> IntArray:
    """Return for each vertex the last one that a run of chords from there may end at."""
    last = len(vertices) - 1
    inner = _may_be_inner(vertices)
    reach = np.full(last + 1, last, dtype=np.int64)
    straight = np.append(vertices[:-1, 2] == 0.0, False)
    for at in range(last - 1, -1, -1):
        if not straight[at]:
            reach[at] = at
        elif at + 1 == last or not inner[at + 1]:
            reach[at] = at + 1
        else:
            # the turn at the next vertex must go on at the one after it
            same = at + 2 < last and inner[at + 2] and (turn[at + 1] > 0.0) == (turn[at + 2] > 0.0)
            reach[at] = reach[at + 1] if same else at + 2
    return reach


def _may_be_inner(vertices: FloatArray) -> BoolArray:
    """Return which vertices of an open path may lie within a run of chords."""
    inner = np.zeros(len(vertices), dtype=np.bool_)
    turn = np.abs(_find_turns(vertices[:, :2]))[1:-1]
    inner[1:-1] = (turn > 0.0) & (turn <= MAX_TURN_RAD) & (vertices[:-2, 2] == 0.0) & (vertices[1:-1, 2] == 0.0)
    return inner


def _find_turns(points: FloatArray) -> FloatArray:
    """Return the change of direction at each point of an open path, 0 at its ends."""
    chord = np.diff(points, axis=0)
    one, other = chord[:-1], chord[1:]
    turn = np.zeros(len(points))
    turn[1:-1] = np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1))
    return turn


def _find_exported(path: _Path) -> list[tuple[int, int]]:
    """Return the runs whose vertices lie on an arc as closely as an exporter writes them."""
    runs = []
    at, last = 0, len(path.vertices) - 1
    while at < last:
        to = _find_farthest(path, at, limit=last, vertex_tol_mm=min(2.0 * EXPORTED_MM, path.tol_mm))
        if to > at and _is_exported(path, at, to):
            runs.append((at, to))
            at = to
        else:
            # a curve that is no arc keeps its looks for a while
            at += max(1, (to - at) // 4)
    return runs


def _is_exported(path: _Path, at: int, to: int) -> bool:
    """Return whether the longest run within twice ``EXPORTED_MM`` is an arc, not a stretch of another curve.

    Notes
    -----
    A stretch of another curve uses up what it is allowed before it ends; an arc does not.
    """
    points = path.vertices[at : to + 1, :2]
    row = np.array([*points[0], _lay_along(points)])
    if _measure_run(row, points)[0] > min(EXPORTED_MM, path.tol_mm / 2.0):
        return False
    if not _sweeps(path, at, to):
        return False
    longest = _find_farthest(path, at, limit=len(path.vertices) - 1, vertex_tol_mm=path.tol_mm)
    return to - at >= EXPORTED_SHARE * (longest - at)


def _find_runs(path: _Path, first: int, last: int) -> list[tuple[int, int]]:
    """Return the longest runs that arcs follow within the distance, between two vertices."""
    runs = []
    at = first
    while at < last:
        to = _find_farthest(path, at, limit=last, vertex_tol_mm=path.tol_mm)
        if _sweeps(path, at, to):
            runs.append((at, to))
            at = to
        else:
            at += max(1, (to - at) // 4)
    return runs


def _find_farthest(path: _Path, at: int, *, limit: int, vertex_tol_mm: float) -> int:
    """Return the last vertex of the longest run of chords from a vertex that one arc follows, itself if none."""
    limit = min(limit, int(path.reach[at]))

    def keeps(to: int) -> bool:
        return _follows(path.vertices[at : to + 1, :2], vertex_tol_mm=vertex_tol_mm, tol_mm=path.tol_mm)

    good = at + MIN_CHORDS
    if good > limit or not keeps(good):
        return at
    step = 1
    while good + step <= limit and keeps(good + step):
        good += step
        step *= 2
    while step > 0:
        if good + step <= limit and keeps(good + step):
            good += step
        step //= 2
    return good


def _sweeps(path: _Path, at: int, to: int) -> bool:
    """Return whether a run of chords is more bent than a line with flaws."""
    if to == at:
        return False
    if abs(float(path.turn_rad[at + 1 : to].sum())) >= FLAT_RAD:
        return True
    points = path.vertices[at : to + 1, :2]
    chord = points[-1] - points[0]
    across = (points - points[0]) @ np.array([-chord[1], chord[0]]) / np.hypot(*chord)
    return bool(np.abs(across).max() > FLAT_MM)


def _follows(points: FloatArray, *, vertex_tol_mm: float, tol_mm: float) -> bool:
    """Return whether one arc stays within a distance of a run of chords, the heights over them included."""
    row = np.array([*points[0], _lay_through(points)])
    if row[2] == 0.0 or abs(row[2]) > np.tan(MAX_SWEEP_RAD / 4.0):
        return False
    off, along, curvature = _measure_run(row, points)
    chords = np.diff(points, axis=0)
    half = (chords**2).sum(axis=1).max() * curvature**2 / 4.0
    if curvature == 0.0 or half >= 1.0:
        return False
    height = (1.0 - np.sqrt(1.0 - half)) / abs(curvature)
    if off > max(STRAY_SHARE / abs(curvature), EXPORTED_MM):
        return False
    return bool(off <= vertex_tol_mm and off + height <= tol_mm and np.all(np.diff(along) > 0.0))


def _measure_run(row: FloatArray, points: FloatArray) -> tuple[float, FloatArray, float]:
    """Return how far points stray from an arc at most, the lengths of their feet along it, and its curvature."""
    offset, along, curvature, _ = find_offsets(row, points[-1], points)
    # beyond half a turn the foot's angle starts again from below
    if curvature != 0.0 and abs(row[2]) > 0.9:
        along = np.unwrap(along * abs(curvature)) / abs(curvature)
    return float(np.abs(offset).max()), along, curvature


def _lay_through(points: FloatArray) -> float:
    """Return the bulge of the arc from the first to the last point through the middle one."""
    start, middle, end = points[0], points[len(points) // 2], points[-1]
    one, other = middle - start, end - middle
    # the angle between the two chords at an inner point of an arc is half the arc's sweep
    half = np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other)
    return float(np.tan(half / 2.0))


def _lay_along(points: FloatArray) -> float:
    """Return the bulge of the arc from the first to the last point that strays least of two: mean and middle."""
    inner, start, end = points[1:-1], points[0], points[-1]
    one, other = inner - start, end - inner
    half = np.arctan2(one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0], (one * other).sum(axis=1))
    # a point off the arc by e turns the angle by e times the sum of both chords' inverse lengths
    weight = (1.0 / np.hypot(*one.T) + 1.0 / np.hypot(*other.T)) ** -2
    mean, middle = float(np.tan((half * weight).sum() / weight.sum() / 2.0)), _lay_through(points)
    strays = [_measure_run(np.array([*start, bulge]), points)[0] for bulge in (mean, middle)]
    return mean if strays[0] <= strays[1] else middle


def _find_circle(vertices: FloatArray, *, vertex_tol_mm: float, tol_mm: float) -> Contour | None:
    """Return the circle of two half arcs that all chords of a contour follow, or None."""
    points = vertices[:, :2]
    if vertices[:, 2].any() or len(points) < MIN_CIRCLE_CHORDS:
        return None
    # the circle of least squares in x^2 + y^2 = 2 a x + 2 b y + c (Kasa's fit, from memory)
    base = points.mean(axis=0)
    q = points - base
    system = np.column_stack((2.0 * q, np.ones(len(q))))
    (a, b, c), *_ = np.linalg.lstsq(system, (q * q).sum(axis=1), rcond=None)
    radius = float(np.sqrt(max(c + a * a + b * b, 0.0)))
    offset = q - (a, b)
    turn = np.diff(np.unwrap(np.arctan2(*np.concatenate((offset, offset[:1])).T[::-1])))
    if not (np.all(turn > 0.0) or np.all(turn < 0.0)) or abs(abs(turn.sum()) - 2.0 * np.pi) > 1e-6:
        return None
    widest = float(np.abs(turn).max())
    height = radius * (1.0 - np.cos(widest / 2.0))
    off = float(np.abs(np.hypot(*offset.T) - radius).max())
    if (
        widest > MAX_TURN_RAD
        or off > min(vertex_tol_mm, max(STRAY_SHARE * radius, EXPORTED_MM))
        or off + height > tol_mm
    ):
        return None
    unit = offset[0] / np.hypot(*offset[0])
    centre = base + np.array([a, b])
    bulge = 1.0 if turn[0] > 0.0 else -1.0
    return Contour(np.array([[*(centre + radius * unit), bulge], [*(centre - radius * unit), bulge]]))


def _find_start(vertices: FloatArray, tol_mm: float) -> tuple[int, bool]:
    """Return a vertex that no arc need pass, and whether a side or an exported arc ends there.

    One that no run may pass, else one where an exported arc ends, else one where any run does.
    """
    count = len(vertices)
    ring = np.concatenate((vertices[-2:], vertices, vertices[:2]))
    free = np.flatnonzero(~_may_be_inner(ring)[2 : count + 2])
    if len(free):
        return int(free[0]), True
    twice = np.concatenate((vertices, vertices, vertices[:1]))
    path = _as_path(twice, tol_mm)
    at = 0
    while at < count:
        to = _find_farthest(path, at, limit=at + count, vertex_tol_mm=min(2.0 * EXPORTED_MM, tol_mm))
        if to > at and _is_exported(path, at, to):
            return to % count, True
        at += max(1, (to - at) // 4)
    at = 0
    while at < count:
        to = _find_farthest(path, at, limit=at + count, vertex_tol_mm=tol_mm)
        if _sweeps(path, at, to):
            return to % count, False
        at += max(1, (to - at) // 4)
    return 0, False
