"""A finished part, as it must come off the machine."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cam.geometry.contour import Region


class Finish(StrEnum):
    """What becomes of an edge after cutting."""

    SHOWN = "shown"
    HIDDEN = "hidden"
    TRIMMED = "trimmed"
    BUTTED = "butted"


class Role(StrEnum):
    """What a contour of a panel is."""

    OUTLINE = "outline"
    CUTOUT = "cut-out"
    HOLE = "hole"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One contour of a panel: contour ``index`` of ``region.contours``, 0 being the outline.

    A hole is a full circle; ``diameter_mm`` is None for the other roles. ``label`` names it in
    messages, such as ``cut-out 2``.
    """

    index: int
    role: Role
    label: str
    finish: Finish
    layer: str | None = None
    handle: str | None = None
    diameter_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundedCorner:
    """A re-entrant corner that the corner rule changed; where the square corner stood."""

    feature: str
    x_mm: float
    y_mm: float
    radius_before_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A finished part in the frame of its drawing: the truth that the judge holds the cut to.

    ``region`` already keeps the corner rule; ``rounded`` lists what that changed. ``drawing`` names
    the file that the panel came from, for messages.
    """

    name: str
    thickness_mm: float
    region: Region
    features: tuple[Feature, ...]
    rounded: tuple[RoundedCorner, ...] = ()
    drawing: str | None = None
