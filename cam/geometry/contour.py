"""Contours and regions: closed loops of straight and circular segments.

A contour is an (n, 3) array of vertices ``x_mm, y_mm, bulge``. The bulge belongs to the segment
from its vertex to the next one (the last closes the loop) and is the tangent of a quarter of the
segment's included angle, positive counter-clockwise, 0 for a straight segment (DXF reference,
LWPOLYLINE group 42). A full circle has two segments of bulge +1 or -1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Contour:
    """A closed loop of straight and circular segments.

    Parameters
    ----------
    vertices
        (n, 3) float64, ``x_mm, y_mm, bulge``; copied and write-protected. At least two vertices,
        and at least one bulge where there are only two.

    Raises
    ------
    ValueError
        If the shape is wrong, a number is not finite, or two consecutive vertices coincide.
    """

    vertices: FloatArray

    def __post_init__(self) -> None:
        vertices = np.array(self.vertices, dtype=np.float64)
        if vertices.ndim != 2 or vertices.shape[1] != 3 or len(vertices) < 2:
            raise ValueError(f"a contour takes an (n, 3) array with n of 2 or more, not {vertices.shape}")
        if not np.isfinite(vertices).all():
            raise ValueError("a contour takes finite numbers only")
        if len(vertices) == 2 and not vertices[:, 2].any():
            raise ValueError("two straight segments enclose nothing")
        if (vertices[:, :2] == np.roll(vertices[:, :2], -1, axis=0)).all(axis=1).any():
            raise ValueError("two consecutive vertices coincide")
        vertices.setflags(write=False)
        object.__setattr__(self, "vertices", vertices)

    def __len__(self) -> int:
        return len(self.vertices)

    @property
    def points_mm(self) -> FloatArray:
        """(n, 2) the vertices without their bulges."""
        return self.vertices[:, :2]

    @property
    def bulges(self) -> FloatArray:
        """(n,) the bulge of the segment that starts at each vertex."""
        return self.vertices[:, 2]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """One outer contour (counter-clockwise) and its holes (clockwise)."""

    outer: Contour
    holes: tuple[Contour, ...] = ()

    @property
    def contours(self) -> tuple[Contour, ...]:
        """The outer contour, then the holes."""
        return (self.outer, *self.holes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segments:
    """Contour segments as arrays, straight and circular together.

    ``start_mm``, ``end_mm`` and ``centre_mm`` are (n, 2); ``radius_mm`` and ``sweep_rad`` (n,), the
    sweep positive counter-clockwise; a straight segment has sweep 0, radius inf and centre nan.
    """

    start_mm: FloatArray
    end_mm: FloatArray
    centre_mm: FloatArray
    radius_mm: FloatArray
    sweep_rad: FloatArray

    def __len__(self) -> int:
        return len(self.sweep_rad)

    @property
    def is_arc(self) -> BoolArray:
        """(n,) which segments are circular."""
        return np.asarray(self.sweep_rad != 0.0)

    @property
    def length_mm(self) -> FloatArray:
        """(n,) the lengths."""
        chord = np.hypot(*(self.end_mm - self.start_mm).T)
        return np.where(self.is_arc, np.where(self.is_arc, self.radius_mm, 0.0) * np.abs(self.sweep_rad), chord)


def find_segments(vertices: FloatArray, *, closed: bool = True) -> Segments:
    """Return the segments that run along vertices.

    Parameters
    ----------
    vertices
        (n, 3) ``x_mm, y_mm, bulge``.
    closed
        Whether the last vertex is joined to the first; if not, its bulge is ignored and there are
        n - 1 segments.

    Notes
    -----
    With chord c and bulge b the radius is ``|c| (1 + b^2) / (4 |b|)`` and the centre lies
    ``(1 - b^2) / (4 b)`` chords to the left of the chord's middle (DXF reference, bulge).
    """
    ends = np.roll(vertices, -1, axis=0) if closed else vertices[1:]
    starts = vertices if closed else vertices[:-1]
    start, end, bulge = starts[:, :2], ends[:, :2], starts[:, 2]
    chord = end - start
    arc = bulge != 0.0
    if not arc.any():
        nowhere = np.full((len(start), 2), np.nan)
        return Segments(
            start_mm=start,
            end_mm=end,
            centre_mm=nowhere,
            radius_mm=np.full(len(start), np.inf),
            sweep_rad=np.zeros(len(start)),
        )
    b = np.where(arc, bulge, 1.0)
    normal = np.column_stack((-chord[:, 1], chord[:, 0]))
    centre = (start + end) / 2.0 + normal * ((1.0 - b * b) / (4.0 * b))[:, None]
    radius = np.hypot(chord[:, 0], chord[:, 1]) * (1.0 + b * b) / (4.0 * np.abs(b))
    return Segments(
        start_mm=start,
        end_mm=end,
        centre_mm=np.where(arc[:, None], centre, np.nan),
        radius_mm=np.where(arc, radius, np.inf),
        sweep_rad=np.where(arc, 4.0 * np.arctan(bulge), 0.0),
    )


def polygon(points_mm: npt.ArrayLike) -> Contour:
    """Return the contour with straight segments through points, shape (n, 2)."""
    points = np.asarray(points_mm, dtype=np.float64)
    return Contour(np.column_stack((points, np.zeros(len(points)))))


def circle(centre_mm: tuple[float, float], *, radius_mm: float) -> Contour:
    """Return a counter-clockwise full circle of two half arcs."""
    x, y = centre_mm
    return Contour(np.array([[x + radius_mm, y, 1.0], [x - radius_mm, y, 1.0]]))


def rectangle(corner_mm: tuple[float, float], *, width_mm: float, height_mm: float) -> Contour:
    """Return a counter-clockwise rectangle from its lower left corner."""
    x, y = corner_mm
    return polygon([(x, y), (x + width_mm, y), (x + width_mm, y + height_mm), (x, y + height_mm)])
