"""Bounds of the values in a table or a job, written beside the type of the field.

``diameter_mm: Positive`` is a float above 0; the decoder and :func:`find_bound_faults` read the
bounds from the annotation, so that each stands once.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Annotated, TypeAlias


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """The interval of a number; ``above`` is open below, ``at_least`` and ``at_most`` are closed."""

    above: float = -inf
    at_least: float = -inf
    at_most: float = inf

    def admits(self, value: float) -> bool:
        """Return whether a number lies within the bounds; nan never does."""
        return self.above < value and self.at_least <= value <= self.at_most

    def __str__(self) -> str:
        parts = []
        if self.above > -inf:
            parts.append(f"above {self.above:g}")
        if self.at_least > -inf:
            parts.append(f"at least {self.at_least:g}")
        if self.at_most < inf:
            parts.append(f"at most {self.at_most:g}")
        return " and ".join(parts) or "any finite number"


@dataclass(frozen=True, slots=True)
class NotBlank:
    """A text that says something."""

    def admits(self, value: str) -> bool:
        """Return whether anything but blanks is there."""
        return bool(value.strip())

    def __str__(self) -> str:
        return "a text that is not blank"


@dataclass(frozen=True, slots=True, init=False)
class OneOf:
    """A text that is one of a few."""

    choices: tuple[str, ...]

    def __init__(self, *choices: str) -> None:
        object.__setattr__(self, "choices", choices)

    def admits(self, value: str) -> bool:
        """Return whether the text is one of them."""
        return value in self.choices

    def __str__(self) -> str:
        return "one of " + ", ".join(repr(choice) for choice in self.choices)


# Lengths and speeds beyond these are slips of the pen, whatever the machine.
Positive: TypeAlias = Annotated[float, Bounds(above=0.0, at_most=1e6)]
NotNegative: TypeAlias = Annotated[float, Bounds(at_least=0.0, at_most=1e6)]
Length: TypeAlias = Annotated[float, Bounds(above=0.0, at_most=1e5)]
LengthOrZero: TypeAlias = Annotated[float, Bounds(at_least=0.0, at_most=1e5)]
Coordinate: TypeAlias = Annotated[float, Bounds(at_least=-1e5, at_most=1e5)]
Share: TypeAlias = Annotated[float, Bounds(at_least=0.0, at_most=1.0)]
Tolerance: TypeAlias = Annotated[float, Bounds(above=0.0, at_most=1.0)]
Count: TypeAlias = Annotated[int, Bounds(at_least=0, at_most=1e6)]
CountFromOne: TypeAlias = Annotated[int, Bounds(at_least=1, at_most=1e6)]
Text: TypeAlias = Annotated[str, NotBlank()]
