"""The job: every option once, whether it comes from a file, the command line or a caller."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import ceil
from pathlib import Path
from typing import Annotated

from cam.tables.bounds import Bounds, Coordinate, Count, Length, LengthOrZero, OneOf, Text, Tolerance

MIN_CORNER_RADIUS_MM = 4.0
WORK_OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")


class HoldKind(StrEnum):
    """What keeps panels and slugs from coming loose."""

    BRIDGES = "bridges"
    SKIN = "skin"


class ZeroFace(StrEnum):
    """Where Z is 0."""

    BED = "bed"
    TOP = "top"


class Face(StrEnum):
    """Which way the panel's shown face lies while it is cut; face down it is cut mirrored."""

    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelEntry:
    """One drawing on the sheet: ``[[panel]]`` of a job.

    ``at_mm`` is the lower left corner of the drawing's parts on the sheet, after the turn; None
    lays them at the sheet's margin. ``expect_size_mm`` and ``expect_cutouts`` guard against a wrong
    drawing or wrong units: what the panel stage finds must agree.
    """

    drawing: Path
    name: Text | None = None
    units: Text | None = None
    at_mm: tuple[Coordinate, Coordinate] | None = None
    turn_deg: Annotated[float, Bounds(at_least=-360.0, at_most=360.0)] = 0.0
    face: Face = Face.UP
    expect_size_mm: tuple[Length, Length] | None = None
    expect_cutouts: Count | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRule:
    """``[corners]``: the radius that every re-entrant corner of a panel must have."""

    radius_mm: Length = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """``[hold]``: bridges of a height above the bed, or a skin; and when a slug is cleared."""

    by: HoldKind = HoldKind.BRIDGES
    bridge_length_mm: Length = 8.0
    bridge_height_mm: Length = 0.8
    bridge_spacing_mm: Length = 300.0
    min_bridges: Annotated[int, Bounds(at_least=2, at_most=1000)] = 4
    skin_mm: Length = 0.4
    clear_slug_below_mm2: Annotated[float, Bounds(at_least=0.0, at_most=1e8)] = 2000.0

    def count_bridges(self, length_mm: float) -> int:
        """Return how many bridges a contour of a length needs."""
        return max(self.min_bridges, ceil(length_mm / self.bridge_spacing_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """``[heights]``: heights above the bed or above the sheet, and the cut into the bed."""

    zero: ZeroFace = ZeroFace.BED
    clearance_mm: Length = 10.0
    into_bed_mm: LengthOrZero = 0.3
    max_into_bed_mm: LengthOrZero = 0.5
    measured_thickness_mm: tuple[Length, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """``[tolerances]``: distances, each used by one stage."""

    join_mm: Tolerance = 0.01
    fit_mm: Tolerance = 0.005
    finish_uncut_mm: Tolerance = 0.01
    gouge_mm: Tolerance = 0.003


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be cut, from what, by what.

    ``sheet``, ``machine`` and ``controller`` are names of rows; ``cutters`` names the cutters that
    may be used, or is empty for any of the table. ``tables`` names files or folders with rows of
    the shop's own, which win by name. Paths are absolute or relative to the working folder, never
    to the job file: reading a job file resolves them.
    """

    title: Text
    panels: tuple[PanelEntry, ...] = field(metadata={"key": "panel"})
    sheet: Text
    machine: Text = "workshop-gantry"
    controller: Text = "ngc"
    cutters: tuple[Text, ...] = ()
    tables: tuple[Path, ...] = ()
    margin_mm: LengthOrZero = 15.0
    work_offset: Annotated[str, OneOf(*WORK_OFFSETS)] = "G54"
    corners: CornerRule = field(default_factory=CornerRule)
    hold: Hold = field(default_factory=Hold)
    heights: Heights = field(default_factory=Heights)
    tolerances: Tolerances = field(default_factory=Tolerances)
    path: Path | None = field(default=None, metadata={"key": None})
