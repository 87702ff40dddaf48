"""SVG path data from contours and moves; arcs stay arcs.

Coordinates stay those of the sheet, y upwards: the picture turns the drawing over once, with a
transform. With y upwards, SVG's sweep flag 1 is counter-clockwise.
"""

from __future__ import annotations

from math import atan2, ceil, cos, hypot, pi, sin

from cam.geometry.contour import Contour, FloatArray, Region, find_segments
from cam.report.markup import format_number

# SVG finds an arc's centre from its ends and its radius. Near half a turn a radius rounded by d moves
# the centre by sqrt(2 r d), near a whole turn the ends run together; within a quarter turn the centre
# is as certain as the radius
_MAX_ARC_RAD = pi / 2.0


class PathData:
    """Path data under construction: moves are joined where one starts at the last one's end.

    Examples
    --------
    >>> path = PathData()
    >>> path.line((0.0, 0.0), (10.0, 0.0))
    >>> path.arc((10.0, 0.0), (15.0, 5.0), centre_mm=(10.0, 5.0), sweep_rad=pi / 2.0)
    >>> str(path)
    'M0 0H10A5 5 0 0 1 15 5'
    """

    def __init__(self) -> None:
        self._parts: list[str] = []
        self._at: tuple[str, str] | None = None

    def __str__(self) -> str:
        return "".join(self._parts)

    def line(self, start_mm: tuple[float, float], end_mm: tuple[float, float]) -> None:
        """Add a straight piece; one of no length becomes a dot under round caps."""
        self._start(start_mm)
        x, y = _words(end_mm)
        assert self._at is not None
        if y == self._at[1]:
            self._parts.append(f"H{x}")
        elif x == self._at[0]:
            self._parts.append(f"V{y}")
        else:
            self._parts.append(f"L{x} {y}")
        self._at = (x, y)

    def arc(
        self,
        start_mm: tuple[float, float],
        end_mm: tuple[float, float],
        *,
        centre_mm: tuple[float, float],
        sweep_rad: float,
    ) -> None:
        """Add a circular piece, in arcs of a quarter turn at most."""
        self._start(start_mm)
        pieces = max(1, ceil(abs(sweep_rad) / _MAX_ARC_RAD - 1e-9))
        radius_mm = hypot(start_mm[0] - centre_mm[0], start_mm[1] - centre_mm[1])
        from_rad = atan2(start_mm[1] - centre_mm[1], start_mm[0] - centre_mm[0])
        radius = format_number(radius_mm)
        for piece in range(1, pieces + 1):
            angle_rad = from_rad + sweep_rad * piece / pieces
            point = (centre_mm[0] + radius_mm * cos(angle_rad), centre_mm[1] + radius_mm * sin(angle_rad))
            self._at = _words(end_mm if piece == pieces else point)
            self._parts.append(f"A{radius} {radius} 0 0 {int(sweep_rad > 0.0)} {self._at[0]} {self._at[1]}")

    def close(self) -> None:
        """Close the loop."""
        self._parts.append("Z")
        self._at = None

    def _start(self, point_mm: tuple[float, float]) -> None:
        point = _words(point_mm)
        if point != self._at:
            self._parts.append(f"M{point[0]} {point[1]}")
            self._at = point


def _words(point_mm: tuple[float, float]) -> tuple[str, str]:
    return format_number(point_mm[0]), format_number(point_mm[1])


def trace_vertices(vertices: FloatArray, *, closed: bool) -> str:
    """Return path data along vertices ``x_mm, y_mm, bulge``, shape (n, 3)."""
    path = PathData()
    segments = find_segments(vertices, closed=closed)
    for i in range(len(segments)):
        start, end = _point(segments.start_mm[i]), _point(segments.end_mm[i])
        if segments.sweep_rad[i] == 0.0:
            path.line(start, end)
        else:
            path.arc(start, end, centre_mm=_point(segments.centre_mm[i]), sweep_rad=float(segments.sweep_rad[i]))
    if closed:
        path.close()
    return str(path)


def trace_contour(contour: Contour) -> str:
    """Return path data of a closed contour.

    Examples
    --------
    >>> from cam.geometry.contour import circle, rectangle
    >>> trace_contour(rectangle((0, 0), width_mm=4, height_mm=3))
    'M0 0H4V3H0V0Z'
    >>> trace_contour(circle((0, 0), radius_mm=2))
    'M2 0A2 2 0 0 1 0 2A2 2 0 0 1 -2 0A2 2 0 0 1 0 -2A2 2 0 0 1 2 0Z'
    """
    return trace_vertices(contour.vertices, closed=True)


def trace_region(region: Region) -> str:
    """Return path data of a region, to be filled by the even-odd rule."""
    return "".join(trace_contour(contour) for contour in region.contours)


def _point(row: FloatArray) -> tuple[float, float]:
    return float(row[0]), float(row[1])
