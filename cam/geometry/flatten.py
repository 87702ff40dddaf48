"""Contours to chords within a stated distance."""

from __future__ import annotations

from math import pi

import numpy as np

from cam.geometry.contour import Contour, FloatArray, IntArray, Segments, find_segments


def count_chords(segments: Segments, *, chord_tol_mm: float) -> IntArray:
    """Return how many equal chords keep within a distance of each segment, shape (n,), at least 1.

    Notes
    -----
    ``sweep / (2 arccos(1 - chord_tol / radius))``, rounded up; quarter turns where the arc is smaller than the
    distance.

    Examples
    --------
    >>> from cam.geometry.contour import circle, find_segments
    >>> count_chords(find_segments(circle((0.0, 0.0), radius_mm=5.0).vertices), chord_tol_mm=0.01).tolist()
    [25, 25]
    """
    counts = np.ones(len(segments), dtype=np.int64)
    arcs = np.flatnonzero(segments.is_arc)
    radius, sweep = segments.radius_mm[arcs], np.abs(segments.sweep_rad[arcs])
    step = np.where(chord_tol_mm < radius, 2.0 * np.arccos(1.0 - np.minimum(chord_tol_mm / radius, 1.0)), 1.0)
    # so flat an arc that its step rounds to nothing: chord_tol = radius step^2 / 8
    step = np.maximum(step, np.sqrt(chord_tol_mm / radius))
    share = np.where(chord_tol_mm < radius, sweep / step - 1e-9, sweep / (pi / 2.0))
    counts[arcs] = np.maximum(np.ceil(share), 1).astype(np.int64)
    return counts


def flatten(contour: Contour, *, chord_tol_mm: float) -> FloatArray:
    """Return a ring of points on the contour whose chords stay within a distance of it.

    Returns
    -------
    FloatArray
        (m, 2), the first point not repeated. All points lie on the contour: the ring is inscribed
        in outward arcs and circumscribes inward ones.
    """
    return flatten_vertices(contour.vertices, chord_tol_mm=chord_tol_mm)[0]


def flatten_vertices(vertices: FloatArray, *, chord_tol_mm: float, closed: bool = True) -> tuple[FloatArray, IntArray]:
    """Return points along vertices, shape (m, 2), and the segment that each starts on, shape (m,).

    Parameters
    ----------
    vertices
        (n, 3) ``x_mm, y_mm, bulge``.
    closed
        Whether the last vertex joins the first (then the first point is not repeated) or ends the
        path (then it is the last point, with index n - 1).
    """
    segments = find_segments(vertices, closed=closed)
    counts = count_chords(segments, chord_tol_mm=chord_tol_mm)
    index = np.repeat(np.arange(len(segments)), counts)
    first = np.cumsum(counts) - counts
    share = (np.arange(len(index)) - first[index]) / counts[index]
    points = segments.start_mm[index].copy()
    arc = segments.is_arc[index] & (share > 0.0)
    if arc.any():
        at = index[arc]
        offset = segments.start_mm[at] - segments.centre_mm[at]
        angle = np.arctan2(offset[:, 1], offset[:, 0]) + segments.sweep_rad[at] * share[arc]
        points[arc] = segments.centre_mm[at] + segments.radius_mm[at, None] * np.column_stack(
            (np.cos(angle), np.sin(angle))
        )
    if not closed:
        points = np.concatenate((points, vertices[-1:, :2]))
        index = np.append(index, len(vertices) - 1)
    return points, index.astype(np.int64)
