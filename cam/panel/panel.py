"""A finished part, as it must come off the machine."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cam.geometry.contour import FloatArray, Region


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
    RECESS = "recess"
    GROOVE = "groove"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One contour of a panel: contour ``index`` of ``region.contours``, 0 being the outline.

    A hole is a full circle; ``diameter_mm`` is None for the other roles. ``label`` names it in
    messages, such as ``cut-out 2``. ``finishes`` has one class for each segment of the contour;
    empty, ``finish`` holds all round.
    """

    index: int
    role: Role
    label: str
    finish: Finish
    layer: str | None = None
    handle: str | None = None
    diameter_mm: float | None = None
    finishes: tuple[Finish, ...] = ()

    def find_finish(self, segment: int) -> Finish:
        """Return the finish class of one segment of the contour."""
        return self.finishes[segment] if self.finishes else self.finish


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recess:
    """A part of the panel's upper face cut down by ``depth_mm``: a recess, a rebate or a groove.

    ``region`` is what lies at the depth, islands left standing as its holes; of a rebate it may reach
    past the outline. A groove also has its centre line, an open path (n, 3) ``x_mm, y_mm, bulge``
    whose last bulge is unused, and its width; its ends are round.
    """

    label: str
    role: Role
    region: Region
    depth_mm: float
    layer: str | None = None
    handle: str | None = None
    centre_line: FloatArray | None = None
    width_mm: float | None = None


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
    the file that the panel came from, for messages. ``chamfer_mm`` is the width of the arris taken off
    the upper face along edges of the classes ``chamfer_on``; 0 for none.
    """

    name: str
    thickness_mm: float
    region: Region
    features: tuple[Feature, ...]
    rounded: tuple[RoundedCorner, ...] = ()
    drawing: str | None = None
    recesses: tuple[Recess, ...] = ()
    chamfer_mm: float = 0.0
    chamfer_on: tuple[Finish, ...] = ()
