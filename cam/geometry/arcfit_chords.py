"""Chords to arcs: circles and fillets that were exported as short straight pieces become arcs again."""

from __future__ import annotations

import numpy as np

from cam.geometry.arcfit import find_offsets
from cam.geometry.contour import Contour, FloatArray

MIN_CHORDS = 3
MAX_HALF_SWEEP_RAD = np.pi / 2.0  # an arc of half a turn at most


def fit_contour_chords(contour: Contour, *, tol_mm: float) -> Contour:
    """Return the contour with arcs in place of the runs of chords that lie within a distance of one arc.

    Parameters
    ----------
    contour
        A closed contour; only its straight segments are looked at.
    tol_mm
        The distance within which chords and arcs stay of each other. It bounds the sagitta of every
        chord, so that a polygon of long sides is never taken for a circle.

    Returns
    -------
    Contour
        A contour whose vertices are vertices of the given one, or two half arcs about the mean
        centre where all of its vertices lie on one circle.

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
    vertices = contour.vertices
    circle = _find_circle(vertices, tol_mm)
    if circle is not None:
        return circle
    start = _find_start(vertices, tol_mm)
    ring = np.roll(vertices, -start, axis=0)
    path = fit_chords(np.concatenate((ring, ring[:1])), tol_mm=tol_mm)
    return Contour(path[:-1])


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
    Greedy from the start: the longest run of at least ``MIN_CHORDS`` straight segments that an arc
    through its ends and its middle vertex follows. Chords of such a run must each turn the same way.
    """
    kept: list[FloatArray] = []
    at, last = 0, len(vertices) - 1
    straight = vertices[:-1, 2] == 0.0
    bends = np.append(np.flatnonzero(~straight), last)
    while at < last:
        limit = int(bends[np.searchsorted(bends, at)])
        to = _find_farthest(vertices, at, limit, tol_mm)
        row = vertices[at].copy()
        if to - at >= MIN_CHORDS:
            row[2] = _lay_through(vertices[at : to + 1, :2])[2]
        else:
            to = at + 1
        kept.append(row)
        at = to
    kept.append(np.array([*vertices[last, :2], 0.0]))
    return np.array(kept)


def _find_farthest(vertices: FloatArray, at: int, limit: int, tol_mm: float) -> int:
    """Return the last vertex of the longest run of chords from a vertex that one arc follows."""

    def keeps(to: int) -> bool:
        return _follows(vertices[at : to + 1, :2], tol_mm)

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


def _lay_through(points: FloatArray) -> FloatArray:
    """Return the vertex of the arc from the first to the last point through the middle one."""
    start, middle, end = points[0], points[len(points) // 2], points[-1]
    one, other = middle - start, end - middle
    # the angle between the two chords at an inner point of an arc is half the arc's sweep
    half = np.arctan2(one[0] * other[1] - one[1] * other[0], one @ other)
    return np.array([start[0], start[1], np.tan(half / 2.0)])


def _follows(points: FloatArray, tol_mm: float) -> bool:
    """Return whether one arc stays within a distance of a run of chords, sagittas included."""
    chords = np.diff(points, axis=0)
    turn = np.arctan2(
        chords[:-1, 0] * chords[1:, 1] - chords[:-1, 1] * chords[1:, 0], (chords[:-1] * chords[1:]).sum(axis=1)
    )
    if not (np.all(turn > 0.0) or np.all(turn < 0.0)) or abs(turn.sum()) > 2.0 * MAX_HALF_SWEEP_RAD:
        return False
    row = _lay_through(points)
    if row[2] == 0.0 or abs(row[2]) > 1.0:
        return False
    offset, along, curvature, _ = find_offsets(row, points[-1], points)
    sagitta = (chords**2).sum(axis=1).max() * abs(curvature) / 8.0
    return bool(np.abs(offset).max() + sagitta <= tol_mm and np.all(np.diff(along) > 0.0))


def _find_circle(vertices: FloatArray, tol_mm: float) -> Contour | None:
    """Return the circle of two half arcs that all chords of a contour follow, or None."""
    points = vertices[:, :2]
    if vertices[:, 2].any() or len(points) < 8:
        return None
    # the circle of least squares in x^2 + y^2 = 2 a x + 2 b y + c (Kasa's fit, from memory)
    base = points.mean(axis=0)
    q = points - base
    system = np.column_stack((2.0 * q, np.ones(len(q))))
    (a, b, c), *_ = np.linalg.lstsq(system, (q * q).sum(axis=1), rcond=None)
    radius = float(np.sqrt(max(c + a * a + b * b, 0.0)))
    offset = q - (a, b)
    chords = np.diff(np.concatenate((points, points[:1])), axis=0)
    sagitta = float((chords**2).sum(axis=1).max()) / (8.0 * radius) if radius > 0.0 else np.inf
    turn = np.diff(np.unwrap(np.arctan2(*np.concatenate((offset, offset[:1])).T[::-1])))
    if np.abs(np.hypot(*offset.T) - radius).max() + sagitta > tol_mm:
        return None
    if not (np.all(turn > 0.0) or np.all(turn < 0.0)) or abs(abs(turn.sum()) - 2.0 * np.pi) > 1e-6:
        return None
    unit = offset[0] / np.hypot(*offset[0])
    centre = base + np.array([a, b])
    bulge = 1.0 if turn[0] > 0.0 else -1.0
    return Contour(np.array([[*(centre + radius * unit), bulge], [*(centre - radius * unit), bulge]]))


def _find_start(vertices: FloatArray, tol_mm: float) -> int:
    """Return a vertex at which no arc can pass: one beside an arc, else the first where a run from before ends."""
    arcs = np.flatnonzero(vertices[:, 2])
    if len(arcs):
        return int(arcs[0])
    twice = np.concatenate((vertices, vertices, vertices[:1]))
    for at in range(len(vertices)):
        end = _find_farthest(twice, at, at + len(vertices), tol_mm)
        if end > at:
            return end % len(vertices)
    return 0
