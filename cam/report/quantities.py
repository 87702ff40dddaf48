"""Quantities as people read them, and as JSON can say them."""

from __future__ import annotations

from math import isfinite
from typing import Any

from cam.report.verdict import CornersAsCut


def say_time(seconds: float) -> str:
    """Return a time in words, rounded to the second (to a tenth below ten seconds).

    Examples
    --------
    >>> say_time(222.4), say_time(3725.0), say_time(9.87)
    ('3 min 42 s', '1 h 2 min 5 s', '9.9 s')
    """
    if not isfinite(seconds):
        return "unknown"
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    parts = ((hours, "h"), (minutes, "min"), (rest, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 s"


def say_length(length_mm: float) -> str:
    """Return a length in metres, or in mm below one metre.

    Examples
    --------
    >>> say_length(12345.6), say_length(999.44)
    ('12.35 m', '999.4 mm')
    """
    return f"{length_mm / 1000.0:.2f} m" if length_mm >= 1000.0 else f"{length_mm:.1f} mm"


def say_deviation(deviation_mm: float) -> str:
    """Return a deviation to the micrometre, rounded away from zero so that it is never made smaller.

    Examples
    --------
    >>> say_deviation(0.0), say_deviation(0.0041), say_deviation(0.01), say_deviation(float("inf"))
    ('0.000 mm', '0.005 mm', '0.010 mm', 'unknown')
    """
    if not isfinite(deviation_mm):
        return "unknown"
    shown = round(deviation_mm, 3)
    if shown < deviation_mm - 1e-9:
        shown += 0.001
    return f"{shown:.3f} mm"


def say_range(low: float, high: float, *, unit: str) -> str:
    """Return a range of whole numbers, or one number where its ends agree.

    Examples
    --------
    >>> say_range(1200.0, 3600.2, unit="mm/min"), say_range(18000, 18000, unit="rpm")
    ('1200 to 3600 mm/min', '18000 rpm')
    """
    return f"{low:.0f} {unit}" if round(low) == round(high) else f"{low:.0f} to {high:.0f} {unit}"


def say_corners(corners: CornersAsCut) -> str:
    """Return how many re-entrant corners there are, how many were opened, and the smallest as cut.

    Examples
    --------
    >>> from cam.report.verdict import CornersAsCut
    >>> say_corners(CornersAsCut(count=14, rounded=4, min_radius_mm=5.0))
    "14 re-entrant corners, 4 opened to the rule's radius, the smallest cut at 5.000 mm"
    >>> say_corners(CornersAsCut(count=1, rounded=0, min_radius_mm=6.5))
    '1 re-entrant corner, the smallest cut at 6.500 mm'
    >>> say_corners(CornersAsCut(count=0, rounded=0, min_radius_mm=float("inf")))
    'no re-entrant corners'
    """
    if not corners.count:
        return "no re-entrant corners"
    number = f"{corners.count} re-entrant corner{'s' if corners.count > 1 else ''}"
    opened = f", {corners.rounded} opened to the rule's radius" if corners.rounded else ""
    smallest = f"{corners.min_radius_mm:.3f} mm" if isfinite(corners.min_radius_mm) else "an unknown radius"
    return f"{number}{opened}, the smallest cut at {smallest}"


def make_finite(value: Any) -> Any:
    """Return plain values with every number that is not finite replaced by None.

    Examples
    --------
    >>> make_finite({"radius": float("inf"), "sizes": [1.5, float("nan")]})
    {'radius': None, 'sizes': [1.5, None]}
    """
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, dict):
        return {key: make_finite(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [make_finite(each) for each in value]
    return value
