"""What an entity may hold: distances that bound it, and the fault that it is given up with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cam.geometry.contour import FloatArray


class EntityFault(ValueError):  # noqa: N818 - a refusal in the making
    """An entity that draws nothing certain; caught where its layer and handle are known."""

    def __init__(self, code: str, message: str, remedy: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.remedy = remedy


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The unit, and distances in it: how far arcs stray from curves, how uneven level is, how far is too far."""

    mm_per_unit: float
    fit_tol: float
    flat_tol: float
    max_coordinate: float


def check_size(limits: Limits, *values: float) -> None:
    """Raise the first value that is no number or too large for a drawing."""
    for value in values:
        if not abs(value) <= limits.max_coordinate:
            raise too_large(value)


def check_array(limits: Limits, values: FloatArray) -> None:
    """Raise the first value of an array that is no number or too large for a drawing."""
    bad = ~(np.abs(values) <= limits.max_coordinate)
    if bad.any():
        raise too_large(float(values[bad][0]))


def too_large(value: float) -> EntityFault:
    """Return the fault of a number that no drawing holds."""
    return EntityFault(
        "coordinates-too-large", f"it holds the number {value:g}", "move the drawing to its origin, or draw it again"
    )


def check_flat(limits: Limits, placed: FloatArray) -> float:
    """Return the height of placed points, (n, 3), or raise that they are not level."""
    span = float(np.ptp(placed[:, 2]))
    if not span <= limits.flat_tol:
        raise not_flat(span)
    return float(placed[0, 2])


def not_flat(span: float) -> EntityFault:
    """Return the fault of an entity that is not level."""
    return EntityFault(
        "not-flat",
        f"it is not level: its height changes by {span:g} drawing units",
        "flatten it to the plane of the drawing",
    )
